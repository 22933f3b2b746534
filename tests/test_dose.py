"""Dose sums of nearly every injection: exact, and as lines that can be followed on paper."""

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.dose.containers import containers, register_after, unaccounted, waste
from checklist.dose.conversion import convert
from checklist.dose.rounding import RoundingRefused, RoundingRule, rounded
from checklist.dose.volume import amount_in, volume_for
from checklist.dose.weight import single_dose, weight_dose
from checklist.dose.working import DoseFault, Working, after
from checklist.quantity import Concentration, DimensionMismatch, Quantity, Rounding

of, parse = Quantity.of, Concentration.parse


def plain(value: Quantity) -> Working:
    return Working(value=value, exact=value, lines=())


# (dose, strength, lines). Formula: dose over amount on the label times its volume, common practice,
# no source. 7.5 mg of 10 mg/mL is 0.75 mL, 60 mg of 80 mg in 2 mL is 1.5 mL.
PAPER = [
    ("7.5 mg", "10 mg/mL", (
        "volume = dose ÷ amount on the label × volume on the label",
        "volume = 7.5 mg ÷ 10 mg × 1 mL",
        "volume = 0.75 mL",
    )),
    ("60 mg", "80 mg in 2 mL", (
        "volume = dose ÷ amount on the label × volume on the label",
        "volume = 60 mg ÷ 80 mg × 2 mL",
        "volume = 1.5 mL",
    )),
    ("500 mcg", "1 mg in 4 mL", (
        "volume = dose ÷ amount on the label × volume on the label",
        "500 microgram = 0.5 mg",
        "volume = 0.5 mg ÷ 1 mg × 4 mL",
        "volume = 2 mL",
    )),
    ("4500 units", "5000 units/mL", (
        "volume = dose ÷ amount on the label × volume on the label",
        "volume = 4,500 units ÷ 5,000 units × 1 mL",
        "volume = 0.9 mL",
    )),
    ("100 mg", "150 mg/mL", (
        "volume = dose ÷ amount on the label × volume on the label",
        "volume = 100 mg ÷ 150 mg × 1 mL",
        "volume = about 0.6667 mL",
    )),
]  # fmt: skip


@pytest.mark.parametrize(("dose", "strength", "lines"), PAPER)
def test_the_lines_can_be_followed_on_paper(
    dose: str, strength: str, lines: tuple[str, ...]
) -> None:
    working = volume_for(Quantity.parse(dose), parse(strength))
    assert working.lines == lines
    assert working.lines[-1] == f"volume = {working.value}"
    assert working.value.unit == "mL"


def test_the_amount_in_a_volume_is_shown_step_by_step() -> None:
    working = amount_in(of("0.1", "L"), parse("20 mg in 2 mL"))
    assert working == Working(
        value=of("1000", "mg"),
        exact=of("1000", "mg"),
        lines=(
            "amount = volume ÷ volume on the label × amount on the label",
            "0.1 L = 100 mL",
            "amount = 100 mL ÷ 2 mL × 20 mg",
            "amount = 1,000 mg",
        ),
    )


def test_a_dose_by_weight_is_shown_step_by_step() -> None:
    working = weight_dose(of("5", "mg/kg"), of("850", "g"))
    assert working.value == of("4.25", "mg")
    assert working.value.unit == "mg"
    assert working.lines == (
        "dose = dose per kg × body weight",
        "850 g = 0.85 kg",
        "dose = 5 mg/kg × 0.85 kg",
        "dose = 4.25 mg",
    )
    daily = weight_dose(of("50", "mg/kg/d"), of("20", "kg"))
    assert daily.value == of("1000", "mg/d")
    assert daily.lines[-1] == "dose = 1,000 mg/day"
    each = after(daily, single_dose(daily.exact, of(4, "1/d")))
    assert each.lines[-3:] == (
        "one dose = daily amount ÷ doses in a day",
        "one dose = 1,000 mg/day ÷ 4 per day",
        "one dose = 250 mg",
    )


