"""Commands on scanners: a page of test symbols, the try-out of a station, pictures read."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import (
    AsOption,
    JsonOption,
    StationOption,
    TrailOption,
    WardOption,
)

app = typer.Typer(
    help="Try out the scanner of a station, and read codes from pictures.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def scanner() -> None:
    """Try out the scanner of a station, and read codes from pictures."""


@app.command()
def page(out: Annotated[Path, typer.Argument(metavar="OUT", help="The file: .pdf.")]) -> None:
    """Print the page of test symbols for a try-out."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.scanner_page import print_page

        print_page(out)


@app.command("try")
def try_(
    ward: WardOption = None,
    trail: TrailOption = None,
    station: StationOption = "",
    by: AsOption = "",
) -> None:
    """Scan the test symbols and keep what the scanner of this station does with them.

    It is recorded, and from then on preparations at this station go by it.

    Exit code: 0 lots can be taken from codes, 1 something is to be mended first.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.scanner_trying import try_out

        code = try_out(ward=ward, trail=trail, station=station, by=by)
    raise typer.Exit(code)


@app.command()
def show(ward: WardOption = None, json: JsonOption = False) -> None:
    """Show what is known of the scanner of each station."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.scanner_page import show_known

        show_known(ward, as_json=json)


@app.command()
def read(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Pictures with codes.")],
    json: JsonOption = False,
) -> None:
    """Read every code in pictures and show it field by field.

    Exit code: 0 all were read, 1 a picture held no code, or one that cannot be used.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.picture_reading import read_files

        code = read_files(files, as_json=json)
    raise typer.Exit(code)
