"""The two engines that answer questions on facts: DuckDB on Parquet, SQLite on a small copy.

Both hold the same tables and views with the same names and columns, so that every question is
written once. `percentile(x, p)` is the value at rank ceil(p n), in both.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self

from checklist.extra import wanted
from checklist.facts.folder import EXTRA, FactsFault, Folder
from checklist.facts.label import found_view
from checklist.facts.row import TABLES, columns

_TYPES = {
    "duckdb": {"text": "VARCHAR", "whole": "BIGINT", "number": "DOUBLE"},
    "sqlite": {"text": "TEXT NOT NULL", "whole": "INTEGER NOT NULL", "number": "REAL"},
}
_INDEXES = ("preparation", "week, unit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Which preparations are asked about; "" for all. Months are as in the facts, "2026-01"."""

    unit: str = ""
    container: str = ""
    first_month: str = ""
    last_month: str = ""

    def condition(self) -> str:
        """The scope as SQL over the columns that every table has."""
        parts = [
            f"{column} {sign} {quoted(value)}"
            for column, sign, value in (
                ("unit", "=", self.unit),
                ("container", "=", self.container),
                ("month", ">=", self.first_month),
                ("month", "<=", self.last_month),
            )
            if value
        ]
        return " AND ".join(parts) or "1 = 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """A table: the names of its columns and its rows."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    def dicts(self) -> list[dict[str, Any]]:
        """The rows by the names of their columns."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


class Engine(Protocol):
    """Anything that answers SQL on the tables of facts."""

    def rows(self, sql: str) -> Answer:
        """The rows that a SELECT gives."""

    def close(self) -> None:
        """Let go of everything."""


class Duck:
    """DuckDB over the Parquet files of a folder. Raises NeedsExtra, FactsFault."""

    def __init__(
        self,
        folder: Folder,
        *,
        scope: Scope = Scope(),
        near_miss: str = "stop",
        severities: Mapping[str, int] | None = None,
        harms: Mapping[str, str] | None = None,
        memory: str = "",
    ) -> None:
        duckdb = wanted("duckdb", EXTRA)
        self._faults = duckdb.Error
        self._db = duckdb.connect(":memory:")
        self._done("SET enable_progress_bar = false")
        if memory:
            self._done(f"SET memory_limit = {quoted(memory)}")
        self._done("CREATE MACRO percentile(x, p) AS quantile_disc(x, p)")
        for table in TABLES:
            self._done(f"CREATE VIEW {table} AS {self._source(folder, table, scope)}")
        self._done("CREATE TABLE hazards (id VARCHAR, severity BIGINT)")
        for id_, severity in sorted((severities or {}).items()):
            self._done("INSERT INTO hazards VALUES (?, ?)", [id_, severity])
        self._done("CREATE TABLE harms (id VARCHAR, letter VARCHAR)")
        for id_, letter in sorted((harms or {}).items()):
            self._done("INSERT INTO harms VALUES (?, ?)", [id_, letter])
        self._done(f"CREATE VIEW found AS {found_view(near_miss)}")

    @staticmethod
    def _source(folder: Folder, table: str, scope: Scope) -> str:
        paths = folder.paths(table)
        if paths:
            files = f"[{', '.join(map(quoted, paths))}]"
            source = f"read_parquet({files}, hive_partitioning = false)"
            return f"SELECT * FROM {source} WHERE {scope.condition()}"
        kinds = _TYPES["duckdb"]
        empty = ", ".join(f"CAST(NULL AS {kinds[k]}) AS {n}" for n, k in columns(table).items())
        return f"SELECT {empty} WHERE 1 = 0"

    def rows(self, sql: str) -> Answer:
        """The rows that a SELECT gives. Raises FactsFault."""
        with _readable(self._faults):
            found = self._db.execute(sql)
            names = tuple(each[0] for each in found.description)
            return Answer(columns=names, rows=tuple(found.fetchall()))

    def _done(self, sql: str, values: Sequence[str | int] = ()) -> None:
        with _readable(self._faults):
            self._db.execute(sql, list(values))

    def close(self) -> None:
        """Let go of everything."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Small:
    """SQLite with the same tables, in memory or in a new file."""

    def __init__(
        self,
        rows: Mapping[str, Iterable[Sequence[Any]]],
        *,
        file: Path | None = None,
        scope: Scope = Scope(),
        near_miss: str = "stop",
        severities: Mapping[str, int] | None = None,
        harms: Mapping[str, str] | None = None,
    ) -> None:
        self.db = sqlite3.connect(file or ":memory:")
        self.db.create_aggregate("percentile", 2, _Percentile)
        with self.db:
            for table in TABLES:
                self._filled(table, rows.get(table, ()), scope)
            self.db.execute("CREATE TABLE hazards (id TEXT NOT NULL, severity INTEGER NOT NULL)")
            self.db.executemany(
                "INSERT INTO hazards VALUES (?, ?)", sorted((severities or {}).items())
            )
            self.db.execute("CREATE TABLE harms (id TEXT NOT NULL, letter TEXT NOT NULL)")
            self.db.executemany("INSERT INTO harms VALUES (?, ?)", sorted((harms or {}).items()))
            self.db.execute(f"CREATE VIEW found AS {found_view(near_miss)}")

    def _filled(self, table: str, rows: Iterable[Sequence[Any]], scope: Scope) -> None:
        kinds = _TYPES["sqlite"]
        form = columns(table)
        body = ", ".join(f'"{name}" {kinds[kind]}' for name, kind in form.items())
        self.db.execute(f"CREATE TABLE {table} ({body})")
        marks = ", ".join("?" * len(form))
        self.db.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)
        self.db.execute(f"DELETE FROM {table} WHERE NOT ({scope.condition()})")
        for number, index in enumerate(_INDEXES):
            self.db.execute(f"CREATE INDEX {table}_{number} ON {table} ({index})")

    def rows(self, sql: str) -> Answer:
        """The rows that a SELECT gives."""
        found = self.db.execute(sql)
        names = tuple(each[0] for each in found.description)
        return Answer(columns=names, rows=tuple(found.fetchall()))

    def close(self) -> None:
        """Let go of everything."""
        self.db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class _Percentile:
    """The nearest-rank percentile as an aggregate of SQLite."""

    def __init__(self) -> None:
        self._values: list[float] = []
        self._share = 0.0

    def step(self, *given: Any) -> None:
        value, share = given
        self._share = share
        if value is not None:
            self._values.append(value)

    def finalize(self) -> Any:
        if not self._values:
            return None
        rank = max(math.ceil(self._share * len(self._values)), 1)
        return sorted(self._values)[rank - 1]


def rows_of(folder: Folder) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of a folder by table, for a small copy. Raises NeedsExtra, FactsFault."""
    parquet, pyarrow = wanted("pyarrow.parquet", EXTRA), wanted("pyarrow", EXTRA)
    found: dict[str, list[tuple[Any, ...]]] = {}
    for table in TABLES:
        names = list(columns(table))
        rows = found[table] = []
        for path in folder.paths(table):
            with _readable(pyarrow.ArrowException):
                read = parquet.ParquetFile(path).read(columns=names)
            rows.extend(zip(*(column.to_pylist() for column in read.columns), strict=True))
    return found


@contextmanager
def _readable(faults: type[Exception]) -> Iterator[None]:
    """Turn what a library has against the files of facts into FactsFault."""
    try:
        yield
    except faults as fault:
        raise FactsFault(
            f"The facts cannot be read ({str(fault).splitlines()[0]}). Look with"
            " `checklist facts verify`, or export them anew into another folder."
        ) from fault


def quoted(text: str) -> str:
    """Text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"
