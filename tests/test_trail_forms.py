"""Older forms of a trail file: each is brought to the present one whole, or left as it was."""

from __future__ import annotations

import gzip
import hashlib
import json
import sqlite3
from pathlib import Path

import pytest

from checklist import chain, trail_forms, trail_schema
from checklist.preparation import Act
from checklist.trail import NotATrail, Trail, TrailDamaged
from tests.ward_trail import AT, event, filled, plain

# Written by this program when its files had form 1: the demonstration of 25 November 2026.
FORM_1 = Path(__file__).parent / "data" / "form_1_trail.db.gz"
HEAD = "71fe3bc9c39607ca2da68ac1f292319cf542a52538bd84bc16e6d8d833133ace"


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "old.trail"
    path.write_bytes(gzip.decompress(FORM_1.read_bytes()))
    return path


def rows(path: Path) -> list[tuple[object, ...]]:
    db = plain(path)
    found = db.execute("SELECT * FROM entries ORDER BY seq").fetchall()
    db.close()
    return found


def test_an_older_form_is_refused_with_the_command_that_helps(old: Path) -> None:
    before = old.read_bytes()
    for open_ in (Trail.open, lambda path: Trail.open(path, read_only=True), Trail.examine):
        with pytest.raises(NotATrail, match=r"form number 1.*`checklist trail migrate`"):
            open_(old)
    assert old.read_bytes() == before


def test_a_newer_form_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    db = plain(path)
    db.execute(f"PRAGMA user_version = {trail_schema.FORM + 1}")
    db.close()
    before = path.read_bytes()
    for use in (Trail.open, Trail.examine, trail_forms.migrated):
        with pytest.raises(NotATrail, match=r"knows (none above|forms 1 to)"):
            use(path)
    assert path.read_bytes() == before


def test_every_entry_keeps_its_digest_on_the_way_to_the_present_form(old: Path) -> None:
    before = rows(old)
    copy = trail_forms.migrated(old)
    assert copy is not None
    assert sorted(p.name for p in old.parent.iterdir()) == ["old.trail", "old.trail.form-1"]
    assert rows(old) == before == rows(copy)
    assert trail_forms.form_of(copy) == 1
    assert trail_forms.form_of(old) == trail_schema.FORM
    found = Trail.examine(old)
    assert found.whole
    assert found.head is not None and found.head.digest.hex() == HEAD
    assert copy.stat().st_mode & 0o077 == 0


def test_a_trail_brought_to_the_present_form_goes_on(old: Path) -> None:
    trail_forms.migrated(old)
    assert trail_forms.migrated(old) is None
    with Trail.open(old) as trail:
        entry = trail.record(
            Act(
                id="a-1", kind="migrated", at=AT, by="AD-1", station="", channel="typed",
                body={"from": "1", "to": "2"},
            )
        )  # fmt: skip
        assert (entry.seq, entry.previous.hex()) == (41, HEAD)
        assert trail.append(event(900, "prep-new")).seq == 42
        assert trail.verify().whole


def test_sealed_texts_come_to_know_their_person(old: Path) -> None:
    trail_forms.migrated(old)
    with Trail.open(old) as trail:
        texts = trail.sealed_about("P-301")
        assert len(texts) == 9
        assert {one.text for one in texts} >= {"30011742", "1958-03-14"}
        assert {one.preparation for one in texts} == {"demo-0001"}
        assert trail.sealed_about("P-302") == ()


def test_the_triggers_stand_again_afterwards(old: Path) -> None:
    trail_forms.migrated(old)
    db = plain(old)
    with pytest.raises(sqlite3.IntegrityError, match="an entry is never changed"):
        db.execute("UPDATE entries SET \"by\" = 'RN-99'")
    with pytest.raises(sqlite3.IntegrityError, match="an entry is never removed"):
        db.execute("DELETE FROM entries")
    db.close()


TAMPERED = {
    "an entry": (
        "DROP TRIGGER entries_no_update",
        "UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 7",
    ),
    "a trigger": ("DROP TRIGGER private_once",),
    "a definition": ("DROP TRIGGER definitions_no_update", "UPDATE definitions SET text = 'x'"),
    "a table of its own": ("CREATE TABLE more (x)",),
}


