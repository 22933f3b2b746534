"""Quantities: exact sums across units of one kind, and a refusal across kinds."""

import copy
import operator
import pickle
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.number import NumberFault
from checklist.quantity import DimensionMismatch, Quantity, Rounding, UnitFault, words

of = Quantity.of
FAMILIES = (
    ("g", "mg", "ug", "ng", "kg"),
    ("L", "mL", "dL", "uL"),
    ("[iU]", "k[iU]", "10*6.[iU]"),
    ("{unit}", "10*6.{unit}"),
    ("mol", "mmol", "umol"),
    ("eq", "meq"),
    ("s", "min", "h", "d", "wk"),
    ("m", "cm", "mm", "um", "[in_i]"),
    ("mg/mL", "ug/mL", "g/L", "ng/uL", "mg/dL"),
    ("mg/kg", "ug/kg", "mg/g"),
    ("ug/kg/min", "mg/kg/h", "mg/h/kg"),
    ("mL/h", "L/d", "uL/s"),
    ("mmol/L", "mmol/mL", "mol/L"),
    ("{drop}/min", "{drop}/h"),
)
amounts = st.fractions(min_value=0, max_value=10**7, max_denominator=10**6)
differences = st.fractions(min_value=-(10**7), max_value=10**7, max_denominator=10**6)
modest = settings(max_examples=150, deadline=None)


@st.composite
def alike(draw: st.DrawFn, count: int) -> list[Quantity]:
    """So many quantities of one kind, each in a unit of its own."""
    family = draw(st.sampled_from(FAMILIES))
    return [of(draw(differences), draw(st.sampled_from(family))) for _ in range(count)]


def test_quantities_of_one_kind_compare_across_units() -> None:
    assert of("1", "mg") == of("1000", "ug")
    assert of("0.5", "g") > of("499", "mg")
    assert of("2", "mL") <= of("0.002", "L")
    assert of("5", "mg/kg") == of("5000", "ug/kg")
    assert of("0.1", "mL") != of("0.2", "mL")
    assert hash(of("1", "mg")) == hash(of("1000", "ug"))


MIXED = [
    ("mg", "mL"), ("mg", "{unit}"), ("{unit}", "[iU]"), ("[iU]", "[USP'U]"), ("mmol", "meq"),
    ("mg", "mmol"), ("mg", "meq"), ("mg", "1"), ("mg/kg", "1"), ("mg/kg", "mg"), ("mg/mL", "mg"),
    ("mg/mL", "mL/mg"), ("kg", "[lb_av]"), ("mL", "[tsp_us]"), ("mL", "{drop}"), ("d", "mo"),
    ("{vial}", "{ampoule}"), ("mg/kg/d", "mg/kg"), ("mg/kg", "mL/kg"), ("m2", "m"),
]  # fmt: skip


@pytest.mark.parametrize(("one", "two"), MIXED)
def test_quantities_of_different_kinds_never_meet(one: str, two: str) -> None:
    a, b = of("5", one), of("5", two)
    acts = (
        lambda: a == b, lambda: a != b, lambda: a < b, lambda: a <= b, lambda: a > b,
        lambda: a >= b, lambda: a + b, lambda: a - b, lambda: a.to(two), lambda: a.ratio(b),
        lambda: a.rounded(b), lambda: b == a,
    )  # fmt: skip
    for act in acts:
        with pytest.raises(DimensionMismatch) as refused:
            act()
        assert isinstance(refused.value, TypeError)
        assert str(refused.value).endswith(".")
    assert not a.alike(b)


def test_a_refusal_across_kinds_says_what_was_seen_and_what_to_do() -> None:
    with pytest.raises(DimensionMismatch) as refused:
        of("5", "{unit}").to("[iU]")
    assert str(refused.value) == (
        "units and international units do not measure the same thing: a number of the drug's own"
        " units, and a number of international units. Only the product's own label can lead from"
        " one to the other."
    )
    with pytest.raises(DimensionMismatch, match="Use a stated factor"):
        of("60", "[lb_av]").to("kg")
    with pytest.raises(DimensionMismatch, match="a mass per mass, and a count"):
        of("5", "mg/kg").to("1")


@pytest.mark.parametrize("thing", [0.5, Decimal("0.5"), True, None, "2", float("nan"), 1j])
def test_a_quantity_is_made_of_exact_numbers_only(thing: object) -> None:
    with pytest.raises(TypeError):
        Quantity(magnitude=thing, unit="mL")  # type: ignore[arg-type]
    if not isinstance(thing, str):
        with pytest.raises(TypeError):
            of(thing, "mL")  # type: ignore[arg-type]


