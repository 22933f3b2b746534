"""The code on a label as modules, dark or light, and as a drawing without greys."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from checklist.extra import wanted
from checklist.printing.label_code import LabelCode
from checklist.stock import Symbol

EXTRA = "labels"
"""The extra that brings what printing needs beyond the core."""
DOT = Fraction(254, 2030)
"""The dot of a label printer with 203 dots to the inch, in mm."""
DOTS = 3
"""Dots for one module: 0.375 mm; GS1 General Specifications ask 0.254 to 0.99 mm (from memory)."""
QUIET = {Symbol.DATAMATRIX: 2, Symbol.QR: 4}
"""Light modules around it: 1 and 4 by ISO/IEC 16022 and 18004 (from memory), one more is kinder."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A symbol with its quiet zone: `rows` of modules, True where dark."""

    rows: tuple[tuple[bool, ...], ...]

    @property
    def side(self) -> Fraction:
        """How long each side is, in mm."""
        return len(self.rows) * DOTS * DOT

    @property
    def svg(self) -> str:
        """The dark modules as one shape, so that no viewer shows seams."""
        n = len(self.rows)
        path = "".join(f"M{x} {y}h{w}v1h-{w}z" for x, y, w in self._runs())
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n} {n}" width="{n}"'
            f' height="{n}" shape-rendering="crispEdges"><path d="{path}" fill="#000"/></svg>'
        )

    def _runs(self) -> Iterator[tuple[int, int, int]]:
        for y, row in enumerate(self.rows):
            x = 0
            while x < len(row):
                w = 1
                if row[x]:
                    while x + w < len(row) and row[x + w]:
                        w += 1
                    yield x, y, w
                x += w


def drawn(code: LabelCode, kind: Symbol) -> Drawn:
    """The symbol of a code: a GS1 DataMatrix or a GS1 QR code. Raises NeedsExtra."""
    zxing = wanted("zxingcpp", EXTRA)
    form = (
        zxing.BarcodeFormat.DataMatrix if kind is Symbol.DATAMATRIX else zxing.BarcodeFormat.QRCode
    )
    made = zxing.create_barcode(code.bracketed, form, gs1=True, force_square=True)

    image = memoryview(made.to_image(scale=1, add_quiet_zones=False))
    # A keyword that the library does not know is passed over in silence, so it is looked at here.
    assert made.content_type == zxing.ContentType.GS1, made.content_type
    assert image.shape is not None and image.shape[0] == image.shape[1], image.shape
    height, width = image.shape
    pad = QUIET[kind]
    flat, side = image.tobytes(), width + 2 * pad
    light = ((False,) * side,) * pad
    edge = (False,) * pad
    rows = tuple(
        edge + tuple(dot == 0 for dot in flat[y * width : (y + 1) * width]) + edge
        for y in range(height)
    )
    return Drawn(rows=light + rows + light)
