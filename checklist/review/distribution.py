"""Tail areas and quantiles, in floating point, which is for statistics on counts and not for doses.

Relative accuracy is about 1e-12 for counts up to some thousands and 1e-9 up to a million, since
the leading factor is the exponential of a difference of log-gammas of that size.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

_STEPS = 100_000
_TINY = 1e-300
_CLOSE = 1e-16


def normal_quantile(area: float) -> float:
    """The standard normal value with `area`, in 0 to 1, to its left (Wichura 1988, AS 241)."""
    return NormalDist().inv_cdf(area)


def normal_above(z: float) -> float:
    """The standard normal area to the right of z; keeps its digits far out in the tail."""
    return 0.5 * math.erfc(z / math.sqrt(2))


def beta_below(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b), for x in 0 to 1 and a, b above 0.

    Continued fraction of DLMF 8.17.22 by the method of Lentz; the symmetry 8.17.4 keeps to the
    side where it is quick.
    """
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_below(1 - x, b, a)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )

    def term(j: int) -> float:
        m = j // 2
        if j % 2 == 0:
            return m * (b - m) * x / ((a + j - 1) * (a + j))
        return -(a + m) * (a + b + m) * x / ((a + j - 1) * (a + j))

    return front / (a * _fraction(term))


def _fraction(term: Callable[[int], float]) -> float:
    """1 + t1/(1 + t2/(1 + ...)) with t_j = term(j), by the modified method of Lentz."""
    value, upper, lower = 1.0, 1.0, 0.0
    for j in range(1, _STEPS):
        numerator = term(j)
        lower = 1 + numerator * lower
        lower = 1 / (lower if abs(lower) > _TINY else _TINY)
        upper = 1 + numerator / upper
        upper = upper if abs(upper) > _TINY else _TINY
        value *= upper * lower
        if abs(upper * lower - 1) < _CLOSE * 4:
            return value
    raise ArithmeticError("The continued fraction did not settle.")


def gamma_tails(x: float, a: float) -> tuple[float, float]:
    """The regularised incomplete gamma functions P(a, x) and Q(a, x), for x at least 0, a above 0.

    Series of DLMF 8.11.4 for P when x < a + 1, the continued fraction 8.9.2 for Q otherwise, so
    that the smaller of the two keeps its digits.
    """
    if x <= 0:
        return 0.0, 1.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1:
        below = front * _gamma_series(x, a)
        return below, 1 - below
    above = front * _gamma_fraction(x, a)
    return 1 - above, above


def _gamma_series(x: float, a: float) -> float:
    total = part = 1 / a
    for j in range(1, _STEPS):
        part *= x / (a + j)
        total += part
        if part < total * _CLOSE:
            return total
    raise ArithmeticError("The series did not settle.")


def _gamma_fraction(x: float, a: float) -> float:
    base = x + 1 - a
    upper, lower = 1 / _TINY, 1 / base
    value = lower
    for j in range(1, _STEPS):
        numerator = j * (a - j)
        base += 2
        lower = numerator * lower + base
        lower = 1 / (lower if abs(lower) > _TINY else _TINY)
        upper = base + numerator / upper
        upper = upper if abs(upper) > _TINY else _TINY
        value *= upper * lower
        if abs(upper * lower - 1) < _CLOSE * 4:
            return value
    raise ArithmeticError("The continued fraction did not settle.")


def chi_square_above(x: float, freedom: float) -> float:
    """The chi-square area to the right of x, with `freedom` degrees."""
    return gamma_tails(x / 2, freedom / 2)[1]


def root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes 0 between low and high, by halving until no float is left."""
    while True:
        middle = low + (high - low) / 2
        if not low < middle < high:
            return middle
        if rising(middle) < 0:
            low = middle
        else:
            high = middle


def beta_quantile(area: float, a: float, b: float) -> float:
    """The value with `area` of the beta distribution below it."""
    return root(lambda x: beta_below(x, a, b) - area, 0.0, 1.0)


def gamma_quantile(area: float, a: float) -> float:
    """The value with `area` of the gamma distribution of shape a and scale 1 below it."""
    high = a + 10 * math.sqrt(a) + 10
    while gamma_tails(high, a)[0] < area:
        high *= 2
    return root(lambda x: gamma_tails(x, a)[0] - area, 0.0, high)


def binomial_point(k: int, n: int, p: float) -> float:
    """The binomial chance of exactly k events in n tries, each with chance p."""
    if not 0 <= k <= n:
        return 0.0
    if p <= 0 or p >= 1:
        return float(k == (0 if p <= 0 else n))
    return math.exp(
        math.lgamma(n + 1)
        - math.lgamma(k + 1)
        - math.lgamma(n - k + 1)
        + k * math.log(p)
        + (n - k) * math.log1p(-p)
    )


def binomial_at_most(k: int, n: int, p: float) -> float:
    """The binomial chance of k events or fewer (DLMF 8.17.5)."""
    if k < 0:
        return 0.0
    return 1.0 if k >= n else beta_below(1 - p, n - k, k + 1)


def binomial_at_least(k: int, n: int, p: float) -> float:
    """The binomial chance of k events or more (DLMF 8.17.5)."""
    if k <= 0:
        return 1.0
    return 0.0 if k > n else beta_below(p, k, n - k + 1)


def poisson_point(k: int, mean: float) -> float:
    """The Poisson chance of exactly k events, for a mean above 0."""
    return math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) if k >= 0 else 0.0


def poisson_at_most(k: int, mean: float) -> float:
    """The Poisson chance of k events or fewer (DLMF 8.4.9)."""
    return 0.0 if k < 0 else gamma_tails(mean, k + 1)[1]


def poisson_at_least(k: int, mean: float) -> float:
    """The Poisson chance of k events or more (DLMF 8.4.8)."""
    return 1.0 if k <= 0 else gamma_tails(mean, k)[0]


def least_count(at_most: Callable[[int], float], area: float, start: int) -> int:
    """The smallest count with at least `area` of its distribution at or below it.

    `at_most` gives that area; `start` is a count thought to be near, such as the mean.
    """
    low, high = -1, max(start, 1)
    while at_most(high) < area:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if at_most(middle) < area else (low, middle)
    return high


def binomial_two_sided(k: int, n: int, p: float) -> float:
    """The exact two-sided P value of k events in n tries: all counts no likelier than k.

    The same rule as in general statistics packages, with their 1e-7 of play for counts that are
    equally likely but for rounding.
    """
    mean = n * p
    if k == mean:
        return 1.0
    bar = binomial_point(k, n, p) * (1 + 1e-7)
    if k < mean:
        far = _first(lambda j: binomial_point(j, n, p) <= bar, math.ceil(mean), n + 1)
        total = binomial_at_most(k, n, p) + binomial_at_least(far, n, p)
    else:
        # Counted down from floor(mean): the chances fall as the count goes away from the mean.
        top = math.floor(mean)
        far = top - _first(lambda j: binomial_point(top - j, n, p) <= bar, 0, top + 1)
        total = binomial_at_least(k, n, p) + binomial_at_most(far, n, p)
    return min(1.0, total)


def _first(holds: Callable[[int], bool], low: int, high: int) -> int:
    """The first j from low up for which `holds` turns true and stays so; `high` if none."""
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle + 1, high)
    return low
