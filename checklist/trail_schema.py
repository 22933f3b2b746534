"""The form of a trail: its tables and triggers, and what a connection to it may do."""

from __future__ import annotations

import sqlite3
from functools import cache

from checklist.chain import DIGEST_BYTES, Row

APPLICATION_ID = int.from_bytes(b"ClTr", "big")
FORM = 2
"""The number of this form, kept as SQLite's user_version; `trail_forms` knows the older ones."""
DEFINITION_KINDS = ("workflow", "unit", "formulary")
LONGEST_NAME = 200
"""Most characters in an id, a code, a place or a name."""
LONGEST_BODY = 262_144
LONGEST_TEXT = 16_777_216
"""Most characters in a definition: a large formulary has some millions."""

COLUMNS = ", ".join(f'"{name}"' for name in Row._fields)
INSERT = f"INSERT INTO main.entries ({COLUMNS}) VALUES ({', '.join('?' * len(Row._fields))})"


def _name(column: str, least: int = 1, key: str = "") -> str:
    fits = f'CHECK (length("{column}") BETWEEN {least} AND {LONGEST_NAME})'
    return f'"{column}" TEXT {key}NOT NULL {fits}'


def _of(names: tuple[str, ...]) -> str:
    return ", ".join(f"'{name}'" for name in names)


def _time(column: str) -> str:
    return f"{column} TEXT NOT NULL CHECK ({column} GLOB '????-??-??T??:??:??.??????Z')"


def _digest(column: str) -> str:
    return f"{column} BLOB NOT NULL CHECK (length({column}) = {DIGEST_BYTES})"


def _barred(table: str, act: str, why: str) -> str:
    return (
        f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table}\n"
        f"BEGIN SELECT RAISE(ABORT, '{why}'); END"
    )


def _once(table: str, condition: str) -> str:
    """REPLACE would take a row away before a delete is seen, so a key is never given twice."""
    return (
        f"CREATE TRIGGER {table}_once BEFORE INSERT ON {table} WHEN {condition}\n"
        f"BEGIN SELECT RAISE(ABORT, 'what stands in {table} is never replaced'); END"
    )


SCHEMA = (
    f"""CREATE TABLE trail (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  {_name("id")},
  {_name("unit")},
  {_time("created_at")},
  {_digest("genesis")}
) STRICT""",
    f"""CREATE TABLE definitions (
  digest TEXT PRIMARY KEY NOT NULL CHECK (length(digest) = 64 AND digest NOT GLOB '*[^0-9a-f]*'),
  kind TEXT NOT NULL CHECK (kind IN ({_of(DEFINITION_KINDS)})),
  {_name("name")},
  text TEXT NOT NULL CHECK (length(text) <= {LONGEST_TEXT})
) STRICT""",
    f"""CREATE TABLE entries (
  seq INTEGER PRIMARY KEY CHECK (seq > 0),
  {_name("id")} UNIQUE,
  {_name("preparation", 0)},
  turn INTEGER NOT NULL
    CHECK (turn >= 0 AND (preparation = '' OR (turn = 0) = (kind = 'opened'))),
  kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 40 AND kind NOT GLOB '*[^a-z_]*'),
  {_name("place", 0)},
  {_name("lands", 0)} CHECK ((preparation = '') = (lands = '')),
  {_time("at")},
  {_name("by")},
  {_name("station", 0)},
  {_name("channel", 0)},
  body TEXT NOT NULL CHECK (json_valid(body) AND length(body) <= {LONGEST_BODY}),
  {_digest("previous")},
  {_digest("digest")},
  UNIQUE (preparation, turn)
) STRICT""",
    f"""CREATE TABLE private (
  {_name("reference", key="PRIMARY KEY ")},
  {_name("preparation", 0)},
  {_name("field")},
  {_name("person", 0)},
  text TEXT NOT NULL CHECK (length(text) <= {LONGEST_BODY})
) STRICT""",
    "CREATE INDEX openings ON entries (seq) WHERE kind = 'opened'",
    _barred("trail", "update", "a trail keeps its name"),
    _barred("trail", "delete", "a trail keeps its name"),
    _once("trail", "EXISTS (SELECT 1 FROM trail)"),
    _barred("definitions", "update", "a definition is never changed"),
    _barred("definitions", "delete", "a definition is never removed"),
    _once("definitions", "EXISTS (SELECT 1 FROM definitions WHERE digest = new.digest)"),
    _barred("entries", "update", "an entry is never changed"),
    _barred("entries", "delete", "an entry is never removed"),
    _once("entries", "EXISTS (SELECT 1 FROM entries WHERE id = new.id)"),
    """CREATE TRIGGER entries_follow BEFORE INSERT ON entries
WHEN new.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entries)
  OR new.previous IS NOT coalesce((SELECT digest FROM entries ORDER BY seq DESC LIMIT 1),
                                  (SELECT genesis FROM trail))
BEGIN SELECT RAISE(ABORT, 'an entry follows the last one'); END""",
    """CREATE TRIGGER entries_turn BEFORE INSERT ON entries
WHEN new.turn IS NOT (SELECT coalesce(max(turn), -1) + 1 FROM entries
                      WHERE preparation = new.preparation)
BEGIN SELECT RAISE(ABORT, 'a turn follows the last one of its preparation'); END""",
    """CREATE TRIGGER entries_archived BEFORE INSERT ON entries
WHEN (SELECT kind FROM entries ORDER BY seq DESC LIMIT 1) = 'archived'
BEGIN SELECT RAISE(ABORT, 'an archived trail takes nothing more'); END""",
    _barred("private", "update", "a sealed text is never changed"),
    _once("private", "EXISTS (SELECT 1 FROM private WHERE reference = new.reference)"),
)