def test_a_weight_in_pounds_needs_its_factor_and_shows_it() -> None:
    """Books take 2.2 or 2.205 pounds to the kilogram, and the dose hangs on which."""
    heavy = weight_dose(of("10", "mg/kg"), of("110", "[lb_av]"), of("2.2", "[lb_av]/kg"))
    assert heavy.value == of("500", "mg")
    assert heavy.lines[1] == "110 pounds ÷ 2.2 pounds/kg = 50 kg"
    per_pound = weight_dose(of("5", "mg/[lb_av]"), of("50", "kg"), of("2.2", "[lb_av]/kg"))
    assert per_pound.value == of("550", "mg")
    assert "dose = dose per pound × body weight" in per_pound.lines
    with pytest.raises(DoseFault, match="leave the factor"):
        weight_dose(of("5", "mg/kg"), of("50", "kg"), of("2.2", "[lb_av]/kg"))


@pytest.mark.parametrize(
    ("daily", "times"), [("540 mg/d", "3 1/h/d"), ("540 mg", "3 1/d"), ("540 mg/kg", "3 1/d")]
)
def test_one_dose_of_a_day_needs_an_amount_per_day(daily: str, times: str) -> None:
    with pytest.raises(DimensionMismatch):
        single_dose(Quantity.from_code(daily), Quantity.from_code(times))


@pytest.mark.parametrize(
    ("dose", "weight"),
    [("5 mg", "70 kg"), ("5 mg/mL", "70 kg"), ("5 mg/kg", "70 [lb_av]"), ("5 mg/kg", "70 mL"),
     ("30 mg/m2", "70 kg"), ("5 1/h", "70 kg")],
)  # fmt: skip
def test_a_dose_by_weight_needs_a_dose_per_kg_and_a_metric_weight(dose: str, weight: str) -> None:
    with pytest.raises(DimensionMismatch):
        weight_dose(Quantity.from_code(dose), Quantity.from_code(weight))


# (value, unit wanted, stated factor, outcome). 2.2 and 2.205 pounds to the kilogram are both in use
# in the worked examples; molar mass of KCl 74.55 g/mol, from tables, confirmed; potency made up.
CONVERTED = [
    ("1500 mg", "g", None, "1.5 g"),
    ("250 ug", "mg", None, "0.25 mg"),
    ("154 [lb_av]", "kg", "2.2 [lb_av]/kg", "70 kg"),
    ("154 [lb_av]", "kg", "2.205 [lb_av]/kg", "4400/63 kg"),
    ("70 kg", "[lb_av]", "2.2 [lb_av]/kg", "154 [lb_av]"),
    ("2 [tsp_us]", "mL", "5 mL/[tsp_us]", "10 mL"),
    ("10 mL", "[tsp_us]", "5 mL/[tsp_us]", "2 [tsp_us]"),
    ("1.5 g", "mmol", "74.55 mg/mmol", "10000/497 mmol"),
    ("375000 {unit}", "mg", "1500 {unit}/mg", "250 mg"),
    ("250 mg", "{unit}", "1500 {unit}/mg", "375000 {unit}"),
    ("20 mmol", "meq", "2 meq/mmol", "40 meq"),
    ("150 mg/mL", "mmol/mL", "74.55 mg/mmol", "1000/497 mmol/mL"),
]


@pytest.mark.parametrize(("value", "unit", "factor", "outcome"), CONVERTED)
def test_a_conversion_across_kinds_takes_a_stated_factor(
    value: str, unit: str, factor: str | None, outcome: str
) -> None:
    stated = Quantity.from_code(factor) if factor else None
    working = convert(Quantity.from_code(value), unit, stated)
    assert working.value.code == Quantity.from_code(outcome).code
    if stated is not None:
        with pytest.raises(DimensionMismatch):
            convert(Quantity.from_code(value), unit)
        assert str(stated) in working.lines[0]


