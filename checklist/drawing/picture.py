"""A plot as a picture: SVG and PNG by an embedded Vega, without a browser or a network."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from checklist.drawing.letters import FONTS
from checklist.drawing.plot import Plot
from checklist.drawing.vega import specification
from checklist.extra import wanted

VEGA_LITE = "6.4"
PPI = 192
"""Dots to the inch of a PNG: twice a screen's, sharp in print at the usual size."""

_POINT = 72 / 96
"""The renderer takes a unit of the picture for a 72nd of an inch; ours is a 96th."""

# A link inside the page is given a foreign address by the renderer; only its end is ours.
_LINK = re.compile(r'xlink:href="[^"#]*#')
_EMPTY_LINK = re.compile(r'<a xlink:href="[^"#]*">(.*?)</a>', re.DOTALL)


def svg(plot: Plot) -> str:
    """The plot as SVG whose links stay within the page. Raises NeedsExtra without the library."""
    text: str = _renderer().vegalite_to_svg(
        specification(plot), vl_version=VEGA_LITE, allowed_base_urls=[], show_warnings=False
    )
    return _EMPTY_LINK.sub(r"\1", _LINK.sub('href="#', text))


def png(plot: Plot, *, ppi: int = PPI) -> bytes:
    """The plot as a PNG. Raises NeedsExtra without the library."""
    picture: bytes = _renderer().svg_to_png(svg(plot), scale=_POINT, ppi=ppi)
    return picture


@cache
def _renderer() -> Any:
    renderer = wanted("vl_convert", "charts")
    renderer.register_font_directory(str(FONTS))
    return renderer
