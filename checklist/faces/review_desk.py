"""Where work is looked back at: the trail, the observations beside it, and who has signed in."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import typer

from checklist import library
from checklist.attendance import Attendance, NotHere, NotSignedIn
from checklist.credential import CredentialFault
from checklist.educator.access import Act, NotForYou, allow, recorded_as
from checklist.educator.competence import Decision, decision_of
from checklist.educator.watch import Watch, watch_of
from checklist.engine import Stamp
from checklist.faces.exporting import progress
from checklist.faces.leaving import CannotGoOn
from checklist.faces.notarial import keys
from checklist.faces.pins import asked_pin, pins_of
from checklist.faces.saying import WIDEST, harmless, lines
from checklist.faces.workplace import (
    OBSERVATIONS,
    PRACTICE,
    clock_at,
    new_id,
    prepared_in,
    quoted,
    real_clock,
    ward_of,
)
from checklist.facts.gathering import Around, facts_of
from checklist.facts.kept_flow import KeptFlow
from checklist.facts.row import Facts
from checklist.gate import Rules
from checklist.intake.ward import Ward
from checklist.notary import attest
from checklist.observation import Channel
from checklist.people import StaffMember
from checklist.preparation import CLOSED, Entry, Event
from checklist.preparation import Act as Recorded
from checklist.station import Station
from checklist.trail import SealedText, Trail, TrailDamaged

SHOWN_EVERY = 500
"""Entries between two moves of the bar."""


@dataclass(slots=True, kw_only=True)
class Desk:
    """A trail open for reading, with its ward, and the person who looks.

    `verified` is the sentence about the trail, which was verified as a whole just before.
    `options` are the words that lead here again.
    """

    trail: Trail
    ward: Ward
    person: StaffMember
    path: Path
    verified: str
    station: Station
    options: str
    folder: Path | None = None
    via: Channel = Channel.CHOSEN
    _flows: dict[str, KeptFlow] = field(default_factory=dict)

    @property
    def observations(self) -> Path:
        """The trail of the observations of this trail."""
        return self.path.with_suffix(OBSERVATIONS)

    @property
    def today(self) -> date:
        """The day on the ward's own clock."""
        return self.ward.unit.local(real_clock()).date()

    def local(self, at: datetime) -> datetime:
        """A moment on the ward's own clock."""
        return self.ward.unit.local(at)

    def stamp(self) -> Stamp:
        """What an entry made here now carries."""
        return Stamp(
            id=new_id(), at=real_clock(), by=self.person.code, station="", channel=self.via
        )

    def allow(self, act: Act, person: str = "", preparation: str = "") -> None:
        """Let an act pass, or raise NotForYou; who asked for what of whom is then in the trail."""
        try:
            allow(self.person, act, person)
        except NotForYou:
            body = {
                "person": self.person.code,
                "action": recorded_as(act),
                "of": person,
                "preparation": preparation,
            }
            with Trail.open(self.path) as trail:
                trail.record(
                    Recorded(
                        id=new_id(),
                        kind="not_allowed",
                        at=clock_at(self.path, self.folder, trail)(),
                        by=self.person.code,
                        station="",
                        channel=self.via.value,
                        body=body,
                    )
                )
            raise

    def rules(self, entries: tuple[Entry, ...]) -> Rules:
        """The rules under which a preparation was begun."""
        return self.station.rules_of(entries[0].event.body["workflow"])

    def facts(self, entries: tuple[Entry, ...] | list[Entry]) -> Facts:
        """The facts of one preparation, with the staff codes as they are."""
        digest = entries[0].event.body["workflow"]
        if digest not in self._flows:
            self._flows[digest] = KeptFlow(self.trail.definition(digest), self._giving())
        return facts_of(
            entries,
            Around(
                unit=self.trail.origin.unit,
                clock=ZoneInfo(self.ward.unit.timezone),
                flow=self._flows[digest],
                named=lambda kind, code: code,
            ),
        )

    def all_facts(self, want: Callable[[Entry], bool]) -> Iterator[Facts]:
        """The facts of every ended preparation whose opening entry is wanted, in short reads."""
        under_way: dict[str, list[Entry]] = {}
        every = self.trail.head().seq
        with progress(f"entries of {self.path.name}", quiet=False) as told:
            for entry in self.trail.since(0):
                event = entry.event
                if entry.seq % SHOWN_EVERY == 0:
                    told(entry.seq, every)
                if event.kind == "opened" and want(entry):
                    under_way[event.preparation] = [entry]
                elif event.preparation in under_way:
                    under_way[event.preparation].append(entry)
                    if event.lands in CLOSED:
                        yield self.facts(under_way.pop(event.preparation))

    def _giving(self) -> frozenset[str]:
        return frozenset(library.required().giving)

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
                path, trail_id=new_id(), unit=self.trail.origin.unit, at=real_clock()
            )
        else:
            made = Trail.open(path, read_only=not write)
        with made:
            found = made.verify()
            if not found.whole:
                raise TrailDamaged(
                    f"The observations in {path.name} are not as they were recorded. Nothing was"
                    f" shown or written. Look with `checklist trail verify --trail {path}`.",
                    recorded=False,
                )
            yield made

    def watches(self, kept: Trail | None) -> tuple[Watch, ...]:
        """Every observation, in the order in which they were begun."""
        found = (watch_of(entries) for entries in _threads(kept))
        return tuple(one for one in found if one is not None)

    def decisions(self, kept: Trail | None) -> tuple[Decision, ...]:
        """Every decision on somebody's competence, in the order of recording."""
        found = (decision_of(entries) for entries in _threads(kept))
        return tuple(one for one in found if one is not None)


