"""Acts against a trail of fifty entries, each with what finds it: alone, and beside a kept head.

The acts and what a chain, triggers and a schema comparison can find of each without and with a
head kept elsewhere follow a table measured for this purpose on 25 November 2026; which layer has
to find what is common practice, no source. Acts on tables and columns outside the hash have no
row here: every column of an entry is in its digest (`test_chain`), and definitions have their own.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from checklist.anchor import Finding, Stored, compared
from checklist.heads import Heads
from checklist.note import Checkpoint, origin_of
from checklist.preparation import Act
from checklist.signature_report import report
from checklist.trail import Trail, TrailDamaged
from checklist.trail_file import TO_WRITE, opened
from tests.faces import run
from tests.notaries import keys, notary
from tests.test_heads import remade
from tests.test_tampering import EDIT, LOSS, SWALLOW, TOOTHLESS, behind, dropping, restored
from tests.ward_trail import AT, event, fill, filled, made, plain

FIFTY = 50
ORIGIN = origin_of("7e-2026")
BLOB = f"x'{'00' * 32}'"
NEW = "'x', 'p', 0, 'opened', '', 'a', '2026-11-25T14:00:00.000000Z', 'RN', '', '', '{}'"
RENUMBER = "UPDATE entries SET seq = 99 WHERE seq = 7"
REWRITE = (
    "CREATE TRIGGER more AFTER INSERT ON entries BEGIN"
    " UPDATE entries SET \"by\" = 'RN-99' WHERE seq = new.seq; END"
)
UNWRITTEN = (
    "PRAGMA writable_schema = ON; DELETE FROM sqlite_master WHERE name = 'entries_no_update';"
    "PRAGMA writable_schema = RESET; UPDATE entries SET station = 'S9' WHERE seq = 20"
)
CHANGED = "Entry {0} does not have the content that was recorded."


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What is found: whether any connection is refused the act, the entry that the chain and the
    entry that a kept head name (0 for none), and whether the form of the file gives it away."""

    refused: bool = False
    chain: int = 0
    form: bool = False
    head: int = 0


def sql(act: str) -> Callable[[Path], None]:
    def do(path: Path) -> None:
        db = plain(path)
        try:
            db.executescript(act)
        finally:
            db.close()

    return do


def anew(path: Path) -> None:
    db = plain(path)
    remade(db, "7e-2026", 31)
    db.close()


def older(path: Path) -> None:
    shutil.copyfile(path.with_name("older.db"), path)


def foreign(path: Path) -> None:
    folder = path.with_name("foreign")
    folder.mkdir()
    with Trail.create(folder / "x.db", trail_id="8w-2026", unit="W7E", at=AT) as other:
        fill(other, FIFTY)
    shutil.copyfile(folder / "x.db", path)


def forged(path: Path) -> None:
    with Trail.open(path) as trail:
        trail.append(event(900, "prep-900", by="RN-77"))


def without_a_trigger(path: Path) -> None:
    sql(dropping("entries_follow", "entries_once", LOSS, EDIT))(path)
    db = plain(path)
    db.execute("PRAGMA recursive_triggers = OFF")
    db.execute(f"REPLACE INTO entries VALUES (5, {NEW}, {BLOB}, {BLOB})")
    db.executescript(restored("entries_follow", "entries_once", LOSS, EDIT))
    db.close()


