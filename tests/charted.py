"""Facts of an invented unit, made row by row, for charts: 26 weeks, six people, one change."""

from __future__ import annotations

import random
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from checklist.facts.folder import File, Folder, Read, with_files
from checklist.facts.row import TABLES, Base

WEEKS, A_WEEK, CHANGED = 26, 24, 18
DIGEST = "7f3a91c20d44e8b1" * 4


def row(table: str, **known: Any) -> Base:
    """A row of a table; what is not named is empty."""
    empty = {"str": "", "int": 0, "float": 0.0, "float | None": None}
    form = TABLES[table]
    values = {each.name: empty[str(each.type)] for each in fields(form)}
    return form(**{**values, **known})


def folder(path: Path, *, units: tuple[str, ...] = ("W7E", "W3N"), seed: int = 5) -> Folder:
    """A folder of facts of these units; from week CHANGED on there are new rules."""
    draw = random.Random(seed)
    preparations: list[Base] = []
    findings: list[Base] = []
    steps: list[Base] = []
    start = datetime(2026, 1, 5, 9, tzinfo=UTC)
    for unit in units:
        for week in range(WEEKS):
            for place in range(A_WEEK):
                at = start + timedelta(weeks=week, hours=5 * place)
                year, number, _ = at.isocalendar()
                base = {
                    "preparation": f"{unit}-{week:02d}-{place:02d}",
                    "unit": unit,
                    "month": f"{at:%Y-%m}",
                    "week": f"{year}-W{number:02d}",
                    "container": "glass_ampoule",
                }
                stops = int(draw.random() < 0.2)
                new = week >= CHANGED
                preparations.append(
                    row(
                        "preparations", **base, opened_at=f"{at:%Y-%m-%dT%H:%M:%S.000000Z}",
                        day=f"{at:%Y-%m-%d}", workflow="glass_ampoule", version="2" if new else "1",
                        rules="b" if new else "a", preparer=f"p{place % 6}", ending="given",
                        dose_in=1, refusals=stops, seconds=300.0 + draw.random() * 60,
                    )
                )  # fmt: skip
                for attempt, outcome in enumerate(["refused"] * stops + ["passed"], 1):
                    steps.append(
                        row(
                            "steps", **base, seq=attempt, step="draw_up", phase="draw",
                            stage="drawn up", who="preparer", person=f"p{place % 6}",
                            at=f"{at + timedelta(seconds=40 * attempt):%Y-%m-%dT%H:%M:%S.000000Z}",
                            outcome=outcome, attempt=attempt, seconds=40.0 - attempt, shortest=10,
                        )
                    )  # fmt: skip
                if stops:
                    findings.append(
                        row(
                            "findings", **base, seq=1, tier="hard", person=f"p{place % 6}",
                            preparer=f"p{place % 6}", fate="recovered", wait=draw.uniform(20, 99),
                            reason=draw.choice(["volume_over_target", "filter_missing", "=cmd"]),
                            step="draw_up", stage="drawn up", phase="draw",
                        )
                    )  # fmt: skip
    made = Folder(path)
    files: list[File] = []
    for table, rows in (("preparations", preparations), ("findings", findings), ("steps", steps)):
        files += made.write(table, rows, trail="t1", name="1")
    before = made.exported()
    made.commit(
        before, with_files(before, files, "t1", Read(unit=units[0], through=4021, digest=DIGEST))
    )
    return made
