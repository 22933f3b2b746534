"""Units side by side as a plot: a funnel about the middle, in order of name, none ranked."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from checklist.drawing import origin as origins
from checklist.drawing.origin import Origin
from checklist.drawing.plot import Axis, Dash, Group, Mark, Plot, Row, Shape, Stroke, nice_axis
from checklist.drawing.sheet import Sheet
from checklist.drawing.wording import Measure, figure, in_hundred
from checklist.review import funnel
from checklist.review.funnel import Count, Funnel, Limits, Spread

_CURVE = 60
_BOUNDS = (
    ("outer_high", Dash.LONG, "3-sigma limit"),
    ("inner_high", Dash.DOTS, "95% limit"),
    ("inner_low", Dash.DOTS, ""),
    ("outer_low", Dash.LONG, ""),
)


def plotted(
    found: Funnel,
    measure: Measure,
    *,
    ids: Mapping[str, tuple[str, ...]],
    trails: tuple[Origin, ...] = (),
    hidden: Sequence[str] = (),
    wide: int = 760,
) -> Plot:
    """The funnel of units; `ids` leads from a unit's name to its preparations."""
    per = float(measure.per)
    sizes = [mark.size for mark in found.marks]
    x = nice_axis(measure.chances, 0, max(sizes) * 1.05)
    curve = _curve(found, min(sizes), x.high)
    strokes = [
        Stroke(
            points=((0, found.target * per), (x.high, found.target * per)),
            dash=Dash.SHORT,
            words=f"middle {figure(found.target * per)}",
        )
    ]
    for name, dash, words in _BOUNDS:
        points = tuple((size, getattr(limits, name) * per) for size, limits in curve)
        if max(y for _, y in points) > 0:
            strokes.append(Stroke(points=points, dash=dash, words=words))
    tops = [y for stroke in strokes for _, y in stroke.points[1:]]
    tops += [mark.value * per for mark in found.marks]
    unit = f"{measure.events} per {measure.per} {measure.chances}"
    return Plot(
        title=measure.title,
        about=(f"Funnel of {len(found.marks)} units, in order of name; one period, no ranking.",),
        described=_described(found, measure),
        x=x,
        y=nice_axis(unit, 0, max(tops) * 1.02),
        wide=wide,
        high=300,
        strokes=tuple(strokes),
        marks=tuple(
            Mark(
                x=mark.size,
                y=mark.value * per,
                shape=Shape.SIGNAL if mark.side else Shape.RING,
                says=(
                    f"{mark.unit}: {figure(mark.value * per, 2)} {unit},"
                    f" {mark.count} of {figure(mark.size)}; {_side(mark.side)}"
                ),
                key=f"unit-{place}" if mark.unit in ids else "",
                words=mark.unit,
            )
            for place, mark in enumerate(found.marks, 1)
        ),
        rows=_rows(found, measure, x),
        notes=_notes(found, hidden),
        foot=origins.sentences(trails),
        stamp=origins.stamp(trails),
        sheet=_sheet(found, measure, ids),
        groups=tuple(
            Group(key=f"unit-{place}", name=mark.unit, ids=ids[mark.unit])
            for place, mark in enumerate(found.marks, 1)
            if mark.unit in ids
        ),
    )


def _curve(found: Funnel, low: float, high: float) -> list[tuple[float, Limits]]:
    """The limits from a little below the smallest unit to the end of the axis."""
    start = max(1, math.floor(low * 0.6))
    sizes = sorted({start + round((high - start) * (i / (_CURVE - 1)) ** 2) for i in range(_CURVE)})
    if found.spread is Spread.NONE:
        return [(size, funnel.limits_at(found.counted, found.target, size)) for size in sizes]
    # With a spread allowed for, only the units' own limits are known: join those.
    return [(mark.size, mark.limits) for mark in sorted(found.marks, key=lambda m: m.size)]


def _rows(found: Funnel, measure: Measure, x: Axis) -> tuple[Row, ...]:
    """The units' figures in a table under the plot, in order of name."""
    step = (x.high - x.low) / len(found.marks)
    places = [x.low + step * (place + 0.5) for place in range(len(found.marks))]
    cells = list(zip(places, found.marks, strict=True))
    return (
        Row(name="unit", cells=tuple((at, mark.unit) for at, mark in cells)),
        Row(name="events", cells=tuple((at, str(mark.count)) for at, mark in cells)),
        Row(name="out of", cells=tuple((at, figure(mark.size)) for at, mark in cells)),
        Row(
            name=f"per {measure.per}",
            cells=tuple((at, f"{mark.value * measure.per:.1f}") for at, mark in cells),
        ),
    )


def _side(side: int) -> str:
    return {1: "above the 3-sigma limits", -1: "below the 3-sigma limits"}.get(
        side, "within the 3-sigma limits"
    )


def _notes(found: Funnel, hidden: Sequence[str]) -> tuple[str, ...]:
    exact = "exact" if found.spread is Spread.NONE else str(found.spread)
    chance = in_hundred(funnel.chance_outside(len(found.marks)))
    notes = [
        (
            f"Limits: {exact}. Of 100 sets of {len(found.marks)} equal units, {chance} have one"
            " outside the 3-sigma limits by chance."
        )
    ]
    notes += [f"{mark.unit} lies {_side(mark.side)}." for mark in found.marks if mark.side]
    if not any(mark.side for mark in found.marks):
        notes.append("No unit lies outside the 3-sigma limits.")
    if found.phi is None:
        notes.append(
            f"With fewer than {funnel.FEWEST_UNITS} units it cannot be told whether they differ"
            " more than by chance."
        )
    elif found.suggested is not found.spread:
        notes.append(
            f"The units vary {figure(found.phi)} times as much as by chance: allow for it"
            f" ({found.suggested}) before one unit is looked into."
        )
    if hidden:
        notes.append(f"Too few to show: {', '.join(sorted(hidden))}.")
    return (*notes, "Circle: within the limits. Filled diamond: outside the 3-sigma limits.")


def _described(found: Funnel, measure: Measure) -> str:
    out = [f"{mark.unit} {_side(mark.side)}" for mark in found.marks if mark.side]
    return (
        f"{measure.title}. Funnel of {len(found.marks)} units about"
        f" {figure(found.target * measure.per, 2)} {measure.events} per {measure.per}"
        f" {measure.chances}. {'; '.join(out) or 'No unit lies outside the 3-sigma limits'}."
    )


def _sheet(found: Funnel, measure: Measure, ids: Mapping[str, tuple[str, ...]]) -> Sheet:
    per = float(measure.per)
    shares = "out of" if found.counted is Count.SHARE else "over"
    return Sheet(
        name=measure.title,
        columns=(
            "unit",
            measure.events,
            shares,
            f"per {measure.per}",
            "95% limit below",
            "95% limit above",
            "3-sigma limit below",
            "3-sigma limit above",
            "place",
            "preparations to look at",
        ),
        rows=tuple(
            (
                mark.unit,
                mark.count,
                mark.size,
                mark.value * per,
                mark.limits.inner_low * per,
                mark.limits.inner_high * per,
                mark.limits.outer_low * per,
                mark.limits.outer_high * per,
                _side(mark.side),
                len(ids.get(mark.unit, ())),
            )
            for mark in found.marks
        ),
    )
