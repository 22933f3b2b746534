"""How often stable points show a signal by chance alone, for statistics and never for doses."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from statistics import median

from checklist.review.distribution import normal_above
from checklist.review.interval import proportion
from checklist.review.run_rule import Line, alarm_chance, run_chance
from checklist.review.special_cause import (
    ANHOEJ,
    DEFAULT,
    WESTERN_ELECTRIC,
    Rule,
    RuleSet,
    Trace,
    signals,
)
from checklist.review.unusable import Unusable, whole

SERIES = 4000
"""How many series are drawn where no exact chance is known: within 1.6% either way."""

_RUN_LENGTHS = {Rule.RUN_OF_6: 6, Rule.RUN_OF_7: 7, Rule.RUN_OF_8: 8, Rule.RUN_OF_9: 9}


@dataclass(frozen=True, slots=True, kw_only=True)
class FalseAlarm:
    """The chance that a stable series of so many points shows at least one signal.

    `low` and `high` are 95% limits of a simulated chance and equal to it when it is exact.
    """

    points: int
    chance: float
    low: float
    high: float
    how: str


def of_rules(
    chosen: RuleSet,
    points: int,
    *,
    line: Line = Line.FROZEN,
    series: int = SERIES,
    seed: int = 1,
) -> FalseAlarm:
    """The false-alarm chance of a rule set for independent normal points.

    The line and sigma are known beforehand; or the line is the points' own median. Exact for
    3 sigma, Anhoej, both, fixed runs and Western Electric; by `series` series drawn from `seed`
    otherwise. Raises Unusable for no points.
    """
    whole("The number of points", points, least=1)
    exact = _exact(chosen, points, line)
    if exact is not None:
        return FalseAlarm(points=points, chance=exact, low=exact, high=exact, how="exact")
    draw = random.Random(seed)
    alarms = sum(_alarms(chosen, points, line, draw) for _ in range(series))
    return simulated(alarms, series, points)


def simulated(alarms: int, series: int, points: int) -> FalseAlarm:
    """The chance found when `alarms` of so many simulated series showed a signal."""
    found = proportion(alarms, series)
    return FalseAlarm(
        points=points,
        chance=found.estimate,
        low=found.low,
        high=found.high,
        how=f"simulated, {series} series",
    )


def expected(alarms: Iterable[FalseAlarm]) -> float:
    """How many of the charts are expected to show a signal though nothing has changed."""
    return sum(alarm.chance for alarm in alarms)


def average_run_length(chosen: RuleSet) -> float:
    """The mean number of stable points up to the first false alarm.

    Exact for 3 sigma, a run of fixed length, both, and Western Electric (the method of Champ and
    Woodall, Technometrics 1987;29:393-399); raises Unusable for other sets, whose chance depends on
    the length or has no closed form.
    """
    rules = set(chosen.rules)
    lengths = [_RUN_LENGTHS[rule] for rule in rules if rule in _RUN_LENGTHS]
    if len(lengths) <= 1 and rules <= {Rule.OUTSIDE, *_RUN_LENGTHS}:
        inside = 1 - _beyond_three() if Rule.OUTSIDE in rules else 1.0
        return _mean_to_run(lengths[0], inside) if lengths else 1 / _beyond_three()
    if rules != set(WESTERN_ELECTRIC.rules):
        raise Unusable(
            f'The rules "{chosen.name}" have no run length in closed form. Ask for their chance '
            "in so many points."
        )
    # Once the chain has settled, each further point keeps the same share of quiet series.
    quiet = _quiet_zones(600)
    return sum(quiet) + quiet[-1] / (1 - quiet[-1] / quiet[-2]) * (quiet[-1] / quiet[-2])


def _mean_to_run(length: int, inside: float) -> float:
    """The mean number of points to a run of so many on one side, or to one beyond the limits.

    After each point within the limits the run goes on or begins anew, each with the chance 1/2;
    with the mean from a run of k, E(k) = 1 + inside (E(1) + E(k + 1)) / 2 and E(length) = 0.
    """
    half, factor, rest = inside / 2, 0.0, 0.0
    for _ in range(length - 1):
        # E(k) = rest + factor * E(1), from the longest run back to a run of one.
        factor, rest = half + half * factor, 1 + half * rest
    return 1 + inside * rest / (1 - factor)


def _beyond_three() -> float:
    return 2 * normal_above(3)


def _exact(chosen: RuleSet, points: int, line: Line) -> float | None:
    """The exact chance, where one is known.

    A normal distance is independent of its side, so runs and the 3-sigma rule multiply.
    """
    rules = set(chosen.rules)
    if rules == set(WESTERN_ELECTRIC.rules):
        return 1 - _quiet_zones(points)[-1] if line is Line.FROZEN else None
    if rules == set(ANHOEJ.rules) and (line is Line.FROZEN or points % 2 == 0):
        return float(alarm_chance(points, line))
    if line is not Line.FROZEN:
        return None
    inside: float = (1 - _beyond_three()) ** points if Rule.OUTSIDE in rules else 1.0
    rest = rules - {Rule.OUTSIDE}
    if not rest:
        return 1 - inside
    if rules == set(DEFAULT.rules):
        return 1 - inside * float(1 - alarm_chance(points))
    if len(rest) == 1 and rest <= set(_RUN_LENGTHS):
        return 1 - inside * float(1 - run_chance(points, _RUN_LENGTHS[rest.pop()]))
    return None


def _alarms(chosen: RuleSet, points: int, line: Line, draw: random.Random) -> bool:
    values = tuple(draw.gauss(0, 1) for _ in range(points))
    beyond = tuple((value > 3) - (value < -3) for value in values)
    middle = 0.0 if line is Line.FROZEN else median(values)
    trace = Trace(values=values, line=middle, sigmas=values, beyond=beyond)
    return any(signals(trace, (rule,)) for rule in chosen.rules)


@lru_cache
def _quiet_zones(points: int) -> tuple[float, ...]:
    """The chance of no Western Electric signal in the first 0, 1, ... `points` points."""
    steps = _zone_steps()
    now = {0: 1.0}
    quiet = [1.0]
    for _ in range(points):
        after: dict[int, float] = {}
        for state, chance in now.items():
            for target, share in steps[state]:
                after[target] = after.get(target, 0.0) + chance * share
        now = after
        quiet.append(sum(now.values()))
    return tuple(quiet)


@lru_cache
def _zone_steps() -> tuple[tuple[tuple[int, float], ...], ...]:
    """For each state, the quiet states that may follow and their chances.

    A state is the last four zones (1 to 3 sigmas out, signed by side) and the length of the run on
    one side; a step that makes a signal leads nowhere.
    """
    above = [normal_above(sigma) for sigma in range(4)]
    zones = {side * zone: above[zone - 1] - above[zone] for zone in (1, 2, 3) for side in (1, -1)}
    start: tuple[tuple[int, ...], int] = ((), 0)
    places, order = {start: 0}, [start]
    steps: list[tuple[tuple[int, float], ...]] = []
    for state in order:
        row = []
        for zone, share in zones.items():
            after = _after(state, zone)
            if after is None:
                continue
            if after not in places:
                places[after] = len(order)
                order.append(after)
            row.append((places[after], share))
        steps.append(tuple(row))
    return tuple(steps)


def _after(state: tuple[tuple[int, ...], int], zone: int) -> tuple[tuple[int, ...], int] | None:
    """The state after one more point, or None when a signal is made."""
    zones, run = state
    seen = (*zones, zone)
    run = run + 1 if zones and (zones[-1] > 0) == (zone > 0) else 1
    side = 1 if zone > 0 else -1
    two_of_three = sum(side * z >= 3 for z in seen[-3:]) >= 2
    four_of_five = sum(side * z >= 2 for z in seen[-5:]) >= 4
    return None if run >= 8 or two_of_three or four_of_five else (seen[-4:], run)
