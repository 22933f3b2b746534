"""Dose sums: exact, as published worked examples print them, and as lines to follow on paper."""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.dose import (
    DoseFault,
    Working,
    amount_in,
    containers,
    convert,
    to_graduation,
    volume_for,
    waste,
    weight_dose,
)
from checklist.quantity import Concentration, DimensionMismatch, Quantity, Rounding

DATA = Path(__file__).parent / "data"
EXAMPLES: list[dict[str, Any]] = json.loads(
    (DATA / "worked_examples_a.json").read_text(encoding="utf-8")
)["examples"]
of, parse = Quantity.of, Concentration.parse

# Printed answers that the stated figures do not give. They must not be reproduced, by any rounding.
NOT_REPRODUCED = {
    "unit_conversion-010": "refers to 14.79 mL to the tablespoon, but reckons with 15",
    "units_dose-013": "prints 1000 units/h where 18 x 80 is 1440; perhaps a ceiling not stated",
    "units_dose-016": "rounds a dose to nothing",
    "units_dose-018": "the key's letter points to another answer than its own sum, which is right",
    "units_dose-019": "takes the strength of the finished bag for the amount to add",
    "volume_from_strength-019": "states 250 mg in 2 mL, but reckons with 3 mL",
}


def test_the_published_examples_are_all_here() -> None:
    assert len(EXAMPLES) == 62
    assert {e["id"] for e in EXAMPLES if not e["agrees"]} == set(NOT_REPRODUCED)
    assert all(e["source"]["title"] and e["licence"] for e in EXAMPLES)


def _code(unit: str) -> str:
    """The books' U is a drug's own unit; the enzyme unit of that code is never meant."""
    return "/".join("{unit}" if part == "U" else part for part in unit.split("/"))


def _strength(given: dict[str, Quantity]) -> Concentration:
    for amount, per in (
        ("strength_amount", "strength_volume"),
        ("bag_amount", "bag_volume"),
        ("ratio_amount", "ratio_volume"),
    ):
        if amount in given:
            return Concentration(amount=given[amount], per=given[per])
    if "percent" in given:
        return Concentration(amount=given["percent"] * of(1, "dL"), per=of(1, "dL"))
    each = given["concentration"]
    return Concentration(amount=each * of(1, "mL"), per=of(1, "mL"))


def _by_weight(given: dict[str, Quantity], dose: Quantity) -> Quantity:
    weight = given["weight"]
    if "lb_per_kg" in given:
        weight = convert(weight, "kg", given["lb_per_kg"]).value
    value = weight_dose(dose, weight).value
    return value.over(given["doses_per_day"]) if "doses_per_day" in given else value


def _worked(calc: str, given: dict[str, Quantity], unit: str) -> Quantity:
    """The example's sum, done with the functions under test."""
    if calc == "convert":
        factors = [given[name] for name in ("lb_per_kg", "mL_per_tbs") if name in given]
        return convert(given["value"], unit, *factors).value
    if calc == "volume":
        return volume_for(given["dose"], _strength(given)).value
    if calc == "volume_per_day":
        return volume_for(given["dose"], _strength(given)).value * given["doses_per_day"]
    if calc == "amount":
        return amount_in(given["volume"], _strength(given)).value
    if calc == "concentration_of":
        return _strength(given).per_mL
    if calc == "ratio_from_percent":
        return of(1, "1").over(given["percent"])
    if calc == "rate_dose":
        return given["dose_rate"].over(_strength(given).per_mL)
    if calc == "weight_dose":
        daily = "dose_per_weight_day" in given
        return _by_weight(given, given["dose_per_weight_day" if daily else "dose_per_weight"])
    if calc == "weight_dose_rate":
        return _by_weight(given, given["dose_rate_per_weight"])
    if calc == "weight_volume_units_mg":
        dose = _by_weight(given, given["dose_per_weight_day"])
        return volume_for(
            convert(dose, "mg", given["units_per_mass"]).value, _strength(given)
        ).value
    raise AssertionError(calc)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: str(e["id"]))
def test_a_published_worked_example_is_reached(example: dict[str, Any]) -> None:
    """Each example names its source, place and licence in tests/data/worked_examples_a.json."""
    given = {name: of(figure, _code(unit)) for name, (figure, unit) in example["inputs"].items()}
    figure, unit = example["answer"][0], _code(example["answer"][1])
    exact = _worked(example["calc"], given, unit)
    printed = of(Fraction(figure), unit)
    assert exact == of(Fraction(example["recomputed"]), unit)
    rounding = example["answer_rounding"]
    if rounding == "exact":
        reached = exact
    else:
        reached = exact.rounded(of(rounding.removeprefix("nearest "), unit)).value
    assert (reached == printed) == (example["id"] not in NOT_REPRODUCED)


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
    assert convert(of("0.5", "g"), "mg").lines == ("0.5 g = 500 mg",)


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
    ("2.25 mL", "0.1 mL", Rounding.HALF_UP, "2.3 mL",
     "0.05 mL more, about 2.222 %"),
    ("2/3 mL", "0.01 mL", Rounding.HALF_UP, "0.67 mL",
     "about 0.003333 mL more, 0.5 %"),
    ("0.74 mL", "0.1 mL", Rounding.HALF_UP, "0.7 mL",
     "0.04 mL less, about 5.405 %"),
    ("0.78 mL", "0.1 mL", Rounding.DOWN, "0.7 mL",
     "0.08 mL less, about 10.26 %"),
    ("0.71 mL", "0.1 mL", Rounding.UP, "0.8 mL",
     "0.09 mL more, about 12.68 %"),
    ("0.75 mL", "0.05 mL", Rounding.HALF_UP, "0.75 mL", "no change"),
    ("12.6 {unit}", "1 {unit}", Rounding.HALF_UP, "13 {unit}",
     "0.4 units more, about 3.175 %"),
]  # fmt: skip


@pytest.mark.parametrize(("volume", "step", "how", "outcome", "change"), GRADUATED)
def test_a_volume_goes_to_a_line_and_says_what_that_changes(
    volume: str, step: str, how: Rounding, outcome: str, change: str
) -> None:
    working = to_graduation(Quantity.from_code(volume), Quantity.from_code(step), how)
    assert working.value.code == outcome
    assert working.lines[1:] == (f"to measure = {working.value}", change)
    assert str(Quantity.from_code(step)) in working.lines[0]


@pytest.mark.parametrize("how", Rounding)
def test_a_dose_is_never_rounded_to_nothing(how: Rounding) -> None:
    tiny = of(Fraction(1, 25), "mL")
    if how is Rounding.UP:
        assert to_graduation(tiny, of("0.1", "mL"), how).value == of("0.1", "mL")
    else:
        with pytest.raises(DoseFault, match="too little to measure"):
            to_graduation(tiny, of("0.1", "mL"), how)


def test_what_is_left_over_is_discarded() -> None:
    assert waste(of("100", "{unit}"), of("95", "{unit}")) == Working(
        value=of("5", "{unit}"),
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
        lambda: to_graduation(of("0", "mL"), of("0.1", "mL")),
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
