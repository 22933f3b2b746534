"""Cumulative sums and their run lengths: printed examples, printed tables, and simulation."""

import itertools
import math
import random
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review import run_length
from checklist.review.control_limit import gap_sigma
from checklist.review.cusum import (
    Plan,
    Standing,
    adjusted,
    bernoulli,
    odds_moved,
    tabular,
    trainee,
    weights,
)
from checklist.review.unusable import Unusable
from tests.published import all_same, digits, not_reproduced, read, same

NORMAL = read("cusum_normal")
HANDBOOK = read("cusum_nist")
LENGTHS = read("cusum_bernoulli_arl")["published"]
STUDIES = read("cusum_trainee")["rows"]


def test_the_sums_of_the_textbook_example_are_the_printed_ones() -> None:
    printed = NORMAL["published"]
    found = tabular(
        NORMAL["data"],
        target=NORMAL["target"],
        slack=NORMAL["k"] * NORMAL["sigma"],
        limit=NORMAL["h"] * NORMAL["sigma"],
    )
    assert same(found[28].high, printed["c_plus_29"], printed["decimals"])
    assert found[28].high_run == printed["n_plus_29"]
    signals = [place for place, sides in enumerate(found, 1) if sides.signal]
    assert signals[0] == printed["first_signal"]
    assert found[28].signal == 1


def test_the_sums_of_the_handbook_example_are_the_printed_ones() -> None:
    printed = HANDBOOK["published"]
    found = tabular(
        HANDBOOK["data"],
        target=HANDBOOK["target"],
        slack=HANDBOOK["k_abs"],
        limit=HANDBOOK["h_abs"],
    )
    sums = [sides.high for sides in found[12:]]
    assert all_same(sums, printed["s_hi_from_13"], printed["decimals"])
    assert next(p for p, sides in enumerate(found, 1) if sides.signal) == printed["first_signal"]


@pytest.mark.parametrize("limit", ["4", "5"])
def test_run_lengths_of_the_normal_sum_are_the_printed_ones(limit: str) -> None:
    printed = NORMAL["published"]
    stable = run_length.of_normal(slack=0.5, limit=float(limit))
    shifted = run_length.of_normal(slack=0.5, limit=float(limit), shift=1)
    assert same(stable, printed["arl0"][limit], 0)
    assert digits(shifted, printed["arl1_shift1"][limit], 3)


# One-sided in-control run lengths 335.37 (h = 4) and 930.89 (h = 5), k = 0.5: R package spc,
# xcusum.arl (from memory); the two-sided ones are half of these.
@pytest.mark.parametrize(("limit", "one_sided"), [(4, 335.37), (5, 930.89)])
def test_two_sides_alarm_twice_as_often_as_one(limit: float, one_sided: float) -> None:
    assert same(2 * run_length.of_normal(slack=0.5, limit=limit), one_sided, 2)


APART = {
    float(row["what"].split("chance ")[1].split(",")[0]): row
    for row in not_reproduced("cusum_bernoulli_arl")
}


@pytest.mark.parametrize("row", LENGTHS["cusum"], ids=lambda r: f"p={r['p']}")
def test_run_lengths_of_the_bernoulli_sum_are_the_printed_ones_or_listed(row: Any) -> None:
    chance = row["p"]
    found = run_length.of_bernoulli(actual=chance, chance=chance, odds_ratio=2, limit=row["limit"])
    if chance not in APART:
        assert found == pytest.approx(row["arl"], rel=LENGTHS["rtol"])
        return
    listed = APART[chance]
    assert found == pytest.approx(listed["recomputed"], rel=0.01)
    assert listed["published"] == row["arl"]
    assert found != pytest.approx(row["arl"], rel=LENGTHS["rtol"])


def test_the_limit_that_the_printed_run_length_needs_is_the_listed_one() -> None:
    limit = run_length.limit_for(attempts=9300, chance=0.1, odds_ratio=2)
    assert limit == pytest.approx(5.26, abs=0.02)
    assert "5.26" in APART[0.1]["why"]


@pytest.mark.parametrize("row", LENGTHS["g"], ids=lambda r: f"p={r['p']}")
def test_run_lengths_of_the_gap_limits_are_the_printed_ones(row: Any) -> None:
    """They come back if the limit is rounded and a gap that reaches it signals."""
    chance = row["p"]
    mean = (1 - chance) / chance
    needed = round(mean + row["L"] * gap_sigma(mean))
    assert 1 / chance / (1 - chance) ** needed == pytest.approx(row["arl"], rel=0.005)


