"""Commands at the edge to a health record: orders in, and what became of them out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import JsonOption, TrailOption, WardOption

app = typer.Typer(
    help="Take orders from a health record, and give back what became of them.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def orders() -> None:
    """Take orders from a health record, and give back what became of them."""


@app.command()
def take(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="A FHIR Bundle in JSON, or one HL7 v2 message."),
    ],
    ward: Annotated[
        Path | None,
        typer.Option("--ward", metavar="DIR", help="The ward (default: that of --into, or demo)."),
    ] = None,
    into: Annotated[
        Path | None,
        typer.Option("--into", metavar="DIR", help="Write orders.json there; left out, only look."),
    ] = None,
    leave_out: Annotated[
        list[str] | None,
        typer.Option("--leave-out", metavar="ID", help="An order to leave out, with its doubts."),
    ] = None,
    drop: Annotated[
        list[str] | None,
        typer.Option("--drop", metavar="ID", help="An order here that the file lacks, to drop."),
    ] = None,
    release: Annotated[
        str, typer.Option("--release", metavar="R4|R5", help="The release of FHIR of the file.")
    ] = "R4",
    json: JsonOption = False,
) -> None:
    """Look at the orders in a file, or take them into a ward's orders.json.

    Every doubt is told with its place in the file, and then nothing is taken. Orders that the file
    does not hold stay. The orders.json before is kept under a name of its own.

    Exit code: 0 looked at or taken, 2 something cannot be taken; nothing was written.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.order_taking import take as taken

        taken(
            file,
            ward=ward,
            into=into,
            leave_out=tuple(leave_out or ()),
            drop=tuple(drop or ()),
            as_json=json,
            release=release,
        )


@app.command("give-back")
def give_back(
    preparation: Annotated[
        str, typer.Argument(metavar="ID", help="Its id, the beginning of it, or `last`.")
    ],
    trail: TrailOption = None,
    ward: WardOption = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="A new file; left out, it is printed."),
    ] = None,
    release: Annotated[
        str, typer.Option("--release", metavar="R4|R5", help="The release of FHIR.")
    ] = "R4",
    names: Annotated[
        bool,
        typer.Option("--names", help="Names and identifiers as well; that you asked is recorded."),
    ] = False,
    by: Annotated[
        str, typer.Option("--as", metavar="CODE", help="Your staff code, with --names.")
    ] = "",
) -> None:
    """Give back a closed preparation as a FHIR Bundle: administration, provenance, audit event.

    Exit code: 0 given back, 2 it cannot be given back.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.giving_back import give_back as given

        given(preparation, trail=trail, ward=ward, out=out, release=release, names=names, by=by)
