"""Rounding: once, at the end, to a stated step and in a stated direction, and never too far."""

from dataclasses import dataclass
from fractions import Fraction

from checklist.dose.working import Change, DoseFault, Working, above_zero
from checklist.number import MAX_DECIMALS, decimals, shown
from checklist.quantity import Quantity, Rounding

MAX_SHARE = Fraction(10, 100)
"""The most that rounding may change a dose by, where nothing else is set. Common practice."""

_MANNER = {
    Rounding.HALF_UP: "to the nearest {}, a half going up",
    Rounding.DOWN: "down to a whole number of {}",
    Rounding.UP: "up to a whole number of {}",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundingRule:
    """How a product's or a quantity's outcome is rounded.

    `step` is the graduation of the syringe, the step of the pump, a whole drop. A change of more
    than `refuse_above` (a share of the exact value) or of more than `most` (an amount) is refused;
    None sets no such limit.
    """

    step: Quantity
    how: Rounding = Rounding.HALF_UP
    refuse_above: Fraction | None = MAX_SHARE
    most: Quantity | None = None


class RoundingRefused(DoseFault):
    """Rounding would change the value by more than is allowed; `working` tells by how much."""

    def __init__(self, message: str, working: Working) -> None:
        super().__init__(message)
        self.working = working


def rounded(working: Working, rule: RoundingRule) -> Working:
    """The working with its value on a whole number of steps, and what that changed.

    Raises RoundingRefused for a change above the rule's limits; DoseFault when the value is not
    above zero, would become nothing, or is a root so close to the middle between two steps that
    its decimals do not tell the side; DimensionMismatch for a step of another kind.
    """
    assert working.change is None, "a value is rounded once"
    exact = working.exact
    above_zero("What is rounded", exact)
    above_zero("A step", rule.step)
    _sure(working, rule)
    found = exact.rounded(rule.step, rule.how)
    if not found.value.magnitude > 0:
        raise DoseFault(
            f"{exact} is too little to measure in steps of {rule.step}. Use a finer scale, or ask"
            " the pharmacist for another strength."
        )
    change = Change(step=rule.step, how=rule.how, lost=found.lost, share=found.share)
    done = Working(
        value=found.value,
        exact=exact,
        change=change,
        within=working.within,
        lines=(
            *working.lines,
            f"{_telling(exact, found.value, rule)} goes {_MANNER[rule.how].format(rule.step)}",
            f"rounded = {found.value}",
            f"rounding gives {change}" if change.lost.magnitude else "rounding changes nothing",
        ),
    )
    if rule.refuse_above is not None and not abs(change.share) <= rule.refuse_above:
        raise RoundingRefused(
            f"Rounding {exact} to {found.value} changes it by {shown(change.percent)} %, and"
            f" {shown(rule.refuse_above * 100)} % is the most. Use a finer scale, or ask the"
            " pharmacist.",
            done,
        )
    if rule.most is not None and not abs(change.lost) <= rule.most:
        raise RoundingRefused(
            f"Rounding {exact} to {found.value} changes it by {abs(change.lost)}, and {rule.most}"
            " is the most. Use a finer scale, or ask the pharmacist.",
            done,
        )
    return done


def _telling(exact: Quantity, value: Quantity, rule: RoundingRule) -> str:
    """The exact value with figures enough to see that it goes where it goes.

    122.4745 mg must not be shown as 122.5 mg beside a rounded 122 mg.
    """
    places = decimals(exact.magnitude)
    if places is not None and places <= MAX_DECIMALS:
        return str(exact)
    like = exact.to(rule.step.unit)
    for finer in range(2, MAX_DECIMALS + 1):
        near = like.rounded(rule.step / 10**finer).value
        text = str(near)
        if not text.startswith("about") and near.rounded(rule.step, rule.how).value == value:
            return f"about {text}"
    return f"{exact}, just {'below' if value < like else 'above'} the turning point,"


def _sure(working: Working, rule: RoundingRule) -> None:
    """See to it that a root's true value rounds as its decimals do."""
    if working.within is None:
        return
    ends = (working.exact - working.within, working.exact + working.within)
    low, high = (end.rounded(rule.step, rule.how).value for end in ends)
    if low != high:
        raise DoseFault(
            f"{working.exact} is too close to the middle between two steps of {rule.step} to say"
            " which is nearer. Use a finer step."
        )
