"""An errand at a trail: somebody signs in for one act that belongs to no preparation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from checklist import library
from checklist.attendance import Attendance, NotAllowed, NotHere, NotSignedIn
from checklist.credential import CredentialFault
from checklist.faces.leaving import CannotGoOn
from checklist.faces.pins import asked_pin, pins_of
from checklist.faces.workplace import PRACTICE, Clock, new_id, real_clock
from checklist.intake.ward import Ward, load_ward
from checklist.observation import Channel
from checklist.people import StaffMember
from checklist.permission import Action
from checklist.preparation import Act, Entry
from checklist.trail import Trail


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """A person who is signed in at a trail, and whom a role allows what they are about to do."""

    trail: Trail
    ward: Ward
    person: StaffMember
    clock: Clock

    def record(
        self, kind: str, body: Mapping[str, Any], *, erasing: Sequence[str] = (), id_: str = ""
    ) -> Entry:
        """Record an act of this person, taking the texts under the references `erasing` away."""
        act = Act(
            id=id_ or new_id(),
            kind=kind,
            at=self.clock(),
            by=self.person.code,
            station="",
            channel=Channel.TYPED.value,
            body=body,
        )
        return self.trail.record(act, erasing=erasing)


@contextmanager
def errand(
    path: Path, folder: Path | None, by: str, action: Action, *, clock: Clock = real_clock
) -> Iterator[Errand]:
    """Open a trail for a person of its ward who may do this, and close it again.

    The ward is the named folder, the one that the trail lies in, or the demonstration. The PIN is
    asked for at the terminal without being shown, or is the next line of stdin. Raises CannotGoOn
    for a person who is not known, not proved or not allowed, which is recorded; the trail's own
    faults.
    """
    if not by:
        raise CannotGoOn("Who are you? This is recorded: give your staff code with --as.")
    with Trail.open(path) as trail:
        where = folder_of(path, folder)
        ward = load_ward(where)
        if trail.origin.unit != ward.unit.code:
            raise CannotGoOn(
                f"{path} is the trail of unit {trail.origin.unit}; this ward is {ward.unit.code}."
                " Name its ward with --ward."
            )
        here = Attendance(trail, pins_of(where), clock=clock, new_id=new_id, station="")
        pin = asked_pin(ward, by)
        try:
            person = here.allowed(here.sign_in(ward, by, pin), action)
        except (NotHere, NotSignedIn, NotAllowed, CredentialFault) as fault:
            raise CannotGoOn(f"{fault}. Nothing was done.") from fault
        yield Errand(trail=trail, ward=ward, person=person, clock=clock)


def folder_of(path: Path, folder: Path | None) -> Path:
    """The ward's folder for a trail: the named one, the trail's own, or the demonstration."""
    beside = path.absolute().parent
    for one in (folder, beside, beside.parent if beside.name == PRACTICE else None):
        if one is not None and (one == folder or (one / "unit.toml").is_file()):
            return one
    return library.folder("demo_db")
