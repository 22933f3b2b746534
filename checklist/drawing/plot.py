"""What a drawing shows, in plain values and words, before any library draws it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from checklist.drawing.sheet import Sheet


class Shape(StrEnum):
    """How a mark looks; told apart in print and without colour."""

    RING = "circle"
    SIGNAL = "diamond"
    LEFT_OUT = "cross"
    SQUARE = "square"
    TRIANGLE = "triangle-up"


class Dash(StrEnum):
    """How a line looks."""

    SOLID = "solid"
    LONG = "long dashes"
    SHORT = "short dashes"
    DOTS = "dots"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place on an axis and the words there; `strong` ones have a line across the plot."""

    at: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A scale from `low` to `high` with its title and ticks; a logarithmic one starts above 0."""

    title: str
    low: float
    high: float
    ticks: tuple[Tick, ...] = ()

    def part(self, value: float) -> float:
        """Where the value lies, 0 at `low` and 1 at `high`."""
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line through points (x, y), in axis units; `words` stand at its right end."""

    points: tuple[tuple[float, float], ...]
    dash: Dash = Dash.SOLID
    weight: float = 1.0
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point with what it says and the key of the preparations that it leads to, or ""."""

    x: float
    y: float
    shape: Shape
    says: str
    key: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A horizontal or upright bar from the axis, filled with a shade of grey from 0 to 1."""

    x: float
    wide: float
    high: float
    says: str
    key: str = ""
    words: str = ""
    shade: float = 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Figures under the plot, each at its place on the x axis, with the name of the row."""

    name: str
    cells: tuple[tuple[float, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """An upright line where a phase begins, with its number in the notes."""

    x: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The preparations that a mark stands for: its key, what it is called, and their ids."""

    key: str
    name: str
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A drawing: `wide` and `high` are the plot's own area, in points of a 96th of an inch.

    `described` is the text for who cannot see it, `sheet` the same figures as a table, `groups`
    what the marks lead to. `stamp` is written across it where it must not be relied on.
    """

    title: str
    about: tuple[str, ...]
    described: str
    x: Axis
    y: Axis
    wide: int
    high: int
    strokes: tuple[Stroke, ...] = ()
    marks: tuple[Mark, ...] = ()
    bars: tuple[Bar, ...] = ()
    breaks: tuple[Break, ...] = ()
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()
    foot: tuple[str, ...] = ()
    stamp: str = ""
    sheet: Sheet
    groups: tuple[Group, ...] = ()


def height(wide: int) -> int:
    """How high a plot of that width is: a little flatter than a third."""
    return round(wide * 0.34)


def nice_axis(title: str, low: float, high: float, *, most: int = 7) -> Axis:
    """An axis that holds `low` to `high`, with at most about `most` round ticks."""
    room = max(high - low, 1e-9)
    raw = room / max(most - 1, 1)
    ten = 10.0 ** math.floor(math.log10(raw))
    step = next(ten * part for part in (1, 2, 2.5, 5, 10) if ten * part >= raw * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    last = max(last, first + 1)
    digits = max(0, -math.floor(math.log10(step) + 1e-9) + (1 if step / ten == 2.5 else 0))
    ticks = tuple(
        Tick(at=place * step, words=f"{place * step:.{digits}f}")
        for place in range(first, last + 1)
    )
    return Axis(title=title, low=first * step, high=last * step, ticks=ticks)


def spread(wanted: list[float], least: float, low: float, high: float) -> list[float]:
    """Places near the wanted ones, in the same order, no two nearer than `least`.

    They stay between `low` and `high` where there is room for all.
    """
    order = sorted(range(len(wanted)), key=lambda place: (wanted[place], place))
    placed = [0.0] * len(wanted)
    edge = low
    for place in order:
        placed[place] = max(wanted[place], edge)
        edge = placed[place] + least
    edge = high
    for place in reversed(order):
        placed[place] = min(placed[place], edge)
        edge = placed[place] - least
    return placed
