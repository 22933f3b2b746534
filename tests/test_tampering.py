"""Acts against a trail: those its own connection refuses, those any connection is refused by its
triggers, and those done behind its back, each named where it was done."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from checklist import trail_schema
from checklist.chain import Head, Row, digest, entry_bytes
from checklist.trail import SealedText, Trail, TrailDamaged
from checklist.trail_file import TO_WRITE, opened
from checklist.trail_verification import tail_break
from tests.ward_trail import event, fill, made, plain

ROW = "'x', 'prep-1', 2, 'passed', '', 'a', '2026-11-25T14:00:00.000000Z', 'RN', '', '', '{}'"
BLOB = f"x'{'00' * 32}'"
HASHES = f"{BLOB}, {BLOB}"

CHANGES = [
    "UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 1",
    "UPDATE main.entries SET seq = 99 WHERE seq = 1",
    "UPDATE definitions SET text = ''",
    "UPDATE trail SET unit = 'W8E'",
    "UPDATE private SET text = ''",
    "UPDATE OR IGNORE entries SET turn = 5",
    "DELETE FROM entries",
    "DELETE FROM definitions",
    "DELETE FROM trail",
    f"REPLACE INTO trail VALUES (1, 'x', 'x', '2026-11-25T14:00:00.000000Z', {BLOB})",
    f"INSERT INTO trail VALUES (2, 'x', 'x', '2026-11-25T14:00:00.000000Z', {BLOB})",
]
"""What triggers refuse on any connection, and the guard on ours."""

BARRED = [
    *CHANGES,
    f"REPLACE INTO entries VALUES (1, {ROW}, {HASHES})",
    f"INSERT OR REPLACE INTO entries VALUES (2, {ROW}, {HASHES})",
    f"INSERT OR REPLACE INTO entries VALUES (3, {ROW}, {HASHES})",
    f"INSERT OR IGNORE INTO entries VALUES (4, {ROW}, {HASHES})",
    "REPLACE INTO private VALUES ('s-1', 'prep-1', 'name', '', 'x')",
    "INSERT INTO definitions VALUES ('x', 'poem', 'x', 'x')",
    "INSERT INTO entries (seq) VALUES (3)",
]
"""What triggers and constraints refuse on any connection that keeps SQLite's rules."""

FORBIDDEN = [
    "DROP TABLE entries",
    "DROP TRIGGER entries_no_update",
    "DROP INDEX openings",
    "ALTER TABLE entries RENAME TO old",
    "ALTER TABLE entries ADD COLUMN more TEXT",
    "ALTER TABLE entries DROP COLUMN channel",
    "CREATE TABLE more (x TEXT)",
    "CREATE TABLE more AS SELECT * FROM entries",
    "CREATE INDEX more ON entries (at)",
    "CREATE VIEW more AS SELECT * FROM entries",
    "CREATE TRIGGER more BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END",
    "CREATE TEMP TRIGGER more BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END",
    "CREATE TEMP TABLE entries (seq INTEGER)",
    "CREATE TEMP VIEW entries AS SELECT * FROM main.entries WHERE seq < 2",
    "CREATE VIRTUAL TABLE more USING fts5(x)",
    "ATTACH ':memory:' AS other",
    "DETACH main",
    "VACUUM",
    "VACUUM INTO 'copy.db'",
    "REINDEX",
    "ANALYZE",
    "SAVEPOINT here",
    "PRAGMA writable_schema = ON",
    "PRAGMA recursive_triggers = OFF",
    "PRAGMA foreign_keys = OFF",
    "PRAGMA synchronous = OFF",
    "PRAGMA journal_mode = DELETE",
    "PRAGMA user_version = 9",
    "PRAGMA application_id = 9",
    "PRAGMA schema_version = 9",
    "PRAGMA ignore_check_constraints = ON",
    "PRAGMA query_only = ON",
    "PRAGMA wal_checkpoint",
    "UPDATE sqlite_master SET sql = ''",
    "DELETE FROM sqlite_master",
    "INSERT INTO sqlite_master VALUES ('trigger', 'x', 'entries', 0, '')",
    "SELECT load_extension('x')",
    "SELECT randomblob(1)",
    "SELECT * FROM pragma_table_list",
    "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n",
]
"""What the guard of our own connections refuses besides."""
NOT_ALLOWED = r"not authorized|prohibited|authorization denied|may not be modified"


