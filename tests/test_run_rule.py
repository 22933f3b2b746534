"""Runs about a line: printed critical values, the printed joint distribution, and enumeration."""

import itertools
import math
from fractions import Fraction
from statistics import median

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.run_rule import (
    Line,
    alarm_chance,
    compositions,
    crossings_limit,
    longest_limit,
    orders,
    run_chance,
    run_count_limits,
    runs,
)
from checklist.review.unusable import Unusable
from tests.published import not_reproduced, read

CRITICAL = read("run_anhoej_critical_values")
JOINT = read("run_joint_distribution_n14")
RUN_COUNTS = read("run_number_of_runs_limits")


@pytest.mark.parametrize("place", range(91))
def test_the_last_quiet_values_are_those_of_the_printed_table(place: int) -> None:
    points = CRITICAL["n"][place]
    assert longest_limit(points) == CRITICAL["longest_run_max"][place]
    assert crossings_limit(points) == CRITICAL["crossings_min"][place]


def _cell(crossings: int, longest: int, line: Line) -> int:
    return orders(14, crossings, longest, line) - orders(14, crossings, longest - 1, line)


def test_the_joint_distribution_about_a_frozen_line_is_the_printed_one() -> None:
    table = [[_cell(c, length, Line.FROZEN) for length in range(1, 15)] for c in range(14)]
    assert table == JOINT["fixed_centre"]
    assert sum(map(sum, table)) == 8192


def test_the_joint_distribution_about_the_own_median_is_the_printed_one() -> None:
    table = [[_cell(c, length, Line.OWN_MEDIAN) for length in range(1, 8)] for c in range(1, 14)]
    assert table == JOINT["own_median"]
    assert sum(map(sum, table)) == 1716


def _alarms(sides: tuple[int, ...]) -> bool:
    """Written out again from the article, apart from the code under test."""
    lengths = [len(list(group)) for _, group in itertools.groupby(sides)]
    n = len(sides)
    tail = [sum(math.comb(n - 1, k) for k in range(c + 1)) / 2 ** (n - 1) for c in range(n)]
    fewest = next(c for c in range(n) if tail[c] >= 0.05)
    return max(lengths) > round(math.log2(n)) + 3 or len(lengths) - 1 < fewest


@pytest.mark.parametrize("points", [10, 11, 12, 14])
def test_the_alarm_chance_is_that_of_all_orders_counted_out(points: int) -> None:
    alarms = sum(_alarms(sides) for sides in itertools.product((0, 1), repeat=points))
    assert alarm_chance(points) == Fraction(alarms, 2**points)


