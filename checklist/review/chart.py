"""Run and control charts with phases and frozen baselines: for counts and times, never doses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from checklist.review import baseline as base
from checklist.review.baseline import Baseline, Exclusion
from checklist.review.control_limit import D4, lag_one
from checklist.review.run_rule import Runs, runs
from checklist.review.series import Design, GapCentre, Kind, Point, check
from checklist.review.special_cause import Rule, Signal, Trace, signals
from checklist.review.unusable import Unusable, whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A stretch of a chart with its own line, from the point labelled `start` on.

    `reason` says why a line was drawn anew here, such as a new set of rules in the checklist.
    `baseline` is one frozen beforehand; None works the line out from the phase's own points, less
    `excluded` ones, and is a first look that later points will move.
    """

    start: str
    reason: str
    baseline: Baseline | None = None
    excluded: tuple[Exclusion, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point as drawn: `low` and `high` are None on a run chart.

    `beyond` is +1 above the upper limit, -1 below the lower one, 0 otherwise; `rules` are those
    whose signal it is part of; `excluded` is the reason why its baseline leaves it out, or "".
    """

    label: str
    count: float
    size: float
    value: float
    line: float
    low: float | None
    high: float | None
    sigmas: float | None
    beyond: int
    rules: tuple[Rule, ...]
    excluded: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """The moving ranges of an XmR chart, the first between the phase's first two points."""

    values: tuple[float, ...]
    centre: float
    high: float
    outside: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPhase:
    """A phase with its marks and what was found in it; rules never look across its edges.

    The places in `signals` and `runs` count from the phase's first mark. `lag_one` is the
    correlation of neighbours.
    """

    reason: str
    frozen: bool
    baseline: Baseline
    marks: tuple[Mark, ...]
    runs: Runs
    signals: tuple[Signal, ...]
    lag_one: float
    ranges: Ranges | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart ready to draw, with the SHA-256 of all that it was made from."""

    design: Design
    phases: tuple[DrawnPhase, ...]
    digest: str

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks of all phases, in order of time."""
        return tuple(mark for phase in self.phases for mark in phase.marks)

    @property
    def signals(self) -> tuple[tuple[Signal, tuple[str, ...]], ...]:
        """Each signal with the labels of its points, in order of phase and rule."""
        return tuple(
            (signal, tuple(phase.marks[place].label for place in signal.points))
            for phase in self.phases
            for signal in phase.signals
        )


def draw(design: Design, points: Sequence[Point], phases: Sequence[Phase] = ()) -> Chart:
    """The chart of these points in these phases; without phases, one that is a first look.

    Raises Unusable for figures the chart cannot take, phases out of order or that do not begin
    with the first point, a baseline of another design, or rules that the chart has no sigma for.
    """
    check(design, points)
    chosen = tuple(phases) or (Phase(start=points[0].label, reason="all points, not frozen"),)
    drawn = []
    for phase, part in zip(chosen, _parts(points, chosen), strict=True):
        drawn.append(_drawn(design, phase, part))
    return Chart(
        design=design, phases=tuple(drawn), digest=base.digest(design, list(points), list(chosen))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenGap:
    """The gap since the last event, which is not over: a signal as soon as it passes `high`."""

    gap: int
    high: float
    signal: bool


def since_last(frozen: Baseline, gap: int) -> OpenGap:
    """Judges the open gap of a g chart by its baseline; raises Unusable for another chart."""
    if frozen.design.kind is not Kind.G:
        raise Unusable(f"A {frozen.design.kind} chart has no open gap. Take a g chart's baseline.")
    whole("The open gap", gap)
    found = base.limits(frozen, 1)
    assert found is not None
    return OpenGap(gap=gap, high=found[1], signal=gap > found[1])


def _parts(points: Sequence[Point], phases: Sequence[Phase]) -> list[list[Point]]:
    """The points of each phase."""
    places = {point.label: place for place, point in enumerate(points)}
    starts = []
    for phase in phases:
        if phase.start not in places:
            raise Unusable(f'No point is labelled "{phase.start}". Look at where the phase starts.')
        if not phase.reason.strip():
            raise Unusable(f'The phase from "{phase.start}" has no reason. Say why it starts.')
        starts.append(places[phase.start])
    if starts[0] != 0 or any(b <= a for a, b in pairwise(starts)):
        raise Unusable(
            "The phases do not begin with the first point and follow in order of time. Put them "
            f"in order, the first at {points[0].label!r}."
        )
    return [list(points[a:b]) for a, b in pairwise([*starts, len(points)])]


def judged(frozen: Baseline, points: Sequence[Point]) -> tuple[Trace, tuple[Signal, ...]]:
    """The points set against a baseline, and every signal of its design's rules among them."""
    design = frozen.design
    values = tuple(base.value(design, point) for point in points)
    spans = _spans(frozen, points)
    distances = tuple(base.distance(frozen, point) for point in points)
    known = tuple(d for d in distances if d is not None)
    trace = Trace(
        values=values,
        line=base.line(frozen, points[0].size),
        sigmas=known if len(known) == len(values) else None,
        beyond=tuple(_side(v, span) for v, span in zip(values, spans, strict=True)),
    )
    return trace, signals(trace, rules(design))


def rules(design: Design) -> tuple[Rule, ...]:
    """The rules of the design that can be judged.

    A run chart has no limits to lie outside of; about the mean of skewed gaps, runs on one side
    are not rare.
    """
    out: tuple[Rule, ...] = ()
    if design.kind is Kind.RUN:
        out = (Rule.OUTSIDE,)
    elif design.kind is Kind.G and design.centre is GapCentre.MEAN:
        out = (Rule.LONG_RUN, Rule.FEW_CROSSINGS)
    return tuple(rule for rule in design.rules.rules if rule not in out)


def _drawn(design: Design, phase: Phase, points: Sequence[Point]) -> DrawnPhase:
    frozen = _baseline(design, phase, points)
    trace, found = judged(frozen, points)
    excluded = {exclusion.label: exclusion.reason for exclusion in frozen.excluded}
    marks = tuple(
        Mark(
            label=point.label,
            count=point.count,
            size=point.size,
            value=trace.values[place],
            line=trace.line,
            low=None if span is None else span[0],
            high=None if span is None else span[1],
            sigmas=None if trace.sigmas is None else trace.sigmas[place],
            beyond=trace.beyond[place],
            rules=tuple(dict.fromkeys(s.rule for s in found if place in s.points)),
            excluded=excluded.get(point.label, ""),
        )
        for place, (point, span) in enumerate(zip(points, _spans(frozen, points), strict=True))
    )
    return DrawnPhase(
        reason=phase.reason,
        frozen=phase.baseline is not None,
        baseline=frozen,
        marks=marks,
        runs=runs(trace.values, trace.line),
        signals=found,
        lag_one=lag_one(trace.values),
        ranges=_ranges(frozen, marks) if design.kind is Kind.XMR and len(marks) > 1 else None,
    )


def _spans(frozen: Baseline, points: Sequence[Point]) -> list[tuple[float, float] | None]:
    """The limits at each point, worked out once for each size."""
    spans = {size: base.limits(frozen, size) for size in {point.size for point in points}}
    return [spans[point.size] for point in points]


def _baseline(design: Design, phase: Phase, points: Sequence[Point]) -> Baseline:
    if phase.baseline is None:
        return base.freeze(design, points, reason=phase.reason, excluded=phase.excluded)
    if phase.baseline.design != design:
        raise Unusable(
            f'The baseline of the phase from "{phase.start}" was frozen for another design '
            f"({phase.baseline.design.kind} chart). Freeze one for this chart."
        )
    if phase.excluded:
        raise Unusable(
            f'The phase from "{phase.start}" has a frozen baseline, so nothing can be left out of '
            "it now. Freeze a new version."
        )
    return phase.baseline


def _side(value: float, span: tuple[float, float] | None) -> int:
    """+1 above the span, -1 below it, 0 inside or without one."""
    return 0 if span is None else (value > span[1]) - (value < span[0])


def _ranges(frozen: Baseline, marks: Sequence[Mark]) -> Ranges:
    """The moving ranges; the upper limit is 3.267 times their mean in the baseline."""
    values = tuple(abs(b.value - a.value) for a, b in pairwise(marks))
    centre = frozen.spread or fmean(values)
    high = D4 * centre
    return Ranges(
        values=values,
        centre=centre,
        high=high,
        outside=tuple(m.label for m, v in zip(marks[1:], values, strict=True) if v > high),
    )