@pytest.mark.parametrize("thing", [0.5, Decimal("0.5"), True, None, "2"])
def test_no_sum_takes_anything_inexact(thing: Any) -> None:
    half = of("0.5", "mL")
    acts: list[Callable[[], object]] = [
        lambda: half * thing, lambda: thing * half, lambda: half / thing, lambda: half + thing,
        lambda: half - thing, lambda: half < thing, lambda: half <= thing, lambda: thing > half,
    ]  # fmt: skip
    for act in acts:
        with pytest.raises(TypeError):
            act()
    assert half != thing


def test_what_makes_no_sense_is_refused() -> None:
    half = of("0.5", "mL")
    with pytest.raises(TypeError):
        operator.neg(half)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="neither true nor false"):
        bool(half)
    with pytest.raises(TypeError):
        float(half)  # type: ignore[arg-type]
    with pytest.raises(AttributeError):
        half.magnitude = Fraction(1)  # type: ignore[misc]
    with pytest.raises(UnitFault, match="has no meaning in a dose sum"):
        of("5", "mg") * of("5", "mg")
    with pytest.raises(UnitFault, match="Use a plain unit after per"):
        of("5", "mg").per(of("5", "mL/h"))
    with pytest.raises(ZeroDivisionError):
        half / of("0", "mL")


# (one, act, two, outcome). The dose sums are the usual ones, common practice, no source.
SUMS = [
    ("5 mg/kg", "*", "70 kg", "350 mg"),
    ("70 kg", "*", "5 mg/kg", "350 mg"),
    ("5 mg/kg", "*", "850 g", "4.25 mg"),
    ("10 mg", "/", "5 mg/mL", "2 mL"),
    ("500 ug", "/", "5 mg/mL", "0.1 mL"),
    ("5 mg/mL", "*", "2 mL", "10 mg"),
    ("10 ug/kg/min", "*", "70 kg", "700 ug/min"),
    ("700 ug/min", "/", "0.4 mg/mL", "1.75 mL/min"),
    ("350 mg", "/", "5 mg/kg", "70 kg"),
    ("1800 {unit}/h", "/", "50 {unit}/mL", "36 mL/h"),
    ("15 {drop}/mL", "*", "125 mL/h", "1875 {drop}/h"),
    ("100 mL", "/", "50 mL/h", "2 h"),
    ("3 1/d", "*", "10.5 mL", "31.5 mL/d"),
    ("2 1/d", "*", "7 d", "14 1"),
    ("30 mg/m2", "*", "2 m2", "60 mg"),
    ("4 1", "*", "2 mL", "8 mL"),
    ("5 mg/kg", "*", "5 1", "25 mg/kg"),
    ("1500 mg/d", "/", "3 1/d", "500 mg"),
    ("9 mg/mL", "/", "58.44 mg/mmol", "75/487 mmol/mL"),
]


@pytest.mark.parametrize(("one", "act", "two", "outcome"), SUMS)
def test_products_and_quotients_cancel_what_really_cancels(
    one: str, act: str, two: str, outcome: str
) -> None:
    a, b = Quantity.from_code(one), Quantity.from_code(two)
    assert (a * b if act == "*" else a / b) == Quantity.from_code(outcome)
    assert (a * b if act == "*" else a.over(b)).alike(Quantity.from_code(outcome))


def test_the_same_unit_cancels_before_another_of_its_kind() -> None:
    assert (of("6", "ug/g/kg") * of("2", "kg")).code == "12 ug/g"
    assert (of("6", "ug/g/kg") * of("2", "g")).code == "12 ug/kg"


def test_no_sum_leaves_more_than_three_units_under_the_stroke() -> None:
    assert of("6", "ug/kg/min").over(of("2", "m2")).code == "3 ug/kg/min/m2"
    with pytest.raises(UnitFault, match="has no meaning in a dose sum"):
        of("6", "ug/kg/min/m2").over(of("2", "{dose}"))


def test_a_dose_by_weight_keeps_its_weight() -> None:
    each = of("350", "mg").per(of("70", "kg"))
    assert each == of("5", "mg/kg")
    assert each.unit == "mg/kg"
    assert of("350", "mg/d").per(of("70", "kg")) == of("5", "mg/kg/d")


def test_a_quotient_of_one_kind_is_a_bare_fraction() -> None:
    assert of("1", "g") / of("250", "mg") == Fraction(4)
    assert type(of("1", "g") / of("250", "mg")) is Fraction
    assert of("1", "g").over(of("250", "mg")) == of("4", "1")
    assert of("3", "mL") / 2 == of("1.5", "mL") == Fraction(1, 2) * of("3", "mL")


PARSED = {
    "2.5 mL": "2.5 mL", "  7 units ": "7 {unit}", "300 mcg": "300 ug", "24 million units":
    "24 10*6.{unit}", "5 microgram/kg/min": "5 ug/kg/min", "0.1 micrograms": "0.1 ug",
    "8  mmol": "8 mmol", "0 mL": "0 mL", "5 international units": "5 [iU]", "1 g": "1 g",
}  # fmt: skip


