"""A rate over another where the same people stand behind both, in floating point, never for doses.

Preparations of one person are alike, so that limits which take each by itself are too narrow. Here
whole people are drawn again, with all that is theirs.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from checklist.review.unusable import Unusable, enough, finite, share, whole

DRAWS = 2_000
LEAST = 5
"""Fewest people: below that there is too little to draw from. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """One person's events and exposure in the first group and in the second."""

    first: int
    first_exposure: float
    second: int
    second_exposure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Clustered:
    """The ratio of two rates with limits, the people behind it and the largest share of one.

    `high` is infinite where a draw had no event in the second group; `largest` is the share of all
    exposure that is one person's.
    """

    ratio: float
    low: float
    high: float
    level: float
    people: int
    largest: float
    draws: int


def ratio(
    people: Sequence[Cluster], *, level: float = 0.95, draws: int = DRAWS, seed: int = 1
) -> Clustered:
    """The first rate over the second, with percentile limits of a bootstrap of whole people.

    The same seed gives the same limits. Draws in which a group has no exposure, or neither has an
    event, say nothing and are drawn again. Raises Unusable for fewer than 5 people, a group with
    no exposure, or no event in the second group.
    Source: Davison and Hinkley, Bootstrap Methods and their Application, 1997, section 3.8.
    """
    share("The level", level)
    whole("The number of draws", draws, least=100)
    enough("The list of people", people, LEAST)
    for one in people:
        whole("The first count", one.first)
        whole("The second count", one.second)
        finite("The first exposure", one.first_exposure, least=0)
        finite("The second exposure", one.second_exposure, least=0)
    found = _of(people)
    if not math.isfinite(found):
        raise Unusable(
            "One of the two groups has no exposure, or the second has no event. There is no ratio"
            " to give; show the two counts."
        )
    source, seen, tries = random.Random(seed), list[float](), 0
    while len(seen) < draws:
        tries += 1
        if tries > 10 * draws:
            raise Unusable("Nearly every draw is without an event. Join in a longer stretch.")
        value = _of(source.choices(people, k=len(people)))
        if not math.isnan(value):
            seen.append(value)
    seen.sort()
    tail = (1 - level) / 2
    own = [one.first_exposure + one.second_exposure for one in people]
    return Clustered(
        ratio=found,
        low=_at(seen, tail),
        high=_at(seen, 1 - tail),
        level=level,
        people=len(people),
        largest=max(own) / sum(own),
        draws=draws,
    )


def _of(people: Sequence[Cluster]) -> float:
    first = sum(one.first for one in people)
    second = sum(one.second for one in people)
    above = sum(one.first_exposure for one in people)
    below = sum(one.second_exposure for one in people)
    if not (above > 0 and below > 0) or first + second == 0:
        return math.nan
    return math.inf if second == 0 else first / above / (second / below)


def _at(ordered: Sequence[float], part: float) -> float:
    """The quantile between two neighbours in line with their places (Hyndman and Fan, type 7)."""
    place = part * (len(ordered) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    if ordered[low] == ordered[high] or place == low:
        return ordered[low]
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])
