"""Dose sums against a general units library (pint, an oracle only), and there and back again."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any, NamedTuple

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.dose.bag import bag_strength
from checklist.dose.containers import unaccounted, waste
from checklist.dose.conversion import convert
from checklist.dose.dilution import diluent_volume, diluted, stock_volume
from checklist.dose.electrolyte import (
    equivalent_mass,
    equivalents_of,
    mass_of,
    milliequivalents,
    millimoles,
)
from checklist.dose.limit import daily_total
from checklist.dose.rate import (
    amount_over,
    dose_rate_at,
    drops,
    drops_at,
    duration,
    pump_rate,
    pump_rate_for_each_kg,
    rate,
    volume_left,
    volume_over,
)
from checklist.dose.reconstitution import diluent_for, displacement_of, made_up, total_volume
from checklist.dose.strength import in_each_mL, millilitres_for_one_gram, of_each_mL, percent
from checklist.dose.surface import surface_dose
from checklist.dose.volume import amount_in, volume_for
from checklist.dose.weight import single_dose, weight_dose
from checklist.dose.working import Working, said
from checklist.notation import DOSE, faults
from checklist.quantity import Concentration, Quantity
from tests.effort import tries

# pint with a registry of a few lines, held as exact fractions. A pound, a drop and an equivalent
# are kinds of their own there too.
registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(
    [
        "gram = [mass] = g", "liter = [volume] = L", "mole = [substance] = mol",
        "second = [time] = s", "minute = 60 * second = min", "hour = 60 * minute = h",
        "day = 24 * hour = d", "unit = [drug] = U", "meter = [length] = m",
        "equivalent = [charge] = eq", "drop = [drops]", "pound = [pounds] = lb",
        "milli- = 1e-3 = m-", "micro- = 1e-6 = u-", "kilo- = 1e3 = k-", "nano- = 1e-9 = n-",
        "deci- = 1e-1 = d-",
    ],
    non_int_type=Fraction,
)  # fmt: skip
NAMES = {"{unit}": "U", "m2": "m**2", "{drop}": "drop", "[lb_av]": "lb", "1": ""}


def theirs(quantity: Quantity) -> Any:
    """The quantity in the library's hands."""
    above, *below = (NAMES.get(code, code) for code in quantity.unit.split("/"))
    unit = registry.Unit(above)
    for code in below:
        unit = unit / registry.Unit(code)
    return registry.Quantity(quantity.magnitude, unit)


def per_mL(strength: Concentration) -> Any:
    return theirs(strength.amount) / theirs(strength.per)


MASS, UNITS = ("g", "mg", "ug", "ng"), ("{unit}",)
MOLES, CHARGES = ("mol", "mmol", "umol"), ("eq", "meq")
VOLUMES, TIMES = ("mL", "L", "uL", "dL"), ("min", "h", "d")
WEIGHTS = ("kg", "g")

numbers = st.fractions(min_value=Fraction(1, 1000), max_value=10**4, max_denominator=10**4)


def q(*codes: str) -> st.SearchStrategy[Quantity]:
    return st.builds(Quantity.of, numbers, st.sampled_from(codes))


def over(above: tuple[str, ...], *below: tuple[str, ...]) -> st.SearchStrategy[Quantity]:
    codes = list(above)
    for units in below:
        codes = [f"{code}/{unit}" for code in codes for unit in units]
    return q(*codes)


def strengths(above: tuple[str, ...] = MASS) -> st.SearchStrategy[Concentration]:
    return st.builds(
        lambda amount, per: Concentration(amount=amount, per=per), q(*above), q(*VOLUMES)
    )


class Sum(NamedTuple):
    """A linear formula: its inputs, the function under test, the library's, and the unit."""

    inputs: tuple[st.SearchStrategy[Any], ...]
    ours: Callable[..., Working]
    lib: Callable[..., Any]


