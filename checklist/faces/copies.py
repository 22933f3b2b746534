"""Commands that look after a trail's file: back it up, bring it back, migrate it, look it over."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import AsOption, JsonOption, TrailOption, TrailsWardOption

app = typer.Typer(rich_markup_mode=None, add_completion=False)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file, on another disk.")],
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    by: AsOption = "",
) -> None:
    """Copy the trail into a new file while work goes on, and verify the copy.

    It holds everything that was recorded before, and its own entry. An existing file is never
    overwritten.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.faces.workplace import quoted, trail_to_read
        from checklist.permission import Action
        from checklist.trail_backup import backed_up
        from checklist.trail_file import vacant

        path = trail_to_read(trail, ward)
        vacant(file)
        with errand(path, ward, by, Action.KEEP_TRAIL) as here:
            here.record("backed_up", {"file": str(file.absolute())})
            copy = backed_up(path, file)
        typer.echo(f"backup: {quoted(copy.path)}")
        typer.echo(f"entries: {copy.head.seq}, verified; last digest {copy.head.digest.hex()}")
        typer.echo(f"size: {copy.size} bytes, SHA-256 {copy.sha_256}")
        typer.echo("Names and identifiers are in it too. Keep it where only the unit can read it.")
        typer.echo(f"next: checklist trail restore {quoted(copy.path)} FILE, as a drill")


@app.command()
def restore(
    backup: Annotated[Path, typer.Argument(metavar="BACKUP", help="The backup.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file to restore it into.")],
    trail: TrailOption = None,
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="FILE", help="A head that was kept elsewhere."),
    ] = None,
    key: Annotated[
        list[str] | None,
        typer.Option("--key", metavar="KEY", help="The public key for that head, or its file."),
    ] = None,
) -> None:
    """Bring a backup back at a new place, verify it, and say what was recorded after it.

    --trail is the trail that the backup was made of, as far as it is still there. Exit code 1
    when something was recorded after the backup; 3 when something is not as it was.
    """
    from checklist.faces.leaving import DONE, told

    with told():
        from checklist.faces.workplace import quoted
        from checklist.trail_backup import restored

        copy = restored(backup, file)
        typer.echo(f"restored: {quoted(copy.path)}")
        typer.echo(f"entries: {copy.head.seq}, verified; last digest {copy.head.digest.hex()}")
        code = DONE
        if trail is not None:
            code = max(code, _after(copy.path, trail))
        if against is not None:
            code = max(code, _beside(copy.path, against, key or ()))
        if trail is None and against is None:
            typer.echo(
                "What was recorded after the backup is not known here: name the old trail with"
                " --trail, or a head that was kept elsewhere with --against."
            )
        typer.echo(f"next: checklist trail verify --trail {quoted(copy.path)}")
    raise typer.Exit(code)


def _after(copy: Path, live: Path) -> int:
    """Say what a trail holds after the last entry of its copy."""
    from checklist.faces.leaving import DONE, WANTING
    from checklist.faces.saying import harmless
    from checklist.trail_backup import later

    since = later(copy, live)
    if not since.entries:
        typer.echo(f"Nothing was recorded in {harmless(str(live))} after the backup.")
        return DONE
    typer.echo(f"Not in the backup: {since.entries} later entries of {harmless(str(live))}:")
    for preparation, entries in since.preparations.items():
        what = f"preparation {preparation}" if preparation else "the place of work itself"
        typer.echo(harmless(f"  {entries:>5}  {what}"))
    return WANTING


def _beside(copy: Path, against: Path, key: Sequence[str]) -> int:
    """Say what a head kept elsewhere tells of a copy."""
    from checklist.anchor import Stored
    from checklist.faces.leaving import DAMAGED, DONE, WANTING, message
    from checklist.faces.notarial import comparisons, named_keys
    from checklist.note import origin_of

    stored = Stored(copy)
    one = next(comparisons(copy, stored, [against], named_keys(key)))
    size, held = one.head.size, stored.tree.size
    if one.head.origin == origin_of(stored.origin.id) and size > held:
        typer.echo(
            f"The head kept elsewhere is over {size} entries: {size - held} were recorded after the"
            " backup and are not in it. Enter them from the paper record, as late entries."
        )
        return WANTING
    if one.sentence:
        message(one.sentence)
        return DAMAGED
    typer.echo(f"The head kept elsewhere is over {size} entries, and the backup goes on from it.")
    return DONE


@app.command()
def migrate(trail: TrailOption = None, ward: TrailsWardOption = None, by: AsOption = "") -> None:
    """Bring a trail that an older version wrote to the present form; a copy of the old one stays.

    Every entry keeps its digest, and all is verified before and after.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.faces.leaving import CannotGoOn
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import trail_to_read
        from checklist.permission import Action
        from checklist.trail_forms import form_of, migrated
        from checklist.trail_schema import FORM

        path = trail_to_read(trail, ward)
        if not by:
            raise CannotGoOn("Who are you? This is recorded: give your staff code with --as.")
        before = form_of(path)
        copy = migrated(path)
        if copy is None:
            typer.echo(harmless(f"{path} has the present form, {FORM}; nothing was done."))
            return
        typer.echo(harmless(f"{path} now has form {FORM}; the old one is {copy}"))
        typer.echo("The old one holds names too: put it away once the new one has been backed up.")
        with errand(path, ward, by, Action.KEEP_TRAIL) as here:
            here.record("migrated", {"from": str(before), "to": str(FORM), "copy": copy.name})


@app.command()
def doctor(
    trail: TrailOption = None, ward: TrailsWardOption = None, json: JsonOption = False
) -> None:
    """Look the trail, its folder and this machine over, one line for each look.

    Exit code: 0 all is as expected, 1 something is to be done, 3 the trail is not as it was
    recorded.
    """
    from checklist.faces.leaving import DAMAGED, DONE, WANTING, told

    with told():
        from checklist.faces.notarial import heads_of, keys
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import real_clock, trail_to_read
        from checklist.trail import Trail
        from checklist.trail_doctor import looks, outside

        path = trail_to_read(trail, ward)
        found = list(looks(path, now=real_clock()))
        broken = any(one.what == "content" and not one.right for one in found)
        if not broken:
            with Trail.open(path, read_only=True) as kept:
                heads, entries = heads_of(path, kept.origin.id), kept.head().seq
            newest = heads.newest()
            found += outside(
                keys().folder / "device.pem",
                newest[1] if newest else None,
                behind=entries - (newest[0].size if newest else 0),
                now=real_clock(),
            )
        if json:
            from dataclasses import asdict
            from json import dumps

            data = [{**asdict(one), "right": one.right} for one in found]
            typer.echo(dumps({"trail": str(path), "looks": data}))
        else:
            for one in found:
                mark = "right  " if one.right else "TO DO  "
                line = f"{mark}{one.what}: {one.seen} (expected: {one.expected})"
                typer.echo(harmless(line if one.right else f"{line}. {one.do}"))
    wanting = WANTING if any(not one.right for one in found) else DONE
    raise typer.Exit(DAMAGED if broken else wanting)