DIGEST_OF_X = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"
"""SHA-256 of the letter x, as sha256sum gives it."""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with made(tmp_path) as trail:
        fill(trail, 1)
        trail.append(event(2, turn=1), [SealedText(reference="s-1", field="name", text="Nan Tam")])
        trail.keep(DIGEST_OF_X, "unit", "x", "x")
        return trail.path


@pytest.fixture
def guarded(path: Path) -> sqlite3.Connection:
    return opened(path, how=TO_WRITE, patience_ms=100)


@pytest.mark.parametrize("act", FORBIDDEN + BARRED)
def test_our_own_connection_refuses_every_act_but_adding(
    path: Path, guarded: sqlite3.Connection, act: str
) -> None:
    with pytest.raises(sqlite3.Error):
        guarded.execute(act).fetchall()
    guarded.close()
    assert Trail.examine(path).whole
    assert Trail.examine(path).entries == 2


@pytest.mark.parametrize("act", FORBIDDEN + CHANGES)
def test_what_the_guard_refuses_is_refused_as_not_allowed(
    guarded: sqlite3.Connection, act: str
) -> None:
    with pytest.raises(sqlite3.DatabaseError, match=NOT_ALLOWED):
        guarded.execute(act)
    guarded.close()


@pytest.mark.parametrize("act", BARRED)
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_any_connection_is_refused_a_change_of_what_stands(
    path: Path, act: str, recursive: str
) -> None:
    db = plain(path)
    db.execute(f"PRAGMA recursive_triggers = {recursive}")
    before = list(db.iterdump())
    with pytest.raises(sqlite3.IntegrityError):
        db.execute(act)
    assert list(db.iterdump()) == before
    db.close()
    assert Trail.examine(path).whole


def test_a_connection_has_every_setting_that_safety_leans_on(guarded: sqlite3.Connection) -> None:
    asked = {
        name: guarded.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("synchronous", "journal_mode", "foreign_keys", "recursive_triggers")
    }
    # synchronous 2 is FULL: SQLite's documentation of the pragma.
    assert asked == {
        "synchronous": 2,
        "journal_mode": "wal",
        "foreign_keys": 1,
        "recursive_triggers": 1,
    }
    assert guarded.getlimit(sqlite3.SQLITE_LIMIT_ATTACHED) == 0
    assert guarded.execute("DELETE FROM private").rowcount == 1
    guarded.close()


def dropping(*triggers: str) -> str:
    return "".join(f"DROP TRIGGER {name};" for name in triggers)


def restored(*triggers: str) -> str:
    made_by = {sql.split()[2]: sql for sql in trail_schema.SCHEMA}
    return "".join(f"{made_by[name]};" for name in triggers)


def behind(act: str, *triggers: str) -> str:
    """An act by someone who takes triggers away first and puts them back afterwards."""
    return dropping(*triggers) + act + ";" + restored(*triggers)


EDIT = "entries_no_update"
LOSS = "entries_no_delete"
SWAP = (
    "UPDATE entries SET seq = -4 WHERE seq = 4; UPDATE entries SET seq = 4 WHERE seq = 5;"
    "UPDATE entries SET seq = 5 WHERE seq = -4"
)
TOOTHLESS = (
    f"{dropping(EDIT)} CREATE TRIGGER {EDIT} BEFORE UPDATE ON entries WHEN 0"
    " BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END"
)
SWALLOW = (
    "CREATE TRIGGER quiet BEFORE INSERT ON entries WHEN new.kind = 'refused'"
    " BEGIN SELECT RAISE(IGNORE); END"
)
CHANGED = "Entry {0} does not have the content that was recorded."