def charge(valence: int) -> Any:
    """A valence in the library's hands."""
    return registry.Quantity(Fraction(valence), "eq/mol")


def product(first: Quantity, *others: Quantity) -> Any:
    """The product of quantities in the library's hands."""
    found = theirs(first)
    for one in others:
        found = found * theirs(one)
    return found


valences = st.integers(1, 4)
half = Fraction(1, 2)

# Each line is the formula written out in the library's own operations.
SUMS: dict[str, Sum] = {
    "volume": Sum((q(*MASS), strengths()), volume_for, lambda d, s: theirs(d) / per_mL(s)),
    "volume, units": Sum(
        (q(*UNITS), strengths(UNITS)), volume_for, lambda d, s: theirs(d) / per_mL(s)
    ),
    "amount": Sum((q(*VOLUMES), strengths()), amount_in, lambda v, s: theirs(v) * per_mL(s)),
    "convert": Sum((over(MASS, VOLUMES),), lambda c: convert(c, "ug/dL"), theirs),
    "pounds": Sum(
        (q("[lb_av]"), over(("[lb_av]",), ("kg",))),
        lambda w, f: convert(w, "kg", f),
        lambda w, f: theirs(w) / theirs(f),
    ),
    "weight": Sum((over(MASS, ("kg",)), q(*WEIGHTS)), weight_dose, product),
    "weight, a day": Sum((over(UNITS, ("kg",), ("d",)), q(*WEIGHTS)), weight_dose, product),
    "weight in pounds": Sum(
        (over(MASS, ("kg",)), q("[lb_av]"), over(("[lb_av]",), ("kg",))),
        weight_dose,
        lambda d, w, f: theirs(d) * theirs(w) / theirs(f),
    ),
    "single": Sum(
        (over(MASS, ("d",)), over(("1",), ("d",))),
        single_dose,
        lambda d, n: theirs(d) / theirs(n),
    ),
    "daily": Sum((q(*MASS), over(("1",), ("d",))), daily_total, product),
    "surface dose": Sum((over(MASS, ("m2",)), q("m2")), surface_dose, product),
    "strength": Sum((strengths(),), in_each_mL, per_mL),
    "percent": Sum((strengths(),), percent, per_mL),
    "ratio": Sum((strengths(),), millilitres_for_one_gram, lambda s: 1 / per_mL(s)),
    "mmol": Sum(
        (q(*MASS), over(("mg",), ("mmol",))), millimoles, lambda m, mm: theirs(m) / theirs(mm)
    ),
    "mmol in each mL": Sum(
        (over(MASS, ("mL",)), over(("g",), ("mol",))),
        millimoles,
        lambda m, mm: theirs(m) / theirs(mm),
    ),
    "meq": Sum(
        (q(*MASS), over(("mg",), ("mmol",)), valences),
        milliequivalents,
        lambda m, mm, v: theirs(m) / theirs(mm) * charge(v),
    ),
    "meq of mmol": Sum((q(*MOLES), valences), equivalents_of, lambda n, v: theirs(n) * charge(v)),
    "mass of mmol": Sum((q(*MOLES), over(("g",), ("mol",))), mass_of, product),
    "mass of meq": Sum(
        (q(*CHARGES), over(("g",), ("mol",)), valences),
        mass_of,
        lambda n, mm, v: theirs(n) / charge(v) * theirs(mm),
    ),
    "mass of 1 meq": Sum(
        (over(("g",), ("mol",)), valences),
        equivalent_mass,
        lambda mm, v: theirs(mm) / charge(v),
    ),
    "total": Sum((q(*VOLUMES), q(*VOLUMES)), total_volume, lambda a, b: theirs(a) + theirs(b)),
    "displacement": Sum(
        (q(*VOLUMES), q(*VOLUMES)),
        lambda a, b: displacement_of(a + b, b),
        lambda a, b: theirs(a + b) - theirs(b),
    ),
    "made up": Sum(
        (q(*MASS), q(*VOLUMES), q(*VOLUMES)),
        lambda m, d, x: made_up(m, diluent=d, displacement=x).working,
        lambda m, d, x: theirs(m) / (theirs(d) + theirs(x)),
    ),
    "diluent": Sum(
        (q(*MASS), strengths()),
        lambda m, s: diluent_for(m, s, s.volume_for(m) * half),
        lambda m, s: theirs(m) / per_mL(s) / 2,
    ),
    "stock": Sum(
        (strengths(), q(*VOLUMES), q(*VOLUMES)),
        lambda s, taken, final: stock_volume(s, thinner(s), final),
        lambda s, taken, final: per_mL(thinner(s)) * theirs(final) / per_mL(s),
    ),
    "diluent of a dilution": Sum(
        (strengths(), q(*VOLUMES)),
        lambda s, final: diluent_volume(s, thinner(s), final),
        lambda s, final: theirs(final) * (1 - (per_mL(thinner(s)) / per_mL(s)).to("")),
    ),
    "diluted": Sum(
        (strengths(), q(*VOLUMES), q(*VOLUMES)),
        lambda s, taken, more: diluted(s, taken, taken + more),
        lambda s, taken, more: per_mL(s) * theirs(taken) / (theirs(taken) + theirs(more)),
    ),
    "bag": Sum(
        (q(*MASS, *MOLES), q(*VOLUMES), q(*VOLUMES), q(*VOLUMES)),
        lambda m, bag, added, over_: bag_strength(
            m, bag, added=added, removed=bag * half, overfill=over_
        ),
        lambda m, bag, added, over_: (
            theirs(m) / (theirs(bag) + theirs(over_) - theirs(bag) / 2 + theirs(added))
        ),
    ),
    "rate": Sum((q(*VOLUMES), q(*TIMES)), rate, lambda v, h: theirs(v) / theirs(h)),
    "drops": Sum(
        (q(*VOLUMES), q(*TIMES), over(("{drop}",), ("mL",))),
        drops,
        lambda v, h, d: theirs(v) * theirs(d) / theirs(h),
    ),
    "drops at a rate": Sum(
        (over(VOLUMES, ("h", "min")), over(("{drop}",), ("mL",))), drops_at, product
    ),
    "pump, by weight": Sum(
        (over(MASS, ("kg",), ("min", "h")), strengths(), q(*WEIGHTS)),
        pump_rate,
        lambda d, s, w: theirs(d) * theirs(w) / per_mL(s),
    ),
    "pump": Sum(
        (over(UNITS, TIMES), strengths(UNITS)), pump_rate, lambda d, s: theirs(d) / per_mL(s)
    ),
    "pump, each kg": Sum(
        (over(MASS, ("kg",), ("min",)), strengths()),
        pump_rate_for_each_kg,
        lambda d, s: theirs(d) / per_mL(s),
    ),
    "dose rate": Sum(
        (over(VOLUMES, ("h",)), strengths(), q(*WEIGHTS)),
        lambda r, s, w: dose_rate_at(r, s, "ug/kg/min", w),
        lambda r, s, w: theirs(r) * per_mL(s) / theirs(w),
    ),
    "given in a time": Sum(
        (over(MASS, ("kg",), ("min",)), q(*TIMES), q(*WEIGHTS)),
        amount_over,
        product,
    ),
    "duration": Sum(
        (q(*VOLUMES), over(VOLUMES, ("h", "min"))), duration, lambda v, r: theirs(v) / theirs(r)
    ),
    "run": Sum((over(VOLUMES, ("h",)), q(*TIMES)), volume_over, product),
    "left": Sum(
        (over(("mL",), ("h",)), q("h"), q("mL")),
        lambda r, h, more: volume_left(r * h + more, r, h),
        lambda r, h, more: theirs(more),
    ),
    "waste": Sum(
        (q(*MASS), q(*MASS)),
        lambda a, b: waste(a + b, b),
        lambda a, b: theirs(a + b) - theirs(b),
    ),
    "balance": Sum(
        (q(*MASS), q(*MASS), q(*MASS)),
        lambda a, b, c: unaccounted(a + b + c, b, c),
        lambda a, b, c: theirs(a + b + c) - theirs(b) - theirs(c),
    ),
}