def _simulated(actual: float, limit: float, runs: int) -> tuple[float, float]:
    """Mean and standard error of the attempts to a signal, weights for 10% and odds times 2."""
    draw = random.Random(9)
    with_event, without = weights(0.1, 2)
    lengths = []
    for _ in range(runs):
        total, length = 0.0, 0
        while total < limit:
            length += 1
            total = max(0.0, total + (with_event if draw.random() < actual else without))
        lengths.append(length)
    mean = sum(lengths) / runs
    return mean, math.sqrt(sum((n - mean) ** 2 for n in lengths) / runs / runs)


@pytest.mark.parametrize("actual", [0.1, 0.18, 0.3])
def test_run_lengths_are_those_of_a_simulation(actual: float) -> None:
    mean, error = _simulated(actual, 2.5, 1500)
    found = run_length.of_bernoulli(actual=actual, chance=0.1, odds_ratio=2, limit=2.5)
    assert abs(found - mean) < 4 * error + 0.01 * mean


# 5% that becomes twice the odds: 219 attempts to find it, a false alarm once in 7700 (limit 4.5).
def test_a_doubling_is_found_long_before_a_false_alarm() -> None:
    shifted = odds_moved(0.05, 2)
    late = run_length.of_bernoulli(actual=shifted, chance=0.05, odds_ratio=2, limit=4.5)
    early = run_length.of_bernoulli(actual=0.05, chance=0.05, odds_ratio=2, limit=4.5)
    assert late == pytest.approx(219, rel=0.01)
    assert early == pytest.approx(7700, rel=0.01)


def test_a_small_case_is_counted_out_by_hand() -> None:
    """Odds times 2 at 50%: +0.288 and -0.405, so an event after a non-event starts from 0."""
    with_event, without = weights(0.5, 2)
    assert (with_event, without) == pytest.approx((math.log(4 / 3), math.log(2 / 3)))
    # Two events in a row signal at 0.5, and nothing else does: mean wait 2 + 4 = 6 tosses.
    found = run_length.of_bernoulli(actual=0.5, chance=0.5, odds_ratio=2, limit=0.5)
    assert found == pytest.approx(6, rel=1e-9)


def test_the_weights_are_the_logs_of_how_much_likelier_an_outcome_is() -> None:
    moved = odds_moved(0.05, 2)
    assert weights(0.05, 2) == pytest.approx((math.log(moved / 0.05), math.log((1 - moved) / 0.95)))
    assert odds_moved(odds_moved(0.2, 3), 1 / 3) == pytest.approx(0.2)


def test_the_sum_stays_at_0_and_starts_again_after_a_signal() -> None:
    steps = bernoulli([False] * 3 + [True] * 4, chance=0.1, odds_ratio=2, limit=1.5)
    up = weights(0.1, 2)[0]
    assert [step.sum for step in steps] == pytest.approx([0, 0, 0, up, 2 * up, 3 * up, up])
    assert [step.signal for step in steps] == [False] * 5 + [True, False]


@given(st.lists(st.tuples(st.booleans(), st.floats(0.01, 0.9)), min_size=1, max_size=60))
@settings(max_examples=60)
def test_each_attempt_counts_by_its_own_chance(attempts: list[tuple[bool, float]]) -> None:
    events, chances = [e for e, _ in attempts], [c for _, c in attempts]
    steps = adjusted(events, chances, odds_ratio=2, limit=3)
    total = 0.0
    for (event, chance), step in zip(attempts, steps, strict=True):
        total = max(0.0, total + weights(chance, 2)[0 if event else 1])
        assert step.sum == pytest.approx(total)
        assert step.signal == (step.sum >= 3)
        total = 0.0 if step.signal else total


# s, h0 = h1 and attempts, for alpha = beta, worked out from the printed formulas apart from here.
PLANS = [
    (0.02, 0.05, 0.10, 0.033, 2.32, 71),
    (0.05, 0.10, 0.10, 0.072, 2.94, 41),
    (0.05, 0.15, 0.10, 0.092, 1.82, 20),
    (0.10, 0.20, 0.10, 0.145, 2.71, 19),
    (0.10, 0.20, 0.05, 0.145, 3.63, 25),
    (0.15, 0.30, 0.10, 0.219, 2.48, 12),
]


