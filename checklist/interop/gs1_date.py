"""Dates in GS1 codes: two-figure years, day 00, times of day.

Source: century and day 00, GS1 General Specifications, section 7.12.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, time


def day_of(text: str, today: date) -> date | None:
    """YYMMDD as a day, day 00 as the last of the month; None when there is no such day."""
    if not re.fullmatch(r"[0-9]{6}", text):
        return None
    year, month, day = _year(int(text[:2]), today), int(text[2:4]), int(text[4:])
    if not 1 <= month <= 12:
        return None
    last = calendar.monthrange(year, month)[1]
    return date(year, month, day or last) if day <= last else None


def _year(figures: int, today: date) -> int:
    """The year that two figures mean, from 49 years back to 50 years ahead of today."""
    century = today.year - today.year % 100
    ahead = figures - today.year % 100
    if ahead >= 51:
        return century - 100 + figures
    if ahead <= -50:
        return century + 100 + figures
    return century + figures


def clock_of(text: str) -> time | None:
    """hhmm as a time of day; None when there is no such time."""
    if re.fullmatch(r"(?:[01][0-9]|2[0-3])[0-5][0-9]", text):
        return time(int(text[:2]), int(text[2:]))
    return None
