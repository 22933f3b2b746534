"""Strength: percentages and ratios written out as an amount in each mL, and back."""

from fractions import Fraction

from checklist.dose.working import Working, above_zero, in_unit, worked
from checklist.quantity import Concentration, DimensionMismatch, Quantity


def in_each_mL(strength: Concentration) -> Working:
    """The amount in 1 mL: amount on the label / volume on the label in mL.

    A mass in g or kg comes out in mg, so that a percentage (grams in 100 mL) or a ratio (1:1000
    is 1 g in 1000 mL) is written out the way doses are. Formula: common practice, no source; ratio
    strengths as in FDA, Single Entity Injectable Drug Products: ratio expressions of strength
    removed (2017).

    >>> in_each_mL(Concentration.percent_wv("0.9")).lines[-2:]
    ('strength = 900 mg ÷ 100 mL', 'strength = 9 mg/mL')
    """
    goal = "mg" if strength.amount.unit in ("g", "kg") else strength.amount.unit
    amount, first = in_unit(strength.amount, goal)
    volume, second = in_unit(strength.per, "mL")
    return worked(
        "strength",
        "amount on the label ÷ volume on the label",
        f"{amount} ÷ {volume}",
        amount.per(volume),
        *first,
        *second,
    )


def percent(strength: Concentration) -> Working:
    """The percentage weight in volume, as the grams in 100 mL (a quantity in g/dL).

    Raises DimensionMismatch when the amount is no mass. Formula: common practice, no source.
    """
    grams, first = in_unit(strength.amount, "g")
    volume, second = in_unit(strength.per, "mL")
    return worked(
        "grams in 100 mL",
        "amount in g ÷ volume in mL × 100 mL",
        f"{grams} ÷ {volume} × 100 mL",
        grams.per(volume).to("g/dL"),
        *first,
        *second,
    )


def millilitres_for_one_gram(strength: Concentration) -> Working:
    """The x of the ratio strength 1:x, as the mL that hold 1 g.

    Raises DimensionMismatch when the amount is no mass. Formula: common practice, no source.
    """
    grams, first = in_unit(strength.amount, "g")
    volume, second = in_unit(strength.per, "mL")
    return worked(
        "volume for 1 g",
        "volume in mL ÷ amount in g",
        f"{volume} ÷ {grams}",
        volume.per(grams),
        *first,
        *second,
    )


def mixed_strength(amount: Quantity, volume: Quantity) -> Concentration:
    """An amount that is dissolved in a volume, as a strength.

    Raises DoseFault when either is not above zero, DimensionMismatch when they are no amount and
    no volume.
    """
    above_zero("An amount of drug", amount)
    above_zero("A volume", volume)
    return Concentration(amount=amount, per=volume)


def of_each_mL(each: Quantity) -> Concentration:
    """The strength that has this much in each volume, such as 10 mg/mL.

    Raises DimensionMismatch when the quantity is no amount in a volume.
    """
    above_zero("A strength", each)
    amount, stroke, volume = each.unit.partition("/")
    if not stroke:
        raise DimensionMismatch(f"{each} is not a strength. Write it like 10 mg/mL.")
    return Concentration(
        amount=Quantity.of(Fraction(each.magnitude), amount), per=Quantity.of(1, volume)
    )
