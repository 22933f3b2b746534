"""Funnels of units against a printed example, exact distributions and simulation."""

import math
import random
from collections.abc import Callable
from statistics import fmean
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.funnel import (
    INNER,
    OUTER,
    Count,
    Funnel,
    Spread,
    UnitCount,
    between,
    chance_outside,
    dispersion,
    draw,
    limits_at,
    too_wide,
)
from checklist.review.unusable import Unusable
from tests.published import digits, read

INFECTIONS = read("funnel_infections")


def units(counts: list[int], sizes: list[float]) -> list[UnitCount]:
    return [
        UnitCount(unit=f"unit {i:02d}", count=x, size=n)
        for i, (x, n) in enumerate(zip(counts, sizes, strict=True))
    ]


@pytest.mark.parametrize("panel", INFECTIONS["panels"], ids=lambda p: p["type"])
def test_limits_and_units_outside_are_the_printed_ones(panel: Any) -> None:
    printed = panel["published"]
    rows = zip(panel["units"], panel["data"], panel["denominators"], strict=True)
    found = draw([UnitCount(unit=u, count=x, size=n) for u, x, n in rows], Count.RATE, exact=False)
    limits = [mark.limits for mark in found.marks]
    assert digits(1e4 * found.target, printed["centre_per_10000"], 9)
    assert digits(1e4 * fmean(x.outer_low for x in limits), printed["mean_lcl"], 9)
    assert digits(1e4 * fmean(x.outer_high for x in limits), printed["mean_ucl"], 9)
    outside = [mark.unit for mark in found.marks if mark.side]
    assert outside == INFECTIONS["published"]["outliers"][panel["type"]]
    assert len(outside) == printed["n_sigma_signals"]


@given(st.integers(5, 3000), st.floats(0.005, 0.9))
@settings(max_examples=60, deadline=None)
def test_exact_limits_lie_at_the_quantiles(tries: int, chance: float) -> None:
    """Spiegelhalter 2005: at most one count below the quantile r, and above r - 1."""
    stats = pytest.importorskip("scipy.stats")
    found = limits_at(Count.SHARE, chance, tries)
    pairs = (
        (found.inner_low, INNER),
        (found.inner_high, 1 - INNER),
        (found.outer_low, OUTER),
        (found.outer_high, 1 - OUTER),
    )
    for limit, area in pairs:
        quantile = stats.binom.ppf(area, tries, chance)
        assert quantile - 1 - 1e-6 <= tries * limit <= quantile + 1e-6 or limit == 0
        if 0 < tries * limit < quantile:
            part = tries * limit - (quantile - 1)
            below = stats.binom.cdf(quantile - 1, tries, chance)
            there = below + part * stats.binom.pmf(quantile, tries, chance)
            assert there == pytest.approx(area, abs=1e-9)


def test_exact_rate_limits_near_the_normal_ones_for_many_events() -> None:
    exact = limits_at(Count.RATE, 0.5, 20_000)
    sigma = math.sqrt(0.5 / 20_000)
    assert exact.outer_high == pytest.approx(0.5 + 3 * sigma, rel=1e-3)
    assert exact.inner_low == pytest.approx(0.5 - 1.96 * sigma, rel=1e-3)


def test_limits_narrow_with_size() -> None:
    widths = [
        found.outer_high - found.outer_low
        for found in (limits_at(Count.SHARE, 0.1, n) for n in (50, 200, 800, 3200))
    ]
    assert widths == sorted(widths, reverse=True)


def _binomial(draw_: random.Random, size: int, chance: float) -> int:
    return sum(draw_.random() < chance for _ in range(size))


def test_equal_units_lie_outside_at_the_printed_rate() -> None:
    draw_ = random.Random(4)
    outside = 0
    for _ in range(200):
        sizes = [float(draw_.randint(100, 400)) for _ in range(12)]
        counts = [_binomial(draw_, int(n), 0.3) for n in sizes]
        outside += any(m.side for m in draw(units(counts, sizes), Count.SHARE, target=0.3).marks)
    expected = chance_outside(12)
    assert abs(outside / 200 - expected) < 4 * math.sqrt(expected * (1 - expected) / 200)


def _wide() -> Funnel:
    draw_ = random.Random(8)
    sizes = [float(draw_.randint(200, 900)) for _ in range(20)]
    chances = [min(0.9, max(0.02, draw_.gauss(0.25, 0.08))) for _ in range(20)]
    counts = [_binomial(draw_, int(n), p) for n, p in zip(sizes, chances, strict=True)]
    return draw(units(counts, sizes), Count.SHARE)


