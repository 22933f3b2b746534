"""The nurse's own answer, held against the sum: the same, or above or below it."""

from dataclasses import dataclass
from fractions import Fraction

from checklist.dose.working import Working
from checklist.number import decimals, shown
from checklist.quantity import DimensionMismatch, Quantity

NEAR = Fraction(5, 100)
"""How far an answer may be rounded by the nurse where no step was stated, as a share of the sum.

Parshuram CS et al., CMAJ 2008;178(1):42-48 take 5 % as the threshold of a volume error.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """What comparing came to. `side` is "above" or "below", empty when it is the same."""

    mine: Quantity
    side: str
    line: str

    @property
    def same(self) -> bool:
        """True when the answer is that of the sum."""
        return not self.side


def compared(mine: Quantity, working: Working) -> Compared:
    """Hold an own answer against the sum's value.

    It is the same when it is the value, or the exact value before rounding. Where nothing was
    rounded, an answer that is the value rounded half up to as many decimals as it was written with
    is the same too, if that changes it by at most NEAR. Raises DimensionMismatch for an answer of
    another kind. When it differs only the side is told, never the value.
    """
    if not mine.alike(working.value):
        raise DimensionMismatch(
            f"{mine} is another kind of amount than the answer. Look at its unit again."
        )
    if mine in (working.value, working.exact):
        return Compared(mine=mine, side="", line=f"{mine}: the same")
    own = mine.to(working.value.unit)
    places = decimals(mine.magnitude)
    if working.change is None and places is not None and mine.magnitude > 0:
        near = working.exact.rounded(Quantity.of(Fraction(1, 10**places), mine.unit))
        if near.value == mine and abs(near.share) <= NEAR:
            percent = shown(abs(near.share) * 100)
            line = f"{mine}: the same once rounded, which changes it by {percent} %"
            return Compared(mine=mine, side="", line=line)
    side = "above" if own > working.value else "below"
    line = f"{mine}: {side} what the sum gives. Work it out again from the label in your hand."
    return Compared(mine=mine, side=side, line=line)
