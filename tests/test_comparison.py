"""Rate ratios, differences of shares, paired changes and two-source counts."""

import math
from collections.abc import Callable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.comparison import difference, paired_change, rate_ratio
from checklist.review.two_source import chapman
from checklist.review.unusable import Unusable
from tests.published import all_same, digits, read

RATIO = read("intervals_poisson")["rate_ratio"]
DIFFERENCE = read("difference_newcombe")


def test_the_rate_ratio_is_that_of_the_exact_poisson_test() -> None:
    found = rate_ratio(RATIO["x1"], RATIO["t1"], RATIO["x2"], RATIO["t2"])
    assert digits(found.ratio, RATIO["ratio"], 10)
    assert digits(found.low, RATIO["lcl"], 10)
    assert digits(found.high, RATIO["ucl"], 10)
    assert digits(found.p_value, RATIO["p"], 7)


@pytest.mark.parametrize("row", DIFFERENCE["rows"], ids=lambda r: f"{r['first']}-{r['second']}")
def test_the_difference_is_that_of_the_comparison_of_eleven_methods(
    row: dict[str, list[int]],
) -> None:
    found = difference(*row["first"], *row["second"])
    assert all_same((found.low, found.high), row["limits"], DIFFERENCE["decimals"])


@given(st.integers(1, 500), st.integers(1, 500), st.data())
@settings(max_examples=100, deadline=None)
def test_the_difference_is_that_of_the_package(n: int, m: int, data: st.DataObject) -> None:
    proportions = pytest.importorskip("statsmodels.stats.proportion")
    x, y = data.draw(st.integers(0, n)), data.draw(st.integers(0, m))
    low, high = proportions.confint_proportions_2indep(x, n, y, m, method="newcomb")
    found = difference(x, n, y, m)
    assert found.low == pytest.approx(low, abs=1e-9)
    assert found.high == pytest.approx(high, abs=1e-9)
    turned = difference(y, m, x, n)
    assert (turned.low, turned.high) == pytest.approx((-found.high, -found.low), abs=1e-12)


@given(st.integers(0, 200), st.integers(1, 200), st.floats(0.1, 1e5), st.floats(0.1, 1e5))
@settings(max_examples=60, deadline=None)
def test_a_ratio_turned_round_is_one_over_it(x: int, y: int, t: float, s: float) -> None:
    found, turned = rate_ratio(x, t, y, s), rate_ratio(y, s, x, t)
    assert found.low <= found.ratio <= found.high
    assert found.low * turned.high == pytest.approx(1, rel=1e-6) or x == 0
    assert found.p_value == pytest.approx(turned.p_value, rel=1e-6)


def test_a_rate_over_none_has_no_upper_limit() -> None:
    found = rate_ratio(4, 100, 0, 100)
    assert (found.ratio, found.high) == (math.inf, math.inf)
    assert found.low > 0


@pytest.mark.parametrize(("before", "after"), [(9, 1), (10, 10), (0, 6), (25, 11)])
def test_a_paired_change_is_that_of_the_package(before: int, after: int) -> None:
    tables = pytest.importorskip("statsmodels.stats.contingency_tables")
    other = tables.mcnemar([[3, before], [after, 5]], exact=True).pvalue
    assert paired_change(before, after) == pytest.approx(min(1.0, other))


def test_the_two_source_estimate_is_right_on_average() -> None:
    """Chapman 1951: without bias when the two counts reach the total together. Exact sum."""
    total, first, second = 30, 18, 14
    ways = math.comb(total, second)
    mean = Fraction(0)
    for both in range(max(0, first + second - total), min(first, second) + 1):
        chance = Fraction(math.comb(first, both) * math.comb(total - first, second - both), ways)
        mean += chance * (Fraction((first + 1) * (second + 1), both + 1) - 1)
        estimate = chapman(first, second, both).estimate
        assert estimate == pytest.approx(float(Fraction((first + 1) * (second + 1), both + 1) - 1))
    assert mean == total


def test_two_sources_that_found_the_same_have_found_all() -> None:
    found = chapman(12, 12, 12)
    assert (found.estimate, found.error, found.low, found.high, found.seen) == (12, 0, 12, 12, 12)
    assert chapman(20, 10, 4).low >= chapman(20, 10, 4).seen == 26


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: rate_ratio(0, 5, 0, 5), "Both counts are 0"),
        (lambda: rate_ratio(1, 0, 1, 1), "first exposure is 0"),
        (lambda: difference(1, 0, 1, 1), "first number of tries is 0"),
        (lambda: difference(1, 2, 3, 2), "second number of events is 3"),
        (lambda: paired_change(0, 0), "No pair differs"),
        (lambda: chapman(3, 4, 5), "number in both is 5"),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
