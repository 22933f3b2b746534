"""Commands on facts: what the trails say, as tables for analysis, apart from the trails."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Bring trails over into tables for analysis.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)

FactsOption = Annotated[Path, typer.Option("--facts", metavar="DIR", help="The folder of facts.")]


@app.callback()
def facts() -> None:
    """Bring trails over into tables for analysis."""


@app.command()
def export(
    trails: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[TRAIL]...", help="The trail files; left out, the ward's own."),
    ] = None,
    into: FactsOption = Path("facts"),
    ward: Annotated[
        Path | None,
        typer.Option("--ward", metavar="DIR", help="A ward's folder: drug classes, its trail."),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Bring a folder of facts up to date with one or more trails.

    Only what is new is read, in short reads; each entry is checked against the one before it.
    Running it again changes nothing. Exit code 3 when a trail is not as it was recorded.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.exporting import export as exported
        from checklist.faces.workplace import trail_to_read

        exported(trails or [trail_to_read(None, ward)], into, ward, quiet=quiet)


@app.command()
def verify(facts: FactsOption = Path("facts")) -> None:
    """Look whether every file of the facts is as it was written. Exit code 1 when one is not."""
    from checklist.faces.leaving import WANTING, told

    with told():
        from checklist.faces.exporting import verify as verified

        whole = verified(facts)
    if not whole:
        raise typer.Exit(WANTING)


@app.command()
def describe() -> None:
    """Print the tables and their columns."""
    from checklist.faces.exporting import describe as described

    described()


@app.command()
def sqlite(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new SQLite file.")],
    facts: FactsOption = Path("facts"),
) -> None:
    """Copy the facts into one SQLite file with the same tables and a view for each question.

    For small trails, and for looking around with a browser such as datasette; the trail itself is
    not in it.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.asking import copied
        from checklist.faces.workplace import quoted

        made = copied(facts, file)
    for name, kind in made.rows:
        typer.echo(f"{kind} {name}")
    typer.echo(f"next: datasette serve --immutable {quoted(file)}")
