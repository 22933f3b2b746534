"""Pictures of labels read at the terminal: each code by itself, field by field."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from checklist.faces.leaving import DONE, WANTING
from checklist.faces.saying import WIDEST, lines
from checklist.faces.workplace import real_clock
from checklist.interop import gs1
from checklist.interop.picture import CodeSeen, PictureFault, codes_in
from checklist.interop.scanner import SOUND
from checklist.timing import said_date

TITLES = {
    "01": "item number (GTIN)",
    "10": "lot",
    "11": "made on",
    "15": "best before",
    "17": "expiry",
    "20": "variant",
    "21": "serial number",
    "30": "count",
    "710": "national number, Germany (PZN)",
    "711": "national number, France (CIP)",
    "712": "national number, Spain (CN)",
    "713": "national number, Brazil",
    "714": "national number, Portugal (AIM)",
    "715": "national number, USA (NDC)",
    "716": "national number, Italy (AIC)",
    "7003": "expiry with its time",
    "8017": "staff number (GSRN)",
    "8018": "patient number (GSRN)",
}
"""What the fields are called here; the names are those of the GS1 application identifiers."""


def read_files(files: Sequence[Path], *, as_json: bool) -> int:
    """Show every code of every picture; gives the exit code. Raises NeedsExtra."""
    told = [_file(path) for path in files]
    if as_json:
        from json import dumps

        typer.echo(dumps({"files": told}))
    else:
        for one in told:
            _say(one)
    whole = all(one["codes"] and all(not code["fault"] for code in one["codes"]) for one in told)
    return DONE if whole else WANTING


def _file(path: Path) -> dict[str, Any]:
    try:
        return {"file": str(path), "fault": "", "codes": [_code(one) for one in codes_in(path)]}
    except PictureFault as fault:
        return {"file": str(path), "fault": str(fault), "codes": []}


def _code(seen: CodeSeen) -> dict[str, Any]:
    told: dict[str, Any] = {"kind": seen.kind, "raw": seen.raw, "fields": {}, "fault": ""}
    try:
        scan = gs1.scan(seen.raw, today=real_clock().date(), scanner=SOUND)
    except gs1.CodeFault as fault:
        return {**told, "fault": str(fault)}
    fields = dict(scan.fields)
    if scan.product and scan.product.expiry and "17" in fields:
        fields["17"] = f"{fields['17']}, {said_date(scan.product.expiry)}"
    return {**told, "fields": fields}


def _say(one: dict[str, Any]) -> None:
    _paragraph(one["file"], "")
    if one["fault"]:
        _paragraph(one["fault"])
    elif not one["codes"]:
        _paragraph("No code was found. Take it straight from above, sharp, with white round it.")
    for number, code in enumerate(one["codes"], start=1):
        _paragraph(f"{code['kind']}: {code['raw']}", f"  {number}  ")
        for ai, value in code["fields"].items():
            _paragraph(f"({ai}) {TITLES.get(ai, 'other field')}: {value}", "     ")
        if code["fault"]:
            _paragraph(code["fault"], "     ")
    if len(one["codes"]) > 1:
        _paragraph("Each code stands for itself; they may belong to different items.")


def _paragraph(text: str, first: str = "  ") -> None:
    typer.echo("\n".join(lines(text, WIDEST, first=first)))
