"""The page of test symbols for a scanner: made here, so that what each holds is known."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from checklist.extra import wanted
from checklist.interop.try_out import PAGE, Printed, Shape
from checklist.printing.press import fonts
from checklist.printing.symbol import EXTRA

TEMPLATE = Path(__file__).resolve().parent / "scan_page.typ"
MODULE = {Shape.DATAMATRIX: 0.5, Shape.QR: 0.5, Shape.LINEAR: 0.375, Shape.NUMBER: 0.375}
"""The width of a module in mm. GS1 General Specifications (from memory): EAN-13 0.264 to 0.66,
GS1-128 0.25 to 1.016, GS1 DataMatrix and GS1 QR code in healthcare 0.254 to 0.99."""
BAR = 20
"""The height of the bars of a linear symbol, in mm. Same source: 22.85 for EAN-13 at 0.33."""
QUIET = {Shape.DATAMATRIX: 2, Shape.QR: 4, Shape.LINEAR: 10, Shape.NUMBER: 11}
"""Light modules on each side. Same source; one more than needed round a DataMatrix."""


def scan_page() -> bytes:
    """The page as a PDF, A4, symbols at their real size. Raises NeedsExtra."""
    data = {"symbols": [_placed(one) for one in PAGE]}
    file = wanted("typst", EXTRA).compile(
        TEMPLATE.read_bytes(),
        format="pdf",
        sys_inputs={"d": json.dumps(data, ensure_ascii=True)},
        font_paths=fonts(),
        timestamp=0,
        pdf_standards=["ua-1"],
    )
    assert isinstance(file, bytes)
    return file


def _placed(one: Printed) -> dict[str, Any]:
    rows = rows_of(one)
    module, quiet = MODULE[one.shape], QUIET[one.shape]
    flat = len(rows) == 1
    width = (len(rows[0]) + 2 * quiet) * module
    height = BAR if flat else (len(rows) + 2 * quiet) * module
    return {
        "number": one.number,
        "kind": one.shape.value,
        "shows": one.shows,
        "written": one.bracketed,
        "width": width,
        "height": height,
        "svg": _svg(rows, quiet, tall=height / module if flat else 0),
    }


def rows_of(one: Printed) -> tuple[tuple[bool, ...], ...]:
    """The modules of a symbol, True where dark; one row for a linear one. Raises NeedsExtra."""
    zxing = wanted("zxingcpp", EXTRA)
    form = {
        Shape.DATAMATRIX: zxing.BarcodeFormat.DataMatrix,
        Shape.LINEAR: zxing.BarcodeFormat.Code128,
        Shape.NUMBER: zxing.BarcodeFormat.EAN13,
        Shape.QR: zxing.BarcodeFormat.QRCode,
    }[one.shape]
    more = {} if one.shape is Shape.NUMBER else {"gs1": True}
    if one.shape is Shape.DATAMATRIX:
        more["force_square"] = True
    text = one.bracketed
    made = zxing.create_barcode(text, form, **more)
    # A keyword that the library does not know is passed over in silence, so it is looked at here.
    assert one.shape is Shape.NUMBER or made.content_type == zxing.ContentType.GS1, one
    image = memoryview(made.to_image(scale=1, add_quiet_zones=False))
    assert image.shape is not None
    height, width = image.shape
    flat = image.tobytes()
    rows = tuple(
        tuple(dot == 0 for dot in flat[y * width : (y + 1) * width]) for y in range(height)
    )
    return rows[:1] if one.shape in (Shape.LINEAR, Shape.NUMBER) else rows


def _svg(rows: tuple[tuple[bool, ...], ...], quiet: int, *, tall: float) -> str:
    """The dark modules as one shape with its quiet zone; `tall` is the height of single bars."""
    width = len(rows[0]) + 2 * quiet
    height = tall or len(rows) + 2 * quiet
    bar, top = tall or 1, 0 if tall else quiet
    path = "".join(
        f"M{x + quiet} {y + top}h1v{bar:g}h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height:g}"'
        f' width="{width}" height="{height:g}" shape-rendering="crispEdges">'
        f'<path d="{path}" fill="#000"/></svg>'
    )
