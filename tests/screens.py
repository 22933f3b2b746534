"""The pictures of the screens in the README, taken from the demonstration ward.

    python -m tests.screens [FOLDER]

Plays on a served site as the tests do, and writes PNG files of few colours (default: the folder
demo_db/screens).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image

from tests.browser import sign_in
from tests.crawl import Site, site, worked
from tests.faces import ROOT

FOLDER = ROOT / "demo_db" / "screens"
TABLET, DESK = (820, 1180), (1280, 800)
MOST = 150_000
"""The largest file, in bytes."""
COLOURS = 48

Shot = tuple[str, Any]


def main(folder: Path = FOLDER) -> None:
    """Take every picture."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as home, site(Path(home)) as here:
        for takes in (nurse, educator, quality, pharmacy):
            for name, page in takes(here):
                kept = small(page.screenshot())
                assert len(kept) <= MOST, f"{name} has {len(kept)} bytes"
                (folder / f"{name}.png").write_bytes(kept)


def small(png: bytes) -> bytes:
    """The same picture in few colours, which suffice for letters and lines."""
    out = BytesIO()
    picture = Image.open(BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    picture.save(out, "PNG", optimize=True)
    return out.getvalue()


def sized(page: Any, size: tuple[int, int], theme: str = "light") -> Any:
    """The page at a size and in a theme."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(color_scheme=theme, reduced_motion="reduce")
    return page


def nurse(here: Site) -> Iterator[Shot]:
    """A number to be entered, a stop by night, the witness, the label."""
    shift = here.shift("ORD-101")
    page = sized(here.beside(shift), TABLET)

    def shown(below: str = "") -> None:
        here.go(page, f"{shift.address}{below}")

    shift.to("witness_the_count")
    shift.hand_over()
    shown()
    yield "nurse-witness", page
    shift.to("set_the_dose")
    shown()
    yield "nurse-step", page
    shift.attempt({"drawn_volume": "0.9"})
    sized(page, TABLET, "dark")
    shown()
    yield "nurse-stop", page
    shift.send("remedy", remedy="adjust")
    shift.to("write_the_label")
    sized(page, TABLET)
    shown("/label")
    yield "nurse-label", page
    shift.finish()


def educator(here: Site) -> Iterator[Shot]:
    """A replay, and the form for standing beside the nurse."""
    done = worked(here)
    page = sized(here.page(), DESK)
    sign_in(page, here.address, "ED-1", path=f"/review/{done.id}")
    yield "educator-replay", page
    under_way = here.shift("ORD-102", "RN-27", place="W7E-2")
    under_way.to("draw_up")
    sized(page, TABLET)
    here.go(page, f"/review/{under_way.id}/observe")
    yield "educator-observation", page


def quality(here: Site) -> Iterator[Shot]:
    """The overview, a control chart first."""
    page = sized(here.page(), DESK)
    sign_in(page, here.address, "QI-1", path="/quality")
    yield "quality-overview", page


def pharmacy(here: Site) -> Iterator[Shot]:
    """A workflow drawn."""
    page = sized(here.page(), DESK)
    sign_in(page, here.address, "PH-2", path="/pharmacy/workflows/glass_ampoule/drawing")
    yield "pharmacy-drawing", page


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
