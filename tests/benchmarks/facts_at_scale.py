"""Questions on a million preparations against the same query written by hand in DuckDB.

    python -m tests.benchmarks.facts_at_scale [PREPARATIONS] [FOLDER]

The facts are drawn by DuckDB straight into Parquet, by month and unit, since playing a million
preparations through the engine takes hours; their form is that of the export. Each query runs in a
process of its own, which prints its least time and the most memory that it held. Nothing passes or
fails.
"""

from __future__ import annotations

import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import duckdb

from checklist.facts.asking import QUESTIONS
from checklist.facts.engine import Duck
from checklist.facts.folder import FORMAT, LIST, Folder
from checklist.facts.row import TABLES, columns

STEPS = 25
MONTHS = 12
UNITS = ("W3N", "W7E", "ACU")
TIMES = 5

_TYPES = {"text": "VARCHAR", "whole": "BIGINT", "number": "DOUBLE"}

# What a column holds where it is not the empty text or nought; n is the preparation's number, s
# that of the step, and h a number that looks drawn.
_BASE = {
    "preparation": "printf('%016x', hash(n))",
    "unit": "'{unit}'",
    "month": "'2026-{month:02d}'",
    "week": "printf('2026-W%02d', least(({month} - 1) * 31 + n % 31, 364) // 7 + 1)",
    "container": "['glass_ampoule','powder_vial','prefilled_syringe','nebule'][h % 4 + 1]",
}
_OWN = {
    "preparations": {
        "preparer": "printf('p-%03d', h % 40)",
        "ending": "if(h % 50 = 0, 'discarded', 'given')",
        "dose_in": "if(h % 50 = 0, 0, 1)",
        "refusals": "if(h % 10 = 0, 1, 0)",
        "entries": f"{STEPS + 1}",
        "hour": "h % 24",
        "weekday": "n % 7 + 1",
        "seconds": "300 + h % 900",
    },
    "steps": {
        "step": "printf('step_%02d', s)",
        "phase": "printf('phase_%d', s // 5)",
        "stage": "'open'",
        "who": "'preparer'",
        "person": "printf('p-%03d', h % 40)",
        "outcome": "if(h % 250 = s, 'refused', 'passed')",
        "attempt": "1",
        "number": "s + 1",
        "seconds": "exp(2.5 + ((h * 2654435761 + s * 40503) % 1000) / 500.0)",
        "shortest": "5",
    },
    "findings": {
        "step": "printf('step_%02d', h % 25)",
        "reason": "printf('reason_%02d', (h // 10) % 30)",
        "tier": "'hard'",
        "hazard": "printf('H%02d', (h // 10) % 30 + 1)",
        "fate": "if(h % 50 = 0, 'discarded', 'recovered')",
        "wait": "exp(4 + ((h // 10) % 1000) / 500.0)",
        "stage": "'drawn up'",
        "who": "'preparer'",
    },
}  # fmt: skip
_ROWS = {
    "preparations": "",
    "steps": f", (SELECT unnest(range({STEPS})) AS s) AS each_step",
    "findings": "",
}
_WHERE = {"preparations": "1 = 1", "steps": "1 = 1", "findings": "h % 10 = 0"}

ASKED = ("reasons-weekly", "funnel", "time", "recovery", "refused-weekly")
BY_HAND = {
    "reasons-weekly": """
WITH m AS (SELECT unit, week, count(*) AS n, count(DISTINCT preparer) AS p
           FROM read_parquet('{preparations}') GROUP BY ALL)
SELECT f.unit, f.week, f.reason, count(*), count(DISTINCT f.preparation), any_value(m.n),
       any_value(m.p)
FROM read_parquet('{findings}') f JOIN m ON m.unit = f.unit AND m.week = f.week
WHERE tier = 'hard' GROUP BY f.unit, f.week, f.reason ORDER BY ALL""",
    "funnel": """
WITH m AS (SELECT container, count(*) AS n, count(DISTINCT preparer) AS p
           FROM read_parquet('{preparations}') GROUP BY ALL)
SELECT s.container, phase, step, count(*) AS reached, count(*) FILTER (outcome = 'passed'),
       any_value(m.n), any_value(m.p)
FROM read_parquet('{steps}') s JOIN m ON m.container = s.container
WHERE side = '' AND item = '' AND attempt = 1 GROUP BY s.container, phase, step
ORDER BY s.container, avg(number)""",
    "time": """
WITH m AS (SELECT container, count(*) AS n, count(DISTINCT preparer) AS p
           FROM read_parquet('{preparations}') GROUP BY ALL)
SELECT s.container, step, count(*), quantile_disc(seconds, 0.5), quantile_disc(seconds, 0.9),
       sum(seconds), any_value(m.n), any_value(m.p)
FROM read_parquet('{steps}') s JOIN m ON m.container = s.container
WHERE side = '' GROUP BY s.container, step ORDER BY ALL""",
    "recovery": """
SELECT reason, count(*), count(*) FILTER (fate = 'recovered'),
       count(*) FILTER (fate IN ('discarded', 'abandoned')),
       quantile_disc(wait, 0.5) FILTER (fate = 'recovered'),
       quantile_disc(wait, 0.9) FILTER (fate = 'recovered'),
       count(*) FILTER (fate <> 'recovered' OR wait > 600),
       (SELECT count(*) FROM read_parquet('{preparations}')),
       (SELECT count(DISTINCT preparer) FROM read_parquet('{preparations}'))
FROM read_parquet('{findings}') WHERE tier = 'hard' GROUP BY reason ORDER BY reason""",
    "refused-weekly": """
SELECT unit, week, count(*) FILTER (refusals > 0), count(*), count(DISTINCT preparer)
FROM read_parquet('{preparations}') GROUP BY ALL ORDER BY ALL""",
}