_READABLE = ("trail", "definitions", "entries", "private", "sqlite_master")
_GROWING = ("definitions", "entries", "private")
_FUNCTIONS = ("coalesce", "count", "glob", "json_extract", "json_valid", "length", "max")
_QUESTIONS = (
    "application_id",
    "foreign_keys",
    "integrity_check",
    "journal_mode",
    "recursive_triggers",
    "schema_version",
    "synchronous",
    "user_version",
)


SAVEPOINT = "act"
"""The one savepoint there is: that of an act which is recorded together with others."""


def guard(
    action: int, first: str | None, second: str | None, database: str | None, _: str | None
) -> int:
    """The authorizer of every connection: reading, adding, and erasing sealed texts; no more."""
    if action == sqlite3.SQLITE_SELECT:
        allowed = True
    elif action == sqlite3.SQLITE_READ:
        allowed = first in _READABLE and database in ("main", None)  # None: within a trigger
    elif action == sqlite3.SQLITE_FUNCTION:
        allowed = second in _FUNCTIONS
    elif action == sqlite3.SQLITE_INSERT:
        allowed = first in _GROWING and database == "main"
    elif action == sqlite3.SQLITE_DELETE:
        allowed = first == "private" and database == "main"
    elif action == sqlite3.SQLITE_PRAGMA:
        allowed = first in _QUESTIONS and second is None
    elif action == sqlite3.SQLITE_SAVEPOINT:
        allowed = second == SAVEPOINT
    else:
        allowed = action == sqlite3.SQLITE_TRANSACTION
    return sqlite3.SQLITE_OK if allowed else sqlite3.SQLITE_DENY


@cache
def _expected() -> dict[tuple[str, str], tuple[str, str | None]]:
    """What the schema table of a new trail says, as this SQLite itself writes it."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    for statement in SCHEMA:
        db.execute(statement)
    found = _objects(db)
    db.close()
    return found


def _objects(db: sqlite3.Connection) -> dict[tuple[str, str], tuple[str, str | None]]:
    rows = db.execute("SELECT type, name, tbl_name, sql FROM main.sqlite_master")
    return {(kind, name): (table, sql) for kind, name, table, sql in rows}


def schema_faults(db: sqlite3.Connection) -> tuple[str, ...]:
    """A sentence for each table, index, trigger or view that is missing, changed or not ours."""
    expected, found = _expected(), _objects(db)
    missing = [f"The {k} {n} is missing." for k, n in sorted(expected.keys() - found.keys())]
    added = [f"There is a {k} {n} that is not ours." for k, n in sorted(found.keys() - expected)]
    changed = [
        f"The {kind} {name} has been changed."
        for kind, name in sorted(expected.keys() & found.keys())
        if expected[kind, name] != found[kind, name]
    ]
    return (*missing, *changed, *added)
