"""How long until something happens, as a plot: stairs with limits, and how many still wait."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist.drawing import origin as origins
from checklist.drawing.origin import Origin
from checklist.drawing.plot import Dash, Group, Plot, Row, Stroke, height, nice_axis
from checklist.drawing.sheet import Cell, Sheet
from checklist.drawing.wording import figure
from checklist.review.survival import Curve

_DASHES = (Dash.SOLID, Dash.LONG, Dash.DOTS, Dash.SHORT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stairs:
    """One curve with the words at its end, and whether its 95% limits are drawn."""

    name: str
    curve: Curve
    limits: bool = False


def plotted(
    title: str,
    stairs: Sequence[Stairs],
    *,
    what: str,
    time: str,
    until: float | None = None,
    ids: Mapping[str, tuple[str, ...]],
    trails: tuple[Origin, ...] = (),
    notes: tuple[str, ...] = (),
    wide: int = 760,
) -> Plot:
    """Curves of the share that `what` by each time, in the unit `time`, up to `until`.

    `ids` leads from a curve's name to the preparations whose wait ended so.
    """
    assert 0 < len(stairs) <= len(_DASHES), "more curves than can be told apart"
    longest = max(one.curve.longest for one in stairs)
    end = longest if until is None else min(until, longest)
    x = nice_axis(f"{time} since the start", 0, end)
    strokes: list[Stroke] = []
    for one, dash in zip(stairs, _DASHES, strict=False):
        points = _stair(one.curve, [(r.time, r.height) for r in one.curve.rungs], end)
        strokes.append(Stroke(points=points, dash=dash, weight=1.6, words=one.name))
        if one.limits:
            for which in ("low", "high"):
                edge = [(rung.time, float(getattr(rung, which))) for rung in one.curve.rungs]
                strokes.append(Stroke(points=_stair(one.curve, edge, end), dash=Dash.SHORT))
    lines = [_sentence(one, time) for one in stairs]
    return Plot(
        title=title,
        about=(f"Share that {what}, in %, by {time} since the start.",),
        described=f"{title}. {' '.join(lines)}",
        x=x,
        y=nice_axis("%", 0, 100, most=6),
        wide=wide,
        high=height(wide),
        strokes=tuple(strokes),
        rows=_rows(stairs, [tick.at for tick in x.ticks if tick.at <= end]),
        notes=(*lines, *notes, *(("Short dashes: 95% limits.",) if _limited(stairs) else ())),
        foot=origins.sentences(trails),
        stamp=origins.stamp(trails),
        sheet=_sheet(title, stairs, time),
        groups=tuple(
            Group(key=f"ending-{place}", name=one.name, ids=ids[one.name])
            for place, one in enumerate(stairs, 1)
            if one.name in ids
        ),
    )


def _limited(stairs: Sequence[Stairs]) -> bool:
    return any(one.limits for one in stairs)


def _stair(
    curve: Curve, steps: Sequence[tuple[float, float]], end: float
) -> tuple[tuple[float, float], ...]:
    """The corners of a stair, in per cent, up to the end."""
    points = [(0.0, 100 * curve.start)]
    for time, share in steps:
        if time > end:
            break
        points += [(time, points[-1][1]), (time, 100 * share)]
    return (*points, (min(end, curve.longest), points[-1][1]))


def _sentence(one: Stairs, time: str) -> str:
    """The middle, the ninth tenth and the end of a curve, in words."""
    parts = []
    for part, name in ((0.5, "half"), (0.9, "9 of 10")):
        at = one.curve.quantile(part)
        parts.append(f"{name} by {figure(at)} {time}" if at is not None else f"{name} not reached")
    last = one.curve.rungs[-1].height if one.curve.rungs else one.curve.start
    return (
        f"{one.name}: {', '.join(parts)}; at the end {figure(100 * last)}%"
        f" ({one.curve.spells} waits)."
    )


def _rows(stairs: Sequence[Stairs], times: Sequence[float]) -> tuple[Row, ...]:
    """The height of each curve under the ticks, in per cent."""
    found = []
    for one in stairs:
        known = [at for at in times if at <= one.curve.longest]
        found.append(
            Row(name=one.name, cells=tuple((at, f"{100 * one.curve.at(at):.0f}") for at in known))
        )
    first = stairs[0].curve
    if first.rungs:
        cells = tuple((at, str(_waiting(first, at))) for at in times)
        found.append(Row(name="still waiting", cells=cells))
    return tuple(found)


def _waiting(curve: Curve, at: float) -> int:
    """How many were still waiting just before the first rung at or after a time."""
    later = [rung.waiting for rung in curve.rungs if rung.time >= at]
    return later[0] if later else curve.rungs[-1].waiting - curve.rungs[-1].endings


def _sheet(title: str, stairs: Sequence[Stairs], time: str) -> Sheet:
    rows: list[tuple[Cell, ...]] = [
        (
            one.name,
            rung.time,
            100 * rung.height,
            100 * rung.low,
            100 * rung.high,
            rung.waiting,
            rung.endings,
        )
        for one in stairs
        for rung in one.curve.rungs
    ]
    columns = ("ending", time, "%", "95% low", "95% high", "waiting before", "ended then")
    return Sheet(name=title, columns=columns, rows=tuple(rows))
