"""Figures that a method cannot take, told in a sentence, and the tests that find them."""

from __future__ import annotations

import math
import operator
from collections.abc import Sequence


class Unusable(ValueError):
    """Figures that a method cannot take: what was seen, what is expected, what to do next."""


def whole(name: str, value: int, *, least: int = 0, most: int | None = None) -> int:
    """The value if it is a whole number from `least` to `most`; raises Unusable if not."""
    try:
        number = operator.index(value)
    except TypeError:
        number = least - 1
    if isinstance(value, bool) or not number >= least or (most is not None and not number <= most):
        span = f"{least} or more" if most is None else f"{least} to {most}"
        raise Unusable(
            f"{name} is {value!r}. A whole number, {span}, is expected. Look at the count again."
        )
    return number


def finite(name: str, value: float, *, least: float | None = None) -> float:
    """The value as a float if it is a number, not infinite, and at least `least`."""
    number = _number(value)
    if not math.isfinite(number) or (least is not None and not number >= least):
        span = "A number" if least is None else f"A number, {least:g} or more,"
        raise Unusable(f"{name} is {value!r}. {span} is expected. Look at the figure again.")
    return number


def positive(name: str, value: float) -> float:
    """The value as a float if it is a number above 0 and not infinite."""
    number = _number(value)
    if not (math.isfinite(number) and number > 0):
        raise Unusable(
            f"{name} is {value!r}. A number above 0 is expected. Leave out what is empty, or join "
            "it to its neighbour."
        )
    return number


def share(name: str, value: float) -> float:
    """The value as a float if it lies between 0 and 1, without either end."""
    number = _number(value)
    if not 0 < number < 1:
        raise Unusable(f"{name} is {value!r}. A share between 0 and 1 is expected, such as 0.95.")
    return number


def enough(name: str, values: Sequence[object], least: int) -> None:
    """Raises Unusable when there are fewer than `least` values."""
    if not len(values) >= least:
        raise Unusable(
            f"{name} has {len(values)}. At least {least} are needed. Wait for more, or join in "
            "a longer stretch of time."
        )


def _number(value: float) -> float:
    """The value as a float; not-a-number for what is no number at all, so that every test fails."""
    if isinstance(value, bool):
        return math.nan
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError):
        return math.nan
