"""Codes read from a picture, each by itself, as a scanner that sends prefixes would send them."""

from __future__ import annotations

import io
import stat
import warnings
from dataclasses import dataclass
from pathlib import Path

from checklist.extra import wanted

EXTRA = "scan"
"""The extra that brings what pictures need beyond the core."""
MAX_BYTES = 32 * 1024 * 1024
MAX_PIXELS = 50_000_000
"""A telephone takes pictures of 12 to 50 million pixels. Common practice, no source."""
FORMATS = ("PNG", "JPEG", "TIFF", "BMP", "GIF", "WEBP")
MOST_CODES = 100


class PictureFault(Exception):
    """A file cannot be used as a picture; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeSeen:
    """One code of a picture: its kind in words, and its text with the symbology prefix in front."""

    kind: str
    raw: str


def codes_in(path: Path) -> tuple[CodeSeen, ...]:
    """Every code of a picture, from the top down. Raises PictureFault, NeedsExtra."""
    zxing, image = wanted("zxingcpp", EXTRA), wanted("PIL.Image", EXTRA)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise PictureFault(f"{path} is no plain file. Name a picture.")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as fault:
        raise PictureFault(f"{path} cannot be read ({fault.strerror}).") from fault
    if len(data) > MAX_BYTES:
        raise PictureFault(f"{path} is over {MAX_BYTES // 2**20} MiB. Take a smaller picture.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with image.open(io.BytesIO(data), formats=FORMATS) as picture:
                if picture.width * picture.height > MAX_PIXELS:
                    raise PictureFault(
                        f"{path} has {picture.width} by {picture.height} pixels. Take a smaller"
                        " picture, with the code in the middle."
                    )
                flat = _on_white(picture, image)
    except PictureFault:
        raise
    except Exception as fault:  # a broken picture raises whatever its decoder likes
        raise PictureFault(
            f"{path} cannot be read as a picture ({type(fault).__name__}). Read are"
            f" {', '.join(FORMATS)}."
        ) from fault
    found = zxing.read_barcodes(flat)
    placed = sorted(found, key=lambda one: (one.position.top_left.y, one.position.top_left.x))
    if len(placed) > MOST_CODES:
        raise PictureFault(f"{path} shows over {MOST_CODES} codes. Take a picture of one item.")
    return tuple(
        CodeSeen(
            kind=str(one.format),
            raw=f"{one.symbology_identifier}{one.bytes.decode('utf-8', 'backslashreplace')}",
        )
        for one in placed
    )


def _on_white(picture: object, image: object) -> object:
    """The picture in greys; what can be seen through counts as white."""
    if "A" in picture.getbands() or "transparency" in picture.info:  # type: ignore[attr-defined]
        seen = picture.convert("RGBA")  # type: ignore[attr-defined]
        white = image.new("RGBA", seen.size, "white")  # type: ignore[attr-defined]
        return image.alpha_composite(white, seen).convert("L")  # type: ignore[attr-defined]
    return picture.convert("L")  # type: ignore[attr-defined]
