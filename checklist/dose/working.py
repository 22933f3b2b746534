"""A working: the outcome of a dose sum, what rounding did to it, and the lines that lead there."""

from dataclasses import dataclass
from fractions import Fraction

from checklist.number import shown
from checklist.quantity import Quantity, Rounding


class DoseFault(ValueError):
    """A dose sum has no sensible answer; the message says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a rounding did.

    `lost` is the exact value less the rounded one, below zero when rounding added; `share` is
    `lost` over the exact value.
    """

    step: Quantity
    how: Rounding
    lost: Quantity
    share: Fraction

    @property
    def percent(self) -> Fraction:
        """By how many percent the exact value was changed, whichever way."""
        return abs(self.share) * 100

    def __str__(self) -> str:
        if self.lost.magnitude == 0:
            return "nothing"
        way = "less" if self.lost.magnitude > 0 else "more"
        return f"{abs(self.lost)} {way}, {shown(self.percent)} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """The outcome of a sum and its lines in order: formula, figures, outcome.

    `value` is what to go on with: `exact`, or `exact` after the one rounding that `change` tells
    of. `within` is None when `exact` is exact; for a root that no fraction writes, it is how far
    `exact` may be from the true value, up or down.
    """

    value: Quantity
    exact: Quantity
    lines: tuple[str, ...]
    change: Change | None = None
    within: Quantity | None = None


def worked(name: str, formula: str, figures: str, value: Quantity, *before: str) -> Working:
    """The working of `name`: its formula, unit changes `before` the figures, and the outcome."""
    return Working(
        value=value,
        exact=value,
        lines=(f"{name} = {formula}", *before, f"{name} = {figures}", f"{name} = {said(value)}"),
    )


def said(quantity: Quantity) -> str:
    """The quantity, or "nothing": no line may show a zero that could be taken for a dose."""
    return str(quantity) if quantity.magnitude else "nothing"


def after(first: Working, then: Working) -> Working:
    """Two sums of which the second goes on from the first's exact value, as one working.

    Nothing is rounded on the way: rounding comes once, at the end.
    """
    assert first.change is None and first.within is None, "only an exact value is carried on"
    return with_lines(then, first.lines + then.lines)


def with_lines(working: Working, lines: tuple[str, ...]) -> Working:
    """The working with other lines."""
    return Working(
        value=working.value, exact=working.exact, lines=lines, change=working.change,
        within=working.within,
    )  # fmt: skip


def above_zero(what: str, quantity: Quantity) -> None:
    """Raise DoseFault for an amount that is not above zero; `what` begins its sentence."""
    if not quantity.magnitude.numerator > 0:
        raise DoseFault(f"{what} is more than nothing; {quantity} was given. Read it again.")


def not_below_zero(what: str, quantity: Quantity) -> None:
    """Raise DoseFault for an amount below zero; `what` begins its sentence."""
    if not quantity.magnitude.numerator >= 0:
        raise DoseFault(f"{what} is not below nothing; {quantity} was given. Read it again.")


def in_unit(quantity: Quantity, unit: str) -> tuple[Quantity, tuple[str, ...]]:
    """The quantity in the unit that the sum uses, and the line that says so when it changed."""
    if quantity.unit == unit:
        return quantity, ()
    changed = quantity.to(unit)
    return changed, (f"{quantity} = {changed}",)