@pytest.mark.parametrize("text", PARSED)
def test_a_written_quantity_is_read(text: str) -> None:
    assert Quantity.parse(text).code == PARSED[text]


# Forms on the published lists of what must not be written; see the same lists in test_number.
UNREAD = {
    "0,5 mL": (NumberFault, "has a comma"),
    ".5 mL": (NumberFault, "starts with a point"),
    "5.0 mg": (NumberFault, "ends in a zero"),
    "1 000 mg": (NumberFault, "space between figures"),
    "1/2 mL": (NumberFault, "written as a fraction"),
    "-2 mL": (NumberFault, "has a sign in front"),
    "1e3 mg": (NumberFault, "power of ten"),
    "mg 5": (NumberFault, "something besides figures"),
    "": (NumberFault, "no number"),
    "mg": (NumberFault, "something besides figures"),
    "5\u00a0mg": (NumberFault, "a space that is not the plain one"),
    "5": (UnitFault, "has no unit"),
    "5 ": (UnitFault, "has no unit"),
    "20mg": (UnitFault, "no space before the unit"),
    "5mcg/kg": (UnitFault, "no space before the unit"),
    "8U": (UnitFault, "no space before the unit"),
    "8 U": (UnitFault, "easily misread. Write units."),
    "4000 IU": (UnitFault, "easily misread. Write units."),
    "30 ug": (UnitFault, "easily misread. Write microgram."),
    "4 cc": (UnitFault, "easily misread. Write mL."),
    "3 ml": (UnitFault, "easily misread. Write mL."),
    "5 %": (UnitFault, "does not say of what"),
    "5 mg 2": (UnitFault, "not a unit on the list"),
    "5 mg mg": (UnitFault, "not a unit on the list"),
}


@pytest.mark.parametrize("text", UNREAD)
def test_a_quantity_in_another_form_is_refused(text: str) -> None:
    kind, phrase = UNREAD[text]
    with pytest.raises(kind, match=phrase):
        Quantity.parse(text)


# What a units library made of the same texts, without a complaint (pint 0.25.3, measured):
# 15 mg, 0 mg, 0 mg, 10 mg, NaN, 1 mg.
@pytest.mark.parametrize("text", ["1,5 mg", "0,5 mg", "1 000 mg", "5 mg 2", "NaN mg", "mg"])
def test_a_text_that_a_units_library_takes_for_something_else_is_refused(text: str) -> None:
    with pytest.raises((NumberFault, UnitFault)):
        Quantity.parse(text)


@pytest.mark.parametrize("thing", [None, 5, 2.5, b"2.5 mL"])
def test_a_quantity_is_read_from_text_only(thing: object) -> None:
    with pytest.raises(TypeError):
        Quantity.parse(thing)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text", ["", "5", "5 ", "5  mL", "5 ml", "5 mcg", "x mL", "1/0 mL", "5 mL "]
)
def test_a_stored_quantity_in_another_form_is_refused(text: str) -> None:
    with pytest.raises((NumberFault, UnitFault)):
        Quantity.from_code(text)


# (stored, shown, said). Units in full, microgram and nanogram in full, thousands grouped: Joint
# Commission list (2017); ISMP lists of error-prone dose designations, as restated.
FACES = [
    ("0.75 mL", "0.75 mL", "zero point seven five millilitres"),
    ("3/4 mL", "0.75 mL", "zero point seven five millilitres"),
    ("1 mL", "1 mL", "one millilitre"),
    ("12500 {unit}", "12,500 units", "twelve thousand five hundred units"),
    ("1 {unit}", "1 unit", "one unit"),
    ("0.5 {unit}", "0.5 units", "zero point five units"),
    ("5000 [iU]", "5,000 international units", "five thousand international units"),
    ("24 10*6.{unit}", "24 million units", "twenty-four million units"),
    ("30 ug", "30 microgram", "thirty micrograms"),
    ("40 ng", "40 nanogram", "forty nanograms"),
    ("20 meq", "20 mEq", "twenty milliequivalents"),
    ("5 ug/kg/min", "5 microgram/kg/min", "five micrograms per kilogram per minute"),
    ("1 mg/mL", "1 mg/mL", "one milligram per millilitre"),
    ("3 1/d", "3 per day", "three per day"),
    ("6 1", "6", "six"),
    ("2 {vial}", "2 vials", "two vials"),
    ("2/3 mL", "about 0.6667 mL", "about zero point six six six seven millilitres"),
    ("-0.5 mL", "minus 0.5 mL", "minus zero point five millilitres"),
    ("20 {drop}/min", "20 drops/min", "twenty drops per minute"),
]


