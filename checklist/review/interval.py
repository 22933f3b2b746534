"""Limits for shares and rates, in floating point, which is for counts and never for doses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from checklist.review.distribution import (
    beta_quantile,
    binomial_at_least,
    binomial_at_most,
    binomial_point,
    gamma_quantile,
    normal_quantile,
    root,
)
from checklist.review.unusable import Unusable, positive, share, whole


class Method(StrEnum):
    """How the limits of an interval were found."""

    WILSON = "Wilson"
    WILSON_CORRECTED = "Wilson, continuity-corrected"
    CLOPPER_PEARSON = "Clopper-Pearson"
    MID_P = "mid-P"
    GARWOOD = "exact Poisson"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A share or a rate with its limits: `count` events in `base` tries or units of exposure."""

    count: int
    base: float
    estimate: float
    low: float
    high: float
    level: float
    method: Method


def proportion(
    count: int, tries: int, *, level: float = 0.95, method: Method = Method.WILSON
) -> Interval:
    """The share of `tries` that had the event, with limits of the method asked for.

    Wilson is the default; Clopper-Pearson covers at least its level always. Raises Unusable for
    no tries, a count outside 0 to `tries`, a level outside 0 to 1 or the method for rates.
    Sources: Newcombe, Stat Med 1998;17:857-872, methods 3 to 6; Clopper and Pearson, Biometrika
    1934;26:404-413.
    """
    whole("The number of tries", tries, least=1)
    whole("The number of events", count, most=tries)
    share("The level", level)
    if method not in _PROPORTION:
        raise Unusable(f"{method} is a method for rates. For a share ask for Wilson limits.")
    low, high = _PROPORTION[method](count, tries, level)
    return Interval(
        count=count,
        base=tries,
        estimate=count / tries,
        low=low,
        high=high,
        level=level,
        method=method,
    )


def rate(count: int, exposure: float, *, level: float = 0.95) -> Interval:
    """Events per unit of exposure with exact Poisson limits.

    Raises Unusable for an exposure that is not above 0 or a count that is not whole.
    Source: Garwood, Biometrika 1936;28:437-442.
    """
    whole("The number of events", count)
    positive("The exposure", exposure)
    share("The level", level)
    low, high = garwood(count, level)
    return Interval(
        count=count,
        base=exposure,
        estimate=count / exposure,
        low=low / exposure,
        high=high / exposure,
        level=level,
        method=Method.GARWOOD,
    )


def wilson(x: float, n: int, level: float) -> tuple[float, float]:
    """Limits where the score statistic equals the normal quantile (Newcombe's method 3).

    Source: Wilson, J Am Stat Assoc 1927;22:209-212. `x` may be part of a count, for planning.
    """
    z = normal_quantile((1 + level) / 2)
    middle = x + z * z / 2
    half = z * math.sqrt(x * (n - x) / n + z * z / 4)
    low = 0.0 if x == 0 else (middle - half) / (n + z * z)
    high = 1.0 if x == n else (middle + half) / (n + z * z)
    return low, high


def wilson_corrected(x: int, n: int, level: float) -> tuple[float, float]:
    """Wilson limits with a continuity correction (Newcombe's method 4)."""
    z = normal_quantile((1 + level) / 2)
    p, q, width = x / n, 1 - x / n, 2 * (n + z * z)
    low, high = 0.0, 1.0
    if x > 0:
        low = (2 * x + z * z - 1 - z * math.sqrt(z * z - 2 - 1 / n + 4 * p * (n * q + 1))) / width
    if x < n:
        high = (2 * x + z * z + 1 + z * math.sqrt(z * z + 2 - 1 / n + 4 * p * (n * q - 1))) / width
    return max(0.0, low), min(1.0, high)


def clopper_pearson(x: int, n: int, level: float) -> tuple[float, float]:
    """Limits that leave (1 - level) / 2 in each exact binomial tail (Newcombe's method 5)."""
    half = (1 - level) / 2
    low = 0.0 if x == 0 else beta_quantile(half, x, n - x + 1)
    high = 1.0 if x == n else beta_quantile(1 - half, x + 1, n - x)
    return low, high


def mid_p(x: int, n: int, level: float) -> tuple[float, float]:
    """As Clopper-Pearson, with only half of the observed count's chance (Newcombe's method 6)."""
    half = (1 - level) / 2

    def above(p: float) -> float:
        return binomial_at_least(x + 1, n, p) + binomial_point(x, n, p) / 2

    def below(p: float) -> float:
        return binomial_at_most(x - 1, n, p) + binomial_point(x, n, p) / 2

    low = 0.0 if x == 0 else root(lambda p: above(p) - half, 0.0, 1.0)
    high = 1.0 if x == n else root(lambda p: half - below(p), 0.0, 1.0)
    return low, high


def garwood(x: int, level: float) -> tuple[float, float]:
    """Limits for a Poisson mean that leave (1 - level) / 2 in each exact tail."""
    half = (1 - level) / 2
    return (0.0 if x == 0 else gamma_quantile(half, x)), gamma_quantile(1 - half, x + 1)


_PROPORTION = {
    Method.WILSON: wilson,
    Method.WILSON_CORRECTED: wilson_corrected,
    Method.CLOPPER_PEARSON: clopper_pearson,
    Method.MID_P: mid_p,
}


def tries_for_width(expected: float, half_width: float, *, level: float = 0.95) -> int:
    """How many preparations to audit so that the Wilson interval is at most so wide each way.

    `expected` is the share thought likely, `half_width` half the width wanted, both between 0
    and 1. Raises Unusable outside these.
    """
    share("The expected share", expected)
    share("The half-width", half_width)
    share("The level", level)

    def wide(n: int) -> bool:
        low, high = wilson(expected * n, n, level)
        return not (high - low) / 2 <= half_width

    low, high = 0, 1
    while wide(high):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if wide(middle) else (low, middle)
    return high


def tries_without_event(least_share: float, *, level: float = 0.95) -> int:
    """How many preparations without an event show that its share is below `least_share`.

    The smallest n with (1 - share)^n at most 1 - level: the Clopper-Pearson upper limit, one-sided,
    for none in n.
    """
    share("The share", least_share)
    share("The level", level)
    return math.ceil(math.log1p(-level) / math.log1p(-least_share) - 1e-12)
