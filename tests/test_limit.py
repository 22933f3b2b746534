"""Limits, splits and dates: the highest dose, the most in a day, several sites, the last day."""

from datetime import date, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import library
from checklist.dose.discard import DAYS, Counting, discard_by, use_before
from checklist.dose.limit import Level, Range, capped, daily_total, judged, range_for
from checklist.dose.split import MOST_PARTS, in_two_syringes, split
from checklist.dose.working import DoseFault
from checklist.quantity import DimensionMismatch, Quantity
from checklist.site import Age, AgeSpan
from checklist.syringe import Kind

of, parse = Quantity.of, Quantity.parse
SYRINGES = library.limits().syringes

# Figures made up; rules: common practice, no source.
ADULT = Range(
    usual_low=parse("250 mg"), usual_high=parse("500 mg"), single=parse("1 g"),
    daily=parse("3 g/day"),
)  # fmt: skip
CHILD = Range(
    usual_low=parse("5 mg/kg"), usual_high=parse("10 mg/kg"), single=parse("400 mg"),
    daily=parse("30 mg/kg/day"),
)  # fmt: skip
JUDGED = [
    (ADULT, "250 mg", None, None, Level.WITHIN),
    (ADULT, "500 mg", "3", None, Level.WITHIN),
    (ADULT, "0.249 g", None, None, Level.BELOW_USUAL),
    (ADULT, "501 mg", None, None, Level.ABOVE_USUAL),
    (ADULT, "1 g", "3", None, Level.ABOVE_USUAL),
    (ADULT, "1001 mg", None, None, Level.ABOVE_SINGLE),
    (ADULT, "1 g", "4", None, Level.ABOVE_DAILY),
    (ADULT, "10 g", "1", None, Level.ABOVE_SINGLE),
    (CHILD, "270 mg", "3", "27 kg", Level.WITHIN),
    (CHILD, "271 mg", "2", "27 kg", Level.ABOVE_USUAL),
    (CHILD, "271 mg", "3", "27 kg", Level.ABOVE_DAILY),
    (CHILD, "401 mg", "1", "60 kg", Level.ABOVE_SINGLE),
    (CHILD, "134 mg", "3", "27 kg", Level.BELOW_USUAL),
]


@pytest.mark.parametrize(("limits", "dose", "times", "weight", "level"), JUDGED)
def test_a_dose_stands_where_the_figures_put_it(
    limits: Range, dose: str, times: str | None, weight: str | None, level: Level
) -> None:
    found = judged(
        parse(dose), limits,
        times=of(times, "1/d") if times else None, weight=parse(weight) if weight else None,
    )  # fmt: skip
    assert found.level is level
    assert found.refused == (level in (Level.ABOVE_SINGLE, Level.ABOVE_DAILY))
    assert any(line.endswith(": no") for line in found.lines) == (level is not Level.WITHIN)


def test_what_has_no_figure_is_told_and_never_passed_over() -> None:
    alone = judged(parse("400 mg"), Range(single=parse("500 mg")))
    assert alone.level is Level.WITHIN
    assert alone.not_compared == (
        "the most in a day: no figure",
        "the usual most: no figure",
        "the usual least: no figure",
    )
    unknown = judged(parse("300 mg"), CHILD)
    assert unknown.level is Level.WITHIN
    assert "the usual most: 10 mg/kg, and no body weight is known" in unknown.not_compared
    often = judged(parse("300 mg"), ADULT)
    assert often.not_compared == ("the most in a day: how often a day is not known",)
    for empty in (Range(), Range(usual_high=parse("10 mg/kg"))):
        with pytest.raises(DoseFault, match="no figure to compare"):
            judged(parse("300 mg"), empty)
    with pytest.raises(DimensionMismatch):
        judged(parse("300 units"), ADULT)


