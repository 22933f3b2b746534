"""A control or run chart as a plot: line, limits, phases, signals, notes, the figures below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist.drawing import origin as origins
from checklist.drawing.origin import Origin
from checklist.drawing.plot import (
    Axis,
    Break,
    Dash,
    Group,
    Mark,
    Plot,
    Row,
    Shape,
    Stroke,
    height,
    nice_axis,
)
from checklist.drawing.sheet import Cell, Sheet
from checklist.drawing.wording import Measure, figure, hidden_note, rehearsed
from checklist.review import chart_note
from checklist.review.chart import Chart, DrawnPhase, OpenGap
from checklist.review.chart import Mark as Seen
from checklist.review.false_alarm import FalseAlarm
from checklist.review.series import COUNTED, Kind
from checklist.review.special_cause import Rule

_WHOLE_SERIES = frozenset({Rule.FEW_CROSSINGS, Rule.RUN_COUNT})
"""Rules whose signal is one of the series and of no single point, so that none is marked by it."""
MOST_IN_ROW = 80
"""With more points than these the figures stand in the table only."""
_KINDS = {
    Kind.RUN: "run chart about the median",
    Kind.NP: "np chart",
    Kind.XMR: "XmR chart, values",
    Kind.G: "g chart: what lies between events",
    Kind.T: "t chart: time between events",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What is drawn beside a chart's figures.

    `alarm` is the rehearsed false-alarm rate of this chart; `ids` leads from a point's label to
    its preparations; `hidden` are the labels of points too small to show; `remarks` are notes of
    the reader's own, by label; `gap` is the open gap of a g chart.
    """

    alarm: FalseAlarm | None = None
    ids: Mapping[str, tuple[str, ...]]
    trails: tuple[Origin, ...] = ()
    hidden: tuple[str, ...] = ()
    remarks: Mapping[str, str]
    gap: OpenGap | None = None


def plotted(chart: Chart, measure: Measure, beside: Beside, *, wide: int = 760) -> Plot:
    """The plot of a chart in the words of a measure, `wide` points of a 96th of an inch."""
    scale = float(measure.per) if _shares(chart) else 1.0
    seen = chart.marks
    strokes = _strokes(chart, scale)
    tops = [y for stroke in strokes for _, y in stroke.points]
    unit = _unit(chart, measure)
    breaks = _breaks(chart)
    return Plot(
        title=measure.title,
        about=(_about(chart, measure),),
        described=_described(chart, measure, scale),
        x=Axis(title="", low=-0.5, high=len(seen) - 0.5),
        y=nice_axis(unit, min(0.0, *tops), max(tops) * 1.02 if max(tops) > 0 else 1.0),
        wide=wide,
        high=height(wide),
        strokes=strokes,
        marks=tuple(
            _mark(place, mark, measure, chart, scale, beside) for place, mark in enumerate(seen)
        ),
        breaks=breaks,
        rows=_rows(chart, measure, scale) if len(seen) <= MOST_IN_ROW else (),
        notes=_notes(chart, measure, beside),
        foot=(*origins.sentences(beside.trails), f"Figures and settings: {chart.digest[:32]}."),
        stamp=origins.stamp(beside.trails),
        sheet=_sheet(chart, measure, scale, beside),
        groups=tuple(
            Group(key=key(place), name=mark.label, ids=tuple(beside.ids.get(mark.label, ())))
            for place, mark in enumerate(seen)
            if mark.label in beside.ids
        ),
    )


def key(place: int) -> str:
    """The key of a chart's point, by its place from 0."""
    return f"point-{place + 1}"


def own_rules(mark: Seen) -> tuple[Rule, ...]:
    """The rules by which this point, and not the series as a whole, is part of a signal."""
    return tuple(rule for rule in mark.rules if rule not in _WHOLE_SERIES)


def _shares(chart: Chart) -> bool:
    return chart.design.kind in COUNTED - {Kind.NP, Kind.C} or (
        chart.design.kind is Kind.RUN and any(mark.size != 1 for mark in chart.marks)
    )


def _unit(chart: Chart, measure: Measure) -> str:
    if _shares(chart):
        return f"{measure.events} per {measure.per} {measure.chances}"
    if chart.design.kind is Kind.G:
        return f"{measure.chances} from one to the next"
    return measure.unit or measure.events


