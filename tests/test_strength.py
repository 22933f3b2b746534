"""Strengths of a drug: kept as written, and equal whichever way they are written."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.number import NumberFault
from checklist.quantity import Concentration, DimensionMismatch, Quantity, UnitFault

DATA = Path(__file__).parent / "data"
of, parse = Quantity.of, Concentration.parse

# (typed, kept, in 1 mL, shown)
WRITTEN = [
    ("10 mg/mL", "10 mg in 1 mL", "10 mg/mL", "10 mg/mL"),
    ("20 mg in 2 mL", "20 mg in 2 mL", "10 mg/mL", "20 mg in 2 mL (10 mg/mL)"),
    ("20 mg/2 mL", "20 mg in 2 mL", "10 mg/mL", "20 mg in 2 mL (10 mg/mL)"),
    ("20 mg / 2 mL", "20 mg in 2 mL", "10 mg/mL", "20 mg in 2 mL (10 mg/mL)"),
    ("10 mg per mL", "10 mg in 1 mL", "10 mg/mL", "10 mg/mL"),
    ("250 mg per 5 mL", "250 mg in 5 mL", "50 mg/mL", "250 mg in 5 mL (50 mg/mL)"),
    ("100 units/mL", "100 {unit} in 1 mL", "100 {unit}/mL", "100 units/mL"),
    ("25000 units in 500 mL", "25000 {unit} in 500 mL", "50 {unit}/mL",
     "25,000 units in 500 mL (50 units/mL)"),
    ("1 g/10 mL", "1 g in 10 mL", "100 mg/mL", "1 g in 10 mL (100 mg/mL)"),
    ("0.5 g/mL", "0.5 g in 1 mL", "500 mg/mL", "0.5 g in 1 mL (500 mg/mL)"),
    ("40 mmol/L", "40 mmol in 1 L", "0.04 mmol/mL", "40 mmol in 1 L (0.04 mmol/mL)"),
    ("300 mcg/mL", "300 ug in 1 mL", "300 ug/mL", "300 microgram/mL"),
    ("10 mg in 3 mL", "10 mg in 3 mL", "10/3 mg/mL", "10 mg in 3 mL (about 3.333 mg/mL)"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "kept", "each", "as_shown"), WRITTEN)
def test_a_written_strength_is_kept_as_written_and_shown_for_one_ml(
    typed: str, kept: str, each: str, as_shown: str
) -> None:
    strength = parse(typed)
    assert strength.code == kept
    assert strength.per_mL == Quantity.from_code(each)
    assert strength.per_mL.unit == f"{strength.amount.unit}/mL"
    assert str(strength) == as_shown


def test_strengths_are_equal_by_what_one_ml_holds() -> None:
    assert parse("20 mg in 2 mL") == parse("10 mg/mL") == parse("1 g in 100 mL")
    assert hash(parse("20 mg in 2 mL")) == hash(parse("10 mg/mL"))
    assert parse("10 mg/mL") != parse("10 mcg/mL")
    assert parse("10 mg/mL") != of("10", "mg/mL")
    with pytest.raises(DimensionMismatch):
        parse("10 mg/mL") == parse("10 units/mL")  # noqa: B015 - the comparison is the test


EXPANDED = {
    "0.9 %": "0.9 g in 100 mL (9 mg/mL)",
    "0.9%": "0.9 g in 100 mL (9 mg/mL)",
    "50 % w/v": "50 g in 100 mL (500 mg/mL)",
    "1:1000": "1 g in 1,000 mL (1 mg/mL)",
    "1:10000": "1 g in 10,000 mL (0.1 mg/mL)",
}


@pytest.mark.parametrize("typed", EXPANDED)
def test_a_percentage_or_ratio_is_read_only_when_asked_for_and_shown_expanded(typed: str) -> None:
    with pytest.raises(UnitFault, match="does not say how much in how much"):
        parse(typed)
    assert str(parse(typed, expand=True)) == EXPANDED[typed]


def test_expanding_leaves_other_strengths_alone() -> None:
    assert parse("10 mg/mL", expand=True) == parse("10 mg/mL")


# What a units library made of the first two without a complaint (pint 0.25.3, measured): the bare
# number 1000, and milligrams times millilitres.
REFUSED = {
    "1:1000": UnitFault,
    "10mg/5mL": UnitFault,
    "10 mg": UnitFault,
    "10": UnitFault,
    "": UnitFault,
    "10 mg/5": UnitFault,
    "10 mg/": NumberFault,
    "10 U/mL": UnitFault,
    "10 mg/ml": UnitFault,
    "10 mg/cc": UnitFault,
    "10 mg/.5 mL": NumberFault,
    "1,000 units/mL": NumberFault,
    "0 mg/mL": NumberFault,
    "10 mg in 0 mL": NumberFault,
    "10 mg/kg": DimensionMismatch,
    "10 mL/mL": DimensionMismatch,
    "10 mg/mL/h": DimensionMismatch,
    "5 mL in 10 mg": DimensionMismatch,
    "10 mg in 2 mL in 3 mL": UnitFault,
}


@pytest.mark.parametrize("typed", REFUSED)
def test_a_strength_in_another_form_is_refused(typed: str) -> None:
    with pytest.raises(REFUSED[typed]) as refused:
        parse(typed)
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize(
    "typed",
    ["1:1,000", "2:1000", "1:0", "1:2.5", "1:", ":", "%", "0 %", "0,9 %", "5 % w/w", "5 % v/v",
     "1:1000 w/v", "5 %%", "1:10:100", "-1 %"],
)  # fmt: skip
def test_a_percentage_or_ratio_in_another_form_is_refused(typed: str) -> None:
    with pytest.raises((NumberFault, UnitFault)):
        parse(typed, expand=True)


@pytest.mark.parametrize(
    ("amount", "per"),
    [("5 mg", "-1 mL"), ("-5 mg", "1 mL"), ("0 mg", "1 mL"), ("5 mg", "0 mL")],
)
def test_a_strength_has_an_amount_and_a_volume_above_zero(amount: str, per: str) -> None:
    with pytest.raises(NumberFault, match="above zero"):
        Concentration(amount=Quantity.from_code(amount), per=Quantity.from_code(per))


def test_dose_and_volume_answer_each_other() -> None:
    strength = parse("20 mg in 2 mL")
    assert strength.volume_for(of("7.5", "mg")) == of("0.75", "mL")
    assert strength.amount_in(of("0.75", "mL")) == of("7.5", "mg")
    assert strength.volume_for(of("7500", "ug")).unit == "mL"
    assert strength.amount_in(of("0.75", "mL")).unit == "mg"


@pytest.mark.parametrize("dose", ["5 {unit}", "5 mmol", "5 mL", "5 mg/kg", "5 mg/mL"])
def test_a_dose_of_another_kind_has_no_volume(dose: str) -> None:
    with pytest.raises(DimensionMismatch):
        parse("20 mg in 2 mL").volume_for(Quantity.from_code(dose))


@pytest.mark.parametrize("volume", ["5 mg", "5 {unit}", "5 {drop}", "5 mL/h"])
def test_only_a_volume_holds_an_amount(volume: str) -> None:
    with pytest.raises(DimensionMismatch):
        parse("20 mg in 2 mL").amount_in(Quantity.from_code(volume))


above_zero = st.fractions(min_value=Fraction(1, 10**6), max_value=10**6, max_denominator=10**6)


@settings(max_examples=150, deadline=None)
@given(above_zero, above_zero, above_zero, st.sampled_from(["g", "mg", "ug", "ng"]))
def test_the_volume_for_a_dose_holds_that_dose(
    amount: Fraction, per: Fraction, dose: Fraction, unit: str
) -> None:
    strength = Concentration(amount=of(amount, unit), per=of(per, "mL"))
    assert strength.amount_in(strength.volume_for(of(dose, "mg"))) == of(dose, "mg")
    assert strength.volume_for(of(dose, "mg")) == of(dose, "mg") / strength.per_mL
    assert strength.amount_in(of(dose, "L")) == strength.per_mL * of(dose, "L")
    back = Concentration.from_code(strength.code)
    assert (back.code, back.amount, back.per) == (strength.code, strength.amount, strength.per)


def _rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", _rows("ratio_strengths.csv"), ids=lambda row: row["ratio"])
def test_a_ratio_strength_is_the_published_one(row: dict[str, str]) -> None:
    """FDA, ratio expressions of strength removed from single entity injectable products (2017)."""
    millilitres = int(row["ratio"].removeprefix("1:").replace(",", ""))
    strength = Concentration.ratio(1, millilitres)
    assert str(strength.per_mL.to("mg/mL")) == row["mass_per_mL"]
    assert strength == Concentration.percent_wv(row["percent_w_v"].removesuffix(" %"))
    assert strength == parse(f"1:{millilitres}", expand=True)
    assert f"({row['mass_per_mL']})" in str(strength)


@pytest.mark.parametrize("row", _rows("percent_strengths.csv"), ids=lambda row: row["solution"])
def test_a_percentage_is_grams_in_100_ml(row: dict[str, str]) -> None:
    figures = row["solution"].split(" ")[0]
    strength = Concentration.percent_wv(figures)
    assert strength.per_mL == Quantity.of(row["mg_per_mL"], "mg/mL")
    assert str(strength).endswith(f"({row['mg_per_mL']} mg/mL)")


def test_a_percentage_is_typed_like_any_number() -> None:
    for figures in (".9", "0,9", "5.0", "-5"):
        with pytest.raises(NumberFault):
            Concentration.percent_wv(figures)
    with pytest.raises(TypeError):
        Concentration.ratio(1, 1000.0)  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        parse(None)  # type: ignore[arg-type]