REPLACE = sql(f"REPLACE INTO entries VALUES (5, {NEW}, {BLOB}, {BLOB})")
ACTS: dict[str, tuple[Callable[[Path], None], Found]] = {
    "UPDATE": (sql("UPDATE entries SET \"by\" = 'x' WHERE seq = 3"), Found(refused=True)),
    "DELETE": (sql("DELETE FROM entries WHERE seq = 3"), Found(refused=True)),
    "INSERT OR REPLACE, recursive triggers off": (REPLACE, Found(refused=True)),
    "INSERT OR REPLACE, recursive triggers on": (
        sql(
            f"PRAGMA recursive_triggers = ON;REPLACE INTO entries VALUES (5, {NEW}, {BLOB}, {BLOB})"
        ),
        Found(refused=True),
    ),
    "REPLACE with the triggers away for a moment": (without_a_trigger, Found(chain=5, head=5)),
    "DROP TABLE": (sql("DROP TABLE entries"), Found(form=True, head=1)),
    "ALTER RENAME": (sql("ALTER TABLE entries RENAME TO old"), Found(form=True, head=1)),
    "DROP COLUMN": (sql("ALTER TABLE entries DROP COLUMN channel"), Found(chain=1, form=True)),
    "drop trigger, edit, put the trigger back": (
        sql(behind("UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 12", EDIT)),
        Found(chain=12),
    ),
    "edit, hash anew to the end, put the triggers back": (anew, Found(head=31)),
    "cut the last five entries": (
        sql(behind("DELETE FROM entries WHERE seq > 45", LOSS)),
        Found(head=46),
    ),
    "the file replaced by an older copy": (older, Found(head=41)),
    "the file replaced by another trail": (foreign, Found(head=-1)),
    "a well-formed entry forged at the end": (forged, Found()),
    "the number of an entry changed": (sql(behind(RENUMBER, EDIT)), Found(chain=7, head=7)),
    "VACUUM": (sql("VACUUM"), Found()),
    "writable_schema: a trigger away, an entry edited": (
        sql(UNWRITTEN),
        Found(chain=20, form=True),
    ),
    "a trigger made toothless": (sql(TOOTHLESS), Found(form=True)),
    "a trigger that swallows refusals": (sql(SWALLOW), Found(form=True)),
    "a trigger that rewrites what is new": (sql(REWRITE), Found(form=True)),
}


