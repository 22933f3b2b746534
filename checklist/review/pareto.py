"""Which few kinds make up most, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist.review.distribution import binomial_two_sided
from checklist.review.unusable import Unusable, enough, finite, whole

OTHER = "other"
"""The kind that is always last, whatever its count."""
APART = 0.05
"""Neighbours whose order has a larger P value than this may well change places."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A kind with its count, its weighted sum, and the share of all up to and with it.

    `apart` is the exact P value that it and the next bar occur equally often; None for the last
    bar, before "other" and where weights decide. `settled` tells whether it is small enough for
    their order to count.
    """

    kind: str
    count: int
    weighted: float
    cumulative: float
    apart: float | None
    settled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Pareto:
    """Bars from the largest, "other" last, with how many lead up to the wished share."""

    bars: tuple[Bar, ...]
    total: int
    lead: int
    share: float


def draw(
    counts: Mapping[str, int],
    *,
    weights: Mapping[str, float] | None = None,
    share: float = 0.8,
) -> Pareto:
    """The kinds in order of their counts, or of count times weight where weights are given.

    Equal ones stand in order of their names. `lead` is how many bars it takes to reach `share` of
    all. Raises Unusable for no kind, no event, a count that is not whole, or a missing or negative
    weight.
    """
    enough("The list of kinds", list(counts), 1)
    for kind, count in counts.items():
        whole(f'The count of "{kind}"', count)
    by = {kind: _weight(weights, kind) * count for kind, count in counts.items()}
    total = math.fsum(by.values())
    if not total > 0:
        raise Unusable("No event was counted, so there is nothing to put in order.")
    order = sorted(by, key=lambda kind: (kind.casefold() == OTHER, -by[kind], kind))
    bars: list[Bar] = []
    reached = 0.0
    for place, kind in enumerate(order):
        reached += by[kind]
        apart = None if weights is not None else _apart(counts, order, place)
        bars.append(
            Bar(
                kind=kind,
                count=counts[kind],
                weighted=by[kind],
                cumulative=min(1.0, reached / total),
                apart=apart,
                settled=apart is not None and apart < APART,
            )
        )
    lead = next(
        place for place, bar in enumerate(bars, 1) if bar.cumulative >= min(share, 1.0) - 1e-12
    )
    return Pareto(bars=tuple(bars), total=sum(counts.values()), lead=lead, share=share)


def _weight(weights: Mapping[str, float] | None, kind: str) -> float:
    if weights is None:
        return 1.0
    if kind not in weights:
        raise Unusable(f'"{kind}" has no weight. Give each kind one.')
    return finite(f'The weight of "{kind}"', weights[kind], least=0)


def _apart(counts: Mapping[str, int], order: Sequence[str], place: int) -> float | None:
    """Given the sum of two Poisson counts, the first is binomial with 1/2 if they are alike."""
    if place + 1 >= len(order) or order[place + 1].casefold() == OTHER:
        return None
    first, second = counts[order[place]], counts[order[place + 1]]
    return binomial_two_sided(first, first + second, 0.5) if first + second else 1.0