def signed(kept: Trail, event: Event, texts: Sequence[SealedText] = ()) -> Entry:
    """Append what a person records on somebody's work, with their signature right behind it.

    Raises KeyFault before anything is recorded when there is no key to sign with.
    """
    return kept.append(event, texts, attest=attest(kept.origin.id, keys(), event))


def _threads(kept: Trail | None) -> Iterator[tuple[Entry, ...]]:
    for one in kept.preparations() if kept else ():
        yield kept.of(one.id) if kept else ()


@contextmanager
def desk(
    trail: Path | None, ward: Path | None, by: str, *, via: Channel = Channel.CHOSEN
) -> Iterator[Desk]:
    """Open a trail to look back at, once it is verified and the person has signed in.

    Raises TrailDamaged when the trail is not whole, CannotGoOn without the ward's files.
    """
    path = prepared_in(trail, ward)
    with progress(f"verifying {path.name}", quiet=False):
        found = Trail.examine(path)
    if not found.whole:
        first = found.first_break.sentence if found.first_break else found.faults[0]
        raise TrailDamaged(
            f"{first} What is not as it was recorded is no evidence about anybody. Call IT.",
            recorded=False,
        )
    with Trail.open(path, read_only=True) as kept:
        files = ward_of(ward, kept, path)
        if files is None:
            raise CannotGoOn(
                "The files of this ward are not at hand, so nobody can sign in. Name its folder"
                " with --ward."
            )
        if files.unit.code != kept.origin.unit:
            raise CannotGoOn(
                f"{path} is the trail of unit {kept.origin.unit}; this ward is {files.unit.code}."
                " People's work is shown within their own unit: name that unit's folder with"
                " --ward."
            )
        person = _signed_in(path, ward, files, _code(by))
        station = Station(
            kept,
            files,
            workflows={},
            limits=library.limits(),
            required=library.required(),
            name="",
            clock=real_clock,
            new_id=new_id,
        )
        head = found.head
        assert head is not None, "a whole trail has a head"
        yield Desk(
            trail=kept,
            ward=files,
            person=person,
            path=path,
            verified=(
                f"Trail whole: {found.entries} entries, head {head.seq}, {head.digest.hex()[:16]}."
            ),
            station=station,
            folder=ward,
            options=f"--trail {quoted(path)}" + (f" --ward {quoted(ward)}" if ward else ""),
            via=via,
        )


def _signed_in(path: Path, folder: Path | None, ward: Ward, by: str) -> StaffMember:
    """The person who looks, proved as at the bench; that they signed in is recorded."""
    pin = asked_pin(ward, by)
    keeper = pins_of(ward.folder, practice=path.absolute().parent.name == PRACTICE)
    with Trail.open(path) as trail:
        here = Attendance(
            trail, keeper, clock=clock_at(path, folder, trail), new_id=new_id, station=""
        )
        try:
            return here.sign_in(ward, by, pin)
        except (NotHere, NotSignedIn, CredentialFault) as fault:
            raise CannotGoOn(f"{fault}. Nothing was shown.") from fault


def _code(by: str) -> str:
    if by:
        return by
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise CannotGoOn("Say who you are with --as and your staff code.")
    return str(typer.prompt("Your staff code or badge"))


def say(text: str = "", first: str = "") -> None:
    """A paragraph on stdout, broken into lines."""
    for line in lines(text, min(shutil.get_terminal_size().columns, WIDEST), first=first):
        typer.echo(line)


def table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, right: int = 0) -> None:
    """Rows under their headings; the last `right` columns stand to the right. Never cut off."""
    shown = [tuple(map(harmless, row)) for row in (heads, *rows)]
    widths = [max(len(row[i]) for row in shown) for i in range(len(heads))]
    edge = len(heads) - right
    for number, row in enumerate(shown):
        cells = [
            cell.rjust(width) if i >= edge else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        typer.echo("  ".join(cells).rstrip())
        if number == 0:
            typer.echo("  ".join("-" * width for width in widths))


def worded(name: str) -> str:
    """A name of the code as words."""
    base, _, item = name.partition("@")
    return base.replace("_", " ") + (f" ({item})" if item else "")
