"""Where the figures of a drawing come from, and whether the trail behind them was whole."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime

MOST = 3
"""With more trails than these they are told together, but for any that is not whole."""
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """A trail as it was verified before its figures were used.

    `whole` is what its verification found, `trouble` its sentence if it is not; `head_seq` and
    `head_digest` (hex) are its last entry; `kept` is the head that was kept elsewhere and holds
    in it, or "" for none named; `how` says by what it was found out.
    """

    trail: str
    unit: str
    entries: int
    whole: bool
    head_seq: int
    head_digest: str
    verified_at: datetime
    trouble: str = ""
    kept: str = ""
    how: str = "verified"


def sentences(origins: tuple[Origin, ...]) -> tuple[str, ...]:
    """What stands at the foot of a drawing, one line for each trail."""
    if not origins:
        return ("No trail stands behind these figures: they were given as they are.",)
    broken = [origin for origin in origins if not origin.whole]
    if len(origins) <= MOST:
        return tuple(_sentence(origin) for origin in origins)
    units = ", ".join(sorted({origin.unit for origin in origins}))
    heads = hashlib.sha256("".join(origin.head_digest for origin in origins).encode()).hexdigest()
    state = f"{len(broken)} NOT AS RECORDED" if broken else "all whole"
    latest = max(origin.verified_at for origin in origins)
    whole = (
        f"{len(origins)} trails of {units}: {sum(origin.entries for origin in origins)} entries,"
        f" {state}, {origins[0].how} {when(latest)}; all heads together"
        f" {' '.join(_fours(heads[:32]))}."
    )
    return (whole, *(_sentence(origin) for origin in broken[:MOST]))


def stamp(origins: tuple[Origin, ...]) -> str:
    """What is written across a drawing from a trail that is not as it was recorded; else ""."""
    broken = [origin.trail for origin in origins if not origin.whole]
    return f"Not to be relied on: trail {', '.join(broken)} has been changed" if broken else ""


def when(at: datetime) -> str:
    """A time in words that cannot be mistaken, in UTC."""
    utc = at.astimezone(UTC)
    return f"{utc.day} {_MONTHS[utc.month - 1]} {utc.year} {utc:%H:%M} UTC"


def _sentence(origin: Origin) -> str:
    state = "whole" if origin.whole else f"NOT AS IT WAS RECORDED. {origin.trouble}".rstrip()
    head = f"head entry {origin.head_seq}, {' '.join(_fours(origin.head_digest[:32]))}"
    kept = f"; holds the head kept elsewhere, {origin.kept}" if origin.kept else ""
    return (
        f"Trail {origin.trail} of {origin.unit}: {origin.entries} entries, {state},"
        f" {origin.how} {when(origin.verified_at)}; {head}{kept}."
    )


def _fours(text: str) -> list[str]:
    return [text[place : place + 4] for place in range(0, len(text), 4)]