def thinner(strength: Concentration) -> Concentration:
    """A strength of three sevenths of it."""
    return Concentration(amount=strength.amount * Fraction(3, 7), per=strength.per)


@pytest.mark.parametrize("name", SUMS)
def test_a_linear_sum_is_that_of_a_general_units_library(name: str) -> None:
    """pint 0.25, exact fractions, random cases for each formula; exact equality."""
    formula = SUMS[name]

    @settings(max_examples=tries(100), deadline=None, database=None)
    @given(st.tuples(*formula.inputs))
    def agrees(inputs: tuple[Any, ...]) -> None:
        working, found = formula.ours(*inputs), formula.lib(*inputs)
        own = theirs(working.exact)
        assert own.dimensionality == found.dimensionality
        assert own.to(found.units).magnitude == found.magnitude
        assert working.value == working.exact
        assert any(said(working.value) in line for line in working.lines[-2:])
        assert [fault for line in working.lines for fault in faults(line, [DOSE])] == []

    agrees()


modest = settings(max_examples=tries(150), deadline=None)


@modest
@given(over(MASS, ("kg",), ("min",)), strengths(), q("kg"))
def test_a_dose_rate_comes_back_from_its_rate(
    dose: Quantity, strength: Concentration, weight: Quantity
) -> None:
    flow = pump_rate(dose, strength, weight).exact
    assert dose_rate_at(flow, strength, dose.unit, weight).exact == dose