@pytest.mark.parametrize(("stored", "as_shown", "as_said"), FACES)
def test_a_quantity_is_shown_and_said_for_people(stored: str, as_shown: str, as_said: str) -> None:
    quantity = Quantity.from_code(stored)
    assert str(quantity) == as_shown
    assert words(quantity) == as_said


@modest
@given(alike(1))
def test_a_stored_quantity_comes_back_the_same(one: list[Quantity]) -> None:
    (quantity,) = one
    back = Quantity.from_code(quantity.code)
    assert (back.magnitude, back.unit) == (quantity.magnitude, quantity.unit)
    assert back.code == quantity.code
    assert pickle.loads(pickle.dumps(quantity)) == copy.deepcopy(quantity) == quantity


@modest
@given(st.decimals(min_value=0, max_value=9999999, places=3), st.sampled_from(sum(FAMILIES, ())))
def test_a_short_shown_quantity_reads_back_when_typed_without_grouping(
    magnitude: Decimal, unit: str
) -> None:
    quantity = of(Fraction(magnitude), unit)
    assert Quantity.parse(str(quantity).replace(",", "")) == quantity


@modest
@given(alike(3))
def test_order_is_total_within_a_kind(three: list[Quantity]) -> None:
    a, b, c = three
    assert sum((a < b, a == b, a > b)) == 1
    assert (a <= b) == (a < b or a == b)
    assert (a >= b) == (b <= a)
    assert not (a <= b and b <= c) or a <= c
    assert sorted(three)[0] == min(three) <= max(three)
    if a == b:
        assert hash(a) == hash(b)


@modest
@given(alike(2))
def test_adding_and_taking_away_is_exact(two: list[Quantity]) -> None:
    a, b = two
    assert a + b - b == a
    assert a + b == b + a
    assert (a + b).unit == a.unit
    assert abs(a - b) == abs(b - a)
    assert a.to(b.unit) == a
    assert a.to(b.unit).to(a.unit).magnitude == a.magnitude


@modest
@given(amounts, st.fractions(min_value=Fraction(1, 10**6), max_value=10**4), st.data())
def test_rounding_stays_within_its_step_and_says_what_it_lost(
    magnitude: Fraction, size: Fraction, data: st.DataObject
) -> None:
    family = data.draw(st.sampled_from(FAMILIES))
    quantity = of(magnitude, data.draw(st.sampled_from(family)))
    step = of(size, data.draw(st.sampled_from(family)))
    near, down, up = (quantity.rounded(step, how) for how in Rounding)
    assert abs(near.lost) <= step / 2
    assert down.value <= quantity < down.value + step
    assert up.value - step < quantity <= up.value
    assert near.value in (down.value, up.value)
    for outcome in (near, down, up):
        assert outcome.value.ratio(step).denominator == 1
        assert outcome.value + outcome.lost == outcome.exact == quantity
        assert outcome.share == (outcome.lost / quantity if magnitude else 0)
        assert outcome.value.unit == step.unit


@modest
@given(st.integers(min_value=0, max_value=10**6), st.sampled_from(["0.01", "0.1", "0.2", "0.5"]))
def test_a_half_step_goes_up(count: int, size: str) -> None:
    step = of(size, "mL")
    tie = step * Fraction(2 * count + 1, 2)
    assert tie.rounded(step).value == step * (count + 1)
    assert tie.rounded(step).lost == step / -2
    assert tie.rounded(step, Rounding.DOWN).value == step * count


# Published rounding of doses (nursing course handout, rounding rules for drug calculations for
# adults): whole mL/h; tenths of a mL from 1 mL on; hundredths below 1 mL; tenths of a kg.
@pytest.mark.parametrize(
    ("exact", "step", "printed"),
    [("80.5 mL/h", "1 mL/h", "81 mL/h"), ("1.75 mL", "0.1 mL", "1.8 mL"),
     ("2.25 mL", "0.1 mL", "2.3 mL"), ("0.666 mL", "0.01 mL", "0.67 mL"),
     ("13.3 {drop}/min", "1 {drop}/min", "13 {drop}/min")],
)  # fmt: skip
def test_rounding_gives_the_published_figure(exact: str, step: str, printed: str) -> None:
    rounded = Quantity.from_code(exact).rounded(Quantity.from_code(step))
    assert rounded.value == Quantity.from_code(printed)


@pytest.mark.parametrize("step", ["0", "-0.1"])
def test_a_rounding_step_is_above_zero(step: str) -> None:
    with pytest.raises(ValueError, match="above zero"):
        of("1", "mL").rounded(Quantity.from_code(f"{step} mL"))


def test_a_difference_below_zero_is_not_rounded() -> None:
    with pytest.raises(ValueError, match="not the difference"):
        (of("1", "mL") - of("2", "mL")).rounded(of("0.1", "mL"))
