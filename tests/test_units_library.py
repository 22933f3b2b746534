"""Exact sums held against a general units library (pint), which serves here as an oracle only."""

from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from checklist.quantity import Quantity
from checklist.ucum import ATOMS

of = Quantity.of
modest = settings(max_examples=150, deadline=None)
amounts = st.fractions(min_value=0, max_value=10**7, max_denominator=10**6)


def test_factors_agree_with_a_general_units_library() -> None:
    """pint's own definitions of the metric units, time and inch, held as exact fractions."""
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    names = {
        "kg": "kilogram", "g": "gram", "mg": "milligram", "ug": "microgram", "ng": "nanogram",
        "L": "liter", "dL": "deciliter", "mL": "milliliter", "uL": "microliter",
        "mol": "mole", "mmol": "millimole", "umol": "micromole", "s": "second", "min": "minute",
        "h": "hour", "d": "day", "wk": "week", "m": "meter", "cm": "centimeter",
        "mm": "millimeter", "um": "micrometer", "[in_i]": "inch",
    }  # fmt: skip
    pairs = [(a, b) for a in names for b in names if ATOMS[a].kind == ATOMS[b].kind]
    assert len(pairs) == 5**2 + 4**2 + 3**2 + 5**2 + 5**2
    for a, b in pairs:
        theirs = registry.Quantity(Fraction(1), names[a]).to(names[b]).magnitude
        assert ATOMS[a].factor / ATOMS[b].factor == theirs, (a, b)


DEFINITIONS = [
    "gram = [mass] = g", "liter = [volume] = L", "mole = [substance] = mol",
    "second = [time] = s", "minute = 60 * second = min", "hour = 60 * minute = h",
    "day = 24 * hour = d", "unit = [drug] = U", "milli- = 1e-3 = m-", "micro- = 1e-6 = u-",
    "kilo- = 1e3 = k-", "nano- = 1e-9 = n-",
]  # fmt: skip
registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(DEFINITIONS, non_int_type=Fraction)
COMMON = {"{unit}": "U"}
PLAIN = ("g", "mg", "ug", "ng", "kg", "L", "mL", "uL", "mmol", "umol", "s", "min", "h", "{unit}")


def _theirs(quantity: Quantity) -> Any:
    """The quantity in the library's hands, which serves here as an oracle and nowhere else."""
    above, *below = (COMMON.get(code, code) for code in quantity.unit.split("/"))
    unit = registry.Unit(above)
    for code in below:
        unit = unit / registry.Unit(code)
    return registry.Quantity(quantity.magnitude, unit)


@modest
@given(amounts, amounts, st.data())
def test_sums_agree_with_a_general_units_library(
    first: Fraction, second: Fraction, data: st.DataObject
) -> None:
    """pint 0.25 with a registry of a few lines, held as exact fractions."""
    a = of(first, data.draw(st.sampled_from(PLAIN)))
    b = of(second, data.draw(st.sampled_from(PLAIN)))
    theirs_a, theirs_b = _theirs(a), _theirs(b)
    assume(second)
    alike_there = theirs_a.is_compatible_with(theirs_b)
    assert a.alike(b) == alike_there
    if alike_there:
        assert (a < b) == (theirs_a < theirs_b)
        assert _theirs(a + b) == theirs_a + theirs_b
        assert _theirs(a - b) == theirs_a - theirs_b
        assert a / b == (theirs_a / theirs_b).to("").magnitude
    else:
        assert _theirs(a.per(b)) == theirs_a / theirs_b
        assert _theirs(a.per(b) * b) == theirs_a  # rate times what it is per gives it back


@pytest.mark.parametrize("dose", ["mg", "ug", "g"])
@pytest.mark.parametrize("strength", ["mg/mL", "ug/mL", "g/L", "mg/uL"])
@pytest.mark.parametrize("figures", [(1, 3), (60, 40), (7, 10)])
def test_volumes_agree_with_a_general_units_library(
    dose: str, strength: str, figures: tuple[int, int]
) -> None:
    a, b = of(figures[0], dose), of(figures[1], strength)
    theirs = (_theirs(a) / _theirs(b)).to("mL").magnitude
    assert a.over(b).to("mL").magnitude == theirs
    back = (_theirs(b) * registry.Quantity(Fraction(5), "mL")).to("mg")
    assert (b * of(5, "mL")).to("mg").magnitude == back.magnitude
