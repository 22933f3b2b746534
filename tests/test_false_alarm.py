"""False-alarm chances of the rule sets: exact values, printed run lengths, and simulation."""

import random

import pytest

from checklist.review import false_alarm
from checklist.review.run_rule import Line
from checklist.review.special_cause import (
    ANHOEJ,
    DEFAULT,
    FOUR_RULES,
    NELSON,
    RUN_CHART,
    SHEWHART,
    WESTERN_ELECTRIC,
    Rule,
    RuleSet,
    Trace,
    put_together,
    signals,
)
from checklist.review.unusable import Unusable
from tests.published import read, same

PRINTED = read("western_electric_arl")["published"]


def test_mean_run_lengths_are_the_printed_ones() -> None:
    assert same(false_alarm.average_run_length(SHEWHART), PRINTED["rule1"], 1)
    assert same(false_alarm.average_run_length(WESTERN_ELECTRIC), PRINTED["rules1234"], 2)
    with pytest.raises(Unusable, match="no run length in closed form"):
        false_alarm.average_run_length(NELSON)


def test_mean_run_lengths_of_one_rule_and_of_two() -> None:
    """A fair coin's mean wait for k alike is 2^k - 1 (Feller, An Introduction to Probability
    Theory, volume 1, XIII.7). The limits with a run of 8: 152.73 (Champ and Woodall, 1987, from
    memory).
    """
    for length, rule in ((6, Rule.RUN_OF_6), (8, Rule.RUN_OF_8), (9, Rule.RUN_OF_9)):
        assert false_alarm.average_run_length(put_together([rule])) == pytest.approx(2**length - 1)
    both = put_together([Rule.OUTSIDE, Rule.RUN_OF_8])
    assert false_alarm.average_run_length(both) == pytest.approx(152.73, abs=0.005)


# Per cent of 40 000 simulated stable series of 12, 24 and 36 points with a signal, from a program
# written apart from this one; the standard error is at most 0.25.
SIMULATED = [
    (SHEWHART, Line.FROZEN, (3.1, 6.4, 9.5)),
    (DEFAULT, Line.FROZEN, (7.2, 12.7, 17.1)),
    (WESTERN_ELECTRIC, Line.FROZEN, (9.4, 21, 31)),
    (NELSON, Line.FROZEN, (9.9, 25, 37)),
    (FOUR_RULES, Line.FROZEN, (9.6, 22, 33)),
    (ANHOEJ, Line.FROZEN, (4.2, 6.8, 8.4)),
    (ANHOEJ, Line.OWN_MEDIAN, (1.2, 3.1, 4.4)),
    (RUN_CHART, Line.OWN_MEDIAN, (13, 37, 56)),
]


@pytest.mark.parametrize(("chosen", "line", "per_cent"), SIMULATED)
def test_chances_are_those_of_an_independent_simulation(
    chosen: RuleSet, line: Line, per_cent: tuple[float, ...]
) -> None:
    for points, expected in zip((12, 24, 36), per_cent, strict=True):
        found = false_alarm.of_rules(chosen, points, line=line)
        play = 0.5 + 100 * (found.high - found.low)
        assert abs(100 * found.chance - expected) < play
        assert found.low <= found.chance <= found.high


@pytest.mark.parametrize("chosen", [DEFAULT, WESTERN_ELECTRIC, SHEWHART, ANHOEJ])
def test_an_exact_chance_lies_within_a_simulated_one(chosen: RuleSet) -> None:
    exact = false_alarm.of_rules(chosen, 30)
    assert exact.how == "exact"
    assert exact.low == exact.high == exact.chance
    draw = random.Random(11)
    alarms = 0
    for _ in range(3000):
        values = tuple(draw.gauss(0, 1) for _ in range(30))
        beyond = tuple((v > 3) - (v < -3) for v in values)
        trace = Trace(values=values, line=0, sigmas=values, beyond=beyond)
        alarms += bool(signals(trace, chosen.rules))
    # Four standard errors of 3000 series.
    error = (exact.chance * (1 - exact.chance) / 3000) ** 0.5
    assert abs(alarms / 3000 - exact.chance) < 4 * error


def test_one_fixed_run_multiplies_with_the_limits() -> None:
    one = RuleSet(name="seven", rules=(Rule.OUTSIDE, Rule.RUN_OF_7), source="test")
    quiet = 1 - false_alarm.of_rules(one, 24).chance
    apart = [
        1 - false_alarm.of_rules(RuleSet(name="", rules=(rule,), source=""), 24).chance
        for rule in one.rules
    ]
    assert quiet == pytest.approx(apart[0] * apart[1])


def test_the_same_seed_gives_the_same_chance() -> None:
    first, again = (false_alarm.of_rules(NELSON, 20, series=200, seed=3) for _ in range(2))
    assert first == again
    assert first != false_alarm.of_rules(NELSON, 20, series=200, seed=4)


def test_many_charts_are_expected_to_alarm_somewhere() -> None:
    alarm = false_alarm.of_rules(DEFAULT, 24)
    assert 2 < false_alarm.expected([alarm] * 20) < 3


def test_no_points_have_no_chance() -> None:
    with pytest.raises(Unusable, match="number of points is 0"):
        false_alarm.of_rules(DEFAULT, 0)
