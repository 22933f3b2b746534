"""A unit's people at work, one preparation after another, for what is looked back at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from pathlib import Path

from checklist import library
from checklist.educator.watch import NOT_SO, SEEN, Watch, answered, begun, said, watch_of
from checklist.engine import Stamp
from checklist.facts.gathering import Around, facts_of
from checklist.facts.kept_flow import KeptFlow
from checklist.facts.row import Facts
from checklist.number import plain
from checklist.observation import Channel
from checklist.people import Role, StaffMember
from checklist.preparation import Entry
from checklist.screen import Outcome
from checklist.trail import Trail
from tests.people import pins_for
from tests.scene import COLLEAGUE, LABELS, Scene, demo_ward

EDUCATOR, SECOND_EDUCATOR = "ED-1", "ED-2"
Slip = Callable[["Team"], None]


@dataclass
class Team(Scene):
    """A scene in which every preparation has an order of its own and any of the staff as preparer.

    `pace` is how many seconds each step takes.
    """

    preparer: str = "RN-12"
    pace: int = 20

    def __post_init__(self) -> None:
        super().__post_init__()
        self._copied = self.order_id
        self._made = 0
        model = self.ward.staff["RN-12"]
        more = {
            code: replace(model, code=code, name=f"Invented {code}", badge="")
            for code in ("RN-41", "RN-42", "RN-43", "RN-44", "RN-45", "RN-46")
        }
        second = StaffMember(code=SECOND_EDUCATOR, name="Invented ED-2", roles=(Role.EDUCATOR,))
        staff = {**self.ward.staff, **more, SECOND_EDUCATOR: second}
        self._set(replace(self.ward, staff=staff))
        pins_for(self.ward, self.folder / "credentials.json")

    def hands(self) -> str:
        spot = self.station.screen(self.id).spot
        assert spot is not None
        return COLLEAGUE if spot.step.who.value in ("checker", "witness") else self.preparer

    def make(self, by: str, *slips: Slip, pace: int = 20, until: str = "") -> str:
        """One preparation, given in the end or left at a step; slips happen on the way."""
        self._made += 1
        self.preparer, self.pace = by, pace
        self.wait(minutes=10)
        model = demo_ward().orders[self._copied]
        self.order_id = f"{self._copied}-{self._made}"
        orders = {
            **self.ward.orders,
            self.order_id: replace(model, id=self.order_id, due=self.now, last_given=None),
        }
        LABELS[self.order_id] = LABELS[self._copied]
        self._set(replace(self.ward, orders=orders))
        self.open(by=by)
        for slip in slips:
            slip(self)
        if until:
            self.to(until)
        else:
            self.finish()
        return self.id

    def attempt(
        self, changes: Mapping[str, str | None] | None = None, *, by: str = "", wait: int = -1
    ) -> Outcome:
        return super().attempt(changes, by=by, wait=self.pace if wait < 0 else wait)

    def facts(self) -> list[Facts]:
        """The facts of every preparation, with staff codes as they are."""
        return [facts_in(self.trail, one.id) for one in self.trail.preparations()]


def facts_in(trail: Trail, id_: str) -> Facts:
    """The facts of one preparation, with staff codes as they are."""
    from zoneinfo import ZoneInfo

    entries = trail.of(id_)
    flow = KeptFlow(
        trail.definition(entries[0].event.body["workflow"]), frozenset(library.required().giving)
    )
    clock = ZoneInfo(demo_ward().unit.timezone)
    around = Around(unit="W7E", clock=clock, flow=flow, named=lambda kind, code: code)
    return facts_of(entries, around)


def wrong_volume(team: Team) -> None:
    """A volume that is too large, stopped and put right."""
    team.to("set_the_dose")
    more = Fraction(team.volume()) + Fraction(1, 10)
    team.attempt({"drawn_volume": plain(more)})
    team.station.remedy(team.id, team.station.screen(team.id).ways[0], team.preparer)


def touched_rim(team: Team) -> None:
    """The tip touched the rim, which the nurse says of themselves; begun anew in the end."""
    team.to("draw_up")
    team.attempt({"rim_untouched": "n"})
    team.station.remedy(team.id, team.station.screen(team.id).ways[0], team.preparer)


def called_away(team: Team) -> None:
    """A call while the neck is made ready; back after 90 s."""
    team.to("make_the_neck_ready")
    team.station.interrupt(team.id, "call", team.preparer)
    team.wait(seconds=90)
    team.station.resume(team.id, team.preparer)


def hurried_neck(team: Team) -> None:
    """Neck wiped, dried and snapped within two seconds, as the trail has it."""
    team.to("make_the_neck_ready")
    team.attempt(wait=1)
    team.attempt(wait=1)


class Watcher:
    """Observers at work on a trail of observations."""

    def __init__(self, team: Team, file: Path) -> None:
        self.team = team
        self.kept = (
            Trail.open(file)
            if file.exists()
            else Trail.create(file, trail_id=f"T-{file.name}", unit="W7E", at=team.now)
        )
        self._number = 0

    def stamp(self, by: str) -> Stamp:
        return Stamp(id=self.new_id(), at=self.team.now, by=by, station="", channel=Channel.CHOSEN)

    def new_id(self) -> str:
        self._number += 1
        return f"w-{self._number:06d}-{self.kept.origin.id}"

    def begin(self, prep: str, by: str) -> Watch:
        entries = self.team.trail.of(prep)
        return self._begun(entries, by)

    def _begun(self, entries: tuple[Entry, ...], by: str) -> Watch:
        first = entries[0].event
        flow = self.team.station.rules_of(first.body["workflow"]).workflow
        event = begun(
            self.new_id(),
            entries[-1],
            person=first.by,
            container=first.body["container"],
            workflow=flow.digest,
            items=flow.observe,
            when="after",
            stamp=self.stamp(by),
        )
        self.kept.append(event)
        return self.now(event.preparation)

    def now(self, id_: str) -> Watch:
        watch = watch_of(self.kept.of(id_))
        assert watch is not None
        return watch

    def answer(self, watch: Watch, answers: Mapping[str, str], because: str = "") -> Watch:
        told = {name: (word, "") for name, word in answers.items()}
        event, texts = answered(
            watch, told, self.stamp(watch.observer), self.new_id, because=because
        )
        self.kept.append(event, texts)
        return self.now(watch.id)

    def whole(
        self, prep: str, by: str, words: Mapping[str, str] | None = None, **answers: str
    ) -> Watch:
        """A finished observation: everything seen but what is named."""
        watch = self.begin(prep, by)
        watch = self.answer(watch, {one.name: SEEN for one in watch.items} | answers)
        event, texts = said(
            watch,
            words or {},
            self.stamp(by),
            self.new_id,
            due=date(2026, 12, 9) if words else None,
            finish=True,
        )
        self.kept.append(event, texts)
        return self.now(watch.id)


__all__ = ["EDUCATOR", "NOT_SO", "SECOND_EDUCATOR", "SEEN", "Team", "Watcher"]
