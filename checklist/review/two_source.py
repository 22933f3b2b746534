"""How many events two incomplete sources point to, in floating point, for counts and not doses."""

from __future__ import annotations

import math
from dataclasses import dataclass

from checklist.review.distribution import normal_quantile
from checklist.review.unusable import share, whole


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoSource:
    """An estimate of all events from two sources; `low` is never below the events seen.

    The sources are taken to find events independently. An observed nurse works differently, so
    read the estimate as a lower bound and never as a target.
    """

    estimate: float
    error: float
    low: float
    high: float
    level: float
    seen: int


def chapman(first: int, second: int, both: int, *, level: float = 0.95) -> TwoSource:
    """All events, from how many each source found and how many both found.

    The limits are normal ones. Raises Unusable when `both` is more than either source found.
    Source: Chapman, Univ Calif Publ Stat 1951;1:131-160; variance of Seber, Biometrika
    1970;57:13-24.
    """
    whole("The number in the first source", first)
    whole("The number in the second source", second)
    whole("The number in both", both, most=min(first, second))
    share("The level", level)
    estimate = (first + 1) * (second + 1) / (both + 1) - 1
    variance = (first + 1) * (second + 1) * (first - both) * (second - both)
    error = math.sqrt(variance / (both + 2)) / (both + 1)
    half = normal_quantile((1 + level) / 2) * error
    seen = first + second - both
    return TwoSource(
        estimate=estimate,
        error=error,
        low=max(float(seen), estimate - half),
        high=estimate + half,
        level=level,
        seen=seen,
    )
