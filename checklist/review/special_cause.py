"""Rules that mark special causes on a chart, in named sets, for statistics and never for doses."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from checklist.review.run_rule import LEAST, Runs, run_count_limits, runs
from checklist.review.unusable import Unusable


class Rule(StrEnum):
    """One pattern that stable points seldom show."""

    OUTSIDE = "outside the limits"
    LONG_RUN = "unusually long run on one side"
    FEW_CROSSINGS = "unusually few crossings of the line"
    RUN_OF_6 = "6 or more on one side"
    RUN_OF_7 = "7 or more on one side"
    RUN_OF_8 = "8 or more on one side"
    RUN_OF_9 = "9 or more on one side"
    TREND_OF_5 = "5 or more all up or all down"
    TREND_OF_6 = "6 or more all up or all down"
    TREND_OF_7 = "7 or more all up or all down"
    RUN_COUNT = "too few or too many runs"
    TWO_OF_THREE = "2 of 3 beyond 2 sigma on one side"
    TWO_NEAR_LIMIT = "3 on one side, 2 of them between 2 and 3 sigma"
    FOUR_OF_FIVE = "4 of 5 beyond 1 sigma on one side"
    ALTERNATING = "14 alternating up and down"
    HUGGING = "15 within 1 sigma"
    SHUNNING = "8 beyond 1 sigma, both sides"


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleSet:
    """Rules that are used together, under one name, with their source."""

    name: str
    rules: tuple[Rule, ...]
    source: str


SHEWHART = RuleSet(
    name="3 sigma",
    rules=(Rule.OUTSIDE,),
    source="Shewhart, Economic Control of Quality of Manufactured Product, 1931",
)
ANHOEJ = RuleSet(
    name="Anhoej",
    rules=(Rule.LONG_RUN, Rule.FEW_CROSSINGS),
    source="Anhoej and Olesen, PLoS ONE 2014;9:e113825; Anhoej, PLoS ONE 2015;10:e0121349",
)
DEFAULT = RuleSet(
    name="3 sigma and Anhoej",
    rules=(*SHEWHART.rules, *ANHOEJ.rules),
    source=f"{SHEWHART.source}; {ANHOEJ.source}",
)
WESTERN_ELECTRIC = RuleSet(
    name="Western Electric",
    rules=(Rule.OUTSIDE, Rule.TWO_OF_THREE, Rule.FOUR_OF_FIVE, Rule.RUN_OF_8),
    source="Western Electric, Statistical Quality Control Handbook, 1956",
)
NELSON = RuleSet(
    name="Nelson",
    rules=(
        Rule.OUTSIDE,
        Rule.RUN_OF_9,
        Rule.TREND_OF_6,
        Rule.ALTERNATING,
        Rule.TWO_OF_THREE,
        Rule.FOUR_OF_FIVE,
        Rule.HUGGING,
        Rule.SHUNNING,
    ),
    source="Nelson, J Qual Technol 1984;16:237-239 (from memory)",
)
FOUR_RULES = RuleSet(
    name="four rules",
    rules=(Rule.OUTSIDE, Rule.RUN_OF_7, Rule.TREND_OF_7, Rule.TWO_NEAR_LIMIT),
    source="R package NHSRplotthedots, the rules it marks",
)
RUN_CHART = RuleSet(
    name="run chart, fixed lengths",
    rules=(Rule.RUN_OF_6, Rule.TREND_OF_5, Rule.RUN_COUNT),
    source="Perla, Provost and Murray, BMJ Qual Saf 2011;20:46-51",
)
RULE_SETS = {
    chosen.name: chosen
    for chosen in (DEFAULT, SHEWHART, ANHOEJ, WESTERN_ELECTRIC, NELSON, FOUR_RULES, RUN_CHART)
}


JOIN = " + "
"""What stands between the rules in the name of a set that somebody put together."""


def rules_named(name: str) -> RuleSet:
    """The set of that name: a known one, or rules of one's own choice joined by JOIN.

    Raises Unusable for anything else.
    """
    if name in RULE_SETS:
        return RULE_SETS[name]
    try:
        return put_together([Rule(part) for part in name.split(JOIN)])
    except ValueError as fault:
        raise Unusable(
            f"No rules are named {name!r}. Name one of the sets ({', '.join(RULE_SETS)}), or rules"
            f" joined by {JOIN.strip()!r}."
        ) from fault


def put_together(rules: Iterable[Rule]) -> RuleSet:
    """These rules as a set, in the order of `Rule`; the known set where there is one of the same.

    Raises Unusable for none: a chart without a rule says nothing.
    """
    kept = set(rules)
    if not kept:
        raise Unusable("A chart needs one rule at least. Choose one.")
    for known in RULE_SETS.values():
        if set(known.rules) == kept:
            return known
    ordered = tuple(rule for rule in Rule if rule in kept)
    return RuleSet(
        name=JOIN.join(ordered), rules=ordered, source="put together by whoever reads the chart"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A rule that fired: the side (+1 high, -1 low, 0 neither) and the places of its points."""

    rule: Rule
    side: int
    points: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A series to judge: each value, its line, its distance in sigmas, its place by the limits.

    `sigmas` is None where the chart has no sigma; `beyond` holds +1 above the upper limit, -1 below
    the lower one and 0 otherwise.
    """

    values: tuple[float, ...]
    line: float
    sigmas: tuple[float, ...] | None = None
    beyond: tuple[int, ...] = ()


def signals(trace: Trace, rules: Iterable[Rule]) -> tuple[Signal, ...]:
    """Every signal of the rules, in the order of the rules and then of time.

    Points on the line are skipped in runs on one side and break the patterns in sigmas. Raises
    Unusable for a rule in sigmas on a chart without them.
    """
    found: list[Signal] = []
    for rule in rules:
        if rule in _NEED_SIGMA and trace.sigmas is None:
            raise Unusable(
                f'The rule "{rule}" needs limits in sigmas, which this chart does not have. '
                f'Choose the rules "{ANHOEJ.name}".'
            )
        found.extend(_FINDERS[rule](trace, rule))
    return tuple(found)


def _outside(trace: Trace, rule: Rule) -> list[Signal]:
    return [
        Signal(rule=rule, side=side, points=(place,))
        for place, side in enumerate(trace.beyond)
        if side != 0
    ]


def _runs(trace: Trace) -> Runs:
    return runs(trace.values, trace.line)


def _long_run(trace: Trace, rule: Rule) -> list[Signal]:
    return [Signal(rule=rule, side=run.side, points=run.points) for run in _runs(trace).too_long]


def _few_crossings(trace: Trace, rule: Rule) -> list[Signal]:
    found = _runs(trace)
    if not found.too_few_crossings:
        return []
    return [Signal(rule=rule, side=0, points=_useful(found))]


def _useful(found: Runs) -> tuple[int, ...]:
    return tuple(point for run in found.runs for point in run.points)


def _run_count(trace: Trace, rule: Rule) -> list[Signal]:
    found = _runs(trace)
    if found.useful < LEAST:
        return []
    fewest, most = run_count_limits(found.useful)
    if fewest <= len(found.runs) <= most:
        return []
    return [Signal(rule=rule, side=0, points=_useful(found))]


def _run_of(length: int) -> Callable[[Trace, Rule], list[Signal]]:
    def find(trace: Trace, rule: Rule) -> list[Signal]:
        return [
            Signal(rule=rule, side=run.side, points=run.points)
            for run in _runs(trace).runs
            if len(run.points) >= length
        ]

    return find


def _trend_of(length: int) -> Callable[[Trace, Rule], list[Signal]]:
    """Points that all go one way; an equal neighbour neither adds to a trend nor ends it."""

    def find(trace: Trace, rule: Rule) -> list[Signal]:
        found: list[Signal] = []
        side, points = 0, list(range(min(1, len(trace.values))))
        for place in range(1, len(trace.values)):
            step = _sign(trace.values[place] - trace.values[place - 1])
            if step == 0:
                continue
            if step != side:
                found.extend(_long_enough(rule, side, points, length))
                side, points = step, [place - 1]
            points.append(place)
        found.extend(_long_enough(rule, side, points, length))
        return found

    return find


def _long_enough(rule: Rule, side: int, points: Sequence[int], length: int) -> list[Signal]:
    fits = side != 0 and len(points) >= length
    return [Signal(rule=rule, side=side, points=tuple(points))] if fits else []


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def _one_side(
    size: int, least: int, inner: float, outer: float = float("inf"), *, whole: bool = False
) -> Callable[[Trace, Rule], list[Signal]]:
    """`least` of `size` neighbours between `inner` and `outer` sigmas on one side.

    `whole` asks that all the others are on that side too.
    """

    def find(trace: Trace, rule: Rule) -> list[Signal]:
        sigmas = trace.sigmas or ()
        found: list[Signal] = []
        for side in (1, -1):
            hits = []
            for start in range(len(sigmas) - size + 1):
                window = [side * sigma for sigma in sigmas[start : start + size]]
                near = sum(inner < sigma <= outer for sigma in window)
                if near >= least and (not whole or min(window) > 0):
                    hits.append(start)
            found.extend(_joined(rule, side, hits, size))
        return sorted(found, key=lambda signal: signal.points)

    return find


def _windows(
    size: int, fits: Callable[[Sequence[float]], bool], *, raw: bool = False
) -> Callable[[Trace, Rule], list[Signal]]:
    """Neighbours of which `fits` holds, in sigmas or, if `raw`, as they are."""

    def find(trace: Trace, rule: Rule) -> list[Signal]:
        series = trace.values if raw else trace.sigmas or ()
        places = range(len(series) - size + 1)
        hits = [start for start in places if fits(series[start : start + size])]
        return _joined(rule, 0, hits, size)

    return find


def _joined(rule: Rule, side: int, hits: Sequence[int], size: int) -> list[Signal]:
    """Windows that overlap or touch, as one signal."""
    spans: list[tuple[int, int]] = []
    for start in hits:
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], start + size)
        else:
            spans.append((start, start + size))
    return [Signal(rule=rule, side=side, points=tuple(range(*span))) for span in spans]


def _alternates(window: Sequence[float]) -> bool:
    steps = [_sign(b - a) for a, b in pairwise(window)]
    return all(a * b == -1 for a, b in pairwise(steps))


_FINDERS: dict[Rule, Callable[[Trace, Rule], list[Signal]]] = {
    Rule.OUTSIDE: _outside,
    Rule.LONG_RUN: _long_run,
    Rule.FEW_CROSSINGS: _few_crossings,
    Rule.RUN_OF_6: _run_of(6),
    Rule.RUN_OF_7: _run_of(7),
    Rule.RUN_OF_8: _run_of(8),
    Rule.RUN_OF_9: _run_of(9),
    Rule.TREND_OF_5: _trend_of(5),
    Rule.TREND_OF_6: _trend_of(6),
    Rule.TREND_OF_7: _trend_of(7),
    Rule.RUN_COUNT: _run_count,
    Rule.TWO_OF_THREE: _one_side(3, 2, 2),
    Rule.TWO_NEAR_LIMIT: _one_side(3, 2, 2, 3, whole=True),
    Rule.FOUR_OF_FIVE: _one_side(5, 4, 1),
    Rule.ALTERNATING: _windows(14, _alternates, raw=True),
    Rule.HUGGING: _windows(15, lambda w: max(map(abs, w)) < 1),
    Rule.SHUNNING: _windows(8, lambda w: min(map(abs, w)) > 1 and min(w) < 0 < max(w)),
}
_NEED_SIGMA = frozenset(
    {
        Rule.OUTSIDE,
        Rule.TWO_OF_THREE,
        Rule.TWO_NEAR_LIMIT,
        Rule.FOUR_OF_FIVE,
        Rule.HUGGING,
        Rule.SHUNNING,
    }
)
