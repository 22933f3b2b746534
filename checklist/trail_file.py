"""A trail as a file: where it may lie, how it is made, and how it is opened."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from checklist.trail_fault import NotATrail, TrailUnwritable, of_sqlite
from checklist.trail_reading import Origin
from checklist.trail_schema import APPLICATION_ID, FORM, LONGEST_TEXT, SCHEMA, guard

PATIENCE_MS = 5_000
"""How long one write waits for another program, in milliseconds."""
TO_WRITE = "mode=rw"
"""SQLite's URI query for a file that must be there and is to be written."""
OLDEST_SQLITE = (3, 37, 0)
"""The first SQLite with strict tables."""

_CUT_SHORT = (
    "{path} is empty: making it was cut short, and nothing was recorded in it. Remove the file and"
    " make the trail again."
)

# trusted_schema stays on: with it off SQLite 3.40 refuses json_valid in our own CHECK. The guard's
# list of functions is narrower anyway.
_SETTINGS = (
    "PRAGMA synchronous = FULL",
    "PRAGMA fullfsync = ON",
    "PRAGMA checkpoint_fullfsync = ON",
    "PRAGMA foreign_keys = ON",
    "PRAGMA recursive_triggers = ON",
    "PRAGMA cell_size_check = ON",
    "PRAGMA secure_delete = ON",
    "PRAGMA mmap_size = 0",
    "PRAGMA temp_store = MEMORY",
)
_LIMITS = (
    (sqlite3.SQLITE_LIMIT_ATTACHED, 0),
    (sqlite3.SQLITE_LIMIT_SQL_LENGTH, 100_000),
    (sqlite3.SQLITE_LIMIT_LENGTH, 4 * LONGEST_TEXT + 100_000),
    (sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH, 10),
)


def connect(path: Path, *, how: str, patience_ms: int) -> sqlite3.Connection:
    """A connection with every setting made, and not yet guarded; `how` is SQLite's URI query."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise TrailUnwritable(
            f"This station has SQLite {sqlite3.sqlite_version}, which cannot keep a trail. Call IT"
            f" to install {'.'.join(map(str, OLDEST_SQLITE))} or later."
        )
    db = sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True, isolation_level=None)
    try:
        db.execute(f"PRAGMA busy_timeout = {patience_ms:d}")
        for limit, most in _LIMITS:
            db.setlimit(limit, most)
        for setting in _SETTINGS:
            db.execute(setting)
    except BaseException:
        db.close()
        raise
    return db


def opened(path: Path, *, how: str, patience_ms: int) -> sqlite3.Connection:
    """A guarded connection to a trail of this version, or a TrailFault."""
    try:
        db = connect(path, how=how, patience_ms=patience_ms)
        try:
            _look_over_header(db, path)
            if how == TO_WRITE:
                _claim(db, path)
            db.set_authorizer(guard)
        except BaseException:
            db.close()
            raise
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB:
            raise NotATrail(f"{path} is not a trail. Give the path of a trail file.") from error
        raise of_sqlite(error, path, offered=False) from error
    return db


def make(path: Path, new: Origin, *, patience_ms: int) -> None:
    """Make a trail file where there is none: wholly, or not at all."""
    try:
        path.touch(mode=0o600, exist_ok=False)
    except OSError as error:
        raise TrailUnwritable(
            f"A trail cannot be made in {path.parent} ({error.strerror}). Nothing was made. Give"
            " another folder, or call IT."
        ) from error
    try:
        db = connect(path, how=TO_WRITE, patience_ms=patience_ms)
        try:
            _fill(db, new)
        finally:
            db.close()
        sync(path.parent)
    except BaseException as error:
        for each in (path, *companions(path)):
            each.unlink(missing_ok=True)
        if isinstance(error, sqlite3.Error):
            raise of_sqlite(error, path, offered=False) from error
        raise


def sync(folder: Path) -> None:
    """Bring a new file's name to the disk, where the system has a way to."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _fill(db: sqlite3.Connection, new: Origin) -> None:
    from sqlite_utils import Database  # 80 ms, and only a new trail needs it

    filled = Database(db, recursive_triggers=True, use_counts_table=False, execute_plugins=False)
    with filled.atomic():
        for statement in SCHEMA:
            filled.execute(statement)
        filled.execute("INSERT INTO main.trail VALUES (1, ?, ?, ?, ?)", new)
        filled.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")
        filled.execute(f"PRAGMA user_version = {FORM:d}")


