"""The page of test symbols as a file, and what is known of the scanners of a ward."""

from __future__ import annotations

from pathlib import Path

import typer

from checklist import library
from checklist.faces.paper import put, suffix_of
from checklist.faces.saying import harmless
from checklist.faces.workplace import scanners_of
from checklist.intake.scanner_file import said_separator
from checklist.intake.ward import load_ward
from checklist.interop.scanner import GS, Scanner
from checklist.interop.try_out import PAGE
from checklist.printing.scan_page import scan_page


def print_page(out: Path) -> None:
    """Write the page where no file is. Raises CannotGoOn, NeedsExtra."""
    suffix_of(out, ("pdf",))
    put(out, scan_page(), lambda: None)
    typer.echo(harmless(f"{len(PAGE)} test symbols: {out}, A4"))
    typer.echo("Print at 100 %, never scaled to the page.")
    typer.echo("next: checklist scanner try --as CODE")


def show_known(ward: Path | None, *, as_json: bool) -> None:
    """Tell of each station of the ward what its scanner does. Raises Faults, ScannerFault."""
    unit, kept = load_ward(ward or library.folder("demo_db")).unit, scanners_of(ward)
    found = {name: kept.of(name) for name in unit.stations or (unit.code,)}
    if as_json:
        from json import dumps

        typer.echo(dumps({"stations": {name: _data(one) for name, one in found.items()}}))
        return
    for name, one in found.items():
        if one.tried:
            typer.echo(
                harmless(f"{name}: tried {one.tried_at} by {one.by}. {'; '.join(said(one))}.")
            )
        else:
            typer.echo(harmless(f"{name}: not tried yet. A lot in doubt is asked for by hand."))


def said(one: Scanner) -> list[str]:
    """What a scanner does, in a few words each."""
    match one.separator:
        case None:
            separator = "separator not known"
        case "":
            separator = "separator lost"
        case "\x1d":
            separator = "separator sent"
        case _:
            separator = f"separator sent as {one.separator}"
    return [
        f"prefix {one.prefix.value}", separator, f"letters {one.letters.value}",
        f"line end {one.ending.value}",
    ]  # fmt: skip


def _data(one: Scanner) -> dict[str, object]:
    return {
        "tried": one.tried,
        "tried_at": one.tried_at,
        "by": one.by,
        "prefix": one.prefix.value,
        "separator": said_separator(one),
        "stand_in": bool(one.separator) and one.separator != GS,
        "letters": one.letters.value,
        "ending": one.ending.value,
    }