def _about(chart: Chart, measure: Measure) -> str:
    kind = _KINDS.get(chart.design.kind, f"{chart.design.kind} chart")
    article = "An" if kind.startswith(("np", "X")) else "A"
    marks = chart.marks
    point = "event" if chart.design.kind in (Kind.G, Kind.T) else measure.period
    span = f"{marks[0].label} to {marks[-1].label}"
    if not _shares(chart):
        return f"{article} {kind}; one point for each {point}, {span}."
    events, chances = sum(mark.count for mark in marks), sum(mark.size for mark in marks)
    return (
        f"{article} {kind}; one point for each {point}, {span}:"
        f" {figure(events)} {measure.events} in {figure(chances)} {measure.chances}."
    )


def _described(chart: Chart, measure: Measure, scale: float) -> str:
    """The chart for who cannot see it: what it is, where it ends, what it signals."""
    last = chart.marks[-1]
    ends = f"{figure(last.value * scale, 2)}, line {figure(last.line * scale, 2)}"
    found = [
        f"{measure.title}. {_about(chart, measure)}",
        f"Last point {last.label}: {ends}.",
        *_signals(chart),
    ]
    return " ".join(found)


def _strokes(chart: Chart, scale: float) -> tuple[Stroke, ...]:
    """The values, then each phase's line and limits; only the last phase's are named."""
    found = []
    start = 0
    for place, phase in enumerate(chart.phases):
        final = place == len(chart.phases) - 1
        marks = phase.marks
        ends = (start - 0.5, start + len(marks) - 0.5)
        found.append(
            Stroke(
                points=tuple((start + i, mark.value * scale) for i, mark in enumerate(marks)),
                weight=1.2,
            )
        )
        middle = marks[-1].line * scale
        named = "median" if chart.design.kind is Kind.RUN else "line"
        found.append(
            Stroke(
                points=((ends[0], middle), (ends[1], middle)),
                dash=Dash.SHORT,
                weight=1.1,
                words=f"{named} {figure(middle)}" if final else "",
            )
        )
        found.extend(_limits(phase, start, scale, final))
        start += len(marks)
    return tuple(found)


def _limits(phase: DrawnPhase, start: int, scale: float, named: bool) -> list[Stroke]:
    """The upper and lower limit, stepped where the sizes differ; no lower one is drawn at 0."""
    found = []
    bare = phase.baseline.design.kind is not Kind.XMR
    for words, which in (("upper limit", "high"), ("lower limit", "low")):
        piece: list[tuple[float, float]] = []
        for i, mark in enumerate(phase.marks):
            height = getattr(mark, which)
            if height is None or (bare and not height > 0):
                found.append(Stroke(points=tuple(piece), dash=Dash.LONG, weight=1.1))
                piece = []
                continue
            piece += [(start + i - 0.5, height * scale), (start + i + 0.5, height * scale)]
        label = f"{words} {figure(piece[-1][1])}" if named and piece else ""
        found.append(Stroke(points=tuple(piece), dash=Dash.LONG, weight=1.1, words=label))
    return [stroke for stroke in found if stroke.points]


def _breaks(chart: Chart) -> tuple[Break, ...]:
    found, start = [], 0
    for number, phase in enumerate(chart.phases, 1):
        if start:
            found.append(Break(x=start - 0.5, words=str(number)))
        start += len(phase.marks)
    return tuple(found)


def _mark(
    place: int, mark: Seen, measure: Measure, chart: Chart, scale: float, beside: Beside
) -> Mark:
    shape = Shape.RING
    if mark.excluded:
        shape = Shape.LEFT_OUT
    elif own_rules(mark):
        shape = Shape.SIGNAL
    says = f"{mark.label}: {figure(mark.value * scale, 2)} {_unit(chart, measure)}"
    if _shares(chart):
        says += f", {figure(mark.count)} of {figure(mark.size)}"
    if own_rules(mark):
        says += f"; part of a signal: {', '.join(own_rules(mark))}"
    known = beside.ids.get(mark.label)
    if known is not None:
        says += f"; {len(known)} to look at"
    lettered = _letters(beside).get(mark.label, "")
    return Mark(
        x=place,
        y=mark.value * scale,
        shape=shape,
        says=says,
        key=key(place) if known else "",
        words=lettered,
    )


def _letters(beside: Beside) -> dict[str, str]:
    """A small letter for each remark, in order."""
    return {label: chr(97 + place % 26) for place, label in enumerate(beside.remarks)}