def synthesised(folder: Path, preparations: int) -> None:
    """Facts of so many preparations that nobody made, as Parquet with the list that counts them."""
    db: Any = duckdb.connect()
    files = []
    each = preparations // (MONTHS * len(UNITS))
    for table in TABLES:
        for number, (month, unit) in enumerate((m, u) for m in range(1, 13) for u in UNITS):
            path = f"{table}/month=2026-{month:02d}/unit={unit}/made.parquet"
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            told = {**_BASE, **_OWN.get(table, {})}
            cells = ", ".join(
                f"CAST({told.get(name, _empty(kind)).format(unit=unit, month=month)}"
                f" AS {_TYPES[kind]}) AS {name}"
                for name, kind in columns(table).items()
            )
            first = number * each
            source = (
                f"(SELECT n, CAST(hash(n) % 1000003 AS BIGINT) AS h FROM"
                f" range({first}, {first + (each if table in _ROWS else 0)}) AS t(n)) AS made"
                f"{_ROWS.get(table, '')}"
            )
            db.execute(
                f"COPY (SELECT {cells} FROM {source} WHERE {_WHERE.get(table, '1 = 1')})"
                f" TO '{folder / path}' (FORMAT parquet, COMPRESSION zstd)"
            )
            files.append({
                "table": table, "path": path, "rows": 0, "sha256": "", "trail": "made",
                "open": False,
            })  # fmt: skip
    listed = {"format": FORMAT, "trails": {}, "files": files}
    (folder / LIST).write_text(json.dumps(listed), encoding="utf-8")


def _empty(kind: str) -> str:
    return {"text": "''", "whole": "0", "number": "0.0"}[kind]


def one(folder: Path, name: str, whose: str) -> None:
    """Run one query some times in this process; print its time, rows and memory as JSON."""
    if whose == "ours":
        engine, sql = Duck(Folder(folder)), QUESTIONS[name].sql

        def ask() -> tuple[Any, ...]:
            return engine.rows(sql).rows
    else:
        globs = {t: str(folder / t / "*" / "*" / "*.parquet") for t in TABLES}
        db: Any = duckdb.connect()
        sql = BY_HAND[name].format(**globs)

        def ask() -> tuple[Any, ...]:
            return tuple(db.execute(sql).fetchall())

    taken, worked = [], []
    for _ in range(TIMES):
        start, began = time.perf_counter(), time.process_time()
        rows = ask()
        taken.append(time.perf_counter() - start)
        worked.append(time.process_time() - began)
    numbers = sorted(
        repr([round(float(v), 3) for v in row if isinstance(v, int | float)]) for row in rows
    )
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({
        "seconds": min(taken), "worked": min(worked), "rows": len(rows), "megabytes": most,
        "digest": hashlib.sha256("".join(numbers).encode()).hexdigest()[:8],
    }))  # fmt: skip


def run(folder: Path, preparations: int) -> None:
    """Make the facts if need be, and print one line for each question."""
    if not (folder / LIST).exists():
        start = time.perf_counter()
        synthesised(folder, preparations)
        print(f"{preparations:,} preparations synthesised in {time.perf_counter() - start:.0f} s")
    size = sum(each.stat().st_size for each in folder.rglob("*.parquet")) / 2**20
    print(
        f"{preparations:,} preparations, {preparations * STEPS:,} steps, {size:.0f} MB of Parquet"
    )
    for name in ASKED:
        found = {}
        for whose in ("ours", "by hand"):
            command = [sys.executable, "-m", __spec__.name, "--one", str(folder), name, whose]
            ran = subprocess.run(command, capture_output=True, text=True, check=True)
            found[whose] = json.loads(ran.stdout)
        ours, base = found["ours"], found["by hand"]
        ratio = ours["seconds"] / base["seconds"]
        work = ours["worked"] / base["worked"]
        print(
            f"{name}: {ours['seconds']:.3f} s, {ours['megabytes']:.0f} MB; by hand"
            f" {base['seconds']:.3f} s, {base['megabytes']:.0f} MB; ratio {ratio:.2f},"
            f" of processor time {work:.2f} (goal 1.2);"
            f" {ours['rows']} and {base['rows']} rows"
        )


def main() -> None:
    if sys.argv[1:2] == ["--one"]:
        one(Path(sys.argv[2]), sys.argv[3], sys.argv[4])
        return
    preparations = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    kept = Path(sys.argv[2]) if len(sys.argv) > 2 else None
    folder = kept or Path(tempfile.mkdtemp(prefix="facts-", dir=os.environ.get("TMPDIR")))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        run(folder, preparations)
    finally:
        if kept is None:
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()
