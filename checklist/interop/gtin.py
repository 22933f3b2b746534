"""Item numbers and the check digit that they share with the numbers of patients and staff.

Source: GS1 check digit calculation, http://www.gs1.org/barcodes/support/check_digit_calculator.
"""

from __future__ import annotations

import re

from checklist.number import quoted

GTIN_LENGTHS = (8, 12, 13, 14)


class CodeFault(ValueError):
    """A code cannot be used; the message says what was seen and what to do next."""


def check_digit(body: str) -> str:
    """The check digit that follows these figures in a GTIN, SSCC or GSRN.

    Weights from the right: 3, 1, 3, 1 and so on. ValueError for anything but ASCII figures.
    """
    if not re.fullmatch(r"[0-9]+", body):
        raise ValueError(f"A check digit is worked out from figures, not from {quoted(body)}.")
    total = sum(int(figure) * (3, 1)[i % 2] for i, figure in enumerate(reversed(body)))
    return str(-total % 10)


def checks_out(number: str) -> bool:
    """Whether these are figures whose last one is the check digit of those before it."""
    return bool(re.fullmatch(r"[0-9]{2,}", number)) and check_digit(number[:-1]) == number[-1]


def gtin14(number: str) -> str:
    """An item number of 8, 12, 13 or 14 figures as 14, zeros in front; CodeFault otherwise."""
    if not re.fullmatch(r"[0-9]+", number) or len(number) not in GTIN_LENGTHS:
        raise CodeFault(
            f"{quoted(number)} is not an item number. An item number has 8, 12, 13 or 14 figures."
            " Read it from the label again."
        )
    if not checks_out(number):
        raise CodeFault(
            f"The last figure of {number} does not fit the others, so one figure was misread."
            " Scan it again, or type the number from the label."
        )
    return number.rjust(14, "0")
