"""Commands that close a trail and begin the next one, and that dispose of trails past their time.

A trail is disposed of as one whole closed file. To take single entries out would break its chain,
and what was left could no longer be told from a trail that was tampered with.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import AsOption, JsonOption, TrailOption, TrailsWardOption

if TYPE_CHECKING:
    from checklist.trail import Trail

app = typer.Typer(rich_markup_mode=None, add_completion=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A trail file in a folder: its trail's id, its entries, and why it must stay, "" if it may go.

    `first` and `last` are the days of its first and its newest entry, "" for an empty trail.
    """

    file: Path
    trail: str
    entries: int
    digest: str
    first: str
    last: str
    stays: str


@app.command()
def archive(trail: TrailOption = None, ward: TrailsWardOption = None, by: AsOption = "") -> None:
    """Close the trail for good, and begin the next one in its place.

    Every preparation has come to its end before. The closed file takes nothing more; the next
    trail names it and its last entry in its own first.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import trail_to_read

        old, new = archived(trail_to_read(trail, ward), ward, by=by)
        typer.echo(harmless(f"closed for good: {old}"))
        typer.echo(harmless(f"goes on in: {new}"))
        typer.echo("next: checklist trail backup FILE, of both")


def archived(path: Path, folder: Path | None, *, by: str) -> tuple[Path, Path]:
    """Close a trail and begin the next; gives the closed file and the new one.

    What a stop in the middle leaves undone is done when it is called again.
    """
    from checklist.faces.errand import errand
    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.workplace import new_id, real_clock
    from checklist.observation import Channel
    from checklist.permission import Action
    from checklist.preparation import Act
    from checklist.trail import Trail
    from checklist.trail_file import sync

    coming = path.with_name(f"{path.name}.next")
    if coming.exists() and not path.exists():
        coming.rename(path)
        return _last_archive(path), path
    with Trail.open(path, read_only=True) as kept:
        closed = is_closed(kept)
    if not closed:
        with errand(path, folder, by, Action.KEEP_TRAIL) as here:
            if under_way := here.trail.open_preparations():
                names = ", ".join(one.id for one in under_way[:5])
                raise CannotGoOn(
                    f"{len(under_way)} preparations are still open: {names}. Nothing was closed."
                )
            here.record("archived", {"successor": new_id()})
    with Trail.open(path, read_only=True) as kept:
        origin, head = kept.origin, kept.head()
        (last,) = kept.since(head.seq - 1)
    aside = path.with_name(f"{path.stem}-{last.event.at:%Y%m%d}-{origin.id[:8]}{path.suffix}")
    if not coming.exists():
        Trail.create(
            coming, trail_id=last.event.body["successor"], unit=origin.unit, at=real_clock()
        ).close()
    body = {"trail": origin.id, "entries": str(head.seq), "digest": head.digest.hex()}
    with Trail.open(coming) as trail:
        if not trail.head().seq:
            trail.record(
                Act(
                    id=new_id(),
                    kind="continued",
                    at=real_clock(),
                    by=last.event.by,
                    station="",
                    channel=Channel.ENGINE.value,
                    body={**body, "file": aside.name},
                )
            )
    _set_aside(path, aside)
    coming.rename(path)
    sync(path.absolute().parent)
    return aside, path


def _last_archive(path: Path) -> Path:
    """The closed file that a trail goes on from."""
    from checklist.trail import Trail

    with Trail.open(path, read_only=True) as trail:
        return path.with_name(trail.of("")[0].event.body["file"])


@app.command("disposal")
def disposal(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of closed trails.")],
    ward: TrailsWardOption = None,
    json: JsonOption = False,
) -> None:
    """List the trails of a folder: which may go, which must stay, and why. Nothing is changed."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.saying import harmless

        found = list(plan(folder, years(ward or folder)))
        if json:
            from dataclasses import asdict
            from json import dumps

            rows = [{**asdict(one), "file": str(one.file)} for one in found]
            typer.echo(dumps({"folder": str(folder), "trails": rows}))
            return
        for one in found:
            state = one.stays or "It may go: checklist trail dispose FILE."
            typer.echo(harmless(f"{one.file.name}: {one.entries} entries to {one.last}. {state}"))
        typer.echo(f"{sum(not one.stays for one in found)} of {len(found)} may go")


