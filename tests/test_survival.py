"""Waits until an ending: a printed example, a general statistics package, and identities."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.survival import Spell, incidence, kaplan_meier, log_rank
from checklist.review.unusable import Unusable
from tests.published import all_same, read, same

LEUKAEMIA = read("survival_km_6mp")
PRINTED = LEUKAEMIA["published"]


def waits(times: list[float], endings: list[str | None]) -> list[Spell]:
    return [Spell(time=t, ending=e) for t, e in zip(times, endings, strict=True)]


TREATED = waits(LEUKAEMIA["time"], ["relapse" if event else None for event in LEUKAEMIA["event"]])
CONTROL = waits(LEUKAEMIA["time_control"], ["relapse"] * 21)


def test_the_curve_of_the_remission_trial_is_the_printed_one() -> None:
    curve = kaplan_meier(TREATED)
    assert [rung.time for rung in curve.rungs] == PRINTED["times"]
    heights = [rung.height for rung in curve.rungs]
    assert all_same(heights, PRINTED["survival"], PRINTED["decimals"])
    assert curve.quantile(0.5) == PRINTED["median"]
    assert kaplan_meier(CONTROL).quantile(0.5) == PRINTED["median_control"]
    everyone = [*TREATED, *CONTROL]
    assert sum(spell.time for spell in everyone) == PRINTED["total_weeks_both"]
    assert sum(spell.ending is not None for spell in everyone) == PRINTED["total_events_both"]
    assert same(log_rank(TREATED, CONTROL).chi_square, PRINTED["logrank_chisq"], 2)


# Log-log limits at week 6 of the same arm: 0.620 to 0.952 (Kalbfleisch and Prentice's limits as
# the R package survival prints them; from memory).
def test_the_limits_of_the_first_step_are_the_printed_ones() -> None:
    rung = kaplan_meier(TREATED).rungs[0]
    assert all_same((rung.low, rung.high), (0.620, 0.952), 3)
    assert (rung.waiting, rung.endings) == (21, 3)


spells = st.lists(
    st.builds(
        lambda time, ending: Spell(time=float(time), ending=ending),
        st.integers(0, 20),
        st.sampled_from([None, "put right", "left off"]),
    ),
    min_size=2,
    max_size=60,
)


@given(spells)
@settings(max_examples=60, deadline=None)
def test_the_curve_and_its_errors_are_those_of_the_package(found: list[Spell]) -> None:
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    if not any(spell.ending for spell in found):
        return
    times = [spell.time + 1 for spell in found]
    other = duration.SurvfuncRight(times, [int(spell.ending is not None) for spell in found])
    curve = kaplan_meier(found)
    assert [rung.time + 1 for rung in curve.rungs] == list(other.surv_times)
    assert [rung.height for rung in curve.rungs] == pytest.approx(list(other.surv_prob), abs=1e-9)
    for rung, error in zip(curve.rungs, other.surv_prob_se, strict=True):
        # At the very end the package has 0 times infinity.
        if not math.isnan(error):
            assert rung.error == pytest.approx(error, abs=1e-9)


@given(spells)
@settings(max_examples=60, deadline=None)
@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_incidences_and_their_errors_are_those_of_the_package(found: list[Spell]) -> None:
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    codes = {None: 0, "put right": 1, "left off": 2}
    if not {"put right", "left off"} <= {spell.ending for spell in found}:
        return
    other = duration.CumIncidenceRight(
        [spell.time + 1 for spell in found], [codes[spell.ending] for spell in found]
    )
    at = {time - 1: place for place, time in enumerate(other.times)}
    for ending in ("put right", "left off"):
        code = codes[ending] - 1
        for rung in incidence(found, ending).rungs:
            assert rung.height == pytest.approx(other.cinc[code][at[rung.time]], abs=1e-9)
            error = other.cinc_se[code][at[rung.time]]
            if not math.isnan(error):
                assert rung.error == pytest.approx(error, abs=1e-6)


@given(spells)
@settings(max_examples=80)
def test_all_endings_and_those_still_waiting_make_one(found: list[Spell]) -> None:
    kinds = {spell.ending for spell in found if spell.ending}
    if not kinds:
        return
    curves = [incidence(found, kind) for kind in sorted(kinds)]
    left = kaplan_meier(found)
    for time in {spell.time for spell in found}:
        assert left.at(time) + sum(curve.at(time) for curve in curves) == pytest.approx(1)


@given(spells)
@settings(max_examples=60)
def test_heights_lie_within_their_limits(found: list[Spell]) -> None:
    for curve in (
        kaplan_meier(found),
        *(incidence(found, kind) for kind in {s.ending for s in found} if kind),
    ):
        for rung in curve.rungs:
            assert 0 <= rung.low <= rung.height + 1e-12
            assert rung.height <= rung.high + 1e-12 <= 1 + 2e-12


@given(st.lists(st.integers(1, 30), min_size=2, max_size=30))
@settings(max_examples=40)
def test_with_one_kind_of_ending_and_none_open_the_incidence_is_the_share(times: list[int]) -> None:
    found = [Spell(time=time, ending="put right") for time in times]
    curve = incidence(found, "put right")
    for time in times:
        assert curve.at(time) == pytest.approx(sum(t <= time for t in times) / len(times))
        # Then its error is the binomial one.
        share = curve.at(time)
        rung = next(r for r in curve.rungs if r.time == time)
        assert rung.error == pytest.approx(
            math.sqrt(max(0, share * (1 - share)) / len(times)), abs=1e-7
        )


def test_leaving_off_competes_and_is_not_censored() -> None:
    found = [
        *(Spell(time=t, ending="put right") for t in (1, 2, 3, 4, 5)),
        *(Spell(time=0.5, ending="left off") for _ in range(5)),
    ]
    assert incidence(found, "put right").at(5) == pytest.approx(0.5)
    censored = [Spell(time=s.time, ending=s.ending if s.time >= 1 else None) for s in found]
    assert 1 - kaplan_meier(censored).at(5) == 1
    assert incidence(found, "put right").quantile(0.5) == 5
    assert incidence(found, "put right").quantile(0.9) is None


@given(spells, spells)
@settings(max_examples=60, deadline=None)
def test_the_test_of_two_groups_is_that_of_the_package(a: list[Spell], b: list[Spell]) -> None:
    duration = pytest.importorskip("statsmodels.duration.survfunc")
    try:
        found = log_rank(a, b)
    except Unusable:
        return
    both = [*a, *b]
    chi_square, p_value = duration.survdiff(
        [spell.time for spell in both],
        [int(spell.ending is not None) for spell in both],
        [0] * len(a) + [1] * len(b),
    )
    assert found.chi_square == pytest.approx(chi_square, abs=1e-8)
    assert found.p_value == pytest.approx(p_value, abs=1e-8)


def test_when_all_have_ended_the_last_rung_is_1_but_for_rounding() -> None:
    found = [Spell(time=time, ending="put right") for time in range(1, 50)]
    last = incidence(found, "put right").rungs[-1]
    assert (last.height, last.low, last.high) == pytest.approx((1, 1, 1))
    assert kaplan_meier(found).rungs[-1].height == 0


def test_before_the_first_ending_the_curve_is_at_its_start() -> None:
    assert kaplan_meier(TREATED).at(3) == 1
    assert incidence(TREATED, "relapse").at(0) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: kaplan_meier([]), "list of waits has 0"),
        (lambda: kaplan_meier([Spell(time=-1, ending=None)]), "wait is -1"),
        (lambda: kaplan_meier([Spell(time=math.nan, ending=None)]), "wait is nan"),
        (lambda: incidence(TREATED, "left off"), 'No wait ended in "left off"'),
        (lambda: kaplan_meier(TREATED).at(100), "Nothing is known at 100"),
        (lambda: kaplan_meier(TREATED).quantile(0), "part is 0"),
        (lambda: log_rank(TREATED, []), "second list of waits has 0"),
        (
            lambda: log_rank([Spell(time=1, ending=None)], [Spell(time=2, ending="put right")]),
            "do not compare",
        ),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
