"""Where a chart goes: files by their ending, ids, or lines and a table at the terminal."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import typer

from checklist.drawing import spark
from checklist.drawing.origin import Origin
from checklist.drawing.plot import Plot
from checklist.drawing.series_plot import own_rules
from checklist.drawing.sheet import as_csv, as_xlsx, texts
from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import WIDEST, harmless, lines
from checklist.faces.workplace import real_clock
from checklist.facts.folder import Folder, Read
from checklist.review.chart import Chart
from checklist.trail import Trail

ENDINGS = (".svg", ".png", ".html", ".pdf", ".csv", ".xlsx")


def origins(facts: Path, trails: Sequence[Path], unit: str = "") -> tuple[Origin, ...]:
    """What the figures rest on: trails verified now, or what was checked when they were exported.

    A trail that is named must still hold the entry up to which the facts were read. Only trails of
    `unit` are told of, "" for all.
    """
    folder = Folder(facts)
    reads, changed = folder.exported().trails, folder.changed()
    if trails:
        seen = tuple(_verified(path, reads) for path in _files(trails))
        if changed:
            return tuple(replace(one, whole=False, trouble=changed[0]) for one in seen)
        return seen
    return tuple(
        Origin(
            trail=name[:12],
            unit=read.unit,
            entries=read.through,
            whole=not changed,
            trouble=changed[0] if changed else "",
            head_seq=read.through,
            head_digest=read.digest,
            verified_at=real_clock(),
            how="checked when brought over, facts as written",
        )
        for name, read in sorted(reads.items())
        if unit in ("", read.unit)
    )


def heads(trails: Sequence[Path]) -> tuple[Origin, ...]:
    """Trails verified now, with no facts between them and the figures."""
    return tuple(_verified(path, None) for path in trails)


def _files(trails: Sequence[Path]) -> list[Path]:
    found: list[Path] = []
    for path in trails:
        found += sorted(path.glob("*.db")) if path.is_dir() else [path]
    if not found:
        raise CannotGoOn(f"There is no trail in {trails[0]}.")
    return found


def _verified(path: Path, reads: dict[str, Read] | None) -> Origin:
    seen = Trail.examine(path)
    trouble = seen.first_break.sentence if seen.first_break else "; ".join(seen.faults)
    whole, unit, kept = seen.whole, "", ""
    if whole:
        with Trail.open(path, read_only=True) as trail:
            unit = trail.origin.unit
            read = reads.get(trail.origin.id) if reads is not None else None
            if reads is None:
                pass
            elif read is None:
                whole, trouble = False, "Its facts were not brought over."
            elif read.through:
                there = next(trail.since(read.through - 1), None)
                whole = there is not None and there.digest.hex() == read.digest
                kept = f"entry {read.through} of the facts"
                trouble = "" if whole else "The facts were read from another history."
    return Origin(
        trail=path.name,
        unit=unit or "an unknown unit",
        entries=seen.entries,
        whole=whole,
        trouble=trouble,
        head_seq=seen.head.seq if seen.head else 0,
        head_digest=seen.head.digest.hex() if seen.head else "",
        verified_at=real_clock(),
        kept=kept,
    )


def handed_out(plot: Plot, files: Sequence[Path], *, ids: bool) -> bool:
    """Print the ids or write the files that were asked for; False when there was neither."""
    if ids:
        typer.echo("mark\tpreparation")
        for group in plot.groups:
            for one in group.ids:
                typer.echo(f"{harmless(group.name)}\t{harmless(one)}")
    for file in files:
        write(plot, file)
        typer.echo(harmless(f"written: {file}"))
    if plot.stamp:
        typer.echo(harmless(plot.stamp), err=True)
    return ids or bool(files)


def write(plot: Plot, file: Path) -> None:
    """Write a plot in the form that the file's ending names. Raises CannotGoOn, NeedsExtra."""
    ending = file.suffix.lower()
    if ending not in ENDINGS:
        raise CannotGoOn(f"{file} should end in {', '.join(ENDINGS)}; nothing was written.")
    try:
        file.write_bytes(made(plot, ending))
    except OSError as fault:
        raise CannotGoOn(f"{file} cannot be written ({fault.strerror}).") from fault


def made(plot: Plot, ending: str) -> bytes:
    """A plot in the form of one of ENDINGS. Raises NeedsExtra."""
    from checklist.drawing import page, paper, picture

    if ending == ".svg":
        return picture.svg(plot).encode()
    if ending == ".png":
        return picture.png(plot)
    if ending == ".html":
        return page.page(plot).encode()
    if ending == ".csv":
        return as_csv(plot.sheet).encode()
    return as_xlsx([plot.sheet]) if ending == ".xlsx" else paper.chart(plot, real_clock())


def tell_series(plot: Plot, drawn: Chart, *, scale: float) -> None:
    """A series in lines: a small picture of it, the figures, what to know."""
    width = _width()
    _say(plot.title, width)
    for line in plot.about:
        _say(line, width)
    values = [mark.value * scale for mark in drawn.marks]
    plain = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
    typer.echo()
    for start in range(0, len(values), width - 4):
        part = values[start : start + width - 4]
        typer.echo(f"  {spark.line(part, plain=plain)}")
        marks = "".join(
            "*" if own_rules(m) else " " for m in drawn.marks[start : start + width - 4]
        )
        typer.echo(f"  {marks}".rstrip())
    typer.echo()
    _table(plot, drop=("left out of the line",))
    _notes(plot, width)


def tell(plot: Plot, *, bars: bool = False) -> None:
    """A drawing in lines: its figures as a table, and what to know."""
    width = _width()
    _say(plot.title, width)
    for line in plot.about:
        _say(line, width)
    typer.echo()
    if bars:
        most = max((bar.high for bar in plot.bars), default=0.0)
        names = list(plot.sheet.rows)
        room = max(len(str(row[0])) for row in names)
        plain = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
        for row, one in zip(names, plot.bars, strict=False):
            drawn = spark.bar(one.high, most, max(width - room - 10, 10), plain=plain)
            typer.echo(harmless(f"{row[0]!s:<{room}}  {one.words:>5} {drawn}"))
        typer.echo()
    _table(plot)
    _notes(plot, width)


def _width() -> int:
    return min(shutil.get_terminal_size().columns, WIDEST)


def _say(text: str, width: int) -> None:
    for line in lines(text, width):
        typer.echo(line)


def _notes(plot: Plot, width: int) -> None:
    typer.echo()
    for note in (*plot.notes, *plot.foot):
        for line in lines(note, width, first="- ", rest="  "):
            typer.echo(line)
    if plot.stamp:
        _say(plot.stamp, width)


def _table(plot: Plot, drop: Sequence[str] = ()) -> None:
    """The sheet: a table for a person, tab-separated where stdout is no terminal."""
    kept = [place for place, name in enumerate(plot.sheet.columns) if name not in drop]
    columns = [plot.sheet.columns[place] for place in kept]
    rows = [[row[place] for place in kept] for row in texts(plot.sheet)]
    if not sys.stdout.isatty():
        for row in (columns, *rows):
            typer.echo("\t".join(harmless(cell) for cell in row))
        return
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    for place, name in zip(kept, columns, strict=True):
        words = any(isinstance(row[place], str) for row in plot.sheet.rows)
        table.add_column(Text(name), justify="left" if words else "right")
    for row in rows:
        table.add_row(*(Text(harmless(cell)) for cell in row))
    Console(markup=False, emoji=False, highlight=False).print(table)