def test_a_conversion_shows_its_factor() -> None:
    heavy = convert(of("37", "[lb_av]"), "kg", of("2.2", "[lb_av]/kg"))
    assert heavy.lines == ("37 pounds ÷ 2.2 pounds/kg = about 16.82 kg",)
    spoon = convert(of("2", "[tsp_us]"), "mL", of("5", "mL/[tsp_us]"))
    assert spoon.lines == ("2 teaspoons × 5 mL/teaspoon = 10 mL",)
    grams = convert(of("2", "[lb_av]"), "kg", of("453.59237", "g/[lb_av]"))
    assert grams.lines == (
        "2 pounds × 453.59237 g/pound = 907.18474 g",
        "1 kg = 1,000 g",
        "907.18474 g ÷ 1,000 = about 0.9072 kg",
    )


# (quantity, unit, lines). SI prefixes; the inch by definition, 2.54 cm.
SHOWN = [
    ("0.5 g", "mg", ("1 g = 1,000 mg", "0.5 g × 1,000 = 500 mg")),
    ("250 ug", "mg", ("1 mg = 1,000 microgram", "250 microgram ÷ 1,000 = 0.25 mg")),
    ("61 [in_i]", "cm", ("1 inch = 2.54 cm", "61 inches × 2.54 = 154.94 cm")),
    ("5 mg", "mg", ("5 mg = 5 mg",)),
    ("74.55 g/mol", "mg/mmol", ("74.55 g/mol = 74.55 mg/mmol",)),
]


@pytest.mark.parametrize(("value", "unit", "lines"), SHOWN)
def test_a_conversion_within_a_kind_says_how_many_make_one(
    value: str, unit: str, lines: tuple[str, ...]
) -> None:
    assert convert(Quantity.from_code(value), unit).lines == lines


@pytest.mark.parametrize(
    ("value", "unit", "factor", "fault"),
    [
        ("5 mg", "mL", "2 [lb_av]/kg", DimensionMismatch),
        ("5 mg", "{unit}", "2 {unit}/mL", DimensionMismatch),
        ("5 mg", "ug", "1000 ug/mg", DoseFault),
        ("5 mg", "{unit}", "0 {unit}/mg", DoseFault),
        ("5 mg", "{unit}", "-2 {unit}/mg", DoseFault),
    ],
)
def test_a_factor_that_does_not_lead_there_is_refused(
    value: str, unit: str, factor: str, fault: type[Exception]
) -> None:
    with pytest.raises(fault) as refused:
        convert(Quantity.from_code(value), unit, Quantity.from_code(factor))
    assert str(refused.value).endswith(".")


# (volume, step, manner, outcome, last line). Half up: nursing course handout, rounding rules for
# drug calculations for adults; down for a child: common practice, no source.
GRADUATED = [
    ("2.25 mL", "0.1 mL", Rounding.HALF_UP, "2.3 mL", "0.05 mL more, about 2.222 %"),
    ("2/3 mL", "0.01 mL", Rounding.HALF_UP, "0.67 mL", "about 0.003333 mL more, 0.5 %"),
    ("0.74 mL", "0.1 mL", Rounding.HALF_UP, "0.7 mL", "0.04 mL less, about 5.405 %"),
    ("0.78 mL", "0.1 mL", Rounding.DOWN, "0.7 mL", "0.08 mL less, about 10.26 %"),
    ("0.71 mL", "0.1 mL", Rounding.UP, "0.8 mL", "0.09 mL more, about 12.68 %"),
    ("0.75 mL", "0.05 mL", Rounding.HALF_UP, "0.75 mL", ""),
    ("12.6 {unit}", "1 {unit}", Rounding.HALF_UP, "13 {unit}", "0.4 units more, about 3.175 %"),
]


