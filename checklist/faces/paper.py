"""From a trail to a file on disk: the label of a dose, or the record of a preparation."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

import typer

from checklist import library
from checklist.engine import MovedOn, NotOffered
from checklist.faces.leaving import CannotGoOn
from checklist.faces.pins import asked_pin, pins_of
from checklist.faces.saying import harmless
from checklist.faces.workplace import (
    PRACTICE,
    clock_at,
    new_id,
    preparation_of,
    quoted,
    trail_to_read,
    ward_of,
)
from checklist.people import StaffMember
from checklist.printing import press
from checklist.printing.job import Asked, Job, job
from checklist.printing.press import DoesNotFit, ReasonWanted, Unprintable
from checklist.station import NotAllowed, NotSignedIn, Station
from checklist.stock import Form, NoSuchStock, Size, Symbol
from checklist.trail import Trail, TurnTaken

_Word = TypeVar("_Word", bound=StrEnum)


def print_label(
    named: str,
    out: Path,
    *,
    by: str,
    words: Mapping[str, str],
    vial: bool,
    specimen: bool,
    dpi: int,
    trail: Path | None,
    ward: Path | None,
) -> None:
    """Print one label into a file, record it, and say what to do with it.

    `words` are the answers to --size, --form, --symbol and --again as typed.
    """
    suffix_of(out, press.FORMATS)
    with clear():
        asked = asked_for(words, vial=vial, specimen=specimen)
        with at_hand(trail, ward, write=not specimen) as (station, path):
            person = _nobody() if specimen else signed_in(station, by)
            id_ = preparation_of(station.trail, named).id
            made = printed(station, id_, person, asked, out, dpi=dpi)
    _said(made, out, path, specimen=specimen)


def asked_for(words: Mapping[str, str], *, vial: bool, specimen: bool = False) -> Asked:
    """What is asked for in words: `size`, `form`, `symbol` and `again`, each possibly "".

    Raises CannotGoOn, NoSuchStock.
    """
    return Asked(
        size=Size.parse(words["size"]) if words["size"] else None,
        form=_word("--form", words["form"], Form),
        symbol=_word("--symbol", words["symbol"], Symbol),
        vial=vial,
        again=words["again"],
        specimen=specimen,
    )


def printed(
    station: Station, id_: str, person: StaffMember, asked: Asked, out: Path, *, dpi: int
) -> Job:
    """Print one label into a new file and record it, unless it is a specimen.

    Raises CannotGoOn, and within `clear` whatever else stands in the way; NeedsExtra.
    """
    suffix = suffix_of(out, press.FORMATS)
    if dpi not in press.DPI:
        raise CannotGoOn(f"--dpi {dpi}: printers here have {_listed(press.DPI)} dots to the inch.")
    made = job(station, id_, person, asked)
    file = press.made(made.laid, suffix, dpi=dpi)

    put(
        out,
        file,
        lambda: None if asked.specimen else made.printed(station, file, suffix, person.code),
    )
    return made


def _said(made: Job, out: Path, path: Path, *, specimen: bool) -> None:
    laid, of = made.laid, made.draft
    flag = ", to be folded to a flag" if laid.form is Form.FLAG else ""
    which = "Specimen" if specimen else f"Label {of.code.number} for the {of.kind.value}"
    say(f"{which}: {out}, {laid.size}{flag}, smallest letters {laid.smallest:.1f} pt")
    if of.missing_colour:
        say("No class colour: the table has none for this drug's class.")
    if specimen:
        say("Nothing was recorded. Measure it: print at 100 %, never scaled to the page.")
        return
    say(f"Code {of.code.grouped}. It is recorded who printed it and when.")
    if laid.form is Form.FLAG:
        say("Stick the blank strip along the back of the barrel, then fold both faces together.")
    say("Print at 100 %, never scaled to the page. Stick it on at once and read it back.")
    if not of.kind.shared:
        say("The file names the patient: delete it once the label is stuck on.")
    say(f"next: checklist show --trail {quoted(path)} {of.code.figures}")


# -- shared with the record -----------------------------------------------------------------------


@contextmanager
def at_hand(
    trail: Path | None, ward: Path | None, *, write: bool
) -> Iterator[tuple[Station, Path]]:
    """The station of a trail that is there already, on its own clock, and where the trail is.

    Raises CannotGoOn where the ward's files are not at hand, and the trail's own faults.
    """
    path = trail_to_read(trail, ward)
    with Trail.open(path, read_only=not write) as kept:
        here = ward_of(ward, kept, path)
        if here is None:
            raise CannotGoOn(
                f"The files of unit {kept.origin.unit} are not at hand, and without them nothing"
                " is printed. Name their folder with --ward."
            )
        yield (
            Station(
                kept,
                here,
                workflows={},
                limits=library.limits(),
                required=library.required(),
                name=os.environ.get("CHECKLIST_STATION") or _usual(here.unit.stations, kept),
                clock=clock_at(path, ward, kept),
                new_id=new_id,
                credentials=pins_of(here.folder, practice=path.absolute().parent.name == PRACTICE),
            ),
            path,
        )


def _usual(stations: tuple[str, ...], trail: Trail) -> str:
    return stations[0] if stations else trail.origin.unit


def signed_in(station: Station, by: str) -> StaffMember:
    """The person who prints. Raises CannotGoOn without a code, NotHere for an unknown one."""
    if not by:
        raise CannotGoOn("It is recorded who prints. Say who you are with --as CODE.")
    try:
        return station.sign_in(by, asked_pin(station.ward, by))
    except (NotSignedIn, NotAllowed) as fault:
        raise CannotGoOn(f"Nothing was printed: {fault}.") from fault


def _nobody() -> StaffMember:
    return StaffMember(code="", name="")


@contextmanager
def clear() -> Iterator[None]:
    """Turn what stands in the way of printing into a sentence for the person."""
    try:
        yield
    except DoesNotFit as fault:
        way = f" Its option is --size '{fault.larger}'." if fault.larger else ""
        raise CannotGoOn(f"{fault}{way}") from fault
    except ReasonWanted as fault:
        raise CannotGoOn(f"{fault} Give it with --again.") from fault
    except (Unprintable, NoSuchStock, TurnTaken) as fault:
        raise CannotGoOn(str(fault)) from fault
    except (NotOffered, MovedOn) as fault:
        raise CannotGoOn(f"Nothing was printed: {fault}.") from fault


def put(out: Path, file: bytes, record: Callable[[], object]) -> None:
    """Write a file where none is, and record it: first the bytes, then the entry, then the name.

    So no print stands under its name that is not on record. Raises CannotGoOn.
    """
    try:
        with out.open("xb"):  # takes the name, so that nothing is ever written over
            pass
    except FileExistsError:
        raise CannotGoOn(
            f"{out} is there already. Nothing was printed; take another name."
        ) from None
    except OSError as fault:
        raise CannotGoOn(
            f"{out} cannot be written ({fault.strerror}). Nothing was printed."
        ) from fault
    try:
        _filled(out, file, record)
    except BaseException as fault:
        out.unlink(missing_ok=True)
        if not isinstance(fault, OSError):
            raise
        raise CannotGoOn(
            f"{out} cannot be written ({fault.strerror}). If `checklist show` says that it was"
            " printed, print one more with --again not_printed."
        ) from fault


def _filled(out: Path, file: bytes, record: Callable[[], object]) -> None:
    handle, beside = tempfile.mkstemp(dir=out.parent, prefix=".printing-")
    try:
        with os.fdopen(handle, "wb") as there:
            there.write(file)
            there.flush()
            os.fsync(there.fileno())
        record()
        Path(beside).replace(out)
    finally:
        Path(beside).unlink(missing_ok=True)


def suffix_of(out: Path, known: tuple[str, ...]) -> str:
    suffix = out.suffix.removeprefix(".").lower()
    if suffix not in known:
        raise CannotGoOn(f"{out}: a file is wanted that ends in .{', .'.join(known)}.")
    return suffix


def _word(option: str, text: str, kind: type[_Word]) -> _Word | None:
    if not text:
        return None
    if text not in set(kind):
        raise CannotGoOn(f"{option} {text}: write {_listed(tuple(kind))}.")
    return kind(text)


def _listed(words: tuple[object, ...]) -> str:
    return f"{', '.join(map(str, words[:-1]))} or {words[-1]}"


def say(text: str) -> None:
    typer.echo(harmless(text))