@modest
@given(strengths(), q(*VOLUMES), q(*VOLUMES))
def test_a_dilution_comes_back_from_its_strength(
    stock: Concentration, taken: Quantity, more: Quantity
) -> None:
    final = taken + more
    weak = of_each_mL(diluted(stock, taken, final).exact)
    assert stock_volume(stock, weak, final).exact == taken
    assert diluent_volume(stock, weak, final).exact == more


@modest
@given(q(*MASS), over(("mg",), ("mmol",)), valences)
def test_a_mass_comes_back_from_its_moles_and_equivalents(
    mass: Quantity, molar: Quantity, valence: int
) -> None:
    assert mass_of(millimoles(mass, molar).exact, molar).exact == mass
    equivalents = milliequivalents(mass, molar, valence).exact
    assert mass_of(equivalents, molar, valence).exact == mass


@modest
@given(q(*MASS), strengths(), q("mL"))
def test_a_powder_made_up_by_its_diluent_has_the_wanted_strength(
    amount: Quantity, wanted: Concentration, taken: Quantity
) -> None:
    room = wanted.volume_for(amount) * Fraction(1, 3)
    diluent = diluent_for(amount, wanted, room).exact
    made = made_up(amount, diluent=diluent, displacement=room)
    assert made.strength == wanted
    assert displacement_of(total_volume(diluent, room).exact, diluent).exact == room


@modest
@given(q(*MASS), strengths())
def test_a_volume_holds_its_dose_and_a_percentage_its_strength(
    dose: Quantity, strength: Concentration
) -> None:
    assert amount_in(volume_for(dose, strength).exact, strength).exact == dose
    assert of_each_mL(percent(strength).exact) == strength
    assert of_each_mL(in_each_mL(strength).exact) == strength


@modest
@given(q("mL"), over(("mL",), ("h",)))
def test_a_volume_runs_through_in_its_own_time(volume: Quantity, flow: Quantity) -> None:
    time = duration(volume, flow).exact
    assert volume_over(flow, time).exact == volume
    assert volume_left(volume, flow, time).exact == Quantity.of(0, "mL")
    assert rate(volume, time).exact == flow