@pytest.mark.parametrize(("volume", "step", "how", "outcome", "change"), GRADUATED)
def test_a_value_goes_to_a_step_and_says_what_that_changes(
    volume: str, step: str, how: Rounding, outcome: str, change: str
) -> None:
    exact = Quantity.from_code(volume)
    rule = RoundingRule(step=Quantity.from_code(step), how=how, refuse_above=None)
    working = rounded(plain(exact), rule)
    assert working.value.code == outcome
    assert working.exact == exact
    assert str(rule.step) in working.lines[0]
    said = f"rounding gives {change}" if change else "rounding changes nothing"
    assert working.lines[1:] == (f"rounded = {working.value}", said)
    assert working.change is not None
    assert working.value + working.change.lost == exact
    assert working.change.share == working.change.lost.ratio(exact)


def test_a_change_of_more_than_is_allowed_is_refused_with_its_working() -> None:
    """10 % where nothing else is set: common practice, no source."""
    coarse = RoundingRule(step=of("0.1", "mL"))
    assert rounded(plain(of("1", "mL") * Fraction(10, 11)), coarse).value == of("0.9", "mL")
    with pytest.raises(RoundingRefused, match=r"changes it by about 28.57 %, and 10 %") as found:
        rounded(plain(of("0.14", "mL")), coarse)
    assert found.value.working.value == of("0.1", "mL")
    tight = RoundingRule(step=of("0.1", "mL"), most=of("0.01", "mL"))
    with pytest.raises(RoundingRefused, match=r"by 0.02 mL, and 0.01 mL is the most"):
        rounded(plain(of("1.02", "mL")), tight)
    with pytest.raises(RoundingRefused):
        rounded(plain(of("1.06", "mL")), RoundingRule(step=of(1, "mL"), refuse_above=Fraction(0)))


# (exact, how, first line). What is shown before rounding must not seem to go the other way.
TELLING = [
    ("122.474487139 mg", Rounding.HALF_UP, "about 122.47 mg goes to the nearest 1 mg"),
    ("122.499999912 mg", Rounding.HALF_UP,
     "about 122.5 mg, just below the turning point, goes to the nearest 1 mg"),
    ("122.500000012 mg", Rounding.HALF_UP, "about 122.5 mg goes to the nearest 1 mg"),
    ("122.999996 mg", Rounding.DOWN, "122.999996 mg goes down to a whole number of 1 mg"),
    ("367/3 mg", Rounding.UP, "about 122.33 mg goes up to a whole number of 1 mg"),
]  # fmt: skip


@pytest.mark.parametrize(("exact", "how", "line"), TELLING)
def test_the_value_before_rounding_is_shown_as_fine_as_it_takes(
    exact: str, how: Rounding, line: str
) -> None:
    rule = RoundingRule(step=of(1, "mg"), how=how)
    assert rounded(plain(Quantity.from_code(exact)), rule).lines[0].startswith(line)


@pytest.mark.parametrize("how", Rounding)
def test_a_dose_is_never_rounded_to_nothing(how: Rounding) -> None:
    tiny = plain(of(Fraction(1, 25), "mL"))
    rule = RoundingRule(step=of("0.1", "mL"), how=how, refuse_above=None)
    if how is Rounding.UP:
        assert rounded(tiny, rule).value == of("0.1", "mL")
    else:
        with pytest.raises(DoseFault, match="too little to measure"):
            rounded(tiny, rule)


def test_what_is_left_over_is_discarded() -> None:
    assert waste(of("100", "{unit}"), of("95", "{unit}")) == Working(
        value=of("5", "{unit}"),
        exact=of("5", "{unit}"),
        lines=(
            "to discard = opened − prepared",
            "to discard = 100 units − 95 units",
            "to discard = 5 units",
        ),
    )
    assert waste(of("2", "mL"), of("2", "mL")).value == of("0", "mL")
    with pytest.raises(DoseFault, match="is more than the 1 mL opened"):
        waste(of("1", "mL"), of("1.01", "mL"))
    with pytest.raises(DimensionMismatch):
        waste(of("2", "mL"), of("5", "mg"))


