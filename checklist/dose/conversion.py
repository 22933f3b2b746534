"""Conversion: the same quantity in another unit, across kinds only by a factor that is stated."""

from checklist.dose.working import DoseFault, Working, above_zero
from checklist.number import shown
from checklist.quantity import DimensionMismatch, Quantity
from checklist.ucum import unit as ucum_unit


def convert(quantity: Quantity, unit: str, factor: Quantity | None = None) -> Working:
    """The quantity in another unit (UCUM code), across kinds only by a stated factor.

    A factor is a quantity such as 2.2 [lb_av]/kg, 5 mL/[tsp_us] or 1500 {unit}/mg, from the
    product's label or the ward's own rule. An inch is 25.4 mm by definition and needs none. Raises
    DimensionMismatch when the factor does not lead there or is missing, DoseFault when a factor is
    stated where the units convert by themselves.
    """
    goal = Quantity.of(1, unit)
    if factor is None:
        value = quantity.to(unit)
        return Working(value=value, exact=value, lines=_lines(quantity, value))
    if quantity.alike(goal):
        raise DoseFault(f"{quantity} converts by itself; leave the factor {factor} out.")
    above_zero("A factor", factor)
    for sign, found in (("×", _product(quantity, factor)), ("÷", _product(quantity, factor, -1))):
        if found is not None and found.alike(goal):
            value, line = found.to(unit), f"{quantity} {sign} {factor} = {found}"
            more = () if found.unit == unit else _lines(found, value)
            return Working(value=value, exact=value, lines=(line, *more))
    raise DimensionMismatch(
        f"The factor {factor} does not lead from {quantity} to {ucum_unit(unit).shown(many=True)}."
        " Look at its units again."
    )


def _lines(quantity: Quantity, value: Quantity) -> tuple[str, ...]:
    """How many of the smaller unit make one of the larger, then the sum with that number."""
    own, goal = Quantity.of(1, quantity.unit), Quantity.of(1, value.unit)
    times = own.ratio(goal)
    if times == 1:
        return (f"{quantity} = {value}",)
    if times > 1:
        return (f"{own} = {own.to(goal.unit)}", f"{quantity} × {shown(times)} = {value}")
    return (f"{goal} = {goal.to(own.unit)}", f"{quantity} ÷ {shown(1 / times)} = {value}")


def _product(quantity: Quantity, factor: Quantity, power: int = 1) -> Quantity | None:
    """Times the factor, or over it for power -1; None when that has no meaning."""
    try:
        return quantity * factor if power == 1 else quantity.over(factor)
    except ValueError:
        return None