def test_a_figure_per_kg_shows_what_it_comes_to() -> None:
    found = judged(parse("270 mg"), CHILD, times=of(3, "1/d"), weight=parse("27 kg"))
    assert found.lines == (
        "in a day = one dose × doses in a day",
        "in a day = 270 mg × 3 per day",
        "in a day = 810 mg/day",
        "the most in a day = 30 mg/kg/day × 27 kg = 810 mg/day",
        "810 mg/day: at most 810 mg/day, the most in a day: yes",
        "270 mg: at most 400 mg, the highest single dose: yes",
        "the usual most = 10 mg/kg × 27 kg = 270 mg",
        "270 mg: at most 270 mg, the usual most: yes",
        "the usual least = 5 mg/kg × 27 kg = 135 mg",
        "270 mg: at least 135 mg, the usual least: yes",
    )


INFANT = Range(ages=AgeSpan(least=of(1, "mo"), below=of(12, "mo")), single=parse("50 mg"))
SMALL = Range(
    ages=AgeSpan(least=of(12, "mo")), lighter=parse("20 kg"), single=parse("100 mg")
)  # fmt: skip
LARGE = Range(ages=AgeSpan(least=of(12, "mo")), heavier=parse("20 kg"), single=parse("300 mg"))


@pytest.mark.parametrize(
    ("age", "weight", "found"),
    [
        (Age(months=3), None, INFANT),  # the two others hang on a weight, but not at this age
        (Age(months=3), "6 kg", INFANT),
        (Age(months=40), "19.9 kg", SMALL),
        (Age(months=40), "20 kg", LARGE),
        (Age(months=40), None, None),
        (None, "20 kg", None),
        (Age(months=0), "3 kg", None),
    ],
)
def test_the_range_is_that_of_age_and_weight_or_none(
    age: Age | None, weight: str | None, found: Range | None
) -> None:
    ranges = (INFANT, SMALL, LARGE)
    assert range_for(ranges, age, parse(weight) if weight else None) is found


def test_two_ranges_for_one_patient_are_none() -> None:
    assert range_for((INFANT, INFANT), Age(months=3), None) is None


def test_a_dose_is_held_to_the_highest() -> None:
    """10 mg/kg for 48 kg, at most 400 mg: a published example."""
    assert capped(parse("480 mg"), parse("400 mg")).value == parse("400 mg")
    assert capped(parse("300 mg"), parse("0.4 g")).value == parse("300 mg")
    assert capped(parse("480 mg"), parse("0.4 g")).value.unit == "mg"
    assert daily_total(parse("300 mg"), of(3, "1/d")).value == of(900, "mg/d")


