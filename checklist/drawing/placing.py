"""Where the names of marks stand so that none covers another name or mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from checklist.drawing.letters import width

_OFF = 7.0
_HALF_MARK = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The middle of a name, in points right of and below its mark."""

    dx: float
    dy: float


Box = tuple[float, float, float, float]


def placed(
    marks: Sequence[tuple[float, float]],
    names: Sequence[str],
    size: float,
    *,
    wide: float,
    high: float,
) -> tuple[Placed | None, ...]:
    """For each mark at (x, y), in points, where its name fits within the plot; None for nowhere.

    Above, below, right and left are tried in that order, then the corners. A name that fits
    nowhere is left to the figures under the plot.
    """
    taken: list[Box] = [_around(x, y, _HALF_MARK, _HALF_MARK) for x, y in marks]
    found: list[Placed | None] = []
    for (x, y), name in zip(marks, names, strict=True):
        half, tall = width(name, size) / 2, size * 0.6
        up, side = _OFF + tall, _OFF + half
        fitting = None
        tries = [(0.0, -up), (0.0, up), (side, 0.0), (-side, 0.0)]
        tries += [(side, -tall), (-side, -tall), (side, tall), (-side, tall)]
        for dx, dy in tries:
            box = _around(x + dx, y + dy, half, tall)
            if box[0] < 0 or box[2] > wide or box[1] < 0 or box[3] > high:
                continue
            if not any(_meet(box, other) for other in taken):
                fitting = Placed(dx=dx, dy=dy)
                taken.append(box)
                break
        found.append(fitting)
    return tuple(found)


def _around(x: float, y: float, half: float, tall: float) -> Box:
    return x - half, y - tall, x + half, y + tall


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
