"""Times of day, spans and dates: exact inside, in people's words outside."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from checklist.quantity import Quantity
from checklist.unit import Unit


def span(quantity: Quantity) -> timedelta:
    """A quantity of time as a timedelta, exact to the microsecond."""
    return timedelta(microseconds=int(quantity.to("s").magnitude * 1_000_000))


def said_span(time: timedelta) -> str:
    """A length of time in words that people use: "40 s", "12 min", "1 h 5 min", "3 days"."""
    seconds = int(time.total_seconds())
    if seconds < 60:
        return f"{seconds} s"
    minutes = seconds // 60
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} days"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def said_date(day: date) -> str:
    """A date that cannot be read in two ways: "31 Aug 2027"."""
    return f"{day.day} {day:%b %Y}"


def said_moment(at: datetime, unit: Unit) -> str:
    """A moment with its date as the ward's clock shows it: "31 Aug 2027 14:05"."""
    local = unit.local(at)
    return f"{said_date(local.date())} {local:%H:%M}"


def said_time(at: datetime, unit: Unit, now: datetime) -> str:
    """A time as the ward's clock shows it, with the date when it is not today's."""
    local = unit.local(at)
    if local.date() == unit.local(now).date():
        return f"{local:%H:%M}"
    return f"{said_date(local.date())}, {local:%H:%M}"
