"""Units side by side against the size of each, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from statistics import fmean

from checklist.review.distribution import (
    binomial_at_most,
    least_count,
    normal_above,
    normal_quantile,
    poisson_at_most,
)
from checklist.review.unusable import Unusable, enough, positive, whole

FEWEST_UNITS = 10
"""Below so many units their spread cannot be told from chance (common practice)."""
INNER, OUTER = 0.025, 0.00135
"""The areas beyond the 95% and the 3-sigma limits, on each side."""


class Count(StrEnum):
    """What is counted: events in whole tries, or events over an exposure."""

    SHARE = "share of tries"
    RATE = "rate per unit of exposure"


class Spread(StrEnum):
    """How units that differ more than by chance are allowed for."""

    NONE = "chance alone"
    MULTIPLIED = "limits widened by a factor"
    ADDED = "a spread between units added"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCount:
    """A unit's events over its tries or exposure in one period; never a person's."""

    unit: str
    count: int
    size: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The inner (95%) and outer (3-sigma) limits at one size, as shares or rates."""

    inner_low: float
    inner_high: float
    outer_low: float
    outer_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitMark:
    """A unit as drawn: `side` is +1 or -1 beyond the outer limits and 0 otherwise."""

    unit: str
    count: int
    size: float
    value: float
    limits: Limits
    z: float
    side: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Funnel:
    """Units in order of their names, so that none is ranked.

    `phi` is how much more the units vary than by chance, 1 for chance alone, and None for fewer
    than ten units; `tau` the spread between units, as a share or rate. `suggested` is the spread
    that the units call for.
    """

    counted: Count
    target: float
    spread: Spread
    marks: tuple[UnitMark, ...]
    phi: float | None
    tau: float | None
    suggested: Spread


def draw(
    units: Sequence[UnitCount],
    counted: Count,
    *,
    target: float | None = None,
    exact: bool = True,
    spread: Spread = Spread.NONE,
) -> Funnel:
    """The funnel of units about a target, or about their pooled share or rate.

    `exact` interpolates between binomial or Poisson counts; otherwise, and whenever a spread is
    allowed for, limits are normal ones. Raises Unusable for fewer than two units, a name that is
    there twice, figures that do not fit, no event without a target, or a spread to be allowed for
    with fewer than ten units.
    Source: Spiegelhalter, Stat Med 2005;24:1185-1202.
    """
    enough("The list of units", units, 2)
    _check(units, counted)
    middle = _pooled(units, counted) if target is None else _target(target, counted)
    sigmas = [_sigma(counted, middle, unit.size) for unit in units]
    zs = [(u.count / u.size - middle) / s for u, s in zip(units, sigmas, strict=True)]
    phi = dispersion(zs) if len(units) >= FEWEST_UNITS else None
    if spread is not Spread.NONE and phi is None:
        raise Unusable(
            f"There are {len(units)} units; from fewer than {FEWEST_UNITS} their spread cannot be "
            "told from chance. Show each unit's own interval."
        )
    tau = None if phi is None else between(sigmas, phi)
    marks = []
    for unit, sigma in sorted(zip(units, sigmas, strict=True), key=lambda pair: pair[0].unit):
        wide = _widened(sigma, spread, phi or 1.0, tau or 0.0)
        if exact and spread is Spread.NONE:
            limits = _exact(counted, middle, unit.size)
        else:
            limits = _normal(counted, middle, wide)
        value = unit.count / unit.size
        marks.append(
            UnitMark(
                unit=unit.unit,
                count=unit.count,
                size=unit.size,
                value=value,
                limits=limits,
                z=(value - middle) / wide,
                side=(value > limits.outer_high) - (value < limits.outer_low),
            )
        )
    return Funnel(
        counted=counted,
        target=middle,
        spread=spread,
        marks=tuple(marks),
        phi=phi,
        tau=tau,
        suggested=Spread.ADDED if phi is not None and too_wide(phi, len(units)) else Spread.NONE,
    )


def limits_at(counted: Count, target: float, size: float) -> Limits:
    """The exact limits at any size, for drawing the funnel itself."""
    positive("The size", size)
    if counted is Count.SHARE and size != int(size):
        raise Unusable(f"The size {size:g} is not a whole number of tries.")
    return _exact(counted, _target(target, counted), size)


def dispersion(zs: Sequence[float]) -> float:
    """The mean square of z after the outer tenth on each side is drawn in to its edge.

    Source: Spiegelhalter 2005, section 4 (from memory).
    """
    ordered = sorted(zs)
    cut = len(ordered) // 10
    low, high = ordered[cut], ordered[-1 - cut]
    return fmean(min(max(z, low), high) ** 2 for z in zs)


