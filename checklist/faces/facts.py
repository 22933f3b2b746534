"""Commands on facts: what the trails say, as tables for analysis, apart from the trails."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import FactsOption

app = typer.Typer(
    help="Bring trails over into tables for analysis.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


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


@app.command()
def harm(
    preparation: Annotated[str, typer.Argument(metavar="ID", help="The preparation.")],
    letter: Annotated[str, typer.Argument(metavar="LETTER", help="A to I (NCC MERP index).")],
    by: Annotated[str, typer.Option("--as", metavar="CODE", help="Your staff code.")],
    because: Annotated[str, typer.Option("--because", help="Why, without names.")],
    facts: FactsOption = Path("facts"),
) -> None:
    """Enter what harm there was, as a person judged it. A later letter takes its place."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import harm as entered

        entered(facts, preparation, letter, by, because)


@app.command("before-after")
def before_after(
    day: Annotated[str, typer.Argument(metavar="DAY", help="The day of the change, 2026-07-01.")],
    facts: FactsOption = Path("facts"),
    unit: Annotated[str, typer.Option("--unit", help="Of one unit.")] = "",
) -> None:
    """Compare the rate of refusals before a day with that from it on (question 4)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import before_after as compared

        compared(facts, day, unit)


@app.command()
def gaps(
    reason: Annotated[
        list[str], typer.Argument(metavar="REASON...", help="Reason codes of one kind of event.")
    ],
    facts: FactsOption = Path("facts"),
    unit: Annotated[str, typer.Option("--unit", help="Of one unit.")] = "",
    ids: Annotated[bool, typer.Option("--ids", help="Each event with its gap.")] = False,
) -> None:
    """Count the preparations between rare refusals, and since the last (questions 11, 12)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import gaps as counted

        counted(facts, reason, unit, ids=ids)


@app.command("audit-size")
def audit_size(
    expected: Annotated[
        float, typer.Argument(metavar="SHARE", help="The share thought likely, 0.05.")
    ],
    half_width: Annotated[
        float, typer.Option("--within", metavar="SHARE", help="Wanted to be known within, 0.03.")
    ] = 0.03,
) -> None:
    """Say how many preparations to audit by observation (question 28)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import audit_size as sized

        sized(expected, half_width)


@app.command()
def reports(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Ids of reported preparations, one a line.")
    ],
    facts: FactsOption = Path("facts"),
) -> None:
    """Compare near misses with incident reports (question 21)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import reports as compared

        compared(facts, file)


@app.command()
def judged(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Lines of: id, a comma, right or not right.")
    ],
) -> None:
    """Say what share of a sample of refusals people judged to be right (question 23)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.worked_out import judged as counted

        counted(file)
