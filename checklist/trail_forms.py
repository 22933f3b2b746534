"""The older forms of a trail file, and the numbered steps that bring one to the present form."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path

from checklist import trail_file as file
from checklist import trail_schema as schema
from checklist import trail_verification as verifying
from checklist.chain import Head
from checklist.trail_copying import copied
from checklist.trail_fault import NotATrail, TrailBusy, damaged, of_sqlite

SCHEMA_DIGESTS: Mapping[int, str] = {
    1: "b5a34de897e28f8780522bdadd9d1ecf89b8c28887ed0daefa1a60455962076d",
}
"""SHA-256 over the schema text of each older form, its statements joined by line feeds."""


def form_of(path: Path) -> int:
    """The form number of a trail file. Raises NotATrail for anything else."""
    db = _ours(path, file.way_to_read(path), file.PATIENCE_MS)
    try:
        return _version(db)
    finally:
        db.close()


def migrated(path: Path, *, patience_ms: int = file.PATIENCE_MS) -> Path | None:
    """Bring a trail file to the present form; the path of the copy of the old one beside it.

    None when it has the present form already. The whole chain is verified before and after, every
    entry keeps its digest, and all is one transaction: done wholly or not at all. Raises NotATrail
    for a newer form or another file, TrailDamaged for a trail that is not as it was recorded.
    """
    place = file.existing(path)
    before = form_of(place)
    if before == schema.FORM:
        return None
    if before not in STEPS:
        raise NotATrail(
            f"{path} has the form number {before}; this program knows forms 1 to {schema.FORM}."
            " Nothing in it was touched. Open it with the version of the program that wrote it."
        )
    copy = place.with_name(f"{place.name}.form-{before}")
    copied(place, copy, patience_ms=patience_ms)
    db = _ours(place, file.TO_WRITE, patience_ms)
    try:
        db.execute("BEGIN EXCLUSIVE")
        _stepped(db, place)
        db.execute("COMMIT")
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.Error as error:
        raise of_sqlite(error, place, offered=False) from error
    finally:
        db.close()
    return copy


def _stepped(db: sqlite3.Connection, place: Path) -> None:
    """Take every step from the file's form to the present one, and verify what comes of it."""
    before = _whole(db, place, _version(db))
    while (form := _version(db)) < schema.FORM:
        STEPS[form](db)
        db.execute(f"PRAGMA user_version = {form + 1:d}")
    if _whole(db, place, schema.FORM) != before:
        raise damaged(place, "The entries are not the same after the step to the new form.")


def _to_2(db: sqlite3.Connection) -> None:
    """Form 2: entries that belong to no preparation, and the person of each sealed text."""
    triggers = db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (trigger,) in triggers:
        db.execute(f'DROP TRIGGER "{trigger}"')
    db.execute("DROP INDEX openings")
    for table in ("entries", "private"):
        db.execute(f"ALTER TABLE {table} RENAME TO old_{table}")
    for statement in schema.SCHEMA:
        if not statement.startswith(("CREATE TABLE trail ", "CREATE TABLE definitions ")):
            db.execute(statement)
    db.execute(
        f"INSERT INTO entries ({schema.COLUMNS})"
        f" SELECT {schema.COLUMNS} FROM old_entries ORDER BY seq"
    )
    db.execute(
        "INSERT INTO private SELECT reference, preparation, field,"
        " coalesce((SELECT json_extract(body, '$.order.patient') FROM old_entries"
        "           WHERE preparation = old_private.preparation AND turn = 0), ''),"
        " text FROM old_private"
    )
    for table in ("entries", "private"):
        db.execute(f"DROP TABLE old_{table}")


STEPS: Mapping[int, Callable[[sqlite3.Connection], None]] = {1: _to_2}
"""What leads from each older form to the next; a new form adds its step and never changes one."""


def schema_digest(db: sqlite3.Connection) -> str:
    """SHA-256 over the schema text as the file has it."""
    sql = "SELECT sql FROM main.sqlite_master WHERE sql IS NOT NULL ORDER BY rowid"
    text = "\n".join(statement for (statement,) in db.execute(sql))
    return hashlib.sha256(text.encode()).hexdigest()


def _whole(db: sqlite3.Connection, place: Path, form: int) -> Head | None:
    """The head of a trail of this form, once it is sure that all is as it was recorded."""

    def faults(of: sqlite3.Connection) -> tuple[str, ...]:
        if form == schema.FORM:
            return schema.schema_faults(of)
        if schema_digest(of) == SCHEMA_DIGESTS[form]:
            return ()
        return (f"Its tables and triggers are not those of form {form}.",)

    found = verifying.verification(db, form=faults)
    if found.first_break is not None:
        raise damaged(place, found.first_break.sentence)
    if found.faults:
        raise damaged(place, " ".join(found.faults))
    return found.head


def _version(db: sqlite3.Connection) -> int:
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def _ours(path: Path, how: str, patience_ms: int) -> sqlite3.Connection:
    """An unguarded connection to a file that bears a trail's mark, whatever its form."""
    try:
        db = file.connect(path, how=how, patience_ms=patience_ms)
        try:
            (mark,) = db.execute("PRAGMA application_id").fetchone()
        except BaseException:
            db.close()
            raise
    except sqlite3.Error as error:
        fault = of_sqlite(error, path, offered=False)
        if isinstance(fault, TrailBusy):
            raise fault from error
        raise NotATrail(f"{path} is not a trail. Give the path of a trail file.") from error
    if mark != schema.APPLICATION_ID:
        db.close()
        raise NotATrail(f"{path} belongs to another program. Give the path of a trail file.")
    return db
