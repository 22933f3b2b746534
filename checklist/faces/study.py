"""A trail that is looked back at, whichever face shows it: who looks, and what was observed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from checklist import library
from checklist.definition import from_text
from checklist.educator.access import Act, NotForYou, allow, recorded_as
from checklist.educator.competence import Decision, decision_of
from checklist.educator.watch import Watch, watch_of
from checklist.engine import Stamp
from checklist.faces.leaving import CannotGoOn
from checklist.faces.notarial import keys
from checklist.faces.workplace import OBSERVATIONS, Clock, new_id, real_clock
from checklist.facts.export import Progress
from checklist.facts.gathering import Around, facts_of
from checklist.facts.kept_flow import KeptFlow
from checklist.facts.row import Facts
from checklist.gate import Rules
from checklist.intake.ward import Ward
from checklist.notary import attest
from checklist.observation import Channel
from checklist.people import StaffMember
from checklist.preparation import Act as Recorded
from checklist.preparation import Entry, Event
from checklist.trail import SealedText, Trail, TrailDamaged, Verification

MOST_KEPT = 4_000
"""Facts of so many ended preparations are kept at most: some 80 MB."""


def _untold(_done: int, _all: int) -> None:
    """Nobody waits at this face for how far it is."""


@dataclass(slots=True, kw_only=True)
class Known:
    """What was worked out from a trail once and stays true: rules by digest, facts of the ended."""

    rules: dict[str, Rules] = field(default_factory=dict)
    flows: dict[str, KeptFlow] = field(default_factory=dict)
    facts: dict[str, Facts] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Study:
    """A trail open for reading, with its ward, and the person who looks.

    `verified` is the sentence about the trail, which was verified as a whole before. `refused`
    keeps the body of an act that was asked for and not allowed. `proof` verifies the trail of
    observations before anything of it is shown or written. `telling` makes what is told how
    many of how many preparations were gone through.
    """

    trail: Trail
    ward: Ward
    person: StaffMember
    path: Path
    verified: str
    refused: Callable[[Mapping[str, str]], None]
    proof: Callable[[Trail], Verification] = Trail.verify
    telling: Callable[[], AbstractContextManager[Progress]] = lambda: nullcontext(_untold)
    clock: Clock = real_clock
    via: Channel = Channel.CHOSEN
    known: Known = field(default_factory=Known)

    @property
    def observations(self) -> Path:
        """The trail of the observations of this trail."""
        return self.path.with_suffix(OBSERVATIONS)

    @property
    def today(self) -> date:
        """The day on the ward's own clock."""
        return self.ward.unit.local(self.clock()).date()

    def local(self, at: datetime) -> datetime:
        """A moment on the ward's own clock."""
        return self.ward.unit.local(at)

    def stamp(self) -> Stamp:
        """What an entry made here now carries."""
        return Stamp(
            id=new_id(), at=self.clock(), by=self.person.code, station="", channel=self.via
        )

    def allow(self, act: Act, person: str = "", preparation: str = "") -> None:
        """Let an act pass, or raise NotForYou; who asked for what of whom is handed to `refused`.

        `person` is the staff code of whoever it is about.
        """
        try:
            allow(self.person, act, person)
        except NotForYou:
            self.refused(
                {
                    "person": self.person.code,
                    "action": recorded_as(act),
                    "of": person,
                    "preparation": preparation,
                }
            )
            raise

    def rules(self, entries: Sequence[Entry]) -> Rules:
        """The rules under which a preparation was begun."""
        return self.rules_of(entries[0].event.body["workflow"])

    def rules_of(self, digest: str) -> Rules:
        """The rules of the workflow that the trail keeps under this digest."""
        found = self.known.rules
        if digest not in found:
            found[digest] = Rules.of(from_text(self.trail.definition(digest)))
        return found[digest]

    def facts(self, entries: Sequence[Entry]) -> Facts:
        """The facts of one preparation, with the staff codes as they are."""
        digest = entries[0].event.body["workflow"]
        flows = self.known.flows
        if digest not in flows:
            flows[digest] = KeptFlow(
                self.trail.definition(digest), frozenset(library.required().giving)
            )
        return facts_of(
            entries,
            Around(
                unit=self.trail.origin.unit,
                clock=ZoneInfo(self.ward.unit.timezone),
                flow=flows[digest],
                named=lambda kind, code: code,
            ),
        )

    def facts_of(self, ids: Sequence[str]) -> Iterator[Facts]:
        """The facts of preparations in that order; those of ended ones are kept for next time."""
        kept = self.known.facts
        with self.telling() as moved:
            for number, id_ in enumerate(ids, start=1):
                moved(number, len(ids))
                found = kept.get(id_)
                if found is None:
                    found = self.facts(self.trail.of(id_))
                    if found.preparation.ending:
                        if len(kept) >= MOST_KEPT:
                            kept.pop(next(iter(kept)), None)
                        kept[id_] = found
                yield found

    # -- observations --------------------------------------------------------------------------

    @contextmanager
    def kept(self, *, write: bool = False) -> Iterator[Trail | None]:
        """The trail of the observations; None when there is none and nothing is to be written."""
        path = self.observations
        if not os.path.lexists(path):
            if not write:
                yield None
                return
            made = Trail.create(
                path, trail_id=new_id(), unit=self.trail.origin.unit, at=self.clock()
            )
        else:
            made = Trail.open(path, read_only=not write)
        with made:
            found = self.proof(made)
            if not found.whole:
                raise TrailDamaged(
                    f"The observations in {path.name} are not as they were recorded. Nothing was"
                    f" shown or written. Look with `checklist trail verify --trail {path}`.",
                    recorded=False,
                )
            yield made


