"""How long a trail is kept: never a day too short, and never gone while it is needed."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as some

from checklist.retention import Kept, kept_until, must_stay

DAYS = some.dates(min_value=date(1990, 1, 1), max_value=date(2200, 12, 31))


@pytest.mark.parametrize(
    ("last", "years", "until"),
    [
        (date(2026, 11, 25), 6, date(2032, 11, 26)),
        (date(2024, 2, 29), 6, date(2030, 3, 2)),
        (date(2024, 2, 29), 8, date(2032, 3, 1)),
        (date(2026, 12, 31), 1, date(2028, 1, 1)),
    ],
)
def test_the_years_count_from_the_day_after_the_last_entry(
    last: date, years: int, until: date
) -> None:
    assert kept_until(last, years) == until


@given(last=DAYS, years=some.integers(1, 200))
def test_a_trail_is_never_kept_for_less_than_its_years(last: date, years: int) -> None:
    # Whole years of at least 365 days, and of 366 where a leap day lies between.
    days = (kept_until(last, years) - last).days
    assert days > 365 * years
    assert days <= 366 * years + 1


@given(last=DAYS, years=some.integers(1, 200), wait=some.integers(-500, 100_000))
def test_it_may_go_from_its_day_on_and_not_before(last: date, years: int, wait: int) -> None:
    today = last + timedelta(days=min(wait, (date.max - last).days))
    stays = must_stay(Kept(closed=True, whole=True, last=last), years, today)
    assert bool(stays) is (today < kept_until(last, years))


@pytest.mark.parametrize(
    ("one", "why"),
    [
        (Kept(closed=False, whole=True, last=date(1990, 1, 1)), "It is in use"),
        (Kept(closed=True, whole=False, last=date(1990, 1, 1)), "not as it was recorded"),
        (Kept(closed=True, whole=True, last=None), "It is in use"),
        (Kept(closed=True, whole=True, last=date(2026, 1, 1)), "until 2032-01-02"),
    ],
)
def test_what_must_stay_says_why(one: Kept, why: str) -> None:
    assert why in must_stay(one, 6, date(2026, 11, 25))