def _rows(chart: Chart, measure: Measure, scale: float) -> tuple[Row, ...]:
    marks = list(enumerate(chart.marks))
    point = "event" if chart.design.kind in (Kind.G, Kind.T) else measure.period
    found = [Row(name=point, cells=tuple((float(i), mark.label) for i, mark in marks))]
    if _shares(chart):
        found.append(_row("events", [(i, mark.count) for i, mark in marks]))
        found.append(_row("out of", [(i, mark.size) for i, mark in marks]))
    name = f"per {measure.per}" if _shares(chart) else "value"
    digits = 0 if all(float(mark.value * scale).is_integer() for _, mark in marks) else 1
    cells = tuple((float(i), f"{mark.value * scale:.{digits}f}") for i, mark in marks)
    return (*found, Row(name=name, cells=cells))


def _row(name: str, cells: Sequence[tuple[int, float]]) -> Row:
    return Row(name=name, cells=tuple((float(i), figure(value)) for i, value in cells))


def _notes(chart: Chart, measure: Measure, beside: Beside) -> tuple[str, ...]:
    scale = float(measure.per) if _shares(chart) else 1.0
    found = [_phase_note(number, one, scale) for number, one in enumerate(chart.phases, 1)]
    found.extend(_signals(chart) or ("No signal.",))
    if beside.alarm is not None:
        found.append(rehearsed(beside.alarm, chart.design.rules.name))
    else:
        found.append(f"Rules: {chart.design.rules.name}.")
    if beside.gap is not None:
        found.append(_gap_note(beside.gap, measure))
    found.extend(chart_note.notes(chart))
    for phase in chart.phases:
        if phase.ranges is not None and phase.ranges.outside:
            found.append(
                f"The step to {', '.join(phase.ranges.outside)} is larger than"
                f" {figure(phase.ranges.high, 2)}, the limit of the moving range."
            )
    if beside.hidden:
        found.append(hidden_note(len(beside.hidden), measure.period))
    letters = _letters(beside)
    found.extend(f"{letters[label]}  {label}: {text}" for label, text in beside.remarks.items())
    found.append("Circle: within what chance makes. Filled diamond: part of a signal.")
    if any(mark.excluded for mark in chart.marks):
        found[-1] += " Cross: left out of the line."
    return tuple(found)


def _phase_note(number: int, phase: DrawnPhase, scale: float) -> str:
    frozen = phase.baseline
    rests = f"{len(frozen.labels)} points, {frozen.labels[0]} to {frozen.labels[-1]}"
    if phase.frozen:
        line = f"frozen, version {frozen.version}, on {rests}: {frozen.reason}"
    else:
        line = f"not frozen, from {rests}"
    line = f"line {figure(phase.marks[-1].line * scale, 2)}, {line}"
    return f"{number}  From {phase.marks[0].label}: {phase.reason}; {line}."


def _signals(chart: Chart) -> list[str]:
    found = []
    for signal, labels in chart.signals:
        side = {1: ", above", -1: ", below"}.get(signal.side, "")
        span = labels[0] if len(labels) == 1 else f"{labels[0]} to {labels[-1]}"
        found.append(f"Signal: {signal.rule}{side}: {span}.")
    return found


def _gap_note(gap: OpenGap, measure: Measure) -> str:
    found = (
        f"Since the last event: {gap.gap} {measure.chances} so far;"
        f" above {figure(gap.high, 0)} would be a signal."
    )
    return f"{found} It is one." if gap.signal else found


def _sheet(chart: Chart, measure: Measure, scale: float, beside: Beside) -> Sheet:
    """The chart's figures, a row for each point, with how many preparations it leads to."""

    def row(mark: Seen) -> tuple[Cell, ...]:
        return (
            mark.label,
            mark.count,
            mark.size,
            mark.value * scale,
            mark.line * scale,
            None if mark.low is None else mark.low * scale,
            None if mark.high is None else mark.high * scale,
            "; ".join(own_rules(mark)),
            mark.excluded,
            len(beside.ids.get(mark.label, ())),
        )

    return Sheet(
        name=measure.title,
        columns=(
            measure.period,
            "count" if not measure.unit else measure.unit,
            "out of",
            _unit(chart, measure),
            "line",
            "lower limit",
            "upper limit",
            "signal",
            "left out of the line",
            "preparations to look at",
        ),
        rows=tuple(row(mark) for mark in chart.marks),
        about=(_about(chart, measure),),
    )
