"""Rules for special causes: each just misses and just fires, as its source words it."""

from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.special_cause import (
    ANHOEJ,
    DEFAULT,
    NELSON,
    RULE_SETS,
    WESTERN_ELECTRIC,
    Rule,
    Trace,
    put_together,
    rules_named,
    signals,
)
from checklist.review.unusable import Unusable
from tests.published import digits, read


def judge(sigmas: Sequence[float], rule: Rule) -> list[tuple[int, tuple[int, ...]]]:
    beyond = tuple((s > 3) - (s < -3) for s in sigmas)
    trace = Trace(values=tuple(sigmas), line=0, sigmas=tuple(sigmas), beyond=beyond)
    return [(signal.side, signal.points) for signal in signals(trace, (rule,))]


UP6, UP5, UP7 = [list(map(float, range(k))) for k in (6, 5, 7)]
SAW = [1.0, -1.0] * 7
ALL = tuple(range(20))
# rule, a series that just does not fire, one that just does, the side and the places that fire
CASES: list[tuple[Rule, Sequence[float], Sequence[float], int, tuple[int, ...]]] = [
    (Rule.OUTSIDE, [0, 3, 0], [0, 3.01, 0], 1, (1,)),
    (Rule.OUTSIDE, [0, -3, 0], [0, -3.01, 0], -1, (1,)),
    (Rule.RUN_OF_6, [1] * 5, [1] * 6, 1, ALL[:6]),
    (Rule.RUN_OF_7, [-1] * 6, [-1] * 7, -1, ALL[:7]),
    (Rule.RUN_OF_8, [1] * 7, [1] * 8, 1, ALL[:8]),
    (Rule.RUN_OF_9, [1] * 8, [1] * 9, 1, ALL[:9]),
    (Rule.TREND_OF_5, UP5[:4], UP5, 1, ALL[:5]),
    (Rule.TREND_OF_5, [1, 2, 2, 3, 4], [1, 2, 2, 3, 4, 5], 1, (0, 1, 3, 4, 5)),
    (Rule.TREND_OF_6, UP6[:5], UP6, 1, ALL[:6]),
    (Rule.TREND_OF_6, UP6[:5], UP6[::-1], -1, ALL[:6]),
    (Rule.TREND_OF_7, UP7[:6], UP7, 1, ALL[:7]),
    (Rule.TWO_OF_THREE, [2.1, 0, 0, 2.1], [2.1, 0, 2.1], 1, (0, 1, 2)),
    (Rule.TWO_OF_THREE, [2.1, -2.1, 0], [-2.1, -3.5, 0], -1, (0, 1, 2)),
    (Rule.TWO_NEAR_LIMIT, [2.1, -0.1, 2.1], [2.1, 0.1, 2.1], 1, (0, 1, 2)),
    (Rule.TWO_NEAR_LIMIT, [3.1, 0.1, 2.1], [-2.1, -0.1, -3], -1, (0, 1, 2)),
    (Rule.FOUR_OF_FIVE, [1.1, 1.1, 0, 0, 1.1, 1.1], [1.1, 1.1, 0, 1.1, 1.1], 1, (0, 1, 2, 3, 4)),
    (Rule.FOUR_OF_FIVE, [1.1, 1.1, -1.1, -1.1, 1.1], [-1.1] * 5, -1, (0, 1, 2, 3, 4)),
    (Rule.ALTERNATING, SAW[:13], SAW, 0, ALL[:14]),
    (Rule.HUGGING, [0.9] * 14, [0.9, -0.9, 0.0] * 5, 0, ALL[:15]),
    (Rule.SHUNNING, [1.1] * 8, [1.1] * 7 + [-1.1], 0, ALL[:8]),
    (Rule.SHUNNING, [1.1, -1.1, 1.0, 1.1, -1.1, 1.1, -1.1, 1.1], [1.1, -1.1] * 4, 0, ALL[:8]),
    (Rule.LONG_RUN, [1] * 6 + [-1, 1] * 2, [1] * 7 + [-1, 1, -1], 1, ALL[:7]),
    (Rule.FEW_CROSSINGS, [1, 1, 1, 1, -1, -1, -1, 1, 1, 1], [1] * 5 + [-1] * 5, 0, ALL[:10]),
    (Rule.RUN_COUNT, [1, 1, 1, -1, -1, -1, 1, 1, -1, -1], [1, -1] * 5, 0, ALL[:10]),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "quiet", "loud", "side", "places"), CASES)
