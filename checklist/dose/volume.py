"""Volume and amount: how much liquid holds a dose, and how much drug a liquid holds."""

from checklist.dose.working import Working, above_zero, in_unit, worked
from checklist.quantity import Concentration, Quantity


def volume_for(dose: Quantity, strength: Concentration) -> Working:
    """The volume in mL that holds the dose: dose / amount x volume of the strength.

    Raises DimensionMismatch when dose and strength are of different kinds, DoseFault for a dose
    that is not above zero. Formula: common practice, no source.

    >>> volume_for(Quantity.parse("60 mg"), Concentration.parse("80 mg in 2 mL")).lines[1:]
    ('volume = 60 mg ÷ 80 mg × 2 mL', 'volume = 1.5 mL')
    """
    above_zero("A dose", dose)
    value = strength.volume_for(dose)
    own, changed = in_unit(dose, strength.amount.unit)
    return worked(
        "volume",
        "dose ÷ amount on the label × volume on the label",
        f"{own} ÷ {strength.amount} × {strength.per}",
        value,
        *changed,
    )


def amount_in(volume: Quantity, strength: Concentration) -> Working:
    """The amount of drug that the volume holds: volume / volume x amount of the strength.

    Raises DimensionMismatch when the first is not a volume, DoseFault when it is not above zero.
    Formula: common practice, no source.
    """
    above_zero("A volume", volume)
    value = strength.amount_in(volume)
    own, changed = in_unit(volume, strength.per.unit)
    return worked(
        "amount",
        "volume ÷ volume on the label × amount on the label",
        f"{own} ÷ {strength.per} × {strength.amount}",
        value,
        *changed,
    )
