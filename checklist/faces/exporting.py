"""The export of trails into facts, as told at the terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import typer

from checklist import library
from checklist.faces.saying import harmless
from checklist.faces.workplace import quoted
from checklist.facts.export import Progress
from checklist.facts.export import export as export_trail
from checklist.facts.folder import Folder
from checklist.facts.row import TABLES, columns
from checklist.intake.ward import load_ward
from checklist.trail import Trail


def export(trails: Sequence[Path], into: Path, ward: Path | None, *, quiet: bool) -> None:
    """Bring a folder of facts up to date with trails, one after the other."""
    folder, classes = Folder(into), _classes(ward)
    giving = frozenset(library.required().giving)
    for path in trails:
        with Trail.open(path, read_only=True) as trail, progress(path.name, quiet=quiet) as told:
            done = export_trail(trail, folder, giving=giving, classes=classes, progress=told)
        typer.echo(
            harmless(
                f"{path.name}: {done.entries} entries read and checked, {done.ended} preparations"
                f" ended, {done.open} open; up to entry {done.through}, {done.digest[:12]}"
            )
        )
    typer.echo(harmless(f"facts: {into}"))
    typer.echo(f"next: checklist ask --facts {quoted(into)}")


def verify(into: Path) -> bool:
    """Say whether the files of a folder are as they were written."""
    folder = Folder(into)
    exported, faults = folder.exported(), folder.changed()
    for read in exported.trails.values():
        typer.echo(
            harmless(f"unit {read.unit}: trail read up to entry {read.through}, {read.digest}")
        )
    for fault in faults:
        typer.echo(harmless(fault), err=True)
    state = "as written" if not faults else "not as written; export anew into another folder"
    typer.echo(f"{len(exported.files)} files: {state}")
    return not faults


def describe() -> None:
    """Print the tables of facts with their columns."""
    for table in TABLES:
        typer.echo(table)
        for name, kind in columns(table).items():
            typer.echo(f"  {name:<16} {kind}")


def _classes(ward: Path | None) -> Mapping[str, str]:
    """Drug to drug class by the ward's formulary, the demonstration's where none is named."""
    formulary = load_ward(ward or library.folder("demo_db")).formulary
    return {name: drug.drug_class for name, drug in formulary.drugs.items()}


@contextmanager
def progress(what: str, *, quiet: bool) -> Iterator[Progress]:
    """A bar on stderr that a long job moves; nothing where stderr is no terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda _done, _all: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True, markup=False, highlight=False)
    shown = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Bar(*shown, console=console, transient=True) as bar:
        task = bar.add_task(harmless(what), total=None)
        yield lambda done, every: bar.update(task, completed=done, total=every)