def _claim(db: sqlite3.Connection, path: Path) -> None:
    """Make sure that this connection may write, and that it writes ahead.

    SQLite begins a write on a file that it can only read without a word, so one is tried, and
    taken back.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        db.execute(f"PRAGMA user_version = {FORM:d}")
    finally:
        db.execute("ROLLBACK")
    (mode,) = db.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise TrailUnwritable(
            f"The trail {path.name} lies where its log cannot be kept, such as a network drive."
            " Nothing that is recorded was changed. Call IT to move it to a disk of this machine."
        )


def _look_over_header(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file of another program, or of another version of this one."""
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if mark == 0 and db.execute("SELECT 1 FROM main.sqlite_master").fetchone() is None:
        raise NotATrail(_CUT_SHORT.format(path=path))
    if mark != APPLICATION_ID:
        raise NotATrail(f"{path} belongs to another program. Give the path of a trail file.")
    if 1 <= version < FORM:
        raise NotATrail(
            f"{path} has the form number {version}; this program writes form {FORM}. Nothing in it"
            " was touched. Bring it to the new form with `checklist trail migrate`, which keeps a"
            " copy of the old one."
        )
    if version != FORM:
        raise NotATrail(
            f"{path} has the form number {version}; this program knows none above {FORM}. Nothing"
            " in it was touched. Open it with the version of the program that wrote it."
        )


def existing(path: Path) -> Path:
    """The path, once it is sure that it names one plain file and nothing else."""
    try:
        if path.is_symlink():
            raise NotATrail(f"{path} is a link to elsewhere. Give the path of the trail itself.")
        if path.is_dir():
            raise NotATrail(f"{path} is a folder. Give the path of a trail file in it.")
        if not path.exists():
            raise NotATrail(f"There is no file {path}. Give the path of a trail, or make one.")
        if not path.is_file():
            raise NotATrail(f"{path} is a device or a pipe. Give the path of a trail file.")
        if path.stat().st_nlink > 1:
            raise NotATrail(
                f"{path} has a second name on this disk, which can split a trail in two."
                " Remove the other name, or copy the trail with its own backup."
            )
        if path.stat().st_size == 0:
            raise NotATrail(_CUT_SHORT.format(path=path))
    except OSError as error:
        raise TrailUnwritable(
            f"{path} cannot be reached ({error.strerror}). Nothing recorded is lost. Call IT."
        ) from error
    return path


def vacant(path: Path) -> Path:
    """The path, once it is sure that a new trail there would take nothing's place."""
    if not path.parent.is_dir():
        raise NotATrail(f"There is no folder {path.parent}. Make it first, then the trail.")
    for each in (path, *companions(path)):
        if os.path.lexists(each):
            raise NotATrail(
                f"There is already a file {each}. It was left as it is. Give another path."
            )
    return path


def companions(path: Path) -> tuple[Path, ...]:
    """The files that SQLite may keep beside a trail."""
    return tuple(path.with_name(path.name + end) for end in ("-wal", "-shm", "-journal"))


def way_to_read(path: Path) -> str:
    """How a trail is opened for reading only, as SQLite's URI query.

    A file that nobody has open and that may not be written here is an archive: it is read as
    immutable, which leaves nothing beside it. Any other may have a writer, whose locks matter.
    """
    log, shared, _ = companions(path)
    at_rest = not shared.exists() and (not log.exists() or log.stat().st_size == 0)
    may_be_written = (
        path.stat().st_mode & 0o222 and os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
    )
    return "mode=ro&immutable=1" if at_rest and not may_be_written else "mode=ro"
