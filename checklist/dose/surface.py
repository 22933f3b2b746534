"""Body surface from height and weight, by Mosteller or by Du Bois, and a dose for each m2 of it."""

from dataclasses import replace
from enum import StrEnum
from fractions import Fraction

from checklist.dose.conversion import convert
from checklist.dose.root import PLACES, root
from checklist.dose.working import Working, above_zero, in_unit, worked
from checklist.number import shown
from checklist.quantity import DimensionMismatch, Quantity

HALF_A_PLACE = Quantity.of(Fraction(1, 2 * 10**PLACES), "m2")
ROUNDED = f"the root is kept to {PLACES} decimals by whole-number arithmetic, a half going up"
EXACT = "the root comes out even"


class Formula(StrEnum):
    """The two formulas. Each gives its own surface: say which one was used.

    Mosteller RD, N Engl J Med 1987;317(17):1098; Du Bois D, Du Bois EF, Arch Intern Med
    1916;17:863-871; both cited from memory, the figures are those of the worked examples.
    """

    MOSTELLER = "mosteller"
    DU_BOIS = "du bois"


def surface(
    height: Quantity,
    weight: Quantity,
    *,
    by: Formula = Formula.MOSTELLER,
    factor: Quantity | None = None,
) -> Working:
    """The body surface in m2.

    Mosteller: square root of (height in cm x weight in kg / 3600). Du Bois: 0.007184 x weight in
    kg to the power 0.425 x height in cm to the power 0.725. Exact when the root is a fraction;
    else kept to PLACES decimals and marked with `within`. A weight in pounds needs its `factor`.
    Raises DimensionMismatch for anything but a height and a weight, DoseFault when one is not
    above zero.
    """
    above_zero("A height", height)
    above_zero("A body weight", weight)
    tall, tall_lines = in_unit(height, "cm")
    if factor is None:
        heavy, heavy_lines = in_unit(weight, "kg")
    else:
        converted = convert(weight, "kg", factor)
        heavy, heavy_lines = converted.exact, converted.lines
    cm, kg = tall.magnitude, heavy.magnitude
    if by is Formula.MOSTELLER:
        square = cm * kg / 3600
        value, even = root(square, 2)
        formula = "square root of (height in cm × weight in kg ÷ 3,600)"
        figures = f"square root of ({tall} × {heavy} ÷ 3,600) = square root of {shown(square)}"
    else:
        # 0.425 and 0.725 are 17/40 and 29/40, so that one root of degree 40 holds both powers.
        value, even = root(Fraction(7184, 10**6) ** 40 * kg**17 * cm**29, 40)
        formula = "0.007184 × weight in kg to the power 0.425 × height in cm to the power 0.725"
        figures = f"0.007184 × {heavy} to the power 0.425 × {tall} to the power 0.725"
    done = worked("surface", formula, figures, Quantity.of(value, "m2"), *tall_lines, *heavy_lines)
    last = EXACT if even else ROUNDED
    return replace(done, lines=(*done.lines, last), within=None if even else HALF_A_PLACE)


def surface_dose(dose_per_surface: Quantity, area: Working | Quantity) -> Working:
    """A dose by body surface: so much for each m2 times the surface.

    The lines of a surface that was worked out stand first, and how far it may be from the true
    value is carried on. Raises DimensionMismatch when the dose is not per m2, DoseFault when it
    is not above zero. Formula: common practice, no source.
    """
    above_zero("A dose", dose_per_surface)
    found = area.exact if isinstance(area, Working) else area
    above_zero("A body surface", found)
    own, changed = in_unit(found, "m2")
    value = dose_per_surface * own
    if not value.per(Quantity.of(1, "m2")).alike(dose_per_surface):
        raise DimensionMismatch(f"{dose_per_surface} is not a dose for each m2. Look again.")
    dose = worked("dose", "dose per m2 × surface", f"{dose_per_surface} × {own}", value, *changed)
    if not isinstance(area, Working):
        return dose
    assert area.change is None, "the surface is not rounded on the way to a dose"
    within = None if area.within is None else dose_per_surface * area.within
    return replace(dose, lines=area.lines + dose.lines, within=within)
