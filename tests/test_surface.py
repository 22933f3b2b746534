"""Body surface: roots by whole numbers, rounded with certainty, and the doses that hang on them."""

from decimal import ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.dose.root import PLACES, root
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.surface import EXACT, HALF_A_PLACE, ROUNDED, Formula, surface, surface_dose
from checklist.dose.working import DoseFault, Working
from checklist.number import half_up
from checklist.quantity import DimensionMismatch, Quantity, Rounding

of, parse = Quantity.of, Quantity.parse

values = st.fractions(min_value=Fraction(1, 1000), max_value=10**6, max_denominator=10**6)


@settings(max_examples=200, deadline=None)
@given(values, st.sampled_from([2, 3, 5, 40]))
def test_a_root_is_the_nearest_of_its_decimals(value: Fraction, degree: int) -> None:
    """Checked by powers alone: half a place to either side lies the true root."""
    found, exact = root(value, degree)
    half = Fraction(1, 2 * 10**PLACES)
    if exact:
        assert found**degree == value
    else:
        assert (found * 10**PLACES).denominator == 1
        assert (found - half) ** degree <= value < (found + half) ** degree


@settings(max_examples=100, deadline=None)
@given(st.fractions(min_value=Fraction(1, 50), max_value=100, max_denominator=500),
       st.sampled_from([2, 3, 40]))  # fmt: skip
def test_a_power_has_its_root_exactly(base: Fraction, degree: int) -> None:
    assert root(base**degree, degree) == (base, True)


def decimal_surface(cm: Decimal, kg: Decimal, by: Formula) -> Fraction:
    """The surface by the standard library's decimal arithmetic, to 60 figures and then rounded."""
    with localcontext() as context:
        context.prec = 60
        if by is Formula.MOSTELLER:
            found = (cm * kg / 3600).sqrt()
        else:
            found = Decimal("0.007184") * kg ** Decimal("0.425") * cm ** Decimal("0.725")
        return Fraction(found.quantize(Decimal(1).scaleb(-PLACES), rounding=ROUND_HALF_UP))


lengths = st.integers(min_value=300, max_value=2500)
masses = st.integers(min_value=4, max_value=4000)


@settings(max_examples=200, deadline=None)
@given(lengths, masses, st.sampled_from(Formula))
def test_a_surface_is_that_of_decimal_arithmetic(tall: int, heavy: int, by: Formula) -> None:
    """Decimal of the standard library as the oracle: logarithms and powers there, roots here."""
    working = surface(of(Fraction(tall, 10), "cm"), of(Fraction(heavy, 10), "kg"), by=by)
    expected = decimal_surface(Decimal(tall) / 10, Decimal(heavy) / 10, by)
    assert Fraction(half_up(working.exact.magnitude * 10**PLACES), 10**PLACES) == expected
    assert working.lines[-1] == (EXACT if working.within is None else ROUNDED)


def test_a_surface_that_comes_out_even_is_exact() -> None:
    """180 cm and 80 kg make exactly 2 m2 by Mosteller: 14,400 / 3,600 is 4."""
    working = surface(parse("180 cm"), parse("80 kg"))
    assert working == Working(
        value=of(2, "m2"),
        exact=of(2, "m2"),
        lines=(
            "surface = square root of (height in cm × weight in kg ÷ 3,600)",
            "surface = square root of (180 cm × 80 kg ÷ 3,600) = square root of 4",
            "surface = 2 m2",
            EXACT,
        ),
    )


def test_a_dose_by_surface_carries_how_far_it_may_be_off() -> None:
    area = surface(parse("1.6 m"), parse("60 kg"))
    assert area.within == HALF_A_PLACE
    dose = surface_dose(parse("75 mg/m2"), area)
    assert dose.within == of(75 * HALF_A_PLACE.magnitude, "mg")
    assert dose.lines[: len(area.lines)] == area.lines
    assert "1.6 m = 160 cm" in dose.lines
    assert surface_dose(parse("75 mg/m2"), parse("2 m2")).within is None


def test_a_weight_in_pounds_and_a_height_in_inches_are_shown_converted() -> None:
    """61 inches and 90.7 kg: a published example, 1.98 m2; the pound at a stated 2.2 to the kg."""
    inches = surface(parse("61 inches"), parse("90.7 kg"))
    assert rounded(inches, RoundingRule(step=of("0.01", "m2"))).value == of("1.98", "m2")
    assert "61 inches = 154.94 cm" in inches.lines
    pounds = surface(parse("160 cm"), parse("132 pounds"), factor=of("2.2", "[lb_av]/kg"))
    assert pounds.exact == surface(parse("160 cm"), parse("60 kg")).exact
    with pytest.raises(DimensionMismatch):
        surface(parse("160 cm"), parse("132 pounds"))


@pytest.mark.parametrize(
    ("height", "weight"), [("160 kg", "60 kg"), ("160 cm", "60 cm"), ("160 cm", "60 mL")]
)
def test_a_surface_takes_a_height_and_a_weight(height: str, weight: str) -> None:
    with pytest.raises(DimensionMismatch):
        surface(parse(height), parse(weight))


@pytest.mark.parametrize(("height", "weight"), [("0 cm", "60 kg"), ("160 cm", "0 kg")])
def test_nothing_has_no_surface(height: str, weight: str) -> None:
    with pytest.raises(DoseFault, match="is more than nothing"):
        surface(Quantity.from_code(height), Quantity.from_code(weight))


@pytest.mark.parametrize("dose", ["75 mg", "75 mg/kg", "75 mg/mL"])
def test_a_dose_by_surface_is_an_amount_for_each_m2(dose: str) -> None:
    with pytest.raises((DimensionMismatch, ValueError)):
        surface_dose(parse(dose), parse("2 m2"))


@pytest.mark.parametrize("how", Rounding)
def test_a_root_too_close_to_the_turning_point_is_not_rounded(how: Rounding) -> None:
    """Decimals that end where the rounding turns cannot tell on which side the true value lies."""
    at = of("1.5", "m2") if how is Rounding.HALF_UP else of(2, "m2")
    close = Working(value=at, exact=at, lines=(), within=HALF_A_PLACE)
    with pytest.raises(DoseFault, match="too close to the middle"):
        rounded(close, RoundingRule(step=of(1, "m2"), how=how, refuse_above=None))
    sure = Working(value=at, exact=at, lines=())
    rounded(sure, RoundingRule(step=of(1, "m2"), how=how, refuse_above=None))


@settings(max_examples=150, deadline=None)
@given(lengths, masses, st.sampled_from(["0.01", "0.1"]), st.sampled_from(Rounding))
def test_a_rounded_surface_is_that_of_the_true_value(
    tall: int, heavy: int, step: str, how: Rounding
) -> None:
    """The square tells where the true value lies, without taking a root."""
    cm, kg, unit = Fraction(tall, 10), Fraction(heavy, 10), Fraction(step)
    rule = RoundingRule(step=of(step, "m2"), how=how, refuse_above=None)
    working = surface(of(cm, "cm"), of(kg, "kg"))
    try:
        value = rounded(working, rule).value.magnitude
    except DoseFault:  # rounded to nothing
        assert cm * kg / 3600 < unit**2
        return
    square = cm * kg / 3600
    if how is Rounding.HALF_UP:
        assert (value - unit / 2) ** 2 <= square < (value + unit / 2) ** 2
    elif how is Rounding.DOWN:
        assert value**2 <= square < (value + unit) ** 2
    else:
        assert (value - unit) ** 2 < square <= value**2
