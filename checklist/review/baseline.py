"""The frozen line and spread that later points are judged by: for counts and never for doses."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from statistics import fmean, median

from checklist.review import control_limit
from checklist.review.control_limit import D2, POWER, SIGMAS
from checklist.review.series import COUNTED, Design, GapCentre, GapCount, Kind, Point, check
from checklist.review.unusable import Unusable, enough, whole

_PRIMED = frozenset({Kind.P_PRIME, Kind.U_PRIME})
_SHARES = frozenset({Kind.P, Kind.P_PRIME, Kind.NP})


class Standing(StrEnum):
    """How far a baseline can be relied on, by its number of points (common practice)."""

    THIN = "fewer than 12 points: a first look only"
    PROVISIONAL = "12 to 19 points: provisional"
    SETTLED = "20 points or more"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """A point left out of a baseline, by its label, with the known reason."""

    label: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """A line and a spread that stay as they are whatever points come later.

    `centre` is the line drawn; `mean` what limits are worked out from (for a t chart that of the
    times to the power 1/3.6); `spread` the mean moving range of XmR and t charts; `sigma_z` the
    scatter in own sigmas of counts, and `scatter_chance` how seldom chance alone scatters so much.
    `labels` are the points it rests on, `sizes` their sizes, and `digest` the SHA-256 of the
    points and the design.
    """

    design: Design
    version: int
    reason: str
    labels: tuple[str, ...]
    sizes: tuple[float, ...]
    excluded: tuple[Exclusion, ...]
    centre: float
    mean: float
    spread: float | None
    sigma_z: float | None
    scatter_chance: float | None
    digest: str

    @property
    def standing(self) -> Standing:
        """How far it can be relied on."""
        if len(self.labels) < 12:
            return Standing.THIN
        return Standing.PROVISIONAL if len(self.labels) < 20 else Standing.SETTLED


def freeze(
    design: Design,
    points: Sequence[Point],
    *,
    reason: str,
    excluded: Sequence[Exclusion] = (),
    version: int = 1,
) -> Baseline:
    """The line and spread of these points, less the excluded ones.

    A moving range is taken across an excluded point, as in print. Raises Unusable for figures that
    the chart cannot take, fewer than two points left, or points from which no limit follows.
    """
    check(design, points)
    whole("The version of the baseline", version, least=1)
    _check_reasons(points, reason, excluded)
    out = {exclusion.label for exclusion in excluded}
    kept = [point for point in points if point.label not in out]
    enough("The baseline", kept, 2)
    values = [value(design, point) for point in kept]
    mean = _mean(design, kept)
    spread, scatter, chance = _spread(design, kept, values, mean)
    return Baseline(
        design=design,
        version=version,
        reason=reason,
        labels=tuple(point.label for point in kept),
        sizes=tuple(float(point.size) for point in kept),
        excluded=tuple(excluded),
        centre=_centre(design, values, mean),
        mean=mean,
        spread=spread,
        sigma_z=scatter,
        scatter_chance=chance,
        digest=digest(design, kept),
    )


def value(design: Design, point: Point) -> float:
    """What is drawn for a point: its count for np, and its count over its size for all others."""
    return float(point.count) if design.kind is Kind.NP else point.count / point.size


def digest(*parts: object) -> str:
    """The SHA-256, in hex, of dataclasses and sequences of them, in one fixed spelling."""
    return hashlib.sha256(json.dumps(parts, default=_plain, sort_keys=True).encode()).hexdigest()


def _plain(part: object) -> object:
    if isinstance(part, Point):
        # 3 and 3.0 are one figure, whichever way a table keeps it.
        return [part.label, float(part.count), float(part.size)]
    return asdict(part)  # type: ignore[call-overload]


def sigma(baseline: Baseline, size: float) -> float | None:
    """One sigma of a point of that size; None for a run chart and on the bent scale of a t chart.

    A p' or u' chart has that of the p or u chart times sigma_z.
    """
    kind = baseline.design.kind
    if kind is Kind.XMR and baseline.spread is not None:
        return baseline.spread / D2
    if kind is Kind.G:
        return control_limit.gap_sigma(baseline.mean)
    if kind not in COUNTED:
        return None
    plain = _count_sigma(kind, baseline.mean, size)
    if kind in _PRIMED and baseline.sigma_z is not None:
        return plain * baseline.sigma_z
    return plain


def limits(baseline: Baseline, size: float) -> tuple[float, float] | None:
    """The lower and upper limit for a point of that size; None for a run chart.

    Cut at 0, but for XmR, and at 1 for shares. A point on a limit is inside.
    """
    design = baseline.design
    if design.kind is Kind.RUN:
        return None
    if design.exact:
        return _exact(baseline, size)
    if design.kind is Kind.T:
        width = SIGMAS * (baseline.spread or math.nan) / D2
        return max(0.0, baseline.mean - width) ** POWER, (baseline.mean + width) ** POWER
    middle = baseline.mean * size if design.kind is Kind.NP else baseline.mean
    width = SIGMAS * (sigma(baseline, size) or math.nan)
    low, high = middle - width, middle + width
    if design.kind is not Kind.XMR:
        low = max(0.0, low)
    if design.kind in _SHARES:
        high = min(size if design.kind is Kind.NP else 1.0, high)
    return low, high


def line(baseline: Baseline, size: float) -> float:
    """The line at a point of that size: the centre, or for np the events expected there."""
    return baseline.centre * size if baseline.design.kind is Kind.NP else baseline.centre


def distance(baseline: Baseline, point: Point) -> float | None:
    """How many sigmas the point lies above the mean; None where there is no fixed sigma.

    For a t chart on the scale of its 1/3.6 powers.
    """
    if baseline.design.kind is Kind.T:
        return (_bent(point.count) - baseline.mean) * D2 / (baseline.spread or math.nan)
    one = sigma(baseline, point.size)
    if one is None:
        return None
    middle = baseline.mean * point.size if baseline.design.kind is Kind.NP else baseline.mean
    return (value(baseline.design, point) - middle) / one


def _bent(time: float) -> float:
    """A time on the scale on which exponential times are close to normal."""
    return float(time ** (1 / POWER))


def _check_reasons(points: Sequence[Point], reason: str, excluded: Sequence[Exclusion]) -> None:
    if not reason.strip():
        raise Unusable("The baseline has no reason. Say why these points were chosen.")
    labels = {point.label for point in points}
    for exclusion in excluded:
        if exclusion.label not in labels:
            raise Unusable(f'"{exclusion.label}" is left out but not there. Look at the label.')
        if not exclusion.reason.strip():
            raise Unusable(f'"{exclusion.label}" is left out without a reason. Name the reason.')


def _mean(design: Design, points: Sequence[Point]) -> float:
    """The pooled share or rate of counts, the mean of values, of powers for t, the median for run.

    Raises Unusable where no limit can follow.
    """
    kind = design.kind
    if kind is Kind.RUN:
        return median(value(design, point) for point in points)
    if kind in (Kind.XMR, Kind.G):
        return fmean(value(design, point) for point in points)
    if kind is Kind.T:
        return fmean(_bent(point.count) for point in points)
    events, size = sum(point.count for point in points), math.fsum(p.size for p in points)
    if events == 0:
        raise Unusable(
            f"There is no event in the {len(points)} points of the baseline, so no limit follows. "
            "Show the upper limit of the share, or preparations since the last event."
        )
    if kind in _SHARES and events == size:
        raise Unusable("Every try had the event, so no limit follows. Chart the time or the gaps.")
    return events / size


def _centre(design: Design, values: Sequence[float], mean: float) -> float:
    if design.kind is Kind.T:
        return float(mean**POWER)
    if design.kind is Kind.G and design.centre is GapCentre.MEDIAN:
        return median(values)
    if design.kind is Kind.G and design.centre is GapCentre.MEAN_0_693:
        return 0.693 * mean
    if design.kind is Kind.RUN and mean == min(values) and values.count(mean) * 2 > len(values):
        raise Unusable(
            f"More than half of the points are at {mean:g}, the least, so the median divides "
            "nothing. Chart the gaps between events, or join periods."
        )
    return mean


def _spread(
    design: Design, points: Sequence[Point], values: Sequence[float], mean: float
) -> tuple[float | None, float | None, float | None]:
    """The mean moving range, sigma_z and the chance of that scatter, each where it applies."""
    if design.kind in (Kind.XMR, Kind.T):
        bent = [_bent(v) for v in values] if design.kind is Kind.T else values
        spread = control_limit.mean_range(bent, screened=design.screened)
        if not spread > 0:
            raise Unusable("All points are equal, so no limit follows. Look at how they are taken.")
        return spread, None, None
    if design.kind is Kind.G and not mean > (design.gap is GapCount.WITH_EVENT):
        raise Unusable("There is nothing between the events, so no limit follows. Chart a share.")
    if design.kind not in COUNTED:
        return None, None, None
    sizes = [point.size for point in points]
    sigmas = [_count_sigma(design.kind, mean, size) for size in sizes]
    shares = [v - mean * s for v, s in zip(values, sizes, strict=True)]
    middles = shares if design.kind is Kind.NP else [v - mean for v in values]
    scatter = control_limit.sigma_z(middles, 0.0, sigmas)
    if design.kind in _PRIMED and not scatter > 0:
        raise Unusable(f"All points lie on the line, so there is no scatter for a {design.kind}.")
    return None, scatter, control_limit.dispersion(middles, 0.0, sigmas)


def _count_sigma(kind: Kind, mean: float, size: float) -> float:
    if kind in (Kind.U, Kind.U_PRIME, Kind.C):
        return control_limit.rate_sigma(mean, size)
    one = control_limit.proportion_sigma(mean, size)
    return one * size if kind is Kind.NP else one


def _exact(baseline: Baseline, size: float) -> tuple[float, float]:
    kind, mean = baseline.design.kind, baseline.mean
    if kind is Kind.G:
        least = 1 if baseline.design.gap is GapCount.WITH_EVENT else 0
        low, high = control_limit.geometric_counts(mean, least=least)
    elif kind in _SHARES:
        low, high = control_limit.binomial_counts(int(size), mean)
    else:
        low, high = control_limit.poisson_counts(mean * size)
    over = 1.0 if kind in (Kind.NP, Kind.G) else size
    return low / over, high / over