def too_wide(phi: float, units: int) -> bool:
    """Whether the units vary more than chance alone: phi > 1 + 2 sqrt(2 / I) (from memory)."""
    return phi > 1 + 2 * math.sqrt(2 / units)


def between(sigmas: Sequence[float], phi: float) -> float:
    """The spread between units that phi leaves, by the method of moments; 0 for none.

    Source: DerSimonian and Laird, Control Clin Trials 1986;7:177-188, as Spiegelhalter uses it.
    """
    weights = [1 / sigma**2 for sigma in sigmas]
    total = math.fsum(weights)
    room = total - math.fsum(w * w for w in weights) / total
    excess = len(sigmas) * phi - (len(sigmas) - 1)
    return math.sqrt(excess / room) if excess > 0 else 0.0


def _check(units: Sequence[UnitCount], counted: Count) -> None:
    names = [unit.unit for unit in units]
    if len(set(names)) != len(names) or not all(names):
        raise Unusable("A unit has no name or is there twice. Give each unit one row.")
    for unit in units:
        positive(f'The size of "{unit.unit}"', unit.size)
        whole(f'The count of "{unit.unit}"', unit.count)
        if counted is Count.SHARE and not unit.count <= unit.size == int(unit.size):
            raise Unusable(
                f'"{unit.unit}" has {unit.count} of {unit.size:g}. A whole number of tries, no '
                "fewer than the events, is expected."
            )


def _pooled(units: Sequence[UnitCount], counted: Count) -> float:
    events, size = sum(unit.count for unit in units), math.fsum(unit.size for unit in units)
    if events == 0 or (counted is Count.SHARE and events == size):
        raise Unusable(
            f"There are {events} events in {size:g}, so no limit follows. Name a target, or show "
            "each unit's own interval."
        )
    return events / size


def _target(target: float, counted: Count) -> float:
    positive("The target", target)
    if counted is Count.SHARE and not target < 1:
        raise Unusable(f"The target is {target:g}. A share below 1 is expected.")
    return target


def _sigma(counted: Count, middle: float, size: float) -> float:
    spread = middle * (1 - middle) if counted is Count.SHARE else middle
    return math.sqrt(spread / size)


def _widened(sigma: float, spread: Spread, phi: float, tau: float) -> float:
    """One sigma with the spread allowed for; never narrower than by chance."""
    if spread is Spread.MULTIPLIED:
        return sigma * math.sqrt(max(1.0, phi))
    return math.hypot(sigma, tau) if spread is Spread.ADDED else sigma


def _normal(counted: Count, middle: float, sigma: float) -> Limits:
    top = 1.0 if counted is Count.SHARE else math.inf
    inner = normal_quantile(1 - INNER) * sigma
    return Limits(
        inner_low=max(0.0, middle - inner),
        inner_high=min(top, middle + inner),
        outer_low=max(0.0, middle - 3 * sigma),
        outer_high=min(top, middle + 3 * sigma),
    )


def _exact(counted: Count, middle: float, size: float) -> Limits:
    if counted is Count.SHARE:
        at_most = partial(_binomial, int(size), middle)
    else:
        at_most = partial(_poisson, size * middle)
    low, high, far_low, far_high = (
        interpolated(at_most, area, round(size * middle)) / size
        for area in (INNER, 1 - INNER, OUTER, 1 - OUTER)
    )
    return Limits(inner_low=low, inner_high=high, outer_low=far_low, outer_high=far_high)


def _binomial(tries: int, chance: float, count: int) -> float:
    return binomial_at_most(count, tries, chance)


def _poisson(mean: float, count: int) -> float:
    return poisson_at_most(count, mean)


def interpolated(at_most: Callable[[int], float], area: float, start: int) -> float:
    """The count, between whole ones, with `area` at or below it; never below 0.

    r - a, with r the smallest count whose area F(r) is enough and
    a = (F(r) - area) / (F(r) - F(r - 1)): Spiegelhalter 2005, appendix A.1 (from memory).
    """
    count = least_count(at_most, area, start)
    there, before = at_most(count), at_most(count - 1)
    return max(0.0, count - (there - area) / (there - before))


def chance_outside(units: int) -> float:
    """The chance that at least one of so many equal units lies beyond the outer limits."""
    whole("The number of units", units, least=1)
    return 1 - (1 - 2 * normal_above(3)) ** units
