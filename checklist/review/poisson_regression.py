"""How a rate goes with several things at once, in floating point, which is not for doses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from checklist.review.distribution import normal_above, normal_quantile
from checklist.review.unusable import Unusable, enough, finite, positive, share, whole

_TURNS = 100
_CLOSE = 1e-12
_MOST = 12.0
"""A cause that multiplies a rate by more than exp(12), or its inverse, has no finite factor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Events in an exposure at one setting of the causes, of one person."""

    events: int
    exposure: float
    causes: tuple[float, ...]
    person: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """By what the rate is multiplied for one more of a cause, with limits and P (two-sided).

    `log` is its logarithm and `error` the standard error of that, which allows for people whose
    cells are alike.
    """

    log: float
    error: float
    times: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """The rate where every cause is 0, the factor of each cause, and how many people and events."""

    base: float
    factors: tuple[Factor, ...]
    people: int
    events: int
    level: float


def fit(cells: Sequence[Cell], *, level: float = 0.95) -> Fit:
    """Fit log(events) = log(exposure) + a + b1 x1 + ... by greatest likelihood (Newton).

    Errors are robust ones, summed by person, with the factor G / (G - 1) for G people; limits and P
    are normal ones on the log scale. Raises Unusable for fewer than 2 people, no event, causes that
    do not differ or go together wholly, or counts to which no finite factor belongs.
    Sources: McCullagh and Nelder, Generalized Linear Models, 1989, chapter 6; Liang and Zeger,
    Biometrika 1986;73:13-22.
    """
    share("The level", level)
    rows = _rows(cells)
    beta = _likeliest(cells, rows)
    means = [_mean(one, row, beta) for one, row in zip(cells, rows, strict=True)]
    bread = _inverse(_weighted(rows, means))
    scores: dict[str, list[float]] = {}
    for one, row, mean in zip(cells, rows, means, strict=True):
        own = scores.setdefault(one.person, [0.0] * len(row))
        for place, value in enumerate(row):
            own[place] += value * (one.events - mean)
    people = len(scores)
    meat = _weighted(list(scores.values()), [people / (people - 1)] * people)
    robust = _times(_times(bread, meat), bread)
    z = normal_quantile((1 + level) / 2)
    factors = []
    for place in range(1, len(beta)):
        error, log = math.sqrt(max(robust[place][place], 0.0)), beta[place]
        factors.append(
            Factor(
                log=log,
                error=error,
                times=math.exp(log),
                low=math.exp(log - z * error),
                high=math.exp(log + z * error),
                p_value=2 * normal_above(abs(log) / error) if error else math.nan,
            )
        )
    return Fit(
        base=math.exp(beta[0]),
        factors=tuple(factors),
        people=people,
        events=sum(one.events for one in cells),
        level=level,
    )


def _rows(cells: Sequence[Cell]) -> list[list[float]]:
    enough("The list of cells", cells, 2)
    wide = len(cells[0].causes)
    rows = []
    for one in cells:
        whole("The number of events", one.events)
        positive("The exposure", one.exposure)
        if len(one.causes) != wide:
            raise Unusable(f"One cell has {len(one.causes)} causes, another {wide}. Give each all.")
        rows.append([1.0, *(finite("A cause", value) for value in one.causes)])
    enough("The list of people", sorted({one.person for one in cells}), 2)
    if not any(one.events for one in cells):
        raise Unusable("There is no event, so no rate to compare. Wait for more.")
    return rows


def _likeliest(cells: Sequence[Cell], rows: Sequence[Sequence[float]]) -> list[float]:
    events, exposure = sum(one.events for one in cells), sum(one.exposure for one in cells)
    beta = [math.log(events / exposure)] + [0.0] * (len(rows[0]) - 1)
    for _ in range(_TURNS):
        means = [_mean(one, row, beta) for one, row in zip(cells, rows, strict=True)]
        slope = [
            sum(
                row[p] * (one.events - mean)
                for one, row, mean in zip(cells, rows, means, strict=True)
            )
            for p in range(len(beta))
        ]
        inverse = _inverse(_weighted(rows, means))
        step = [sum(a * b for a, b in zip(line, slope, strict=True)) for line in inverse]
        # A long step from the flat start could leave the range of exp; a short one only takes
        # another turn.
        longest = max(abs(each) for each in step)
        part = min(1.0, 2.0 / longest) if longest else 1.0
        beta = [b + part * s for b, s in zip(beta, step, strict=True)]
        if any(abs(b) > _MOST for b in beta[1:]):
            break
        if longest < _CLOSE * (1 + max(abs(b) for b in beta)):
            return beta
    raise Unusable(
        "No finite factor belongs to these counts: a cause has no event on one side. Join groups."
    )


def _mean(one: Cell, row: Sequence[float], beta: Sequence[float]) -> float:
    return one.exposure * math.exp(sum(x * b for x, b in zip(row, beta, strict=True)))


def _weighted(rows: Sequence[Sequence[float]], weights: Sequence[float]) -> list[list[float]]:
    """The sum of weight times row times row turned on its side."""
    wide = range(len(rows[0]))
    pairs = list(zip(rows, weights, strict=True))
    return [[sum(w * row[i] * row[j] for row, w in pairs) for j in wide] for i in wide]


def _times(one: Sequence[Sequence[float]], other: Sequence[Sequence[float]]) -> list[list[float]]:
    columns = list(zip(*other, strict=True))
    return [[sum(a * b for a, b in zip(row, col, strict=True)) for col in columns] for row in one]


def _inverse(square: Sequence[Sequence[float]]) -> list[list[float]]:
    """The inverse by Gauss and Jordan; raises Unusable where the causes cannot be told apart."""
    size = len(square)
    work = [[*row, *(float(i == j) for j in range(size))] for i, row in enumerate(square)]
    for place in range(size):
        best = max(range(place, size), key=lambda n: abs(work[n][place]))
        if not abs(work[best][place]) > 1e-10 * abs(square[place][place]):
            raise Unusable(
                "The causes do not differ from cell to cell, or go together wholly, so that they"
                " cannot be told apart. Leave one out."
            )
        work[place], work[best] = work[best], work[place]
        head = work[place][place]
        work[place] = [value / head for value in work[place]]
        for other in range(size):
            if other != place:
                times = work[other][place]
                work[other] = [a - times * b for a, b in zip(work[other], work[place], strict=True)]
    return [row[size:] for row in work]
