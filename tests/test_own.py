"""An own answer held against a sum: the same, or above or below, and never the sum's own value."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.dose.own import NEAR, compared
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.working import Working
from checklist.quantity import DimensionMismatch, Quantity

of = Quantity.of


def plain(value: Quantity) -> Working:
    return Working(value=value, exact=value, lines=())


# (own answer, exact value, step, side). The last column is "" where the answer is the same. That a
# nurse may round by at most 5 % where no step was set: Parshuram and others, CMAJ 2008, who take
# that as the threshold of a volume error.
OWN = [
    ("1.5 mL", "1.5 mL", None, ""),
    ("0.0015 L", "1.5 mL", None, ""),
    ("0.67 mL", "2/3 mL", None, ""),
    ("0.7 mL", "2/3 mL", None, ""),
    ("1 mL", "2/3 mL", None, "above"),
    ("0.66 mL", "2/3 mL", None, "below"),
    ("0.67 mL", "2/3 mL", "0.01 mL", ""),
    ("0.7 mL", "2/3 mL", "0.01 mL", "above"),
    ("10 mL", "10.4 mL", None, ""),
    ("10 mL", "10.6 mL", None, "below"),
    ("15 mL", "1.5 mL", None, "above"),
    ("0.15 mL", "1.5 mL", None, "below"),
    ("0 mL", "0.4 mL", None, "below"),
]


@pytest.mark.parametrize(("mine", "exact", "step", "side"), OWN)
def test_an_own_answer_is_the_same_or_its_side_is_told(
    mine: str, exact: str, step: str | None, side: str
) -> None:
    working = plain(Quantity.from_code(exact))
    if step is not None:
        working = rounded(working, RoundingRule(step=Quantity.from_code(step)))
    found = compared(Quantity.from_code(mine), working)
    assert (found.side, found.same) == (side, not side)
    assert str(working.value) not in found.line or found.same


def test_an_own_answer_of_another_kind_is_not_compared() -> None:
    with pytest.raises(DimensionMismatch, match="another kind of amount"):
        compared(of("1.5", "mg"), plain(of("1.5", "mL")))


amounts = st.fractions(min_value=Fraction(1, 100), max_value=1000, max_denominator=1000)


@settings(max_examples=150, deadline=None)
@given(amounts, amounts)
def test_an_answer_that_is_far_off_is_never_the_same(mine: Fraction, exact: Fraction) -> None:
    found = compared(of(mine, "mL"), plain(of(exact, "mL")))
    if abs(mine - exact) > exact * NEAR:
        assert found.side == ("above" if mine > exact else "below")
