"""The words of a plot as layers of a Vega-Lite specification: each measured, none over another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

from checklist.drawing.letters import FAMILY, lines, width
from checklist.drawing.plot import Plot, Row, spread

INK, SOFT, FAINT = "#000000", "#404040", "#D9D9D9"
"""Text, lines and marks are black or dark grey on white: 21:1 and 10:1; only the grid is faint."""
SMALL, USUAL, ABOUT, TITLE = 10.5, 11.5, 12, 16
"""Sizes of letters; at 96 to the inch the smallest is 7.9 points."""
LINE = 1.4
_GAP = 8

Layer = dict[str, Any]


def layer(mark: dict[str, Any], values: Sequence[dict[str, Any]], **encoding: Any) -> Layer:
    """A layer with its own figures."""
    return {"data": {"values": list(values)}, "mark": mark, "encoding": encoding}


def every_word(plot: Plot) -> list[Layer]:
    """Every word of the plot but those at marks, bars and breaks."""
    return [*_axis_words(plot), *_line_words(plot), *_text(plot)]


def letters(size: float, *, bold: bool = False) -> dict[str, Any]:
    """How text is set; it is left out of what a screen reader is told."""
    weight = "bold" if bold else "normal"
    return {"font": FAMILY, "fontSize": size, "fontWeight": weight, "color": INK, "aria": False}


def words_at(
    place: Iterable[tuple[float, float, str]],
    size: float,
    *,
    align: str = "left",
    baseline: str = "alphabetic",
    bold: bool = False,
    angle: int = 0,
) -> Layer:
    """Words at places in points from the plot's upper left corner."""
    values = [{"x": x, "y": y, "words": words} for x, y, words in place]
    mark = {"type": "text", "align": align, "baseline": baseline, "angle": angle}
    bare = {"axis": None, "scale": None, "type": "quantitative"}
    return layer(
        mark | letters(size, bold=bold),
        values,
        x={"field": "x", **bare},
        y={"field": "y", **bare},
        text={"field": "words", "type": "nominal"},
    )


def _axis_words(plot: Plot) -> list[Layer]:
    """The figures at the ticks, and the titles of both axes."""
    found = [
        words_at(
            [(-_GAP, down(plot, tick.at), tick.words) for tick in plot.y.ticks],
            SMALL,
            align="right",
            baseline="middle",
        )
    ]
    if plot.x.ticks:
        found.append(
            words_at(
                [(across(plot, tick.at), plot.high + 8, tick.words) for tick in plot.x.ticks],
                SMALL,
                align="center",
                baseline="top",
            )
        )
    if plot.x.title:
        place = (plot.wide / 2, plot.high + (26 if plot.x.ticks else 8), plot.x.title)
        found.append(words_at([place], USUAL, align="center", baseline="top"))
    return found


def _line_words(plot: Plot) -> list[Layer]:
    """What each line is, at its right end, none over another."""
    worded = [stroke for stroke in plot.strokes if stroke.words and stroke.points]
    if not worded:
        return []
    wanted = [down(plot, stroke.points[-1][1]) for stroke in worded]
    places = spread(wanted, SMALL * LINE, 4, plot.high - 4)
    return [
        words_at(
            [(plot.wide + 6, y, stroke.words) for y, stroke in zip(places, worded, strict=True)],
            SMALL,
            baseline="middle",
        )
    ]


def left_of(plot: Plot) -> float:
    """How far words reach to the left of the plot: the figures of y and the names of the rows."""
    ticks = max((width(tick.words, SMALL) for tick in plot.y.ticks), default=0.0)
    side = min((_row_name_at(plot, row) for row in plot.rows), default=0.0)
    names = max((width(row.name, SMALL) for row in plot.rows), default=0.0) - side
    return max(ticks + _GAP, names)


def right_of(plot: Plot) -> float:
    """How far words reach to the right of the plot."""
    words = max((width(stroke.words, SMALL) for stroke in plot.strokes), default=0.0)
    return words + 6 if words else 0.0


