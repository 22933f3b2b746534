"""Erasing what names a person: the sealed texts, their bytes, and a list of where else to look."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import AsOption, TrailOption, TrailsWardOption

if TYPE_CHECKING:
    from checklist.faces.errand import Errand
    from checklist.intake.ward import Ward
    from checklist.trail import Trail

app = typer.Typer(rich_markup_mode=None, add_completion=False)

GROUNDS = {
    "asked": "the person asked for it, and nothing speaks against it",
    "time": "the time for which it is kept has passed",
    "order": "a court or an authority ordered it",
    "mistake": "it should never have been entered here",
}
"""By what ground something is erased. Whether one holds is the site's to judge."""
TRIES = 5
"""How often texts that were sealed meanwhile are looked for again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Erased:
    """What came of an erasure.

    `entry` is the number of the last entry about it; `texts` how many were erased; `left` the
    number of those that stand in entries too, `files` other files that name the person.
    """

    entry: int
    texts: int
    left: int
    files: tuple[Path, ...]


@app.command()
def erase(
    code: Annotated[str, typer.Argument(metavar="CODE", help="A patient's or a person's code.")],
    ground: Annotated[
        str, typer.Option("--ground", metavar="WORD", help=f"{', '.join(GROUNDS)}.")
    ] = "",
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    by: AsOption = "",
) -> None:
    """Erase what names a person from the trail; the entries stay, and stay verifiable.

    It cannot be taken back. That it was done, by whom and why is recorded; what was erased never
    is. Exit code 1 when something is left elsewhere that this program cannot erase.
    """
    from checklist.faces.leaving import DONE, WANTING, told

    with told():
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import quoted, trail_to_read

        path = trail_to_read(trail, ward)
        done = erased(path, ward, code, ground=ground, by=by)
        typer.echo(harmless(f"{code}: {done.texts} texts erased from {path}, entry {done.entry}"))
        typer.echo("No byte of them is left in the file, its free pages or its log.")
        if done.left:
            typer.echo(
                f"{done.left} of them stand in entries or definitions as well, which are never"
                " changed."
            )
        for file in done.files:
            typer.echo(harmless(f"still names them, and is not changed from here: {file}"))
        typer.echo(f"next: checklist trail verify --trail {quoted(path)}")
    raise typer.Exit(WANTING if done.left or done.files else DONE)


def erased(path: Path, folder: Path | None, code: str, *, ground: str, by: str) -> Erased:
    """Erase what is sealed about a patient or a member of staff, in the name of `by`.

    Raises CannotGoOn for an unknown ground, while a preparation for the patient is open, and for
    the ground "time" before the unit's years have passed.
    """
    from checklist.credential import FILE, CredentialFile
    from checklist.faces.errand import errand
    from checklist.faces.leaving import CannotGoOn
    from checklist.permission import Action
    from checklist.trail_erasing import scrubbed

    around = folder or path.absolute().parent
    if ground not in GROUNDS:
        known = "; ".join(f"{word}: {said}" for word, said in GROUNDS.items())
        raise CannotGoOn(f"Give the ground with --ground. {known}.")
    gone: list[str] = []
    with errand(path, folder, by, Action.ERASE) as here:
        names = _identifiers(here.ward, code)
        _free_to_go(here, code, ground)
        copies = _copies(here.trail)
        entry = 0
        for _ in range(TRIES):
            found = here.trail.sealed_about(code, names)
            if entry and not found:
                break
            gone += [one.text for one in found]
            references = [one.reference for one in found]
            body = {"person": code, "ground": ground, "references": references}
            entry = here.record("erased", body, erasing=references).seq
        CredentialFile(around / FILE).forget(code)
    left = scrubbed(path, dict.fromkeys([*gone, *names]))
    return Erased(
        entry=entry,
        texts=len(gone),
        left=len(left),
        files=tuple(_naming(around, copies, [*names, *gone])),
    )


def _identifiers(ward: Ward, code: str) -> tuple[str, ...]:
    """What names a person in this ward's files; a birth date alone names nobody."""
    if (patient := ward.patients.get(code)) is not None:
        return (patient.name, patient.record_number, *patient.band_numbers)
    if (person := ward.staff.get(code)) is not None:
        return tuple(one for one in (person.name, person.badge) if one)
    return ()


def _free_to_go(here: Errand, code: str, ground: str) -> None:
    from datetime import date

    from checklist import codec
    from checklist.faces.leaving import CannotGoOn
    from checklist.retention import kept_until

    last: date | None = None
    under_way = {one.id for one in here.trail.open_preparations()}
    for one in here.trail.preparations():
        opening = here.trail.of(one.id)[0].event
        if codec.order_in(opening.body["order"]).patient != code:
            continue
        last = max(last or one.last_at.date(), one.last_at.date())
        if one.id in under_way:
            raise CannotGoOn(
                f"Preparation {one.id} for {code} is still open. End it first; nothing was erased."
            )
    if ground == "time" and last is not None:
        until = kept_until(last, here.ward.unit.keep_years)
        if here.clock().date() < until:
            raise CannotGoOn(
                f"What is kept about {code} is kept until {until.isoformat()}. Nothing was erased."
                " Where another ground holds, name it."
            )


def _copies(trail: Trail) -> list[Path]:
    """The backups and older forms that the trail knows of."""
    found = []
    for entry in trail.acts(("backed_up", "migrated")):
        body = entry.event.body
        found.append(Path(body["file"]) if "file" in body else trail.path.with_name(body["copy"]))
    return list(dict.fromkeys(found))


def _naming(around: Path, copies: Sequence[Path], names: Sequence[str]) -> Iterator[Path]:
    """The backups and the ward's files in which one of the names still stands."""
    from checklist.trail_erasing import standing

    ours = [one for one in sorted(around.glob("*")) if one.suffix in (".toml", ".json", ".csv")]
    for file in (*copies, *ours):
        if file.is_file() and standing(file, names):
            yield file
