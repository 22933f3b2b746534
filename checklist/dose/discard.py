"""Discard-by dates: how long an opened container may be used, in either way of counting days."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from checklist.dose.working import DoseFault, above_zero
from checklist.quantity import Quantity
from checklist.timing import said_date, span

DAYS = 28
"""Days that a multi-dose container is kept after opening, unless its maker states otherwise.

USP <797> (2008) as restated in California Code of Regulations, title 16, section 1751.9, and CDC.
"""
MAX_DAYS = 366


class Counting(StrEnum):
    """Which number the day of opening has. No source says; the ward chooses."""

    FROM_ZERO = "the day of opening is day 0"
    FROM_ONE = "the day of opening is day 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class DiscardBy:
    """The last day of use, with the lines that lead to it."""

    last_day: date
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UseBefore:
    """The last moment of use, with the lines that lead to it."""

    until: datetime
    lines: tuple[str, ...]


def discard_by(
    opened: date,
    *,
    days: int = DAYS,
    counting: Counting = Counting.FROM_ZERO,
    expiry: date | None = None,
) -> DiscardBy:
    """The last day on which an opened container may be used, never after its printed expiry.

    `days` is the maker's own number where there is one, shorter or longer. Raises DoseFault for a
    number of days that is not 1 to MAX_DAYS, or a container opened after its expiry.

    >>> discard_by(date(2026, 2, 10)).last_day
    datetime.date(2026, 3, 10)
    """
    if not 1 <= days <= MAX_DAYS:
        raise DoseFault(f"Days after opening are 1 to {MAX_DAYS}; {days} were given. Look again.")
    if expiry is not None and not opened <= expiry:
        raise DoseFault(
            f"It was opened on {said_date(opened)}, after its expiry on {said_date(expiry)}."
            " Discard it."
        )
    first = 1 if counting is Counting.FROM_ONE else 0
    last = opened + timedelta(days=days - first)
    lines = [
        f"opened {said_date(opened)}, and {counting}",
        f"day {days} = {said_date(last)}",
    ]
    if expiry is not None and expiry < last:
        last = expiry
        lines.append(f"the printed expiry comes first: {said_date(expiry)}")
    lines.append(f"last day of use = {said_date(last)}")
    return DiscardBy(last_day=last, lines=tuple(lines))


def use_before(opened: datetime, *lives: Quantity) -> UseBefore:
    """The last moment of use: opening plus the shortest of the times that hold.

    Raises DoseFault when no time is given or one is not above zero, DimensionMismatch for
    anything but times. Rule: common practice, no source.
    """
    if not lives:
        raise DoseFault("No time after opening is known. Ask the pharmacist.")
    for life in lives:
        above_zero("A time after opening", life)
    shortest = min(lives, key=lambda life: life.to("s").magnitude)
    until = opened + span(shortest)
    compared = " and ".join(str(life) for life in lives)
    return UseBefore(
        until=until,
        lines=(
            f"opened {said_date(opened.date())} {opened:%H:%M}",
            f"the shortest of {compared} = {shortest}",
            f"use before = {said_date(until.date())} {until:%H:%M}",
        ),
    )