@pytest.mark.parametrize("points", [10, 12, 14])
def test_about_the_own_median_too(points: int) -> None:
    halves = list(itertools.combinations(range(points), points // 2))
    alarms = sum(_alarms(tuple(int(k in half) for k in range(points))) for half in halves)
    assert alarm_chance(points, Line.OWN_MEDIAN) == Fraction(alarms, len(halves))


@pytest.mark.parametrize("length", [3, 6, 8])
def test_the_chance_of_a_long_run_is_that_of_all_orders_counted_out(length: int) -> None:
    long = sum(
        max(len(list(group)) for _, group in itertools.groupby(sides)) >= length
        for sides in itertools.product((0, 1), repeat=13)
    )
    assert run_chance(13, length) == Fraction(long, 2**13)


# Runs of one side or the other in n tosses are runs of "same as before" in n - 1, one shorter.
def test_a_long_run_chance_obeys_the_recursion_for_coin_tosses() -> None:
    """Feller, An Introduction to Probability Theory, volume 1, XIII.7: waits for 7 in a row."""
    quiet = [Fraction(1)] * 7
    for n in range(7, 200):
        quiet.append(sum((quiet[n - k] / 2**k for k in range(1, 8)), Fraction(0)))
    assert 1 - run_chance(200, 8) == quiet[199]


def test_fixed_run_lengths_do_not_suit_long_series() -> None:
    assert [round(100 * float(run_chance(n, 6))) for n in (24, 100)] == [29, 81]


def test_the_run_counts_are_exact_and_the_printed_table_is_off_by_one_where_listed() -> None:
    off = 0
    rows = zip(RUN_COUNTS["n"], RUN_COUNTS["runs_lower"], RUN_COUNTS["runs_upper"], strict=True)
    for points, fewest, most in rows:
        low, high = run_count_limits(points)
        assert abs(low - fewest) <= 1
        assert abs(high - most) <= 1
        off += (low, high) != (fewest, most)
    (listed,) = not_reproduced("run_number_of_runs_limits")
    assert (off, listed["published"]) == (listed["recomputed"], 0)


@pytest.mark.parametrize("points", [10, 11, 14])
def test_run_count_limits_leave_at_most_a_fortieth_beyond_each(points: int) -> None:
    above = points // 2
    counts = [
        sum(1 for _ in itertools.groupby(int(k in half) for k in range(points)))
        for half in itertools.combinations(range(points), above)
    ]
    low, high = run_count_limits(points)
    assert (
        sum(c < low for c in counts) / len(counts)
        <= 0.025
        < sum(c <= low for c in counts) / len(counts)
    )
    assert (
        sum(c > high for c in counts) / len(counts)
        <= 0.025
        < sum(c >= high for c in counts) / len(counts)
    )


@given(st.integers(1, 9), st.integers(1, 5), st.integers(1, 5))
def test_compositions_are_all_the_ways_counted_out(total: int, parts: int, largest: int) -> None:
    ways = itertools.product(range(1, largest + 1), repeat=parts)
    assert compositions(total, parts, largest) == sum(sum(way) == total for way in ways)
    assert compositions(0, 0, largest) == 1
    assert compositions(total, 0, largest) == 0


values = st.lists(st.integers(-3, 3).map(float), min_size=1, max_size=40)


@given(values)
@settings(max_examples=150)
def test_time_turned_round_keeps_runs_and_crossings(series: list[float]) -> None:
    there, back = runs(series, 0), runs(series[::-1], 0)
    assert (there.longest, there.crossings, there.useful) == (
        back.longest,
        back.crossings,
        back.useful,
    )


@given(values, st.integers(0, 40))
@settings(max_examples=150)
def test_a_point_on_the_line_changes_no_run(series: list[float], place: int) -> None:
    more = [*series[:place], 0.0, *series[place:]]
    found, with_it = runs(series, 0), runs(more, 0)
    assert [len(run.points) for run in found.runs] == [len(run.points) for run in with_it.runs]
    assert found.useful == with_it.useful


@given(values)
def test_the_points_of_the_runs_are_the_useful_ones_in_order(series: list[float]) -> None:
    found = runs(series, 0)
    points = [point for run in found.runs for point in run.points]
    assert points == [place for place, value in enumerate(series) if value != 0]
    assert all(run.side == (1 if series[p] > 0 else -1) for run in found.runs for p in run.points)


def test_the_limits_are_the_last_quiet_values() -> None:
    quiet = [1.0] * 8 + [-1.0, 1.0] * 8
    loud = [1.0] * 9 + [-1.0, 1.0] * 8
    assert len(quiet) == 24
    assert not runs(quiet, 0).too_long
    assert [run.points for run in runs(loud, 0).too_long] == [tuple(range(9))]
    seven = [1.0, 1.0, 1.0, -1.0, -1.0, -1.0] * 4
    assert runs(seven, 0).crossings == 7
    assert runs(seven, 0).too_few_crossings
    eight = [*seven[:-1], 1.0]
    assert runs(eight, 0).crossings == 8
    assert not runs(eight, 0).too_few_crossings


def test_below_ten_useful_points_nothing_is_judged() -> None:
    found = runs([1.0] * 9 + [0.0] * 5, 0)
    assert (found.longest_limit, found.crossings_limit) == (None, None)
    assert not found.too_long
    assert not found.too_few_crossings
    assert alarm_chance(9) == 0


# Medians of the printed example, whole and by part, and its longest run against a frozen median.
def test_the_split_example_has_its_printed_medians_and_run() -> None:
    split = read("c_split_cdi")
    data, printed = split["data"], split["published"]
    assert median(data) == printed["run_median_all"]
    assert median(data[:24]) == printed["run_median_first24"]
    assert [median(data[:24]), median(data[24:])] == printed["run_median_parts"]
    assert runs(data, median(data[:24])).longest == printed["longest_run_vs_first24_median"]


@pytest.mark.parametrize("call", [longest_limit, crossings_limit, run_count_limits])
def test_fewer_than_ten_points_have_no_limits(call: object) -> None:
    assert callable(call)
    with pytest.raises(Unusable, match="10 or more"):
        call(9)


def test_an_odd_number_has_no_half() -> None:
    with pytest.raises(Unusable, match="Leave out the one on it"):
        orders(11, 3, 5, Line.OWN_MEDIAN)
    with pytest.raises(Unusable, match="value is nan"):
        runs([1.0, math.nan], 0)