@pytest.mark.parametrize(("p0", "p1", "risk", "step", "line", "attempts"), PLANS)
def test_a_plan_has_the_step_and_lines_of_its_formulas(
    p0: float, p1: float, risk: float, step: float, line: float, attempts: int
) -> None:
    plan = Plan(acceptable=p0, unacceptable=p1, alpha=risk, beta=risk)
    assert same(plan.step, step, 3)
    assert all_same((plan.competent, plan.stop), (line, line), 2)
    assert plan.fewest == attempts
    flawless = trainee([True] * attempts, plan)
    assert [attempt.reached for attempt in flawless[:-1]] == [None] * (attempts - 1)
    assert flawless[-1].reached is Standing.COMPETENT


def test_the_fewest_attempts_of_the_study_that_states_its_plan_come_back() -> None:
    (row,) = [r for r in STUDIES if "Sivaprakasam" in r["study"] and r["p0"] == 0.1]
    plan = Plan(acceptable=row["p0"], unacceptable=row["p1"], alpha=0.05, beta=0.05)
    assert plan.fewest == row["published_min_attempts"]


def test_a_relapse_after_competence_is_seen() -> None:
    plan = Plan(acceptable=0.1, unacceptable=0.2, alpha=0.1, beta=0.1)
    found = trainee([True] * 19 + [False] * 4 + [True], plan)
    assert found[18].standing is Standing.COMPETENT
    assert found[19].sum == pytest.approx(1 - plan.step)
    assert found[22].reached is Standing.STOP
    assert found[23].standing is Standing.STOP
    assert trainee([True], plan)[0].standing is Standing.OPEN


@pytest.mark.parametrize("attempts", [1, 5, 11])
def test_chances_of_a_plan_are_those_of_all_orders_counted_out(attempts: int) -> None:
    plan = Plan(acceptable=0.15, unacceptable=0.4, alpha=0.1, beta=0.1)
    totals = {Standing.COMPETENT: 0.0, Standing.STOP: 0.0, Standing.OPEN: 0.0}
    for order in itertools.product((True, False), repeat=attempts):
        first = next((a.reached for a in trainee(order, plan) if a.reached), Standing.OPEN)
        totals[first] += 0.75 ** sum(order) * 0.25 ** (attempts - sum(order))
    found = run_length.of_trainee(plan, 0.25, attempts)
    assert (found.competent, found.stop, found.open) == pytest.approx(
        (totals[Standing.COMPETENT], totals[Standing.STOP], totals[Standing.OPEN])
    )


def test_a_plan_keeps_its_promised_risks() -> None:
    """Wald 1947: the risks are at most alpha / (1 - beta) and beta / (1 - alpha)."""
    plan = Plan(acceptable=0.1, unacceptable=0.2, alpha=0.1, beta=0.1)
    assert run_length.of_trainee(plan, 0.1, 1500).stop <= 0.1 / 0.9
    assert run_length.of_trainee(plan, 0.2, 1500).competent <= 0.1 / 0.9
    assert run_length.of_trainee(plan, 0.1, 1500).open < 0.001


SOUND: dict[str, float] = {"acceptable": 0.1, "unacceptable": 0.2, "alpha": 0.1, "beta": 0.1}


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Plan(**{**SOUND, "acceptable": 0.3}), "Put the smaller first"),
        (lambda: Plan(**{**SOUND, "alpha": 0}), "plan's alpha is 0"),
        (lambda: Plan(**{**SOUND, "alpha": 0.6, "beta": 0.5}), "Alpha and beta together"),
        (lambda: Plan(**{**SOUND, "beta": math.nan}), "plan's beta is nan"),
        (lambda: trainee([], Plan(**SOUND)), "has 0"),
        (lambda: trainee([None], Plan(**SOUND)), "outcome is None"),  # type: ignore[list-item]
        (lambda: bernoulli([], chance=0.1, odds_ratio=2, limit=3), "has 0"),
        (lambda: bernoulli([True], chance=0, odds_ratio=2, limit=3), "chance is 0"),
        (lambda: bernoulli([True], chance=0.1, odds_ratio=1, limit=3), "nothing to look for"),
        (lambda: bernoulli([True], chance=0.1, odds_ratio=2, limit=0), "limit is 0"),
        (lambda: adjusted([True], [], odds_ratio=2, limit=3), "1 attempts and 0 chances"),
        (lambda: tabular([math.inf], target=0, slack=1, limit=5), "value is inf"),
        (lambda: tabular([1.0], target=0, slack=-1, limit=5), "slack is -1"),
        (lambda: run_length.of_normal(slack=0.5, limit=0), "limit is 0"),
        (lambda: run_length.of_trainee(Plan(**SOUND), 0, 10), "actual share is 0"),
        (
            lambda: run_length.of_bernoulli(actual=1e-6, chance=1e-6, odds_ratio=2, limit=5),
            "too far to work out",
        ),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