@pytest.fixture(scope="module")
def fifty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trail of fifty entries with its kept heads, and a copy of it from ten entries before."""
    folder = tmp_path_factory.mktemp("fifty")
    with made(folder) as trail:
        fill(trail, FIFTY - 10)
    shutil.copyfile(folder / "ward.trail", folder / "older.db")
    with Trail.open(folder / "ward.trail") as trail:
        keeping = notary(folder, trail)
        keeping.checkpoint()
        for number in range(FIFTY - 9, FIFTY + 1):
            at_prep, turn = divmod(number - 1, 4)
            lands = "given" if turn == 3 else f"step-{turn + 1}"
            trail.append(event(number, f"prep-{at_prep + 1}", turn, lands=lands))
        keeping.checkpoint()
    return folder


@pytest.mark.parametrize("name", ACTS)
def test_each_act_is_refused_or_found_where_it_can_be(
    fifty: Path, tmp_path: Path, name: str
) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(fifty, folder)
    path, (act, expected) = folder / "ward.trail", ACTS[name]
    if expected.refused:
        with pytest.raises(sqlite3.IntegrityError):
            act(path)
    else:
        act(path)
    inside = Trail.examine(path)
    assert (inside.first_break.seq if inside.first_break else 0) == expected.chain
    assert bool(inside.faults) is expected.form
    if expected.form:
        with pytest.raises(TrailDamaged):
            Trail.open(path)
    assert beside(path, folder) == expected.head


def beside(path: Path, folder: Path) -> int:
    """The entry that the kept head names; 0 for none, -1 for another trail."""
    kept = Heads(folder / "heads", ORIGIN)
    newest = kept.newest()
    assert newest is not None
    found = compared(Stored(path), newest[0], known=kept.digests())
    return 0 if found is None else found.seq or -1


def test_the_number_of_every_entry_that_is_edited_and_hashed_anew_is_named(
    fifty: Path, tmp_path: Path
) -> None:
    known = Heads(fifty / "heads", ORIGIN).digests()
    head = Checkpoint(origin=ORIGIN, size=FIFTY, root=Stored(fifty / "ward.trail").tree.root())
    for seq in range(1, FIFTY + 1, 7):
        path = tmp_path / f"{seq}.db"
        shutil.copyfile(fifty / "ward.trail", path)
        db = plain(path)
        remade(db, "7e-2026", seq)
        db.close()
        assert Trail.examine(path).whole
        found = compared(Stored(path), head, known=known)
        assert found == Finding(seq=seq, sentence=f"Entry {seq} is not the one that was there.")


def test_without_the_digests_the_heads_tell_between_which_two_it_is(
    fifty: Path, tmp_path: Path
) -> None:
    path = tmp_path / "x.db"
    shutil.copyfile(fifty / "ward.trail", path)
    tree = Stored(path).tree
    at = {n: Checkpoint(origin=ORIGIN, size=n, root=tree.root(n)) for n in (20, 40, 50)}
    db = plain(path)
    remade(db, "7e-2026", 31)
    db.close()
    found = compared(Stored(path), at[50], good=[at[20], at[40]])
    assert found is not None and found.seq == 21
    assert "One of the entries 21 to 50 is not" in found.sentence
    assert compared(Stored(path), at[20]) is None


def test_digests_that_are_not_the_heads_own_are_not_believed(fifty: Path, tmp_path: Path) -> None:
    path = tmp_path / "x.db"
    shutil.copyfile(fifty / "ward.trail", path)
    head = Checkpoint(origin=ORIGIN, size=50, root=Stored(path).tree.root())
    sql(behind("DELETE FROM entries WHERE seq > 45", LOSS))(path)
    lying = bytearray(Heads(fifty / "heads", ORIGIN).digests())
    lying[0] ^= 1
    found = compared(Stored(path), head, known=bytes(lying))
    assert found is not None and "only the digests kept beside" in found.sentence


def test_a_forged_caution_gone_past_is_found_by_its_missing_signature(tmp_path: Path) -> None:
    path = filled(tmp_path, 6)
    with Trail.open(path) as trail:
        keeping = notary(tmp_path, trail)
        honest = event(90, "prep-9", 0)
        trail.append(honest)
        wanting = event(91, "prep-9", 1, kind="proceeded")
        trail.append(wanting, attest=keeping.attest(wanting))
        trail.append(event(92, "prep-9", 2, kind="proceeded"))
        known = keys(tmp_path).known()
        found = report(trail.rows(), trail.origin.id, known)
    assert (found.held, found.faults, found.unsigned, found.strangers) == (1, [], [10], [])


def test_verification_names_the_act_without_its_signature_and_ends_with_1(tmp_path: Path) -> None:
    path = filled(tmp_path, 4)
    with Trail.open(path) as trail:
        keeping = notary(tmp_path, trail)
        trail.append(event(90, "prep-9"))
        true = event(91, "prep-9", 1, kind="proceeded")
        trail.append(true, attest=keeping.attest(true))
        trail.append(event(92, "prep-9", 2, kind="proceeded"))
    found = run("trail", "verify", "--trail", str(path), home=tmp_path)
    assert found.returncode == 1
    assert found.stderr == "Acts that ask for a signature and have none: 1: 8.\n"
    assert "8 entries, whole" in found.stdout


def test_a_temporary_table_of_the_same_name_is_refused_on_our_connection(tmp_path: Path) -> None:
    db = opened(filled(tmp_path, 4), how=TO_WRITE, patience_ms=100)
    with pytest.raises(sqlite3.DatabaseError):
        db.execute("CREATE TEMP TABLE entries (seq INTEGER)")
    db.close()


def test_what_a_swallowing_trigger_took_is_never_told_as_recorded(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1))
        sql(SWALLOW)(trail.path)
        with pytest.raises(TrailDamaged) as fault:
            trail.append(event(2, turn=1, kind="refused"))
        assert fault.value.recorded is False
        act = Act(id="a", kind="signed_in", at=AT, by="RN-1", station="", channel="", body={})
        with pytest.raises(TrailDamaged):
            trail.record(act)
