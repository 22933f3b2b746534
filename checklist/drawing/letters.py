"""How wide text is in the face that charts are drawn in, so that no words run into others."""

from __future__ import annotations

import re
from pathlib import Path

FACE = "DejaVu Sans"
FAMILY = f"{FACE}, Verdana, Arial, sans-serif"
"""The face, and narrower ones for a browser that does not have it."""
FONTS = Path(__file__).resolve().parent / "fonts"
"""The folder of the shipped fonts, so that a chart looks the same on every machine."""

# The advance widths of characters 32 to 126 in DejaVu Sans 2.37, in 1/2048 of the size.
_PLAIN = (
    651, 821, 942, 1716, 1303, 1946, 1597, 563, 799, 799, 1024, 1716, 651, 739, 651, 690, 1303,
    1303, 1303, 1303, 1303, 1303, 1303, 1303, 1303, 1303, 690, 690, 1716, 1716, 1716, 1087, 2048,
    1401, 1405, 1430, 1577, 1294, 1178, 1587, 1540, 604, 604, 1343, 1141, 1767, 1532, 1612, 1235,
    1612, 1423, 1300, 1251, 1499, 1401, 2025, 1403, 1251, 1403, 799, 690, 799, 1716, 1024, 1024,
    1255, 1300, 1126, 1300, 1260, 721, 1300, 1298, 569, 569, 1186, 569, 1995, 1298, 1253, 1300,
    1300, 842, 1067, 803, 1298, 1212, 1675, 1212, 1212, 1075, 1303, 690, 1303, 1716,
)  # fmt: skip
_ELSE = 2048
_BOLDER = 1.27  # the most that a letter gains in DejaVu Sans Bold
_NUMBER_AND_UNIT = re.compile(r"(?<=[0-9]) (?=[A-Za-z%µμ])")
_STAYS = "\x00"  # stands in for a space at which no line may break


def width(text: str, size: float, *, bold: bool = False) -> float:
    """How wide the text is, in the unit of `size`; few letters outside ASCII are wider than so."""
    sum_ = sum(_PLAIN[ord(c) - 32] if 32 <= ord(c) < 127 else _ELSE for c in text)
    return sum_ / 2048 * size * (_BOLDER if bold else 1.0)


def lines(text: str, room: float, size: float, *, bold: bool = False) -> tuple[str, ...]:
    """The text in lines no wider than `room`; a number stays with its unit, a long word is cut."""
    found: list[str] = []
    line = ""
    for word in _words(text, room, size, bold):
        longer = f"{line} {word}" if line else word
        if line and width(longer, size, bold=bold) > room:
            found.append(line)
            longer = word
        line = longer
    return tuple(one.replace(_STAYS, " ") for one in [*found, line])


def _words(text: str, room: float, size: float, bold: bool) -> list[str]:
    found = []
    for word in _NUMBER_AND_UNIT.sub(_STAYS, text).split(" "):
        rest = word
        while width(rest, size, bold=bold) > room and len(rest) > 1:
            fits = len(rest) - 1
            while fits > 1 and width(rest[:fits], size, bold=bold) > room:
                fits -= 1
            found.append(rest[:fits])
            rest = rest[fits:]
        found.append(rest)
    return found
