"""Tail areas and quantiles against a general statistics package and a published table."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review import distribution as d

stats = pytest.importorskip("scipy.stats")
special = pytest.importorskip("scipy.special")

counts = st.integers(1, 1_000_000)
shares = st.floats(1e-6, 1 - 1e-6)


def near(value: float, other: float, figures: float = 1e-8) -> bool:
    return math.isclose(value, other, rel_tol=figures, abs_tol=1e-290)


@given(st.floats(0.01, 5000), st.floats(0.01, 5000), shares)
@settings(max_examples=200, deadline=None)
def test_the_beta_area_is_that_of_the_package(a: float, b: float, x: float) -> None:
    assert abs(d.beta_below(x, a, b) - special.betainc(a, b, x)) < 1e-10


@given(st.floats(0.01, 5000), st.floats(0.2, 5))
@settings(max_examples=200, deadline=None)
def test_both_gamma_tails_are_those_of_the_package(a: float, times: float) -> None:
    below, above = d.gamma_tails(a * times, a)
    assert abs(below - special.gammainc(a, a * times)) < 1e-10
    assert abs(above - special.gammaincc(a, a * times)) < 1e-10


@given(counts, shares, st.floats(-8, 8))
@settings(max_examples=150, deadline=None)
def test_binomial_chances_are_those_of_the_package(n: int, p: float, far: float) -> None:
    k = min(n, max(0, round(n * p + far * math.sqrt(n * p * (1 - p)))))
    assert near(d.binomial_point(k, n, p), float(stats.binom.pmf(k, n, p)), 1e-7)
    assert near(d.binomial_at_most(k, n, p), float(stats.binom.cdf(k, n, p)), 1e-6)
    assert near(d.binomial_at_least(k, n, p), float(stats.binom.sf(k - 1, n, p)), 1e-6)


@given(st.floats(0.01, 100_000), st.floats(-8, 8))
@settings(max_examples=150, deadline=None)
def test_poisson_chances_are_those_of_the_package(mean: float, far: float) -> None:
    k = max(0, round(mean + far * math.sqrt(mean)))
    assert near(d.poisson_at_most(k, mean), float(stats.poisson.cdf(k, mean)), 1e-7)
    assert near(d.poisson_at_least(k, mean), float(stats.poisson.sf(k - 1, mean)), 1e-7)


@pytest.mark.parametrize("area", [1e-6, 0.00135, 0.025, 0.5, 0.975, 0.99865])
@pytest.mark.parametrize(("a", "b"), [(1, 30), (7, 533), (0.5, 0.5), (5000, 200)])
def test_a_quantile_has_its_area_below_it(area: float, a: float, b: float) -> None:
    assert near(d.beta_quantile(area, a, b), float(stats.beta.ppf(area, a, b)))
    assert near(d.gamma_quantile(area, b), float(stats.gamma.ppf(area, b)))
    assert near(d.normal_quantile(area), float(stats.norm.ppf(area)), 1e-12)


# Common tables of the chi-square distribution, 5% points (from memory).
@pytest.mark.parametrize(("freedom", "point"), [(1, 3.841), (2, 5.991), (10, 18.307), (30, 43.773)])
def test_chi_square_points_are_those_of_the_common_table(freedom: int, point: float) -> None:
    assert abs(d.chi_square_above(point, freedom) - 0.05) < 2e-5


def test_a_far_tail_keeps_its_figures() -> None:
    assert near(d.normal_above(10), float(stats.norm.sf(10)), 1e-12)
    assert near(d.binomial_at_least(60, 100, 0.1), float(stats.binom.sf(59, 100, 0.1)), 1e-10)


@given(st.integers(1, 2000), st.floats(0.001, 0.999), st.data())
@settings(max_examples=150, deadline=None)
def test_the_two_sided_chance_is_that_of_the_exact_binomial_test(
    n: int, p: float, data: st.DataObject
) -> None:
    k = data.draw(st.integers(0, n))
    assert math.isclose(
        d.binomial_two_sided(k, n, p),
        float(stats.binomtest(k, n, p).pvalue),
        rel_tol=1e-6,
        abs_tol=1e-200,  # sums of so little come out of both by their own rounding
    )


@given(st.integers(1, 5000), shares, st.sampled_from([0.00135, 0.05, 0.5, 0.99865]))
@settings(max_examples=100, deadline=None)
def test_the_least_count_is_the_quantile(n: int, p: float, area: float) -> None:
    found = d.least_count(lambda k: d.binomial_at_most(k, n, p), area, round(n * p))
    # A tie, such as half of the tosses of a fair coin, may fall either way by rounding.
    if all(abs(d.binomial_at_most(k, n, p) - area) > 1e-9 for k in (found - 1, found)):
        assert found == int(stats.binom.ppf(area, n, p))


def test_edges_are_exact() -> None:
    assert d.beta_below(0, 2, 3) == 0
    assert d.beta_below(1, 2, 3) == 1
    assert d.gamma_tails(0, 3) == (0, 1)
    assert d.binomial_point(3, 2, 0.5) == 0
    assert [d.binomial_point(k, 2, 0) for k in range(3)] == [1, 0, 0]
    assert [d.binomial_point(k, 2, 1) for k in range(3)] == [0, 0, 1]
    assert d.binomial_at_most(-1, 5, 0.5) == 0
    assert d.binomial_at_most(5, 5, 0.5) == 1
    assert d.binomial_at_least(0, 5, 0.5) == 1
    assert d.binomial_at_least(6, 5, 0.5) == 0
    assert d.poisson_at_most(-1, 2) == 0
    assert d.poisson_at_least(0, 2) == 1
