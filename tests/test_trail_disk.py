"""A disk or a library that misbehaves: a commit in doubt, a write swallowed, bytes that changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from checklist import trail_file, trail_schema
from checklist.trail import Trail, TrailDamaged, TrailFault, TrailUnwritable
from tests.ward_trail import event, filled, made, plain


class Troubled:
    """A real connection whose COMMIT reports trouble with the disk, after or before it is done."""

    def __init__(self, db: sqlite3.Connection, *, done: bool, then: Callable[[], object]) -> None:
        self._db, self._done, self._then = db, done, then

    def __getattr__(self, name: str) -> Any:
        return getattr(self._db, name)

    def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
        if sql != "COMMIT":
            return self._db.execute(sql, *values)
        if self._done:
            self._db.execute(sql)
        self._then()
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorcode = sqlite3.SQLITE_IOERR_FSYNC
        error.sqlite_errorname = "SQLITE_IOERR_FSYNC"
        raise error


def trouble(trail: Trail, *, done: bool, then: Callable[[], object] = lambda: None) -> TrailFault:
    assert trail._connection._db is not None
    trail._connection._db = Troubled(trail._connection._db, done=done, then=then)  # type: ignore[assignment]
    with pytest.raises(TrailUnwritable, match="reported trouble") as caught:
        trail.append(event(2, turn=1))
    return caught.value


@pytest.mark.parametrize("done", [True, False])
def test_after_trouble_with_a_commit_the_trail_says_what_really_is_recorded(
    tmp_path: Path, done: bool
) -> None:
    with made(tmp_path) as trail:
        first = trail.append(event(1))
        fault = trouble(trail, done=done)
        assert fault.recorded is done
        told = "What was entered is in the trail" if done else "What was entered is not recorded"
        assert told in str(fault)
        assert trail.head().seq == first.seq + done
        second = trail.append(event(2, turn=1))
        assert (second.seq, second.previous) == (2, first.digest)
        assert trail.append(event(3, turn=2)).seq == 3
        assert trail.verify().whole


def test_when_nothing_can_be_looked_up_the_trail_says_that_it_does_not_know(
    tmp_path: Path,
) -> None:
    away = tmp_path / "away"
    with made(tmp_path) as trail:
        trail.append(event(1))
        path = trail.path
        for done in (True, False):
            fault = trouble(trail, done=done, then=lambda: path.rename(away))
            assert fault.recorded is None
            assert "It is not known whether what was entered is recorded" in str(fault)
            with pytest.raises(TrailUnwritable, match="cannot be opened here"):
                trail.append(event(2, turn=1))
            away.rename(path)
            if done:
                assert trail.append(event(2, turn=1)).seq == 2


def test_an_interrupted_write_leaves_nothing_and_the_trail_goes_on(tmp_path: Path) -> None:
    def interrupt() -> None:
        raise KeyboardInterrupt

    with made(tmp_path) as trail:
        trail.append(event(1))
        db = trail._connection._db
        assert db is not None
        trail._connection._db = Troubled(db, done=False, then=interrupt)  # type: ignore[assignment]
        with pytest.raises(KeyboardInterrupt):
            trail.append(event(2, turn=1))
        assert trail.head().seq == 1
        trail._connection._db = db
        assert trail.append(event(2, turn=1)).seq == 2
        assert trail.verify().whole


class Meddling:
    """A real connection that does something else in place of each statement that starts so."""

    def __init__(self, db: sqlite3.Connection, start: str, instead: Callable[..., Any]) -> None:
        self._db, self._start, self._instead = db, start, instead

    def __getattr__(self, name: str) -> Any:
        return getattr(self._db, name)

    def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
        if sql.startswith(self._start):
            cursor: sqlite3.Cursor = self._instead(self._db, sql, *values)
            return cursor
        return self._db.execute(sql, *values)


def swallowed(db: sqlite3.Connection, _sql: str, _values: Any) -> sqlite3.Cursor:
    return db.execute("SELECT 1")


def altered(db: sqlite3.Connection, sql: str, values: Any) -> sqlite3.Cursor:
    return db.execute(sql, tuple("RN-99" if each == "RN-12" else each for each in values))


@pytest.mark.parametrize("instead", [swallowed, altered])
def test_an_entry_that_does_not_read_back_as_written_is_never_acknowledged(
    tmp_path: Path, instead: Callable[..., Any]
) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1))
        db = trail._connection._db
        assert db is not None
        trail._connection._db = Meddling(db, "INSERT INTO main.entries", instead)  # type: ignore[assignment]
        with pytest.raises(TrailDamaged, match="A new entry does not read as written"):
            trail.append(event(2, turn=1))
        trail._connection._db = db
        assert trail.head().seq == 1
        assert trail.append(event(2, turn=1)).seq == 2
        assert trail.verify().whole


def test_a_lock_that_is_held_for_a_moment_longer_is_waited_for_once_more(tmp_path: Path) -> None:
    refused: list[str] = []

    def busy_once(db: sqlite3.Connection, sql: str) -> sqlite3.Cursor:
        if not refused:
            refused.append(sql)
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = sqlite3.SQLITE_BUSY_RECOVERY
            raise error
        return db.execute(sql)

    with made(tmp_path) as trail:
        assert trail._connection._db is not None
        trail._connection._db = Meddling(trail._connection._db, "BEGIN", busy_once)  # type: ignore[assignment]
        assert trail.append(event(1)).seq == 1
        assert refused == ["BEGIN IMMEDIATE"]


def test_a_place_where_no_log_can_be_kept_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path, 1)
    db: Any = plain(path)
    without_log = Meddling(db, "PRAGMA journal_mode", lambda db, _: db.execute("SELECT 'delete'"))
    with pytest.raises(TrailUnwritable, match="where its log cannot be kept"):
        trail_file._claim(without_log, path)  # type: ignore[arg-type]
    db.close()


def test_a_write_that_cannot_be_taken_back_gives_up_its_connection(tmp_path: Path) -> None:
    def trouble_again(_db: sqlite3.Connection, _sql: str) -> sqlite3.Cursor:
        raise sqlite3.OperationalError("disk I/O error")

    with made(tmp_path) as trail:
        trail.append(event(1))
        assert trail._connection._db is not None
        trail._connection._db = Meddling(trail._connection._db, "ROLLBACK", trouble_again)  # type: ignore[assignment]
        with pytest.raises(TrailFault, match="Someone else has moved"):
            trail.append(event(9))
        assert trail.append(event(2, turn=1)).seq == 2


def test_a_changed_byte_in_an_index_is_found_by_the_check_of_the_file(tmp_path: Path) -> None:
    path = filled(tmp_path, 12)
    db = plain(path)
    sql = "SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_entries_1'"
    (page,) = db.execute(sql).fetchone()
    db.close()
    content = bytearray(path.read_bytes())
    at = content.index(b"ev-7", (page - 1) * 4096)
    assert at < page * 4096
    content[at + 3 : at + 4] = b"8"
    path.write_bytes(content)
    found = Trail.examine(path)
    assert found.first_break is None
    assert found.faults
    assert all(fault.startswith("The file is damaged: ") for fault in found.faults)


def test_an_entry_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    path = filled(tmp_path, 12)
    db = plain(path)
    bad = "UPDATE entries SET body = cast(x'7b22ff227d' AS TEXT) WHERE seq = 7"
    db.execute("PRAGMA ignore_check_constraints = ON")
    no_update = next(sql for sql in trail_schema.SCHEMA if "entries_no_update" in sql)
    db.executescript(f"DROP TRIGGER entries_no_update; {bad}; {no_update}")
    db.close()
    found = Trail.examine(path).first_break
    assert found is not None
    assert found.seq == 7
    assert found.sentence.startswith("Entry 7 cannot be read (Could not decode")


def test_a_page_full_of_noise_is_found_or_holds_nothing_that_is_read(tmp_path: Path) -> None:
    path = filled(tmp_path, 12)
    good = path.read_bytes()
    with Trail.open(path) as trail:
        entries = list(trail.since(0))
    found = 0
    for start in range(100, len(good), 4096):
        noisy = good[:start] + b"\xa5" * 3996
        path.write_bytes(noisy + good[len(noisy) :])
        try:
            whole = Trail.examine(path).whole
        except TrailDamaged:
            whole = False
        found += not whole
        if whole:
            with Trail.open(path) as trail:
                assert list(trail.since(0)) == entries
    assert found >= 5
