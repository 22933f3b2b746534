"""The commands that print: the label of a dose, and the record of a preparation."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import TrailOption, WardOption

app = typer.Typer(rich_markup_mode=None, add_completion=False)


@app.command()
def label(
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The file: .pdf, .svg or .png.")
    ],
    preparation: Annotated[
        str, typer.Argument(metavar="[ID]", help="Its id, the beginning of it, or `last`.")
    ] = "last",
    by: Annotated[str, typer.Option("--as", metavar="CODE", help="Your staff code.")] = "",
    size: Annotated[
        str, typer.Option("--size", metavar="SIZE", help="Like '60 x 30 mm'; else the unit's.")
    ] = "",
    form: Annotated[
        str, typer.Option("--form", metavar="FORM", help="flat or flag; else by the syringe.")
    ] = "",
    symbol: Annotated[
        str, typer.Option("--symbol", metavar="KIND", help="datamatrix or qr; else the unit's.")
    ] = "",
    vial: Annotated[
        bool, typer.Option("--vial", help="The label of a vial that stays in use.")
    ] = False,
    again: Annotated[
        str, typer.Option("--again", metavar="REASON", help="Why one more label is printed.")
    ] = "",
    specimen: Annotated[
        bool, typer.Option("--specimen", help="To try a printer: no patient, not recorded.")
    ] = False,
    dpi: Annotated[
        int, typer.Option("--dpi", metavar="DOTS", help="Of a .png: 203, 300 or 600.")
    ] = 203,
    trail: TrailOption = None,
    ward: WardOption = None,
) -> None:
    """Print the label of a drawn dose, or of a vial, at its real size into a file.

    Printing is recorded. What does not fit is not printed.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.paper import print_label

        print_label(
            preparation,
            out,
            by=by,
            words={"size": size, "form": form, "symbol": symbol, "again": again},
            vial=vial,
            specimen=specimen,
            dpi=dpi,
            trail=trail,
            ward=ward,
        )


@app.command()
def record(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The file: .pdf.")],
    preparation: Annotated[
        str,
        typer.Argument(
            metavar="[ID]", help="Its id, the beginning of it, `last`, or a label's code."
        ),
    ] = "last",
    names: Annotated[
        bool, typer.Option("--names", help="Print names as well; that it is done is recorded.")
    ] = False,
    by: Annotated[
        str, typer.Option("--as", metavar="CODE", help="Your staff code, with --names.")
    ] = "",
    checkpoint: Annotated[
        Path | None,
        typer.Option(
            "--checkpoint", metavar="FILE", help="A signed checkpoint; else the newest one kept."
        ),
    ] = None,
    key: Annotated[
        list[str] | None,
        typer.Option("--key", metavar="KEY", help="A key that may have signed it, or its file."),
    ] = None,
    trail: TrailOption = None,
    ward: WardOption = None,
) -> None:
    """Print the record of a preparation on A4, with its proof under a signed checkpoint."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.sheet import print_record

        print_record(
            preparation,
            out,
            by=by,
            names=names,
            checkpoint=checkpoint,
            keys=key or (),
            trail=trail,
            ward=ward,
        )