def _again(found: Funnel, spread: Spread) -> Funnel:
    rows = [UnitCount(unit=m.unit, count=m.count, size=m.size) for m in found.marks]
    return draw(rows, Count.SHARE, spread=spread)


def test_units_that_vary_more_than_by_chance_call_for_a_spread() -> None:
    found = _wide()
    assert found.suggested is Spread.ADDED
    assert found.phi is not None
    assert found.phi > 3
    plain = sum(mark.side != 0 for mark in found.marks)
    added = _again(found, Spread.ADDED)
    assert plain >= 5
    assert sum(mark.side != 0 for mark in added.marks) <= 1
    # The planted spread between units is 0.08.
    assert added.tau == pytest.approx(0.08, abs=0.03)
    widened = _again(found, Spread.MULTIPLIED)
    for mark, other in zip(widened.marks, found.marks, strict=True):
        sigma = math.sqrt(found.target * (1 - found.target) / mark.size)
        assert mark.z == pytest.approx((other.value - found.target) / sigma / math.sqrt(found.phi))


def test_units_alike_seldom_call_for_a_spread() -> None:
    """phi of equal units lies about 1, less what drawing the tails in takes away."""
    draw_ = random.Random(2)
    phis = [dispersion([draw_.gauss(0, 1) for _ in range(20)]) for _ in range(500)]
    assert 0.6 < fmean(phis) < 1
    assert sum(too_wide(phi, 20) for phi in phis) / 500 < 0.05


def test_the_spread_between_units_is_the_moment_estimate_of_the_package() -> None:
    combine = pytest.importorskip("statsmodels.stats.meta_analysis")
    found = _wide()
    sigmas = [math.sqrt(found.target * (1 - found.target) / mark.size) for mark in found.marks]
    weights = [1 / sigma**2 for sigma in sigmas]
    values = [mark.value for mark in found.marks]
    mean = sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)
    phi = fmean(((v - mean) / s) ** 2 for v, s in zip(values, sigmas, strict=True))
    numpy = pytest.importorskip("numpy")
    other = combine.combine_effects(
        numpy.array(values), numpy.array([s * s for s in sigmas]), method_re="chi2"
    )
    assert between(sigmas, phi) ** 2 == pytest.approx(other.tau2)
    assert between(sigmas, 0.5) == 0


def test_a_tenth_on_each_side_is_drawn_in() -> None:
    zs = [-9.0, -2, -1, -0.5, 0, 0, 0.5, 1, 2, 30]
    assert dispersion(zs) == fmean(z * z for z in (-2, -2, -1, -0.5, 0, 0, 0.5, 1, 2, 2))


def test_units_stand_in_order_of_their_names_and_never_of_their_rates() -> None:
    found = draw(
        [
            UnitCount(unit="Willow", count=1, size=100),
            UnitCount(unit="Ash", count=30, size=100),
            UnitCount(unit="Maple", count=9, size=100),
        ],
        Count.SHARE,
    )
    assert [mark.unit for mark in found.marks] == ["Ash", "Maple", "Willow"]
    assert (found.phi, found.tau, found.suggested) == (None, None, Spread.NONE)


ROWS = units([1, 2], [50.0, 60.0])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: draw(ROWS[:1], Count.SHARE), "has 1. At least 2"),
        (lambda: draw([ROWS[0], ROWS[0]], Count.SHARE), "there twice"),
        (lambda: draw(units([0, 0], [5.0, 5.0]), Count.SHARE), "0 events in 10"),
        (lambda: draw(units([5, 5], [5.0, 5.0]), Count.SHARE), "10 events in 10"),
        (lambda: draw(units([6, 5], [5.0, 5.0]), Count.SHARE), '"unit 00" has 6 of 5'),
        (lambda: draw(units([1, 1], [5.5, 5.0]), Count.SHARE), "whole number of tries"),
        (lambda: draw(units([1, 1], [0.0, 5.0]), Count.RATE), 'size of "unit 00" is 0'),
        (lambda: draw(units([-1, 1], [5.0, 5.0]), Count.RATE), 'count of "unit 00" is -1'),
        (lambda: draw(ROWS, Count.SHARE, target=1.5), "target is 1.5"),
        (lambda: draw(ROWS, Count.RATE, target=math.nan), "target is nan"),
        (lambda: draw(ROWS, Count.SHARE, spread=Spread.ADDED), "There are 2 units"),
        (lambda: limits_at(Count.SHARE, 0.1, 2.5), "not a whole number of tries"),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