def every_watch(kept: Trail | None) -> tuple[Watch, ...]:
    """Every observation, in the order in which they were begun."""
    found = (watch_of(entries) for entries in _threads(kept))
    return tuple(one for one in found if one is not None)


def every_decision(kept: Trail | None) -> tuple[Decision, ...]:
    """Every decision on somebody's competence, in the order of recording."""
    found = (decision_of(entries) for entries in _threads(kept))
    return tuple(one for one in found if one is not None)


def fit_as_evidence(found: Verification) -> None:
    """Raise TrailDamaged unless a trail was found whole."""
    if not found.whole:
        first = found.first_break.sentence if found.first_break else found.faults[0]
        raise TrailDamaged(
            f"{first} What is not as it was recorded is no evidence about anybody. Call IT.",
            recorded=False,
        )


def verified_said(found: Verification) -> str:
    """The sentence about a trail that was found whole."""
    head = found.head
    assert head is not None, "a whole trail has a head"
    return f"Trail whole: {found.entries} entries, head {head.seq}, {head.digest.hex()[:16]}."


def refusal(body: Mapping[str, str], at: datetime, via: Channel, station: str = "") -> Recorded:
    """The act that says that somebody asked for what is not theirs; `body` as `refused` gets it."""
    return Recorded(
        id=new_id(),
        kind="not_allowed",
        at=at,
        by=body["person"],
        station=station,
        channel=via.value,
        body=body,
    )


def signed(kept: Trail, event: Event, texts: Sequence[SealedText] = ()) -> Entry:
    """Append what a person records on somebody's work, with their signature right behind it.

    Raises KeyFault before anything is recorded when there is no key to sign with.
    """
    return kept.append(event, texts, attest=attest(kept.origin.id, keys(), event))


def watch_named(watches: Iterable[Watch], named: str) -> Watch:
    """The observation that a person means by its id or the beginning of it."""
    fitting = [one for one in watches if named and one.id.startswith(named)]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise CannotGoOn(f"Several observations begin with {named!r}. Type more of it.")
    raise CannotGoOn(
        f"There is no observation {named!r} beside this trail. `checklist review ID` names those of"
        " a preparation."
    )


def worded(name: str) -> str:
    """A name of the code as words."""
    base, _, item = name.partition("@")
    return base.replace("_", " ") + (f" ({item})" if item else "")


def _threads(kept: Trail | None) -> Iterator[tuple[Entry, ...]]:
    for one in kept.preparations() if kept else ():
        yield kept.of(one.id) if kept else ()