# name, SQL, the entry at which the chain breaks (0: none) and its sentence, the other faults
ACTS: list[tuple[str, str, int, str, tuple[str, ...]]] = [
    ("one field edited", behind("UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 5", EDIT), 5,
     CHANGED.format(5), ()),
    ("one body edited", behind("UPDATE entries SET body = '{}' WHERE seq = 12", EDIT), 12,
     CHANGED.format(12), ()),
    ("one time edited by a microsecond",
     behind("UPDATE entries SET at = '2026-11-25T14:00:01.000001Z' WHERE seq = 1", EDIT), 1,
     CHANGED.format(1), ()),
    ("a digest edited", behind("UPDATE entries SET digest = zeroblob(32) WHERE seq = 3", EDIT), 3,
     CHANGED.format(3), ()),
    ("the middle entry lost", behind("DELETE FROM entries WHERE seq = 6", LOSS), 6,
     "Entry 6 is missing; entry 7 stands in its place.", ()),
    ("the first entry lost", behind("DELETE FROM entries WHERE seq = 1", LOSS), 1,
     "Entry 1 is missing; entry 2 stands in its place.", ()),
    ("two entries swapped", behind(SWAP, EDIT), 4, CHANGED.format(4), ()),
    ("a trigger lost", dropping(EDIT), 0, "", (f"The trigger {EDIT} is missing.",)),
    ("a trigger lost and a field edited",
     dropping(EDIT) + "UPDATE entries SET station = 'S2' WHERE seq = 9", 9, CHANGED.format(9),
     (f"The trigger {EDIT} is missing.",)),
    ("a trigger made toothless", TOOTHLESS, 0, "", (f"The trigger {EDIT} has been changed.",)),
    ("a trigger that swallows refusals", SWALLOW, 0, "",
     ("There is a trigger quiet that is not ours.",)),
    ("a table added", "CREATE TABLE more (x TEXT)", 0, "",
     ("There is a table more that is not ours.",)),
    ("a view added", "CREATE VIEW more AS SELECT 1", 0, "",
     ("There is a view more that is not ours.",)),
    ("a column added", "ALTER TABLE entries ADD COLUMN more TEXT", 0, "",
     ("The table entries has been changed.",)),
    ("an index lost", "DROP INDEX openings", 0, "", ("The index openings is missing.",)),
    ("a definition's text changed",
     behind("UPDATE definitions SET text = 'none'", "definitions_no_update"), 0, "",
     ("The definition x (2d711642b726) does not have the text that was kept.",)),
    ("the unit renamed", behind("UPDATE trail SET unit = 'W8E'", "trail_no_update"), 0, "",
     ("The row that says which trail this is was changed or is missing.",)),
    ("the trail's row lost", behind("DELETE FROM trail", "trail_no_delete"), 1, CHANGED.format(1),
     ("The row that says which trail this is was changed or is missing.",)),
]  # fmt: skip


def twelve(folder: Path) -> Path:
    with made(folder) as trail:
        fill(trail, 12)
        trail.keep(DIGEST_OF_X, "unit", "x", "x")
        return trail.path


@pytest.mark.parametrize(
    ("act", "seq", "sentence", "faults"), [a[1:] for a in ACTS], ids=[a[0] for a in ACTS]
)
def test_each_act_behind_its_back_is_named_exactly(
    tmp_path: Path, act: str, seq: int, sentence: str, faults: tuple[str, ...]
) -> None:
    path = twelve(tmp_path)
    watching = Trail.open(path)
    db = plain(path)
    db.execute("PRAGMA ignore_check_constraints = ON")
    db.executescript(act)
    db.close()
    for found in (Trail.examine(path), watching.verify()):
        broken = found.first_break
        assert ((broken.seq, broken.sentence) if broken else (0, "")) == (seq, sentence)
        assert found.faults == faults
        assert not found.whole
    watching.close()


@pytest.mark.parametrize("act", [a[1] for a in ACTS if "definition's" not in a[0]])
def test_a_trail_that_was_tampered_with_is_not_opened(tmp_path: Path, act: str) -> None:
    path = twelve(tmp_path)
    db = plain(path)
    db.execute("PRAGMA ignore_check_constraints = ON")
    db.executescript(act)
    db.close()
    for read_only in (False, True):
        with pytest.raises(TrailDamaged, match="is not as it was recorded"):
            Trail.open(path, read_only=read_only)


@pytest.mark.parametrize(
    ("act", "finding"),
    [
        (SWALLOW, "There is a trigger quiet that is not ours."),
        (dropping(EDIT), f"The trigger {EDIT} is missing."),
        (TOOTHLESS, f"The trigger {EDIT} has been changed."),
        (behind("UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 12", EDIT), CHANGED.format(12)),
        (behind("DELETE FROM entries WHERE seq > 10", LOSS), "Entry 12, seen before, is gone"),
    ],
)
def test_a_station_that_is_at_work_notices_before_its_next_entry(
    tmp_path: Path, act: str, finding: str
) -> None:
    path = twelve(tmp_path)
    with Trail.open(path) as trail:
        db = plain(path)
        db.executescript(act)
        for turn in range(2):
            refused = event(90 + turn, "prep-9", kind="opened")
            with pytest.raises(TrailDamaged, match=finding) as damaged:
                trail.append(refused)
            assert damaged.value.recorded is False
        assert db.execute("SELECT count(*) FROM entries WHERE seq > 12").fetchone() == (0,)
        db.close()


