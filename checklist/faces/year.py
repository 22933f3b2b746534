"""Commands on a year of an invented hospital: play it, and see what can be found in it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Play a year of an invented hospital, to practise with its numbers.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def year() -> None:
    """Play a year of an invented hospital, to practise with its numbers."""


@app.command()
def make(
    into: Annotated[Path, typer.Argument(metavar="DIR", help="A new folder.")],
    preparations: Annotated[
        int, typer.Option("--preparations", min=36, max=1_000_000, help="How many.")
    ] = 5_000,
    seed: Annotated[int, typer.Option("--seed", help="The same seed, the same year.")] = 1,
    processes: Annotated[
        int, typer.Option("--processes", min=1, max=64, help="At work side by side.")
    ] = 1,
    stable: Annotated[
        bool, typer.Option("--stable", help="Plant nothing: a year without change.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No progress bar.")] = False,
) -> None:
    """Play the year through the real engine: one trail for each unit and month.

    One that was cut short is gone on with. All of it is invented.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.year_told import make as made

        made(
            into, preparations=preparations, seed=seed, processes=processes, stable=stable,
            quiet=quiet,
        )  # fmt: skip


@app.command()
def find(
    made: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of the year.")],
    facts: Annotated[Path | None, typer.Option("--facts", metavar="DIR", help="Its facts.")] = None,
) -> None:
    """Say whether what was planted in the year is found, and after how many weeks."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.year_told import find as found

        found(made, facts or made / "facts")
