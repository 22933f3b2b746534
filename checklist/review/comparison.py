"""Two shares or two rates side by side, in floating point, which is for counts and not doses."""

from __future__ import annotations

import math
from dataclasses import dataclass

from checklist.review.distribution import binomial_two_sided
from checklist.review.interval import clopper_pearson, wilson
from checklist.review.unusable import Unusable, positive, share, whole


@dataclass(frozen=True, slots=True, kw_only=True)
class RateRatio:
    """A first rate over a second with exact limits; infinite when the second has no event."""

    ratio: float
    low: float
    high: float
    level: float
    p_value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A first share less a second, with limits."""

    difference: float
    low: float
    high: float
    level: float


def rate_ratio(
    first: int, first_exposure: float, second: int, second_exposure: float, *, level: float = 0.95
) -> RateRatio:
    """One rate over another: given the total, the first count is binomial.

    Limits are Clopper-Pearson ones of that binomial, turned into odds; the P value is its exact
    two-sided one. Raises Unusable when both counts are 0 or an exposure is not above 0.
    Source: Przyborowski and Wilenski, Biometrika 1940;31:313-323.
    """
    whole("The first count", first)
    whole("The second count", second)
    positive("The first exposure", first_exposure)
    positive("The second exposure", second_exposure)
    share("The level", level)
    total = first + second
    if total == 0:
        raise Unusable("Both counts are 0, so neither rate can be set against the other.")
    low, high = clopper_pearson(first, total, level)
    times = second_exposure / first_exposure
    return RateRatio(
        ratio=math.inf if second == 0 else first / second * times,
        low=low / (1 - low) * times,
        high=math.inf if second == 0 else high / (1 - high) * times,
        level=level,
        p_value=binomial_two_sided(
            first, total, first_exposure / (first_exposure + second_exposure)
        ),
    )


def difference(
    first: int, first_tries: int, second: int, second_tries: int, *, level: float = 0.95
) -> Difference:
    """One share less another, with limits built from the two Wilson intervals.

    Source: Newcombe, Stat Med 1998;17:873-890, method 10. Raises Unusable for no tries or a
    count beyond them.
    """
    for name, count, tries in (("first", first, first_tries), ("second", second, second_tries)):
        whole(f"The {name} number of tries", tries, least=1)
        whole(f"The {name} number of events", count, most=tries)
    share("The level", level)
    p, q = first / first_tries, second / second_tries
    p_low, p_high = wilson(first, first_tries, level)
    q_low, q_high = wilson(second, second_tries, level)
    return Difference(
        difference=p - q,
        low=p - q - math.hypot(p - p_low, q_high - q),
        high=p - q + math.hypot(p_high - p, q - q_low),
        level=level,
    )


def paired_change(only_before: int, only_after: int) -> float:
    """The exact P value that the same people changed: McNemar's test on the pairs that differ.

    `only_before` had the event before and not after; `only_after` the other way round. Pairs that
    stayed the same say nothing. Raises Unusable when no pair differs.
    Source: McNemar, Psychometrika 1947;12:153-157, in its exact binomial form.
    """
    whole("The number with the event only before", only_before)
    whole("The number with the event only after", only_after)
    if only_before + only_after == 0:
        raise Unusable("No pair differs, so there is no change to judge.")
    return binomial_two_sided(only_before, only_before + only_after, 0.5)