def test_a_controlled_drug_adds_up_or_what_is_missing_is_named() -> None:
    """Opened equals given and wasted: common practice, no source; 10 mg, 7.5 mg and 2.5 mg."""
    assert unaccounted(of("10", "mg"), of("7.5", "mg"), of("2.5", "mg")).value == of("0", "mg")
    short = unaccounted(of("10", "mg"), of("7.5", "mg"), of("2", "mg"))
    assert short.lines[-1] == "not accounted for = 0.5 mg"
    with pytest.raises(DoseFault, match="are more than the 10 mg opened"):
        unaccounted(of("10", "mg"), of("7.5", "mg"), of("2.6", "mg"))
    with pytest.raises(DimensionMismatch):
        unaccounted(of("10", "mg"), of("7.5", "mg"), of("0.25", "mL"))


def test_the_register_follows_from_what_was_there_and_taken() -> None:
    assert register_after(12, 1).value == of(11, "1")
    assert register_after(12, 1, 10).value == of(21, "1")
    for before, taken, received in ((12, 13, 0), (-1, 0, 0), (5, -1, 0), (5, 0, -1)):
        with pytest.raises(DoseFault):
            register_after(before, taken, received)


@pytest.mark.parametrize(
    ("needed", "content", "count"),
    [("120 mg", "60 mg", 2), ("121 mg", "60 mg", 3), ("0.1 g", "100 mg", 1), ("24 mg", "60 mg", 1),
     ("10.5 mL", "5 mL", 3)],
)  # fmt: skip
def test_containers_are_counted_up_to_a_whole_one(needed: str, content: str, count: int) -> None:
    working = containers(Quantity.from_code(needed), Quantity.from_code(content), "{vial}")
    assert working.value == of(count, "{vial}")
    assert working.lines[-1] == f"containers = {working.value}"
    assert containers(Quantity.from_code(needed), Quantity.from_code(content)).value == of(
        count, "1"
    )


NOTHING = of("0", "mg")


@pytest.mark.parametrize(
    "act",
    [
        lambda: volume_for(NOTHING, parse("10 mg/mL")),
        lambda: volume_for(of("1", "mg") - of("2", "mg"), parse("10 mg/mL")),
        lambda: amount_in(of("0", "mL"), parse("10 mg/mL")),
        lambda: weight_dose(of("0", "mg/kg"), of("70", "kg")),
        lambda: weight_dose(of("5", "mg/kg"), of("0", "kg")),
        lambda: rounded(plain(of("0", "mL")), RoundingRule(step=of("0.1", "mL"))),
        lambda: rounded(plain(of("1", "mL")), RoundingRule(step=of("0", "mL"))),
        lambda: single_dose(of("0", "mg/d"), of(3, "1/d")),
        lambda: single_dose(of("5", "mg/d"), of(0, "1/d")),
        lambda: containers(NOTHING, of("60", "mg")),
        lambda: containers(of("60", "mg"), NOTHING),
        lambda: waste(NOTHING, NOTHING),
    ],
)  # fmt: skip
def test_nothing_is_no_dose_no_volume_and_no_weight(act: Any) -> None:
    with pytest.raises(DoseFault, match="is more than nothing"):
        act()


above_zero = st.fractions(min_value=Fraction(1, 1000), max_value=10**5, max_denominator=1000)


@settings(max_examples=100, deadline=None)
@given(above_zero, above_zero, above_zero)
def test_containers_hold_what_is_needed_and_one_fewer_would_not(
    needed: Fraction, content: Fraction, part: Fraction
) -> None:
    count = containers(of(needed, "mg"), of(content, "mg")).value.magnitude
    assert count * content >= needed > (count - 1) * content
    opened = of(count * content, "mg")
    assert waste(opened, of(needed, "mg")).value < of(content, "mg")
    assert waste(opened + of(part, "mg"), opened).value == of(part, "mg")