# -- several parts -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("volume", "most", "line", "parts"),
    [
        ("7 mL", "3 mL", "0.1 mL", ["2.4 mL", "2.3 mL", "2.3 mL"]),
        ("6 mL", "3 mL", "0.1 mL", ["3 mL", "3 mL"]),
        ("1.5 mL", "1 mL", "0.1 mL", ["0.8 mL", "0.7 mL"]),
        ("2 mL", "3 mL", "0.1 mL", ["2 mL"]),
        ("3 mL", "1 mL", "0.4 mL", None),  # not on a line
        ("0.3 mL", "0.05 mL", "0.1 mL", None),  # no part can be read
        ("9 mL", "2 mL", "0.1 mL", None),  # five parts
    ],
)
def test_a_volume_is_shared_out_on_lines_and_adds_up(
    volume: str, most: str, line: str, parts: list[str] | None
) -> None:
    if parts is None:
        with pytest.raises(DoseFault):
            split(parse(volume), parse(most), parse(line))
        return
    assert list(split(parse(volume), parse(most), parse(line)).parts) == list(map(parse, parts))


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 200), st.integers(1, 200))
def test_parts_are_as_few_and_as_even_as_can_be(steps: int, most: int) -> None:
    line = of("0.1", "mL")
    if -(-steps // most) > MOST_PARTS:
        with pytest.raises(DoseFault, match="stronger product"):
            split(line * steps, line * most, line)
        return
    parts = split(line * steps, line * most, line).parts
    assert sum(parts[1:], parts[0]) == line * steps
    assert max(parts) <= line * most
    assert max(parts) - min(parts) <= line
    assert (len(parts) - 1) * most < steps


def test_two_syringes_hold_exactly_what_one_cannot() -> None:
    """Hospital pharmacy training note, February 2024: 21.7 mL in a 30 mL and a 1 mL syringe."""
    sizes = SYRINGES.sizes_of(Kind.LUER_SLIP)
    pair = in_two_syringes(parse("21.7 mL"), sizes, SYRINGES)
    assert pair is not None
    assert (pair.large.size, pair.large_part) == (parse("30 mL"), parse("21 mL"))
    assert (pair.fine.size, pair.fine_part) == (parse("1 mL"), parse("0.7 mL"))
    assert pair.said == "21 mL in a 30 mL syringe plus 0.7 mL in a 1 mL syringe"
    assert in_two_syringes(parse("0.005 mL"), sizes, SYRINGES) is None
    assert in_two_syringes(of(Fraction(65, 3), "mL"), sizes, SYRINGES) is None


# -- dates ---------------------------------------------------------------------------------------

# Opened 10 Feb: 2026 and, with its leap day, 2024. 28 days: USP <797> as restated in California
# Code of Regulations, title 16, 1751.9, and CDC; no source says which number the first day has.
DATES = [
    ("2026-02-10", 28, Counting.FROM_ZERO, None, "2026-03-10"),
    ("2024-02-10", 28, Counting.FROM_ZERO, None, "2024-03-09"),
    ("2026-02-10", 28, Counting.FROM_ONE, None, "2026-03-09"),
    ("2026-02-10", 28, Counting.FROM_ZERO, "2026-03-01", "2026-03-01"),
    ("2026-02-10", 28, Counting.FROM_ZERO, "2026-03-10", "2026-03-10"),
    ("2026-12-20", 28, Counting.FROM_ZERO, "2027-08-31", "2027-01-17"),
    ("2026-02-10", 1, Counting.FROM_ONE, None, "2026-02-10"),
    ("2026-02-10", 42, Counting.FROM_ZERO, None, "2026-03-24"),
    ("2026-02-10", 28, Counting.FROM_ZERO, "2026-02-10", "2026-02-10"),
]


@pytest.mark.parametrize(("opened", "days", "counting", "expiry", "last"), DATES)
def test_the_last_day_of_use_follows_from_the_opening(
    opened: str, days: int, counting: Counting, expiry: str | None, last: str
) -> None:
    found = discard_by(
        date.fromisoformat(opened), days=days, counting=counting,
        expiry=date.fromisoformat(expiry) if expiry else None,
    )  # fmt: skip
    assert found.last_day == date.fromisoformat(last)
    assert str(counting) in found.lines[0]


def test_the_two_ways_of_counting_are_a_day_apart() -> None:
    opened = date(2026, 2, 10)
    zero, one = (discard_by(opened, counting=counting).last_day for counting in Counting)
    assert zero - one == timedelta(days=1)
    assert (zero - opened).days == DAYS


@pytest.mark.parametrize(("days", "expiry"), [(0, None), (367, None), (28, date(2026, 2, 9))])
def test_days_that_make_no_sense_are_refused(days: int, expiry: date | None) -> None:
    with pytest.raises(DoseFault):
        discard_by(date(2026, 2, 10), days=days, expiry=expiry)


def test_the_shortest_time_after_opening_holds() -> None:
    opened = datetime.fromisoformat("2026-11-25 14:05")
    found = use_before(opened, parse("4 h"), parse("60 min"), parse("1 day"))
    assert found.until == datetime.fromisoformat("2026-11-25 15:05")
    assert found.lines[1] == "the shortest of 4 h and 60 min and 1 day = 60 min"
    with pytest.raises(DoseFault):
        use_before(opened)
    with pytest.raises(DoseFault):
        use_before(opened, of(0, "h"))
