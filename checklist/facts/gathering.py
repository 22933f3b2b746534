"""From the entries of one preparation to its rows of facts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from checklist import codec
from checklist.checks import REASONS
from checklist.facts.kept_flow import KeptFlow, StepOut, base_place
from checklist.facts.row import (
    AmountFact,
    BreakFact,
    CodeFact,
    Facts,
    FindingFact,
    PairFact,
    PreparationFact,
    ReleaseFact,
    StepFact,
)
from checklist.observation import keyed_of
from checklist.preparation import CLOSED, Entry, Event
from checklist.workflow import THEN_DISCARDED

TRIED = ("passed", "cautioned", "refused")
SECOND = ("checker", "witness")
CONTROLLED = "controlled"
COUNTED = frozenset(
    (
        "count_before", "count_taken", "count_after", "witness_count_after", "drawn_volume",
        "given_volume", "wasted_volume", "witness_wasted_volume", "discarded_volume",
        "witness_discarded_volume", "level_before", "level_after", "witness_level_after",
    )
)  # fmt: skip
"""The readings of a controlled drug that its balance is made of."""
CONFUSED = frozenset(("product_mismatch",))
"""The reasons whose facts name two drugs that were confused; no other fact is taken over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What the rows of a preparation lean on besides its entries.

    `clock` is the unit's time zone, `named` makes a pseudonym of a kind ("person", "line") and a
    code, `classes` maps a drug to its class where a formulary is at hand.
    """

    unit: str
    clock: ZoneInfo
    flow: KeptFlow
    named: Callable[[str, str], str]
    classes: Mapping[str, str] = field(default_factory=dict)


def facts_of(entries: Sequence[Entry], around: Around) -> Facts:
    """The rows that the entries of one preparation add to the tables, in the order of its turns.

    Entries behind the one that closed it are left out. Raises ValueError when the first is not its
    opening.
    """
    if not entries or entries[0].event.kind != "opened":
        raise ValueError("the facts of a preparation begin with its opening entry")
    gathering = _Gathering(entries[0], around)
    for entry in entries[1:]:
        gathering.take(entry)
        if entry.event.lands in CLOSED:
            break
    return gathering.facts()


class _Gathering:
    """The rows of one preparation as they come about."""

    def __init__(self, first: Entry, around: Around) -> None:
        self._around, self._first, self._last = around, first, first
        event, local = first.event, first.event.at.astimezone(around.clock)
        year, week, weekday = local.isocalendar()
        self._local, self._weekday = local, weekday
        self._base = {
            "preparation": event.preparation,
            "unit": around.unit,
            "month": f"{local:%Y-%m}",
            "week": f"{year}-W{week:02d}",
            "container": event.body["container"],
        }
        self._order: Mapping[str, Any] = event.body["order"]
        self._drug: str = self._order["drug"]
        self._preparer = around.named("person", event.by)
        self._own = first.event
        self._steps: list[StepFact] = []
        self._findings: list[FindingFact] = []
        self._waiting: dict[str, list[int]] = {}
        self._tries: dict[tuple[str, str], int] = {}
        self._attempts: dict[str, int] = {}
        self._pairs: list[PairFact] = []
        self._releases: list[ReleaseFact] = []
        self._breaks: list[BreakFact] = []
        self._amounts: list[AmountFact] = []
        self._codes: list[CodeFact] = []
        self._keyed: dict[str, str] = {}
        self._broken: tuple[str, datetime] | None = None
        self._product = ""
        self._pending: Mapping[str, Any] = {}
        self._second = ""
        self._counts = {"refused": 0, "cautioned": 0, "entries": 1, "shown": 0, "restarts": 0}
        self._away, self._dose_in = 0.0, False
        self._after_break, self._ended = "", ""

    def take(self, entry: Entry) -> None:
        event = entry.event
        place = base_place(event.place)
        step = self._around.flow.at(place)
        self._counts["entries"] += 1
        if event.kind in TRIED:
            self._tried(entry, place, step)
        elif event.kind == "proceeded":
            self._proceeded(entry, place, step)
        elif event.kind == "remedied":
            self._remedied(event, place, step)
        elif event.kind == "interrupted":
            self._interrupted(entry, place, step)
        elif event.kind == "resumed":
            self._resumed(event)
        elif event.kind == "noted":
            self._keyed.update([keyed] if (keyed := keyed_of(event.body["text"])) else [])
        elif event.kind == "explained":
            self._breaks[-1] = replace(self._breaks[-1], cause=event.body["cause"])
        elif event.kind == "revealed":
            self._counts["shown"] += 1
        elif event.kind == "ended":
            self._ended = event.body["because"]
        if event.by == self._first.event.by:
            self._own = event
        self._last = entry

    def _of(self, entry: Entry) -> dict[str, Any]:
        """The cells that every row of an entry has."""
        return {**self._base, "seq": entry.seq, "at": codec.time_out(entry.event.at)}

    # -- what was tried ------------------------------------------------------------------------

    def _tried(self, entry: Entry, place: str, step: StepOut) -> None:
        event = entry.event
        attempt = self._attempts[place] = self._attempts.get(place, 0) + 1
        person = self._around.named("person", event.by)
        second = step.who in SECOND
        if second:
            self._second = person
        self._steps.append(
            StepFact(
                **self._of(entry),
                **step.cells,
                number=step.number,
                person=person,
                outcome=event.kind,
                attempt=attempt,
                seconds=_between(self._last.event.at, event.at),
                shortest=step.shortest,
                critical=int(step.critical),
                after_break=int(self._after_break == place),
            )
        )
        self._read(entry, step, event.body["seen"])
        if second or (step.who == "giver" and event.by != self._first.event.by):
            self._paired(entry, step, person, attempt)
        if event.kind == "passed":
            self._accepted(entry, place, step, event.body["seen"])
        else:
            self._counts[event.kind] += 1
            self._pending = event.body["seen"]
            barriers = [name for name, word in event.body["checks"] if word != "pass"]
            for told, barrier in zip(event.body["reasons"], barriers, strict=True):
                self._found(entry, place, step, told, barrier)
        self._after_break = ""

    def _read(self, entry: Entry, step: StepOut, seen: Mapping[str, Any]) -> None:
        """The product codes of a try; why one was typed was noted just before it."""
        keyed, self._keyed = self._keyed, {}
        for name, one in sorted(seen.items()):
            if "product" in one["value"]:
                self._codes.append(
                    CodeFact(
                        **self._of(entry),
                        step=step.step,
                        stage=step.stage,
                        field=name,
                        channel=one["channel"],
                        why=keyed.get(name, ""),
                    )
                )

    def _found(
        self, entry: Entry, place: str, step: StepOut, told: Mapping[str, Any], barrier: str
    ) -> None:
        code, event = told["code"], entry.event
        tries = self._tries[place, code] = self._tries.get((place, code), 0) + 1
        reason = REASONS.get(code)
        hazards = reason.hazards if reason else ()
        facts = told["facts"] if code in CONFUSED else {}
        self._waiting.setdefault(place, []).append(len(self._findings))
        self._findings.append(
            FindingFact(
                **self._of(entry),
                hour=event.at.astimezone(self._around.clock).hour,
                drug=self._drug,
                drug_class=self._around.classes.get(self._drug, ""),
                rules=self._first.event.body["workflow"],
                **step.cells,
                reason=code,
                barrier=barrier,
                tier=told["tier"],
                hazard=hazards[0] if hazards else "",
                hazards=" ".join(hazards),
                person=self._around.named("person", event.by),
                preparer=self._preparer,
                second=self._second,
                tries=tries,
                breaks_before=len(self._breaks),
                remedy="",
                because="",
                releaser="",
                fate="open",
                wait=None,
                expected=self._drug if facts else "",
                read=facts.get("read", ""),
                ending="",
                dose_in=0,
            )
        )

    def _paired(self, entry: Entry, step: StepOut, person: str, attempt: int) -> None:
        event, own = entry.event, self._own
        self._pairs.append(
            PairFact(
                **self._of(entry),
                step=step.step,
                role=step.who,
                preparer=self._preparer,
                second=person,
                outcome=event.kind,
                agreed=int(event.kind != "refused"),
                attempt=attempt,
                apart=_between(own.at, event.at),
                same_person=int(event.by == self._first.event.by),
                same_station=int(event.station == own.station),
                shown_before=int(self._counts["shown"] > 0),
            )
        )

    def _accepted(self, entry: Entry, place: str, step: StepOut, seen: Mapping[str, Any]) -> None:
        self._settle(place, "recovered", entry.event.at)
        self._dose_in = self._dose_in or (step.gives and not step.side)
        product = seen.get("product", {}).get("value", {}).get("product")
        if product:
            self._product = product["code"]
        if CONTROLLED in self._first.event.body["traits"]:
            for name in sorted(COUNTED & seen.keys()):
                amount = seen[name]["value"].get("quantity")
                if amount:
                    self._amounts.append(self._amount(entry, step, name, amount))

    def _amount(self, entry: Entry, step: StepOut, name: str, amount: str) -> AmountFact:
        figure, _, measure = amount.partition(" ")
        return AmountFact(
            **self._of(entry),
            step=step.step,
            product=self._product,
            drug=self._drug,
            field=name,
            amount=amount,
            number=float(Fraction(figure)),
            measure=measure,
        )

    def _settle(self, place: str, fate: str, at: datetime) -> None:
        for number in self._waiting.pop(place, ()):
            found = self._findings[number]
            wait = _between(codec.time_in(found.at), at)
            self._findings[number] = replace(found, fate=fate, wait=wait)

    def _proceeded(self, entry: Entry, place: str, step: StepOut) -> None:
        event = entry.event
        because = event.body["because"]
        releaser = self._around.named("person", event.by)
        for code in event.body["codes"]:
            self._releases.append(
                ReleaseFact(
                    **self._of(entry),
                    step=step.step,
                    reason=code,
                    because=because,
                    person=releaser,
                    by_preparer=int(event.by == self._first.event.by),
                    words=int(bool(event.body.get("note"))),
                )
            )
        self._release(place, event, because, releaser)
        self._accepted(entry, place, step, self._pending)

    def _release(self, place: str, event: Event, because: str, releaser: str) -> None:
        """The cautions of the last try are released; what was found before it was put right."""
        waiting = self._waiting.get(place, [])
        newest = max((self._findings[n].seq for n in waiting), default=0)
        for number in [n for n in waiting if self._findings[n].seq == newest]:
            found = self._findings[number]
            waiting.remove(number)
            self._findings[number] = replace(
                found,
                fate="released",
                wait=_between(codec.time_in(found.at), event.at),
                because=because,
                releaser=releaser,
            )

    def _remedied(self, event: Event, place: str, step: StepOut) -> None:
        for number in self._waiting.get(place, ()):
            found = self._findings[number]
            if not found.remedy and found.reason in event.body["answers"]:
                self._findings[number] = replace(found, remedy=event.body["remedy"])
        if event.body["remedy"] == "discard_restart":
            self._counts["restarts"] += 1
        if _leads_out(event) and event.body["answers"]:
            self._ended = self._ended or event.body["answers"][0]
        lands = base_place(event.lands)
        if step.side == "reverify" and lands != place and event.lands not in CLOSED:
            # Nobody comes back to a re-verification: what stood there is answered by the way taken.
            self._settle(place, "recovered", event.at)

    def _interrupted(self, entry: Entry, place: str, step: StepOut) -> None:
        event = entry.event
        self._broken = (place, event.at)
        self._breaks.append(
            BreakFact(
                **self._of(entry),
                step=step.step,
                stage=step.stage,
                cause=event.body["cause"],
                critical=int(step.critical),
                away=None,
            )
        )

    def _resumed(self, event: Event) -> None:
        if self._broken is None:
            return
        place, since = self._broken
        away = _between(since, event.at)
        self._away += away
        self._breaks[-1] = replace(self._breaks[-1], away=away)
        self._broken, self._after_break = None, place

    def facts(self) -> Facts:
        last = self._last.event
        ending = last.lands if last.lands in CLOSED else ""
        if ending:
            for place in list(self._waiting):
                self._settle(place, ending, last.at)
        return Facts(
            preparation=self._whole(ending),
            steps=tuple(self._steps),
            findings=tuple(
                replace(each, ending=ending, dose_in=int(self._dose_in)) for each in self._findings
            ),
            pairs=tuple(self._pairs),
            releases=tuple(self._releases),
            breaks=tuple(self._breaks),
            amounts=tuple(self._amounts),
            codes=tuple(self._codes),
        )

    def _whole(self, ending: str) -> PreparationFact:
        first, last, body = self._first.event, self._last.event, self._first.event.body
        order, named = self._order, self._around.named
        return PreparationFact(
            **self._base,
            opened_at=codec.time_out(first.at),
            closed_at=codec.time_out(last.at) if ending else "",
            opened_s=int(first.at.timestamp()),
            closed_s=int(last.at.timestamp()) if ending else 0,
            day=f"{self._local:%Y-%m-%d}",
            weekday=self._weekday,
            hour=self._local.hour,
            station=first.station,
            workflow=body["name"],
            version=body["version"],
            rules=body["workflow"],
            settings=body["unit"]["digest"],
            software=body["software"],
            formulary=body["formulary"]["edition"],
            traits=" ".join(body["traits"]),
            drug=self._drug,
            drug_class=self._around.classes.get(self._drug, ""),
            route=order["route"],
            time_critical=int(order["time_critical"]),
            called=int(order["called"]),
            line=named("line", order["id"]),
            preparer=self._preparer,
            ending=ending,
            ended_because=self._ended if ending else "",
            dose_in=int(self._dose_in),
            first_seq=self._first.seq,
            last_seq=self._last.seq,
            entries=self._counts["entries"],
            refusals=self._counts["refused"],
            cautions=self._counts["cautioned"],
            restarts=self._counts["restarts"],
            breaks=len(self._breaks),
            shown=self._counts["shown"],
            seconds=_between(first.at, last.at),
            away=self._away,
        )


def _between(earlier: datetime, later: datetime) -> float:
    """The time between two moments in seconds, to the millisecond."""
    return round((later - earlier).total_seconds(), 3)


def _leads_out(event: Event) -> bool:
    """Whether a way out leads to an end, at once or through the account of opened items."""
    return event.lands in CLOSED or event.lands.endswith(f"/{THEN_DISCARDED}")
