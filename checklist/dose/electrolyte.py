"""Electrolytes: mass, millimoles and milliequivalents, with molar mass and valence as given.

Neither is ever looked up or guessed: the same salt with more or less water has another molar mass,
and which ion counts decides on the valence.
"""

from checklist.dose.working import DoseFault, Working, above_zero, in_unit, worked
from checklist.quantity import DimensionMismatch, Quantity

MAX_VALENCE = 4
PER_MASS = "mg/mmol"


def millimoles(mass: Quantity, molar_mass: Quantity) -> Working:
    """The mmol in a mass, or in a mass in each mL: mass / molar mass.

    Raises DimensionMismatch when the molar mass is no mass per mole, DoseFault when either is not
    above zero. Formula: general chemistry, common practice, no source.
    """
    above_zero("An amount of drug", mass)
    molar, changed = _molar(molar_mass)
    own, more = _in_mg(mass)
    value = own.over(molar)
    if value.unit.partition("/")[0] != "mmol":
        raise DimensionMismatch(f"{mass} is not a mass. Give the mass of the salt, like 1 g.")
    return worked("amount", "mass ÷ molar mass", f"{own} ÷ {molar}", value, *changed, *more)


def milliequivalents(mass: Quantity, molar_mass: Quantity, valence: int) -> Working:
    """The mEq in a mass: mass / molar mass x valence.

    Raises as `millimoles`, and DoseFault for a valence that is not 1 to 4.
    """
    moles = millimoles(mass, molar_mass)
    charge = _charge(valence)
    value = moles.exact * charge
    molar, changed = _molar(molar_mass)
    own, more = _in_mg(mass)
    return worked(
        "amount",
        "mass ÷ molar mass × valence",
        f"{own} ÷ {molar} × {charge}",
        value,
        *changed,
        *more,
    )


def equivalents_of(moles: Quantity, valence: int) -> Working:
    """The mEq in a number of mmol: mmol x valence. Raises as `milliequivalents`."""
    above_zero("An amount of drug", moles)
    own, changed = in_unit(moles, "mmol")
    charge = _charge(valence)
    return worked("amount", "mmol × valence", f"{own} × {charge}", own * charge, *changed)


def mass_of(amount: Quantity, molar_mass: Quantity, valence: int | None = None) -> Working:
    """The mass in mg that holds the mmol, or with a valence the mEq.

    Raises DimensionMismatch when the amount is neither, when mEq come without a valence or mmol
    with one; DoseFault as `milliequivalents`.
    """
    above_zero("An amount of drug", amount)
    molar, changed = _molar(molar_mass)
    if valence is None:
        own, more = in_unit(amount, "mmol")
        return worked("mass", "mmol × molar mass", f"{own} × {molar}", own * molar, *changed, *more)
    own, more = in_unit(amount, "meq")
    charge = _charge(valence)
    value = own.over(charge) * molar
    return worked(
        "mass",
        "mEq ÷ valence × molar mass",
        f"{own} ÷ {charge} × {molar}",
        value,
        *changed,
        *more,
    )


def equivalent_mass(molar_mass: Quantity, valence: int) -> Working:
    """The mg of 1 mEq: molar mass / valence. Raises as `milliequivalents`."""
    molar, changed = _molar(molar_mass)
    charge = _charge(valence)
    value = molar.over(charge)
    return worked("mass of 1 mEq", "molar mass ÷ valence", f"{molar} ÷ {charge}", value, *changed)


def _molar(molar_mass: Quantity) -> tuple[Quantity, tuple[str, ...]]:
    above_zero("A molar mass", molar_mass)
    return in_unit(molar_mass, PER_MASS)


def _in_mg(mass: Quantity) -> tuple[Quantity, tuple[str, ...]]:
    """The mass in mg, alone or in each of what stands below its stroke."""
    above, stroke, below = mass.unit.partition("/")
    return in_unit(mass, f"mg{stroke}{below}") if above in ("g", "kg", "ug") else (mass, ())


def _charge(valence: int) -> Quantity:
    if not 1 <= valence <= MAX_VALENCE:
        raise DoseFault(f"A valence is 1 to {MAX_VALENCE}; {valence} was given. Look it up again.")
    return Quantity.of(valence, "meq/mmol")
