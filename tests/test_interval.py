"""Limits for shares and rates against printed tables and general statistics packages."""

import math
from collections.abc import Callable
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.interval import (
    Interval,
    Method,
    clopper_pearson,
    garwood,
    mid_p,
    proportion,
    rate,
    tries_for_width,
    tries_without_event,
    wilson,
    wilson_corrected,
)
from checklist.review.unusable import Unusable
from tests.published import all_same, not_reproduced, read

Z = NormalDist().inv_cdf(0.975)


def wald(x: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """The textbook normal limits: kept here only, to see which printed intervals used them."""
    p, z = x / n, NormalDist().inv_cdf((1 + level) / 2)
    half = z * math.sqrt(p * (1 - p) / n)
    return p - half, p + half


LIMITS: dict[str, Callable[[int, int, float], tuple[float, float]]] = {
    "wald": wald,
    "wilson": wilson,
    "wilson_cc": wilson_corrected,
    "clopper_pearson": clopper_pearson,
    "mid_p": mid_p,
}
NEWCOMBE = read("intervals_newcombe")


@pytest.mark.parametrize("row", NEWCOMBE["rows"], ids=lambda r: f"{r['x']}/{r['n']}")
@pytest.mark.parametrize("name", LIMITS)
def test_limits_are_those_of_the_comparison_of_seven_methods(row: Any, name: str) -> None:
    limits = LIMITS[name](row["x"], row["n"], 0.95)
    assert all_same(limits, row[name], NEWCOMBE["decimals"])


POISSON = read("intervals_poisson")


@pytest.mark.parametrize("row", POISSON["rows"], ids=lambda r: f"{r['x']} at {r['level']}")
def test_limits_of_a_count_are_the_printed_ones(row: Any) -> None:
    assert all_same(garwood(row["x"], row["level"]), row["limits"], row["decimals"])


STUDIES = read("intervals_studies")
APART = {row["what"].removesuffix(", per cent"): row for row in not_reproduced("intervals_studies")}


def _methods(row: Any) -> set[str]:
    """The methods that give the printed interval of a study."""
    x, n, scale = row["x"], row["n"], row["scale"]
    found = {name: limits(x, n, 0.95) for name, limits in LIMITS.items()}
    counted = rate(x, n)
    found["garwood"] = (counted.low, counted.high)
    return {
        name
        for name, (low, high) in found.items()
        if all_same((low * scale, high * scale), row["published"], row["decimals"])
    }


@pytest.mark.parametrize("row", STUDIES["rows"], ids=lambda r: f"{r['study']}: {r['what']}")
def test_a_printed_interval_comes_back_by_some_method_or_is_listed_with_why(row: Any) -> None:
    name = f"{row['study']}: {row['what']}"
    if name not in APART:
        assert _methods(row)
        return
    listed = APART[name]
    assert not _methods(row)
    limits = [100 * limit for limit in wilson(row["x"], row["n"], 0.95)]
    assert all_same(limits, listed["recomputed"], listed["decimals"])
    assert row["published"] == listed["published"] != listed["recomputed"]
    assert listed["why"]


def test_most_printed_intervals_are_the_textbook_ones_that_we_do_not_use() -> None:
    methods = [_methods(row) for row in STUDIES["rows"]]
    only = [found for found in methods if len(found) == 1]
    assert sum(found == {"wald"} for found in only) == 9
    assert sum(found == {"wilson"} for found in only) == 1
    assert sum(not found for found in methods) == 2


# Upper 95% limits beside none in n: the "rule of three" made exact (statements of common tables).
@pytest.mark.parametrize(
    ("tries", "high", "decimals"), [(10, 31, 0), (20, 16.8, 1), (60, 6.0, 1), (100, 3.6, 1)]
)
def test_none_seen_still_has_an_upper_limit(tries: int, high: float, decimals: int) -> None:
    found = proportion(0, tries, method=Method.CLOPPER_PEARSON)
    assert found.low == 0
    assert round(100 * found.high, decimals) == high


@given(st.integers(1, 3000), st.data(), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
@settings(max_examples=100, deadline=None)
def test_limits_are_those_of_two_packages(n: int, data: st.DataObject, level: float) -> None:
    proportions = pytest.importorskip("statsmodels.stats.proportion")
    stats = pytest.importorskip("scipy.stats")
    x = data.draw(st.integers(0, n))
    for method, other in ((Method.WILSON, "wilson"), (Method.CLOPPER_PEARSON, "beta")):
        found = proportion(x, n, level=level, method=method)
        pair = proportions.proportion_confint(x, n, alpha=1 - level, method=other)
        assert (found.low, found.high) == pytest.approx(pair, rel=1e-7, abs=1e-12)
    test = stats.binomtest(x, n)
    for method, other in ((Method.WILSON, "wilson"), (Method.WILSON_CORRECTED, "wilsoncc")):
        found = proportion(x, n, level=level, method=method)
        limits = test.proportion_ci(level, method=other)
        assert found.low == pytest.approx(limits.low, rel=1e-7, abs=1e-12)
        assert found.high == pytest.approx(limits.high, rel=1e-7, abs=1e-12)


@given(st.integers(0, 20_000), st.floats(0.01, 1e6), st.sampled_from([0.9, 0.95, 0.998]))
@settings(max_examples=60, deadline=None)
def test_rate_limits_are_those_of_the_package(x: int, exposure: float, level: float) -> None:
    rates = pytest.importorskip("statsmodels.stats.rates")
    low, high = rates.confint_poisson(x, exposure, method="exact-c", alpha=1 - level)
    found = rate(x, exposure, level=level)
    # The package gives not-a-number for the lower limit of no event.
    assert found.low == pytest.approx(0.0 if x == 0 else low, rel=1e-7)
    assert found.high == pytest.approx(high, rel=1e-7)


@given(st.integers(1, 400), st.data())
@settings(max_examples=100, deadline=None)
def test_every_method_holds_the_estimate_and_mirrors(n: int, data: st.DataObject) -> None:
    x = data.draw(st.integers(0, n))
    for method in Method:
        if method is Method.GARWOOD:
            continue
        found, mirror = proportion(x, n, method=method), proportion(n - x, n, method=method)
        assert 0 <= found.low <= found.estimate <= found.high <= 1
        assert found.low == pytest.approx(1 - mirror.high, abs=1e-12)


def _coverage(n: int, p: float, method: Method) -> float:
    """The exact chance that the interval holds p, summed over every count."""
    return sum(
        math.comb(n, x) * p**x * (1 - p) ** (n - x)
        for x in range(n + 1)
        if (found := proportion(x, n, method=method)).low <= p <= found.high
    )


@pytest.mark.parametrize("p", [0.01, 0.02, 0.05, 0.1, 0.3, 0.5])
@pytest.mark.parametrize("n", [20, 60])
def test_clopper_pearson_covers_at_least_its_level(n: int, p: float) -> None:
    assert _coverage(n, p, Method.CLOPPER_PEARSON) >= 0.95


def test_the_exact_interval_is_never_narrower_than_mid_p() -> None:
    for x in range(41):
        exact, middle = clopper_pearson(x, 40, 0.95), mid_p(x, 40, 0.95)
        assert exact[0] <= middle[0] <= middle[1] <= exact[1]


def test_an_interval_keeps_its_counts() -> None:
    found = proportion(12, 240)
    assert found == Interval(
        count=12,
        base=240,
        estimate=0.05,
        low=found.low,
        high=found.high,
        level=0.95,
        method=Method.WILSON,
    )
    assert rate(5, 2.5).estimate == 2


def test_the_audit_is_just_large_enough() -> None:
    n = tries_for_width(0.1, 0.03)
    widths = [(high - low) / 2 for low, high in (wilson(0.1 * m, m, 0.95) for m in (n, n - 1))]
    assert widths[0] <= 0.03 < widths[1]
    # The textbook normal formula z^2 p(1-p)/w^2 is close by.
    assert abs(n - Z**2 * 0.09 / 0.03**2) < 15


# n = ln(0.05) / ln(1 - p): 59 for 5%, 299 for 1% (common tables of zero-failure samples).
@pytest.mark.parametrize(("least", "tries"), [(0.05, 59), (0.01, 299), (0.1, 29), (0.5, 5)])
def test_an_audit_without_event_is_as_large_as_the_common_tables(least: float, tries: int) -> None:
    assert tries_without_event(least) == tries
    assert (1 - least) ** tries <= 0.05 < (1 - least) ** (tries - 1)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: proportion(3, 0), "number of tries is 0"),
        (lambda: proportion(4, 3), "number of events is 4"),
        (lambda: proportion(-1, 3), "0 to 3, is expected"),
        (lambda: proportion(True, 3), "number of events is True"),
        (lambda: proportion(1, 3, level=95), "level is 95"),
        (lambda: proportion(1, 3, level=math.nan), "level is nan"),
        (lambda: proportion(1, 3, method=Method.GARWOOD), "method for rates"),
        (lambda: rate(1, 0), "exposure is 0"),
        (lambda: rate(1, math.nan), "exposure is nan"),
        (lambda: rate(1, math.inf), "exposure is inf"),
        (lambda: rate(1, True), "exposure is True"),
        (lambda: rate(1, "many"), "exposure is 'many'"),  # type: ignore[arg-type]
        (lambda: rate(1.0, 5), "number of events is 1.0"),  # type: ignore[arg-type]
        (lambda: rate(-2, 5), "number of events is -2"),
        (lambda: tries_for_width(0, 0.1), "expected share is 0"),
        (lambda: tries_without_event(1), "share is 1"),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
