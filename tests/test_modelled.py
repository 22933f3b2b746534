"""Questions that take a method, on small tables whose answers are known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

import pytest

from checklist.facts.engine import Small
from checklist.facts.modelled import MODELLED, Worked
from checklist.facts.row import TABLES, PreparationFact, columns
from checklist.review.small_cell import TOO_FEW, Floor

FLOOR = Floor(people=5, preparations=20)
DEFAULTS = {"str": "", "int": 0, "float": 0.0, "float | None": None}


def preparation(number: int, **known: Any) -> tuple[Any, ...]:
    values = {each.name: DEFAULTS[str(each.type)] for each in fields(PreparationFact)}
    values |= {
        "preparation": f"x{number:05d}", "unit": "U", "container": "glass_ampoule",
        "month": "2026-01", "day": "2026-01-05", "weekday": 1, "hour": 9, "ending": "given",
        "opened_at": f"{number:06d}",
    }  # fmt: skip
    values |= known
    return tuple(values[name] for name in columns("preparations"))


def finding(id_: str) -> tuple[Any, ...]:
    """A stop by a comparison in one preparation."""
    kinds = {"text": "", "whole": 0, "number": 0.0}
    values = {name: kinds[kind] for name, kind in columns("findings").items()}
    values |= {"preparation": id_, "tier": "hard", "barrier": "volume", "who": "preparer"}
    return tuple(values.values())


def answer(
    name: str, made: Sequence[tuple[Any, ...]], stops: Sequence[str] = (), day: str = ""
) -> Worked:
    rows: dict[str, Iterator[tuple[Any, ...]]] = {table: iter(()) for table in TABLES}
    rows["preparations"] = iter(made)
    rows["findings"] = iter([finding(id_) for id_ in stops])
    with Small(rows) as small:
        return MODELLED[name].work(small, FLOOR, day)


def test_a_night_with_twice_the_stops_is_shown_so() -> None:
    made = [
        preparation(
            n, preparer=f"p{n % 8}", hour=2 if n >= 160 else 9, refusals=int(n % 10 < 2)
            if n >= 160 else int(n % 10 < 1),
        )
        for n in range(320)
    ]  # fmt: skip
    rows = {row[1]: row for row in answer("shift-ratios", made).rows if row[0] == "shift"}
    assert rows["night"][2:6] == (32, 160, 8, 2.0) and rows["early"][5] == 0.5
    assert rows["night"][6] < 2 < rows["night"][7]


def test_one_person_behind_much_of_it_is_told() -> None:
    made = [
        preparation(
            n, preparer="a" if n % 2 else f"p{n % 12}", hour=9 + 13 * (n % 48 < 24),
            refusals=n % 5 == 0,
        )
        for n in range(240)
    ]  # fmt: skip
    notes = " ".join(answer("shift-ratios", made).notes)
    assert "One person did 50 % of the work" in notes and "rather too narrow" in notes


def test_stops_that_double_with_each_break_have_a_factor_of_two() -> None:
    """Stops 1, 2 and 4 for 20 preparations at 0, 1 and 2 breaks, the same for everybody."""
    made, number = [], 0
    for person in range(6):
        for breaks in range(3):
            for place in range(20):
                number += 1
                made.append(
                    preparation(
                        number, preparer=f"p{person}", breaks=breaks, hour=place,
                        day=f"2026-01-{1 + person % 2:02d}", refusals=int(place < 2**breaks),
                    )
                )  # fmt: skip
    # Two hours that are busier, so that the load differs.
    for place in range(12):
        # One stop among them, or a busy hour would have no finite factor.
        made.append(preparation(9000 + place, preparer=f"p{place % 6}", hour=22, breaks=place % 3))
        made.append(
            preparation(9100 + place, preparer=f"p{place % 6}", hour=21, refusals=int(place < 1))
        )
    rows = {row[0]: row for row in answer("workload", made).rows}
    assert rows["break"][1] == pytest.approx(2, abs=0.1) and rows["break"][2] > 1
    assert rows["break"][5:] == (43, 384, 6)


def test_half_of_the_trainees_are_competent_by_the_attempt_at_which_half_are() -> None:
    """Six new people: three right from the first (19 in a row), one later, two who left early."""
    made = [preparation(n, preparer="old", month="2026-01") for n in range(20)]
    stops, number = [], 100
    for person, attempts, missed in (
        ("a", 25, ()), ("b", 19, ()), ("c", 30, ()), ("d", 40, (0, 1)), ("e", 6, ()),
        ("f", 9, (2,)),
    ):  # fmt: skip
        for attempt in range(attempts):
            number += 1
            made.append(preparation(number, preparer=person, month="2026-03"))
            if attempt in missed:
                stops.append(f"x{number:05d}")
    found = answer("competence", made, stops)
    first = found.rows[0]
    assert first[0] == 19 and first[1] == 75.0 and first[5] == 6
    assert first[4] == 1 and "Half are competent by attempt 19." in found.notes
    assert answer("competence", made[:60]).rows[0][0] == TOO_FEW


def test_a_session_is_judged_by_the_people_who_changed() -> None:
    """Eight people with a stop before only, two with none: McNemar's exact P is 2 / 2**8."""
    made = [
        preparation(
            10 * n + after, preparer=f"p{n}", day="2026-02-01" if after else "2026-01-01",
            refusals=int(n < 8 and not after),
        )
        for n in range(10)
        for after in (0, 1)
    ]  # fmt: skip
    found = answer("session", made, day="2026-01-15")
    assert found.rows[0][1:4] == (8, 0, -8) and found.rows[0][6] == pytest.approx(
        2 / 2**8, rel=1e-2
    )
    assert found.rows[1][1:4] == (80.0, 0.0, 0.0)
    assert answer("session", made, day="2025-01-01").rows[0][0] == TOO_FEW