def test_a_station_remembers_the_newest_entry_that_it_wrote(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        entries = [trail.append(event(turn + 1, turn=turn)) for turn in range(3)]
        assert trail.append(event(1)) == entries[0]
        db = plain(trail.path)
        db.executescript(behind("DELETE FROM entries WHERE seq > 1", LOSS))
        db.close()
        with pytest.raises(TrailDamaged, match="Entry 3, seen before, is gone or changed"):
            trail.append(event(2, turn=1))


def test_a_schema_written_anew_with_the_same_text_is_still_ours(tmp_path: Path) -> None:
    path = twelve(tmp_path)
    with Trail.open(path) as trail:
        db = plain(path)
        db.executescript(behind("VACUUM", EDIT))
        db.close()
        assert trail.append(event(90, "prep-9")).seq == 13
        assert trail.verify().whole


def test_an_edited_definition_or_entry_is_never_handed_out(tmp_path: Path) -> None:
    path = twelve(tmp_path)
    with Trail.open(path) as trail:
        db = plain(path)
        db.executescript(behind("UPDATE definitions SET text = 'y'", "definitions_no_update"))
        db.executescript(behind("UPDATE entries SET body = '{}' WHERE seq = 2", EDIT))
        db.executescript(behind("DELETE FROM entries WHERE seq = 6", LOSS))
        db.close()
        asked: list[tuple[Callable[[], object], str]] = [
            (lambda: trail.definition(DIGEST_OF_X), "does not have the kept text"),
            (lambda: trail.keep(DIGEST_OF_X, "unit", "x", "x"), "Another text stands under"),
            (lambda: trail.of("prep-1"), "Entry 2 does not have its recorded content"),
            (lambda: trail.of("prep-2"), "Turn 1 of prep-2 is missing"),
            (lambda: list(trail.since(0)), "Entry 2 does not have its recorded content"),
            (lambda: list(trail.since(3)), "Entry 6 is missing"),
        ]
        for ask, says in asked:
            with pytest.raises(TrailDamaged, match=says):
                ask()


def test_a_cut_tail_or_a_chain_made_anew_cannot_be_seen_without_a_head_kept_elsewhere(
    tmp_path: Path,
) -> None:
    path = twelve(tmp_path)
    with Trail.open(path) as trail:
        kept_elsewhere = trail.head()
        origin = trail.origin
    db = plain(path)
    db.executescript(behind("DELETE FROM entries WHERE seq > 10", LOSS))
    cut = Trail.examine(path)
    assert cut.whole
    assert cut.head is not None and cut.head != kept_elsewhere

    last = Head(0, origin.genesis)
    db.executescript(dropping(EDIT))
    for old in db.execute(f"SELECT {trail_schema.COLUMNS} FROM entries ORDER BY seq").fetchall():
        plain_row = Row._make(old)._replace(by="RN-99", previous=last.digest)
        last = Head(plain_row.seq, digest(entry_bytes(origin.id, plain_row)))
        db.execute(
            'UPDATE entries SET "by" = ?, previous = ?, digest = ? WHERE seq = ?',
            ("RN-99", plain_row.previous, last.digest, last.seq),
        )
    db.executescript(restored(EDIT))
    db.close()
    anew = Trail.examine(path)
    assert anew.whole
    assert anew.head is not None and anew.head.seq == 10 and anew.head != cut.head


def test_the_tail_is_looked_over_from_any_entry_on(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        fill(trail, 12)
        db = opened(trail.path, how=TO_WRITE, patience_ms=100)
        assert [tail_break(db, trail.origin, most) for most in (0, 1, 5, 12, 1000)] == [None] * 5
        behind_it = plain(trail.path)
        behind_it.executescript(behind("DELETE FROM entries WHERE seq = 6", LOSS))
        behind_it.close()
        at = [tail_break(db, trail.origin, most) for most in (5, 6, 7)]
        db.close()
    assert at[0] is None
    assert [found.seq for found in at[1:] if found] == [6, 6]