@app.command()
def dispose(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A closed trail past its time.")],
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    by: AsOption = "",
) -> None:
    """Remove a closed trail whose time has passed; that it was, is recorded in the present trail.

    Any other is refused. Its backups are to be removed too; its signed heads stay.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.faces.leaving import CannotGoOn
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import trail_to_read
        from checklist.permission import Action
        from checklist.trail_copying import sha_256
        from checklist.trail_file import companions, sync

        path = trail_to_read(trail, ward)
        if file.exists() and path.exists() and file.samefile(path):
            raise CannotGoOn(f"{file} is the trail in use. Name a closed one.")
        with errand(path, ward, by, Action.KEEP_TRAIL) as here:
            one = looked_at(file, here.ward.unit.keep_years)
            if one.stays:
                raise CannotGoOn(f"{file} stays. {one.stays} Nothing was removed.")
            here.record(
                "disposed",
                {
                    "trail": one.trail,
                    "entries": str(one.entries),
                    "digest": one.digest,
                    "first": one.first,
                    "last": one.last,
                    "years": str(here.ward.unit.keep_years),
                    "sha_256": sha_256(file),
                },
            )
        for each in (*companions(file), file):
            each.unlink(missing_ok=True)
        sync(file.absolute().parent)
        typer.echo(harmless(f"removed: {file}, {one.entries} entries, {one.first} to {one.last}"))
        typer.echo("Remove its backups too. What it held can no longer be shown to anybody.")


def years(folder: Path) -> int:
    """For how many years the ward in this folder keeps a closed trail."""
    from checklist.intake.ward import load_ward

    return load_ward(folder).unit.keep_years


def plan(folder: Path, keep: int) -> Iterator[Found]:
    """Every trail file in a folder, by name, with why it must stay."""
    from checklist.faces.leaving import CannotGoOn
    from checklist.trail import NotATrail

    if not folder.is_dir():
        raise CannotGoOn(f"There is no folder {folder}. Name the one that holds the trails.")
    for file in sorted(folder.iterdir()):
        if not file.is_file() or file.name.endswith(("-wal", "-shm", "-journal")):
            continue
        try:
            yield looked_at(file, keep)
        except NotATrail:
            continue


def looked_at(file: Path, keep: int) -> Found:
    """A trail file as far as its keeping goes. Raises NotATrail for any other file."""
    from checklist.faces.workplace import real_clock
    from checklist.retention import Kept, must_stay
    from checklist.trail import Trail

    found = Trail.examine(file)
    closed, days, trail_id = False, [], ""
    if found.whole and found.head is not None:
        with Trail.open(file, read_only=True) as kept:
            closed, trail_id = is_closed(kept), kept.origin.id
            days = [entry.event.at.date() for entry in kept.since(0)]
    last = max(days, default=None)
    one = Kept(closed=closed, whole=found.whole, last=last)
    return Found(
        file=file,
        trail=trail_id,
        entries=found.entries,
        digest=found.head.digest.hex() if found.head else "",
        first=min(days).isoformat() if days else "",
        last=last.isoformat() if last else "",
        stays=must_stay(one, keep, real_clock().date()),
    )


def is_closed(trail: Trail) -> bool:
    """Whether the last entry of a trail closes it for good."""
    from checklist.trail_writing import ARCHIVED

    head = trail.head().seq
    return any(entry.event.kind == ARCHIVED for entry in trail.since(head - 1) if head)


def _set_aside(path: Path, aside: Path) -> None:
    from checklist.trail import NotATrail, TrailBusy
    from checklist.trail_erasing import folded
    from checklist.trail_file import companions, sync

    if aside.exists():
        raise NotATrail(f"There is already a file {aside}. It was left as it is. Move it first.")
    folded(path)
    if any(each.exists() for each in companions(path)):
        raise TrailBusy(
            f"Another program has {path.name} open. Close it, and call this once more.",
            recorded=True,
        )
    heads = path.with_name(f"{path.name}.checkpoints")
    path.rename(aside)
    aside.chmod(0o400)
    if heads.is_dir():
        heads.rename(aside.with_name(f"{aside.name}.checkpoints"))
    sync(path.absolute().parent)