def test_a_rule_fires_at_its_printed_length_and_not_before(
    rule: Rule, quiet: Sequence[float], loud: Sequence[float], side: int, places: tuple[int, ...]
) -> None:
    assert judge(quiet, rule) == []
    assert judge(loud, rule) == [(side, places)]


def test_every_rule_has_a_case_and_every_set_a_source() -> None:
    assert {case[0] for case in CASES} == set(Rule)
    assert {rule for chosen in RULE_SETS.values() for rule in chosen.rules} == set(Rule)
    assert all(chosen.source and chosen.name == name for name, chosen in RULE_SETS.items())


def test_windows_that_overlap_are_one_signal() -> None:
    assert judge([0, 2.5, 2.5, 2.5, 0, 0, 0, -2.5, -2.5], Rule.TWO_OF_THREE) == [
        (1, (0, 1, 2, 3, 4)),
        (-1, (6, 7, 8)),
    ]


@given(st.lists(st.floats(-4, 4, allow_nan=False), min_size=1, max_size=30))
@settings(max_examples=100)
def test_a_series_turned_upside_down_fires_on_the_other_side(series: list[float]) -> None:
    for rule in Rule:
        found = {(side, points) for side, points in judge(series, rule)}
        turned = {(-side, points) for side, points in judge([-v for v in series], rule)}
        assert found == turned


def test_the_printed_simulated_series_fires_the_printed_rules() -> None:
    example = read("run_rules_simulated")
    printed, data = example["published"], example["data"]
    mean = sum(data) / len(data)
    sigma = sum(abs(b - a) for a, b in pairwise(data)) / 23 / 1.128
    assert digits(mean, printed["centre"], 7)
    sigmas = tuple((value - mean) / sigma for value in data)
    trace = Trace(
        values=tuple(data), line=mean, sigmas=sigmas, beyond=tuple(int(s > 3) for s in sigmas)
    )
    fired = {signal.rule for signal in signals(trace, DEFAULT.rules)}
    assert fired == {Rule.LONG_RUN, Rule.FEW_CROSSINGS}
    western = {signal.rule for signal in signals(trace, WESTERN_ELECTRIC.rules)}
    assert (Rule.RUN_OF_8 in western) == printed["we4_signal"]
    assert sum(map(abs, trace.beyond)) == printed["n_sigma_signals"]


def test_a_chart_without_sigmas_refuses_rules_in_sigmas_and_names_others() -> None:
    trace = Trace(values=(1.0, 2.0), line=1.5)
    assert signals(trace, ANHOEJ.rules) == ()
    with pytest.raises(Unusable, match='Choose the rules "Anhoej"'):
        signals(trace, NELSON.rules)


@given(st.sets(st.sampled_from(Rule), min_size=1))
def test_rules_put_together_are_found_again_by_their_name(chosen: set[Rule]) -> None:
    found = put_together(chosen)
    assert set(found.rules) == chosen and rules_named(found.name) == found


def test_the_rules_of_a_known_set_are_that_set_and_none_is_no_set() -> None:
    for known in RULE_SETS.values():
        assert put_together(reversed(known.rules)) is known is rules_named(known.name)
    for name in ("", "mine", "outside the limits + luck"):
        with pytest.raises(Unusable, match="No rules are named"):
            rules_named(name)
    with pytest.raises(Unusable, match="one rule at least"):
        put_together([])
