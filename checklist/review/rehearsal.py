"""How often a chart like this one alarms though nothing changed, by drawing stable series."""

from __future__ import annotations

import math
import random
from bisect import bisect_left
from collections.abc import Callable, Iterable
from itertools import accumulate

from checklist.review import baseline as base
from checklist.review.baseline import Baseline
from checklist.review.chart import Chart, DrawnPhase, judged
from checklist.review.control_limit import D2, POWER
from checklist.review.distribution import binomial_point, poisson_point
from checklist.review.false_alarm import FalseAlarm, simulated
from checklist.review.series import GapCount, Kind, Point
from checklist.review.unusable import Unusable, whole

SERIES = 1000
"""How many series are drawn: the chance is within 3.1% either way."""

Draw = Callable[[float], float]
"""Draws the count of one stable point of the given size."""


def of_chart(chart: Chart, *, series: int = SERIES, seed: int = 1) -> FalseAlarm:
    """The chance that a stable series with this chart's sizes, phases and rules shows a signal.

    Counts are binomial, Poisson or geometric about the baseline's mean, times exponential, values
    normal, and p' and u' points normal with the scatter found. The baseline is drawn and frozen
    anew each time, as it was, so that what it owes to chance counts, too. The same seed gives the
    same answer. Raises Unusable for no series.
    """
    whole("The number of series", series, least=1)
    draw = random.Random(seed)
    plays = [(phase, _drawer(phase.baseline, draw)) for phase in chart.phases]
    alarms = sum(_alarms(plays) for _ in range(series))
    return simulated(alarms, series, len(chart.marks))


def _alarms(plays: Iterable[tuple[DrawnPhase, Draw]]) -> bool:
    """Whether one stable series shows a signal in any phase."""
    return any(_phase_alarms(phase, draw) for phase, draw in plays)


def _phase_alarms(phase: DrawnPhase, draw: Draw) -> bool:
    own = {mark.label for mark in phase.marks}
    points = [Point(label=m.label, count=draw(m.size), size=m.size) for m in phase.marks]
    before = [
        Point(label=label, count=draw(size), size=size)
        for label, size in zip(phase.baseline.labels, phase.baseline.sizes, strict=True)
        if label not in own
    ]
    used = set(phase.baseline.labels)
    rested = [*before, *(point for point in points if point.label in used)]
    try:
        frozen = base.freeze(phase.baseline.design, rested, reason=phase.reason)
    except Unusable:
        # No limits can be drawn from such a series, so it cannot alarm.
        return False
    return bool(judged(frozen, points)[1])


def _drawer(frozen: Baseline, draw: random.Random) -> Draw:
    kind, mean = frozen.design.kind, frozen.mean
    if kind in (Kind.P, Kind.NP):
        return _counted(draw, lambda k, n: binomial_point(k, int(n), mean), lambda n: n * mean)
    if kind in (Kind.U, Kind.C):
        return _counted(draw, lambda k, n: poisson_point(k, n * mean), lambda n: n * mean)
    if kind in (Kind.P_PRIME, Kind.U_PRIME):
        return _scattered(frozen, draw)
    if kind is Kind.G:
        least = 1 if frozen.design.gap is GapCount.WITH_EVENT else 0
        step = math.log1p(-1 / (mean + 1 - least))
        return lambda size: least + math.floor(math.log1p(-draw.random()) / step)
    if kind is Kind.T:
        # The mean of y = x^(1/3.6) for exponential x of mean m is m^(1/3.6) times a gamma value.
        scale = (mean / math.gamma(1 + 1 / POWER)) ** POWER
        return lambda size: draw.expovariate(1 / scale)
    spread = 1.0 if frozen.spread is None else frozen.spread / D2
    return lambda size: draw.gauss(mean, spread) * size


def _counted(
    draw: random.Random, chance: Callable[[int, float], float], mean: Callable[[float], float]
) -> Draw:
    """Draws a count by its distribution, kept as running sums within 10 sigmas of the mean."""
    kept: dict[float, tuple[int, list[float]]] = {}

    def one(size: float) -> int:
        if size not in kept:
            middle = mean(size)
            reach = 10 * math.sqrt(middle) + 10
            low, high = max(0, math.floor(middle - reach)), math.ceil(middle + reach)
            kept[size] = low, list(accumulate(chance(k, size) for k in range(low, high)))
        low, sums = kept[size]
        return low + bisect_left(sums, draw.random() * sums[-1])

    return one


def _scattered(frozen: Baseline, draw: random.Random) -> Draw:
    """Draws a count about the mean with the scatter of a p' or u' chart."""
    top = frozen.design.kind is Kind.P_PRIME

    def one(size: float) -> int:
        value = draw.gauss(frozen.mean, base.sigma(frozen, size) or math.nan)
        return max(0, min(round(value * size), int(size)) if top else round(value * size))

    return one
