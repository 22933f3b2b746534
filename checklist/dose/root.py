"""Roots by whole-number arithmetic, to a stated number of decimals and with a proven rounding."""

from fractions import Fraction

PLACES = 12
"""Decimals that a root is kept to; the true value is at most half a unit of the last one away."""


def root(value: Fraction, degree: int) -> tuple[Fraction, bool]:
    """The root of a value above zero to PLACES decimals, a half going up; and whether it is exact.

    No float and no series is used: the digits come from the whole-number root of a scaled value,
    whose floor is exact, so the rounding is right for every value.

    >>> root(Fraction(4, 9), 2)
    (Fraction(2, 3), True)
    >>> root(Fraction(2), 2)
    (Fraction(353553390593, 250000000000), False)
    """
    assert value > 0 and degree > 0, "the caller has looked at the values"
    above, below = _floor(value.numerator, degree), _floor(value.denominator, degree)
    if above**degree == value.numerator and below**degree == value.denominator:
        return Fraction(above, below), True
    # The floor of the root of a number is the floor of the root of that number's floor. One binary
    # figure more than is kept tells on which side of the half the true value lies.
    scale = 2 * 10**PLACES
    doubled = _floor(value.numerator * scale**degree // value.denominator, degree)
    return Fraction((doubled + 1) // 2, 10**PLACES), False


def _floor(value: int, degree: int) -> int:
    """The largest whole number whose power is not above the value, by Newton's steps from above."""
    if value < 2:
        return value
    guess = 1 << -(-value.bit_length() // degree)
    while True:
        nearer = ((degree - 1) * guess + value // guess ** (degree - 1)) // degree
        if nearer >= guess:
            return guess
        guess = nearer
