"""How long a trail is kept: only one that is closed for good, whole, and past its years may go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A trail file as far as its keeping goes.

    `closed` says that its last entry closes it for good, `whole` that every entry is as it was
    recorded; `last` is the day of its newest entry, None for an empty trail.
    """

    closed: bool
    whole: bool
    last: date | None


def kept_until(last: date, years: int) -> date:
    """The first day on which a trail may go, its newest entry being of the day `last`.

    The years count from the day after it; 29 February counts to 1 March where there is none.
    """
    try:
        anniversary = last.replace(year=last.year + years)
    except ValueError:
        anniversary = date(last.year + years, 3, 1)
    return date.fromordinal(anniversary.toordinal() + 1)


def must_stay(one: Kept, years: int, today: date) -> str:
    """Why a trail must stay, as a sentence; "" once it may go."""
    if not one.whole:
        return "It is not as it was recorded. Keep it as it is, and call IT."
    if not one.closed or one.last is None:
        return "It is in use. `checklist trail archive` closes it and begins the next one."
    until = kept_until(one.last, years)
    if today >= until:
        return ""
    return f"It is kept for {years} years after its last entry: until {until.isoformat()}."
