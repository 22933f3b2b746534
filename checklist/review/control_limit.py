"""Formulas of control limits, in floating point, which is for counts and times and not for doses.

Every published example uses the rounded constants 1.128 and 3.267, so they are pinned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from statistics import fmean

from checklist.review.distribution import (
    binomial_at_most,
    chi_square_above,
    least_count,
    poisson_at_most,
)

SIGMAS = 3.0
"""How many sigmas the limits lie from the line."""
D2 = 1.128
"""Mean range of two normal values, in sigmas, as rounded in every published example."""
D4 = 3.267
"""Upper limit of a moving range over its mean, as rounded in every published example."""
POWER = 3.6
"""Exponential times to the power 1/3.6 are close to normal (Nelson, J Qual Technol 1994;26:239)."""
TAIL = 0.00135
"""The area beyond 3 sigmas on one side that exact limits leave, too."""


def mean_range(values: Sequence[float], *, screened: bool = False) -> float:
    """The mean distance of neighbours; two values or more.

    `screened` leaves out, once, distances of 3.267 times the mean or more (Nelson, J Qual Technol
    1982;14:172-173).
    """
    ranges = [abs(b - a) for a, b in pairwise(values)]
    middle = fmean(ranges)
    if not screened or middle == 0:
        return middle
    return fmean([distance for distance in ranges if distance < D4 * middle])


def proportion_sigma(centre: float, size: float) -> float:
    """One sigma of a share of `size` tries about `centre` (NIST handbook 6.3.3.2)."""
    return math.sqrt(centre * (1 - centre) / size)


def rate_sigma(centre: float, size: float) -> float:
    """One sigma of a rate per unit over `size` units about `centre` (NIST handbook 6.3.3.1)."""
    return math.sqrt(centre / size)


def gap_sigma(mean: float) -> float:
    """One sigma of the gap between rare events (Benneyan, Health Care Manag Sci 2001;4:305-318)."""
    return math.sqrt(mean * (mean + 1))


def sigma_z(values: Sequence[float], centre: float, sigmas: Sequence[float]) -> float:
    """How much the points scatter, in their own sigmas: 1 where chance alone is at work.

    Mean moving range of the standardised values over 1.128 (Laney, Quality Engineering
    2002;14:531-537); some software uses their standard deviation, which is another chart.
    """
    return mean_range([(y - centre) / s for y, s in zip(values, sigmas, strict=True)]) / D2


def dispersion(values: Sequence[float], centre: float, sigmas: Sequence[float]) -> float:
    """The chance of at least this much scatter in stable points: the chi-square dispersion test.

    Source: Cochran, Biometrics 1954;10:417-451. Two values or more.
    """
    total = sum(((y - centre) / s) ** 2 for y, s in zip(values, sigmas, strict=True))
    return chi_square_above(total, len(values) - 1)


def lag_one(values: Sequence[float]) -> float:
    """The correlation of neighbours, -1 to 1; 0 when all are equal.

    Source: Box and Jenkins, Time Series Analysis, 1970, r_1.
    """
    middle = fmean(values)
    total = sum((value - middle) ** 2 for value in values)
    if total == 0:
        return 0.0
    return sum((a - middle) * (b - middle) for a, b in pairwise(values)) / total


def binomial_counts(tries: int, centre: float) -> tuple[int, int]:
    """The least and the most events in so many tries that exact limits still let pass."""
    return _quiet(lambda k: binomial_at_most(k, tries, centre), round(tries * centre))


def poisson_counts(mean: float) -> tuple[int, int]:
    """The least and the most events about a Poisson mean that exact limits still let pass."""
    return _quiet(lambda k: poisson_at_most(k, mean), round(mean))


def geometric_counts(mean: float, *, least: int) -> tuple[int, int]:
    """The shortest and the longest gap about a mean that exact limits still let pass.

    `least` is 1 when the gap counts the event itself and 0 when it counts only what lies between.
    """
    chance = 1 / (mean + 1 - least)

    def at_most(gap: int) -> float:
        # 1 - (1 - p)^(gap counted with the event), kept exact for small p.
        return -math.expm1((gap + 1 - least) * math.log1p(-chance)) if gap >= least else 0.0

    return _quiet(at_most, round(mean))


def _quiet(at_most: Callable[[int], float], start: int) -> tuple[int, int]:
    """The counts with no more than TAIL of their distribution beyond them on either side."""
    # A hair's breadth, so that a tail that is equal to TAIL but for rounding counts as equal.
    low = least_count(at_most, TAIL * (1 + 1e-12), start)
    return low, least_count(at_most, 1 - TAIL, start)
