"""Dose sums as a nurse does them on paper: the exact value and the lines that lead to it."""

from dataclasses import dataclass

from checklist.number import shown
from checklist.quantity import Concentration, DimensionMismatch, Quantity, Rounding
from checklist.ucum import unit as ucum_unit


class DoseFault(ValueError):
    """A dose sum has no sensible answer; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """The outcome of a sum, exact, and its lines in order: formula, figures, outcome."""

    value: Quantity
    lines: tuple[str, ...]


def volume_for(dose: Quantity, strength: Concentration) -> Working:
    """The volume in mL that holds the dose: dose / amount x volume of the strength.

    Raises DimensionMismatch when dose and strength are of different kinds, DoseFault for a dose
    that is not above zero.
    """
    _above_zero("A dose", dose)
    value = strength.volume_for(dose)
    own, changed = _in_unit(dose, strength.amount.unit)
    return Working(
        value=value,
        lines=(
            "volume = dose ÷ amount on the label × volume on the label",
            *changed,
            f"volume = {own} ÷ {strength.amount} × {strength.per}",
            f"volume = {value}",
        ),
    )


def amount_in(volume: Quantity, strength: Concentration) -> Working:
    """The amount of drug that the volume holds: volume / volume x amount of the strength.

    Raises DimensionMismatch when the first is not a volume, DoseFault when it is not above zero.
    """
    _above_zero("A volume", volume)
    value = strength.amount_in(volume)
    own, changed = _in_unit(volume, strength.per.unit)
    return Working(
        value=value,
        lines=(
            "amount = volume ÷ volume on the label × amount on the label",
            *changed,
            f"amount = {own} ÷ {strength.per} × {strength.amount}",
            f"amount = {value}",
        ),
    )


def convert(quantity: Quantity, unit: str, factor: Quantity | None = None) -> Working:
    """The quantity in another unit (UCUM code), across kinds only by a stated factor.

    A factor is a quantity such as 2.2 [lb_av]/kg or 1500 {unit}/mg, from the product's label or
    the unit's own rule. Raises DimensionMismatch when the factor does not lead there or is missing,
    DoseFault when a factor is stated where the units convert by themselves.
    """
    if factor is None:
        value = quantity.to(unit)
        return Working(value=value, lines=(f"{quantity} = {value}",))
    goal = Quantity.of(1, unit)
    if quantity.alike(goal):
        raise DoseFault(f"{quantity} converts by itself; leave the factor {factor} out.")
    _above_zero("A factor", factor)
    for sign, found in (("×", _product(quantity, factor)), ("÷", _product(quantity, factor, -1))):
        if found is not None and found.alike(goal):
            value = found.to(unit)
            return Working(value=value, lines=(f"{quantity} {sign} {factor} = {value}",))
    raise DimensionMismatch(
        f"The factor {factor} does not lead from {quantity} to {ucum_unit(unit).shown(many=True)}."
        " Look at its units again."
    )


def weight_dose(dose_per_weight: Quantity, weight: Quantity) -> Working:
    """A dose by body weight: so much per kg times the kilograms.

    A dose per kg and day gives an amount per day. Raises DimensionMismatch when the weight is no
    mass in metric units or the dose is not per weight, DoseFault when either is not above zero.
    """
    _above_zero("A dose", dose_per_weight)
    _above_zero("A body weight", weight)
    kilograms, changed = _in_unit(weight, "kg")
    if all(atom.kind != "mass" for atom in ucum_unit(dose_per_weight.unit).below):
        raise DimensionMismatch(f"{dose_per_weight} is not a dose per kg. Look at the order again.")
    value = dose_per_weight * kilograms
    return Working(
        value=value,
        lines=(
            "dose = dose per kg × body weight",
            *changed,
            f"dose = {dose_per_weight} × {kilograms}",
            f"dose = {value}",
        ),
    )


def to_graduation(
    volume: Quantity, graduation: Quantity, how: Rounding = Rounding.HALF_UP
) -> Working:
    """The volume on a line of the syringe, and what that changes.

    Nearest line by default, a half going up; round once, at the end of a sum. Raises DoseFault when
    the volume is not above zero or would be rounded to nothing, DimensionMismatch across kinds.
    """
    _above_zero("A volume", volume)
    rounded = volume.rounded(graduation, how)
    if not rounded.value.magnitude > 0:
        raise DoseFault(
            f"{volume} is too little to measure in steps of {graduation}. Use a finer syringe, or"
            " ask the pharmacy for another strength."
        )
    manner = {
        Rounding.HALF_UP: "to the nearest line",
        Rounding.DOWN: "down to a line",
        Rounding.UP: "up to a line",
    }[how]
    return Working(
        value=rounded.value,
        lines=(
            f"{volume} goes {manner} of {graduation}",
            f"to measure = {rounded.value}",
            _change(rounded.lost, volume),
        ),
    )


def waste(opened: Quantity, prepared: Quantity) -> Working:
    """What is left to discard: opened less prepared, in the unit of what was opened.

    Raises DoseFault when more was prepared than opened, DimensionMismatch across kinds.
    """
    _above_zero("An opened amount", opened)
    value = opened - prepared
    if not value.magnitude >= 0:
        raise DoseFault(
            f"{prepared} prepared is more than the {opened} opened. Count what was opened again."
        )
    return Working(
        value=value,
        lines=(
            "to discard = opened − prepared",
            f"to discard = {opened} − {prepared}",
            f"to discard = {value}",
        ),
    )


def containers(needed: Quantity, content: Quantity, unit: str = "1") -> Working:
    """How many whole containers hold what is needed; unit is their code, such as {vial}.

    Both are amounts, or both volumes; the content is what the label states. Raises DoseFault when
    either is not above zero, DimensionMismatch across kinds.
    """
    _above_zero("What is needed", needed)
    _above_zero("A container's content", content)
    parts = Quantity.of(needed.ratio(content), unit)
    value = Quantity.of(parts.magnitude.__ceil__(), unit)
    lines = (
        "containers = needed ÷ content of one, up to a whole one",
        f"containers = {needed} ÷ {content} = {parts}",
        f"containers = {value}",
    )
    return Working(value=value, lines=lines)


def _above_zero(what: str, quantity: Quantity) -> None:
    if not quantity.magnitude > 0:
        raise DoseFault(f"{what} is more than nothing; {quantity} was given. Read it again.")


def _in_unit(quantity: Quantity, unit: str) -> tuple[Quantity, tuple[str, ...]]:
    """The quantity in the unit the sum uses, and the line that says so when it changed."""
    if quantity.unit == unit:
        return quantity, ()
    changed = quantity.to(unit)
    return changed, (f"{quantity} = {changed}",)


def _product(quantity: Quantity, factor: Quantity, power: int = 1) -> Quantity | None:
    """Times the factor, or over it for power -1; None when that has no meaning."""
    try:
        return quantity * factor if power == 1 else quantity.over(factor)
    except ValueError:
        return None


def _change(lost: Quantity, volume: Quantity) -> str:
    """How far rounding moved the volume, in its own unit and in percent."""
    if lost.magnitude == 0:
        return "no change"
    percent = shown(abs(lost.ratio(volume)) * 100)
    return f"{abs(lost)} {'less' if lost.magnitude > 0 else 'more'}, {percent} %"