@pytest.mark.parametrize("acts", TAMPERED.values(), ids=TAMPERED)
def test_a_trail_that_was_tampered_with_keeps_its_form(old: Path, acts: tuple[str, ...]) -> None:
    db = plain(old)
    trigger = "SELECT sql FROM sqlite_master WHERE name = ?"
    for act in acts:
        name = act.removeprefix("DROP TRIGGER ")
        (sql,) = db.execute(trigger, (name,)).fetchone() or (None,)
        db.execute(act)
        if sql and len(acts) > 1:
            again = sql
    if len(acts) > 1:
        db.execute(again)
    before = db.execute("SELECT * FROM entries").fetchall()
    db.close()
    with pytest.raises(TrailDamaged):
        trail_forms.migrated(old)
    assert rows(old) == before
    assert trail_forms.form_of(old) == 1


def test_a_step_that_fails_leaves_the_old_form_whole(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def half(db: sqlite3.Connection) -> None:
        trail_forms._to_2(db)
        db.execute("DROP TRIGGER entries_no_update")
        db.execute("UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 7")

    before = rows(old)
    monkeypatch.setattr(trail_forms, "STEPS", {1: half})
    with pytest.raises(TrailDamaged, match=r"Entry 7 .*content"):
        trail_forms.migrated(old)
    assert rows(old) == before
    assert trail_forms.form_of(old) == 1


def test_the_schema_of_form_2_never_changes() -> None:
    # A trail is opened only if its schema text is this one. To change it, raise trail_schema.FORM
    # and write the step that leads there.
    text = "\n".join(trail_schema.SCHEMA)
    assert (trail_schema.FORM, chain.FORMAT) == (2, 1)
    assert sorted(trail_forms.STEPS) == sorted(trail_forms.SCHEMA_DIGESTS) == [1]
    assert (
        hashlib.sha256(text.encode()).hexdigest()
        == "4a629d45f7e9f7b31388662a939fe634de39daf9b0327ba66a2e987bd6451ccf"
    )


def test_an_act_stands_in_the_chain_and_in_no_preparation(tmp_path: Path) -> None:
    path = filled(tmp_path, 4)
    act = Act(id="a-1", kind="signed_in", at=AT, by="RN-12", station="S1", channel="typed", body={})
    with Trail.open(path) as one, Trail.open(path) as two:
        first = one.record(act)
        second = two.record(
            Act(id="a-2", kind="signed_out", at=AT, by="RN-3", station="S2", channel="typed",
                body={})
        )  # fmt: skip
        assert one.record(act) == first
        assert [entry.seq for entry in (first, second)] == [5, 6]
        assert one.of("") == (first, second)
        assert [each.id for each in one.preparations()] == ["prep-1"]
        assert one.append(event(9, turn=4)).seq == 7
        assert one.verify().whole
    db = plain(path)
    (body,) = db.execute("SELECT body FROM entries WHERE seq = 5").fetchone()
    assert json.loads(body) == {}
    db.close()


def test_an_archived_trail_takes_nothing_more(tmp_path: Path) -> None:
    path = filled(tmp_path, 4)
    last = Act(id="a-1", kind="archived", at=AT, by="AD-1", station="", channel="typed", body={})
    with Trail.open(path) as trail:
        trail.record(last)
        assert trail.record(last).seq == 5
        for more in (event(9, "prep-9"), event(9, turn=4)):
            with pytest.raises(Exception, match="closed for good and takes nothing more"):
                trail.append(more)
        assert trail.verify().whole
    db = plain(path)
    with pytest.raises(sqlite3.IntegrityError, match="an archived trail takes nothing more"):
        db.execute(
            "INSERT INTO entries SELECT seq + 1, 'x', preparation, turn + 1, kind, place, lands,"
            ' at, "by", station, channel, body, digest, digest FROM entries WHERE seq = 5'
        )
    db.close()