def _text(plot: Plot) -> list[Layer]:
    """The title above; the figures, notes and the origin of it all below."""
    left = -left_of(plot)
    room = plot.wide + left_of(plot) + right_of(plot)
    found = _heading(plot, left, room)
    bottom: float = plot.high + (44 if plot.x.title and plot.x.ticks else 26 if plot.x.ticks else 8)
    bottom += 22 if plot.x.title and not plot.x.ticks else 0
    for row in plot.rows:
        layers, bottom = _row(plot, row, bottom)
        found.extend(layers)
    bottom += 18
    for size, paragraphs in ((USUAL, plot.notes), (SMALL, plot.foot)):
        placed = []
        for paragraph in paragraphs:
            for line in lines(paragraph, room, size):
                placed.append((left, bottom, line))
                bottom += size * LINE
        if placed:
            found.append(words_at(placed, size, baseline="top"))
            bottom += 6
    if plot.stamp:
        size = 22
        stamp = lines(plot.stamp, plot.wide - 20, size, bold=True)
        top = plot.high / 2 - len(stamp) * size * LINE / 2
        placed = [(plot.wide / 2, top + i * size * LINE, line) for i, line in enumerate(stamp)]
        found.append(words_at(placed, size, align="center", baseline="top", bold=True))
    return found


def _heading(plot: Plot, left: float, room: float) -> list[Layer]:
    """The title and what is drawn, from the bottom up, above the plot and the title of y."""
    about = [line for one in plot.about for line in lines(one, room, ABOUT)]
    title = lines(plot.title, room, TITLE, bold=True) if plot.title else ()
    up = -18.0
    found = []
    if plot.y.title:
        found.append(words_at([(left, up, plot.y.title)], USUAL))
        up -= USUAL * LINE + 6
    placed = []
    for line in reversed(about):
        placed.append((left, up, line))
        up -= ABOUT * LINE
    found.append(words_at(placed, ABOUT))
    up -= 4
    heads = []
    for line in reversed(title):
        heads.append((left, up, line))
        up -= TITLE * LINE
    found.append(words_at(heads, TITLE, bold=True))
    return found


def _row(plot: Plot, row: Row, top: float) -> tuple[list[Layer], float]:
    """A row of figures under the plot: side by side where they fit, else in lines, else turned."""
    cells = [(across(plot, x), text) for x, text in row.cells]
    room = min((b - a for (a, _), (b, _) in pairwise(cells)), default=plot.wide) - 4
    broken = [lines(text, room, SMALL) for _, text in cells]
    longest = max((width(text, SMALL) for _, text in cells), default=0.0)
    turned = any(_cut(text, room) for _, text in cells) or max(map(len, broken), default=1) > 3
    if turned:
        tall = longest + 6
        placed = [(x, top + tall - 3, text) for x, text in cells]
        figures = words_at(placed, SMALL, baseline="middle", angle=270)
    else:
        tall = SMALL * LINE * max(map(len, broken), default=1)
        placed = [
            (x, top + SMALL * LINE * (place + 0.5), line)
            for (x, _), text in zip(cells, broken, strict=True)
            for place, line in enumerate(text)
        ]
        figures = words_at(placed, SMALL, align="center", baseline="middle")
    side = min(_row_name_at(plot, one) for one in plot.rows)
    name = words_at([(side, top + tall / 2, row.name)], SMALL, align="right", baseline="middle")
    rule = layer(
        {"type": "rule", "color": FAINT, "strokeWidth": 0.8, "aria": False},
        [{}],
        x={"value": -left_of(plot)},
        x2={"value": plot.wide},
        y={"value": top + tall},
        y2={"value": top + tall},
    )
    return [figures, name, rule], top + tall + 2


def _cut(text: str, room: float) -> bool:
    """Whether a word of the text is wider than there is room for."""
    return any(width(word, SMALL) > room for word in text.split(" "))


def _row_name_at(plot: Plot, row: Row) -> float:
    """Where the name of a row ends: left of the plot, and of its first figure."""
    if not row.cells:
        return -_GAP
    x, text = row.cells[0]
    return min(-_GAP, across(plot, x) - width(text, SMALL) / 2 - _GAP)


def down(plot: Plot, value: float) -> float:
    """How far below the top of the plot a value lies, in points."""
    return plot.high * (1 - plot.y.part(value))


def across(plot: Plot, value: float) -> float:
    """How far right of the left edge of the plot a value lies, in points."""
    return plot.wide * plot.x.part(value)
