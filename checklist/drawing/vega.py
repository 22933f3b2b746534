"""A plot as a Vega-Lite specification, an open grammar of charts, with every word in its place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from checklist.drawing.letters import FAMILY
from checklist.drawing.placing import placed
from checklist.drawing.plot import Axis, Bar, Dash, Mark, Plot, Shape, Stroke
from checklist.drawing.vega_words import (
    FAINT,
    INK,
    SMALL,
    SOFT,
    USUAL,
    Layer,
    across,
    down,
    every_word,
    layer,
    letters,
    words_at,
)

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
_DASHES = {Dash.SOLID: [], Dash.LONG: [8, 4], Dash.SHORT: [4, 3], Dash.DOTS: [1.5, 3]}
_FULL = frozenset({Shape.SIGNAL, Shape.SQUARE})
_SIZES = {Shape.SIGNAL: 110, Shape.LEFT_OUT: 70}
_SIZE = 50


def specification(plot: Plot) -> dict[str, Any]:
    """The Vega-Lite specification of a plot: figures inline, nothing fetched, no colour."""
    layers = [
        *_grid(plot),
        *_bars(plot),
        *_breaks(plot),
        *(_stroke(plot, stroke) for stroke in plot.strokes if len(stroke.points) > 1),
        *_marks(plot),
        *every_word(plot),
    ]
    return {
        "$schema": SCHEMA,
        "description": plot.described,
        "background": "white",
        "padding": 14,
        "width": plot.wide,
        "height": plot.high,
        "config": {"font": FAMILY, "view": {"stroke": None}},
        "layer": layers,
    }


def _scale(axis: Axis, name: str) -> dict[str, Any]:
    return {
        "field": name,
        "type": "quantitative",
        "axis": None,
        "scale": {"domain": [axis.low, axis.high], "nice": False, "zero": False},
    }


def _grid(plot: Plot) -> list[Layer]:
    """Faint lines at the ticks of y, a dark line along the bottom, short ticks along x."""
    found = [
        layer(
            {"type": "rule", "color": FAINT, "strokeWidth": 0.8, "aria": False},
            [{"y": tick.at} for tick in plot.y.ticks],
            y=_scale(plot.y, "y"),
            x={"value": 0},
            x2={"value": plot.wide},
        )
    ]
    if plot.x.ticks:
        found.append(
            layer(
                {"type": "rule", "color": SOFT, "strokeWidth": 1, "aria": False},
                [{"x": tick.at} for tick in plot.x.ticks],
                x=_scale(plot.x, "x"),
                y={"value": plot.high},
                y2={"value": plot.high + 4},
            )
        )
    edge = {"type": "rule", "color": SOFT, "strokeWidth": 1, "aria": False}
    for flat in (True, False):
        found.append(
            layer(
                edge,
                [{}],
                x={"value": 0},
                y={"value": plot.high},
                **({"x2": {"value": plot.wide}} if flat else {"y2": {"value": 0}}),
            )
        )
    return found


def _stroke(plot: Plot, stroke: Stroke) -> Layer:
    values = [{"x": x, "y": y, "i": i} for i, (x, y) in enumerate(stroke.points)]
    mark = {
        "type": "line",
        "color": INK if stroke.dash is Dash.SOLID else SOFT,
        "strokeWidth": stroke.weight,
        "strokeDash": _DASHES[stroke.dash],
        "interpolate": "linear",
        "aria": False,
    }
    order = {"field": "i", "type": "quantitative"}
    return layer(mark, values, x=_scale(plot.x, "x"), y=_scale(plot.y, "y"), order=order)


def _breaks(plot: Plot) -> list[Layer]:
    if not plot.breaks:
        return []
    values = [{"x": one.x, "words": one.words} for one in plot.breaks]
    mark = {"type": "rule", "color": SOFT, "strokeWidth": 1.2, "strokeDash": [2, 2], "aria": False}
    words = {"type": "text", "align": "left", "baseline": "top", "dx": 3, **letters(SMALL)}
    return [
        layer(mark, values, x=_scale(plot.x, "x"), y={"value": 0}, y2={"value": plot.high}),
        layer(
            words,
            values,
            x=_scale(plot.x, "x"),
            y={"value": 0},
            text={"field": "words", "type": "nominal"},
        ),
    ]


def _bars(plot: Plot) -> list[Layer]:
    if not plot.bars:
        return []
    mark = {"type": "rect", "stroke": INK, "strokeWidth": 1}
    found = []
    for shade in sorted({bar.shade for bar in plot.bars}):
        values = [_bar(bar) for bar in plot.bars if bar.shade == shade]
        level = round(255 * (1 - shade))
        found.append(
            layer(
                mark | {"color": f"#{level:02X}{level:02X}{level:02X}"},
                values,
                x=_scale(plot.x, "x"),
                x2={"field": "x2"},
                y=_scale(plot.y, "y"),
                y2={"field": "y2"},
                **_leads(values),
            )
        )
    words = {"type": "text", "align": "center", "baseline": "bottom", "dy": -4, **letters(USUAL)}
    values = [{"x": bar.x, "y": bar.high, "words": bar.words} for bar in plot.bars if bar.words]
    if values:
        found.append(_worded(plot, words, values))
    return found


def _bar(bar: Bar) -> dict[str, Any]:
    return {
        "x": bar.x - bar.wide / 2,
        "x2": bar.x + bar.wide / 2,
        "y": 0,
        "y2": bar.high,
        "says": bar.says,
        "key": f"#{bar.key}" if bar.key else "",
    }


def _marks(plot: Plot) -> list[Layer]:
    found = []
    for shape in Shape:
        marks = [mark for mark in plot.marks if mark.shape is shape]
        if not marks:
            continue
        values = [_mark(mark) for mark in marks]
        drawn = {
            "type": "point",
            "shape": shape.value,
            "size": _SIZES.get(shape, _SIZE),
            "color": INK,
            "fill": INK if shape in _FULL else "white",
            "stroke": INK,
            "strokeWidth": 1.3,
            "opacity": 1,
        }
        found.append(
            layer(drawn, values, x=_scale(plot.x, "x"), y=_scale(plot.y, "y"), **_leads(values))
        )
    if any(mark.words for mark in plot.marks):
        found.extend(_names(plot))
    return found


def _names(plot: Plot) -> list[Layer]:
    """The words at marks, each where it covers nothing; one that fits nowhere is left out."""
    order = sorted(plot.marks, key=lambda mark: not mark.words)
    at = [(across(plot, mark.x), down(plot, mark.y)) for mark in order]
    places = placed(at, [m.words for m in order], USUAL, wide=plot.wide, high=plot.high)
    words = [
        (x + place.dx, y + place.dy, mark.words)
        for (x, y), mark, place in zip(at, order, places, strict=True)
        if mark.words and place is not None
    ]
    names = words_at(words, USUAL, align="center", baseline="middle")
    # A white rim keeps a name readable where a line runs behind it.
    rim = names["mark"] | {"stroke": "white", "strokeWidth": 3, "strokeJoin": "round"}
    return [names | {"mark": rim}, names]


def _mark(mark: Mark) -> dict[str, Any]:
    key = f"#{mark.key}" if mark.key else ""
    return {"x": mark.x, "y": mark.y, "says": mark.says, "key": key}


def _leads(values: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """What a mark says to a screen reader, and where it leads."""
    found: dict[str, Any] = {"description": {"field": "says", "type": "nominal"}}
    if any(value["key"] for value in values):
        found["href"] = {"field": "key", "type": "nominal"}
    return found


def _worded(plot: Plot, mark: dict[str, Any], values: Sequence[dict[str, Any]]) -> Layer:
    return layer(
        mark,
        values,
        x=_scale(plot.x, "x"),
        y=_scale(plot.y, "y"),
        text={"field": "words", "type": "nominal"},
    )
