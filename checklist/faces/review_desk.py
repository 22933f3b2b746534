"""Where work is looked back at: the trail, the observations beside it, and who has signed in."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import typer

from checklist.attendance import Attendance, NotHere, NotSignedIn
from checklist.credential import CredentialFault
from checklist.faces.exporting import progress
from checklist.faces.leaving import CannotGoOn
from checklist.faces.pins import asked_pin, pins_of
from checklist.faces.saying import WIDEST, harmless, lines
from checklist.faces.study import Study, fit_as_evidence, refusal, verified_said
from checklist.faces.workplace import (
    PRACTICE,
    clock_at,
    new_id,
    prepared_in,
    quoted,
    ward_of,
)
from checklist.intake.ward import Ward
from checklist.observation import Channel
from checklist.people import StaffMember
from checklist.trail import Trail


@dataclass(slots=True, kw_only=True)
class Desk(Study):
    """A trail looked back at from the terminal; `options` are the words that lead here again."""

    options: str


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
    fit_as_evidence(found)
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

        def refused(body: Mapping[str, str]) -> None:
            with Trail.open(path) as trail:
                trail.record(refusal(body, clock_at(path, ward, trail)(), via))

        yield Desk(
            trail=kept,
            ward=files,
            person=person,
            path=path,
            verified=verified_said(found),
            refused=refused,
            telling=lambda: progress(f"preparations of {path.name}", quiet=False),
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
