"""The trail on real files: what goes in, what comes out, and what is turned away."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import threading
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from checklist import trail_reading, trail_schema
from checklist.trail import (
    NotKept,
    SealedText,
    Trail,
    TrailBusy,
    TrailUnwritable,
    TurnTaken,
    UnfitEvent,
)
from tests.ward_trail import AT, TURNS, event, fill, filled, made, plain

PACKAGE = Path(trail_schema.__file__).parent
TOML = 'name = "glass ampoule"\r\n# ±\n'
TOML_DIGEST = hashlib.sha256(TOML.encode()).hexdigest()


def test_an_appended_event_comes_back_as_the_same_entry_from_every_question(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        first, second = trail.append(event(1)), trail.append(event(2, turn=1))
        assert (first.seq, second.seq) == (1, 2)
        assert first.event == event(1)
        assert first.previous == trail.origin.genesis
        assert second.previous == first.digest
        assert trail.head() == (2, second.digest)
        assert trail.of("prep-1") == (first, second)
        assert tuple(trail.since(0)) == (first, second)
        assert tuple(trail.since(1)) == (second,)
    with Trail.open(tmp_path / "ward.trail") as again:
        assert again.of("prep-1") == (first, second)
        assert again.head() == (2, second.digest)


def test_a_new_trail_is_empty_and_knows_its_name(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        assert trail.origin[:3] == ("7e-2026", "W7E", "2026-11-25T14:00:00.000000Z")
        assert trail.head() == (0, trail.origin.genesis)
        assert trail.of("prep-1") == ()
        assert tuple(trail.since(0)) == ()
        assert trail.preparations() == trail.open_preparations() == ()
        assert trail.verify().whole
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ward.trail"]
    assert (tmp_path / "ward.trail").stat().st_mode & 0o077 == 0


def test_the_stored_digest_is_sha_256_over_the_stored_row(tmp_path: Path) -> None:
    # Made here with json and hashlib alone, from what a plain connection reads.
    path = filled(tmp_path, 3)
    db = plain(path)
    (genesis,) = db.execute("SELECT genesis FROM trail").fetchone()
    *columns, previous, digest = db.execute("SELECT * FROM entries WHERE seq = 1").fetchone()
    db.close()
    array = json.dumps(
        ["7e-2026", *columns, previous.hex()], ensure_ascii=False, separators=(",", ":")
    )
    assert previous == genesis
    assert digest == hashlib.sha256(b"\x00" + array.encode()).digest()


def test_the_file_says_what_it_is(tmp_path: Path) -> None:
    # Offsets 60 and 68 of the header: SQLite's "Database File Format", section 1.3.
    header = filled(tmp_path, 1).read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\x00"
    assert header[60:64] == (2).to_bytes(4, "big")
    assert header[68:72] == b"ClTr"


def test_lists_say_where_each_preparation_stands(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        fill(trail, TURNS + 2)
        trail.append(event(50, turn=TURNS, kind="noted", place="given", lands="given"))
        one, two = trail.preparations()
        assert (one.id, one.opened_at, one.opened_by) == ("prep-1", event(1).at, "RN-12")
        assert (one.place, one.turn, one.last_at) == ("given", TURNS, event(50).at)
        assert (two.id, two.place, two.turn) == ("prep-2", "step-2", 1)
        assert trail.open_preparations() == (two,)
        for number, end in enumerate(("discarded", "abandoned"), start=60):
            trail.append(event(number, f"prep-{end}"))
            trail.append(event(number + 10, f"prep-{end}", 1, kind="ended", lands=end, by="RN-3"))
        assert trail.open_preparations() == (two,)
        assert [each.last_by for each in trail.preparations()][2:] == ["RN-3", "RN-3"]


def test_the_second_of_two_who_move_a_preparation_on_is_told(tmp_path: Path) -> None:
    with made(tmp_path) as one, Trail.open(tmp_path / "ward.trail") as two:
        one.append(event(1))
        kept = one.append(event(2, turn=1, by="RN-12"))
        with pytest.raises(TurnTaken, match="Someone else has moved this preparation on") as taken:
            two.append(event(3, turn=1, by="RN-30"))
        assert taken.value.recorded is False
        assert two.of("prep-1")[1] == kept
        assert two.append(event(4, turn=2, by="RN-30")).seq == 3
        assert one.verify().whole


def test_an_event_that_stands_already_gives_its_entry_again(tmp_path: Path) -> None:
    sealed = [SealedText(reference="s-1", field="name", text="Nan Tam")]
    with made(tmp_path) as trail:
        first = trail.append(event(1), sealed)
        trail.append(event(2, turn=1))
        assert trail.append(event(1), sealed) == first
        assert trail.head().seq == 2
        with pytest.raises(UnfitEvent, match="Another event stands under the id ev-1"):
            trail.append(event(1, by="RN-13"))
        with pytest.raises(UnfitEvent, match="Another event stands under the id ev-2"):
            trail.append(event(2, "prep-2"))
        assert trail.append(event(3, turn=2)).seq == 3


UNFIT: list[tuple[dict[str, Any], str]] = [
    ({"turn": 2}, "The next turn of prep-1 is 1; 2 was given"),
    ({"turn": -1}, "A turn is a whole number from 0"),
    ({"turn": True}, "A turn is a whole number from 0"),
    ({"turn": "1"}, "A turn is a whole number from 0"),
    ({"kind": "opened"}, "opened at its turn 0 and only there"),
    ({"turn": 0, "kind": "passed"}, "opened at its turn 0 and only there"),
    ({"kind": "guessed"}, "'guessed' is no kind of entry"),
    ({"id": ""}, "The event's id has 0 characters"),
    ({"by": ""}, "The person has 0 characters"),
    ({"lands": "x" * 201}, "has 201 characters; from 1 to 200"),
    ({"by": "RN\x0012"}, "The person holds a null character"),
    ({"station": "S\ud800"}, "The station holds half of a character"),
    ({"body": {"note": "a\x00b"}}, "body.note holds a null character"),
    ({"body": {"note": "\udc00"}}, r"body.note holds half of a character \(U\+DC00\)"),
    ({"body": {"note": "x" * 262_144}}, "The body has 262,155 characters; at most 262,144"),
    ({"at": datetime(2026, 11, 25)}, "does not say in which time zone"),  # noqa: DTZ001
]


@pytest.mark.parametrize(("changed", "says"), UNFIT, ids=[says for _, says in UNFIT])
def test_an_event_that_cannot_be_stored_is_refused_and_leaves_nothing(
    tmp_path: Path, changed: dict[str, Any], says: str
) -> None:
    with made(tmp_path) as trail:
        first = trail.append(event(1))
        with pytest.raises(UnfitEvent, match=says) as unfit:
            trail.append(replace(event(2, turn=1), **changed))
        assert unfit.value.recorded is False
        assert trail.head() == (1, first.digest)
        assert trail.append(event(2, turn=1)).seq == 2


@pytest.mark.parametrize("value", [0.5, float("nan"), float("inf"), b"x", AT, {"x"}])
def test_a_float_in_a_body_is_refused(tmp_path: Path, value: object) -> None:
    with made(tmp_path) as trail:
        with pytest.raises(TypeError, match="never stored"):
            trail.append(event(1, body={"volume": {"value": value}}))
        assert trail.head().seq == 0


def test_hostile_text_is_kept_to_the_letter(tmp_path: Path) -> None:
    text = "a\nb\r\n\t\x1d\x7f\u202e\u2066\u200b' OR 1=1; DROP TABLE entries;-- \"}]%s\U0001f489é"
    with made(tmp_path) as trail:
        written = event(1, body={text: [text, {"k": text}]}, station=text, place=text)
        entry = trail.append(written, [SealedText(reference=text, field=text, text=text)])
    with Trail.open(tmp_path / "ward.trail", read_only=True) as trail:
        assert trail.of("prep-1") == (entry,)
        assert entry.event == written
        assert trail.unsealed(text) == text
        assert trail.verify().whole


def test_only_what_came_behind_a_turn_can_be_asked_for(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        entries = tuple(trail.append(event(turn, turn=turn)) for turn in range(4))
        assert [trail.of("prep-1", after=turn) for turn in range(-1, 5)] == [
            entries, entries[1:], entries[2:], entries[3:], (), (),
        ]  # fmt: skip


def test_order_is_that_of_writing_whatever_the_clocks_say(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        at = [AT, AT - timedelta(days=400), AT, AT + timedelta(hours=2), AT - timedelta(seconds=1)]
        for turn, each in enumerate(at):
            trail.append(event(turn + 1, turn=turn, at=each))
        assert [entry.event.at for entry in trail.of("prep-1")] == at
        assert [entry.seq for entry in trail.since(0)] == [1, 2, 3, 4, 5]
        assert trail.preparations()[0].last_at == at[-1]
        assert trail.verify().whole


def test_a_sealed_text_stands_beside_the_chain_and_can_be_erased(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        body = {"seen": {"name": {"value": {"sealed": {"reference": "s-1"}}}}}
        trail.append(
            event(1, body=body), [SealedText(reference="s-1", field="name", text="Nan Tam")]
        )
        assert trail.unsealed("s-1") == "Nan Tam"
        assert trail.unsealed("s-2") is None
        with pytest.raises(UnfitEvent, match="A text is sealed under s-1 already"):
            trail.append(event(2, turn=1), [SealedText(reference="s-1", field="name", text="x")])
        assert trail.head().seq == 1
        db = plain(trail.path)
        db.execute("PRAGMA secure_delete = ON")
        assert db.execute("DELETE FROM private WHERE reference = 's-1'").rowcount == 1
        db.close()
        assert trail.unsealed("s-1") is None
        assert trail.verify().whole
    assert b"Nan Tam" not in (tmp_path / "ward.trail").read_bytes()


def test_an_event_and_its_sealed_texts_are_stored_together_or_not_at_all(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        twice = [SealedText(reference="s-1", field="name", text=text) for text in ("a", "b")]
        with pytest.raises(UnfitEvent, match="sealed under s-1 already"):
            trail.append(event(1), twice)
        assert trail.head().seq == 0
        assert trail.unsealed("s-1") is None


def test_a_definition_is_kept_once_and_to_the_letter(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.keep(TOML_DIGEST, "workflow", "glass_ampoule", TOML)
        trail.keep(TOML_DIGEST, "workflow", "glass_ampoule", TOML)
        assert trail.definition(TOML_DIGEST) == TOML
        with pytest.raises(NotKept, match="keeps no definition 00"):
            trail.definition("00")
        with pytest.raises(UnfitEvent, match="is not the digest of the text of other"):
            trail.keep(TOML_DIGEST, "workflow", "other", TOML + " ")
        with pytest.raises(UnfitEvent, match="'poem' is no kind of definition"):
            trail.keep(TOML_DIGEST, "poem", "x", TOML)
        assert trail.verify().whole


def test_since_gives_every_entry_after_a_number_across_its_batches(tmp_path: Path) -> None:
    count = trail_reading.BATCH + 3
    with made(tmp_path) as trail:
        entries = fill(trail, count)
        assert list(trail.since(0)) == entries
        for start in (1, 999, 1000, 1001, count - 1, count, count + 5):
            assert [each.seq for each in trail.since(start)] == list(range(start + 1, count + 1))
        assert trail.verify().entries == count
    with Trail.open(tmp_path / "ward.trail") as trail:
        assert trail.head() == (count, entries[-1].digest)


def test_another_program_that_holds_the_trail_is_waited_for_and_then_named(tmp_path: Path) -> None:
    with made(tmp_path, patience_ms=40) as trail:
        db = plain(trail.path)
        db.execute("BEGIN IMMEDIATE")
        with pytest.raises(TrailBusy, match="Another program is using the trail") as busy:
            trail.append(event(1))
        assert busy.value.recorded is False
        assert trail.head().seq == 0
        db.execute("ROLLBACK")
        db.close()
        assert trail.append(event(1)).seq == 1


def test_a_trail_belongs_to_one_thread(tmp_path: Path) -> None:
    caught: list[Exception] = []

    def use(trail: Trail) -> None:
        for ask in (trail.head, lambda: trail.append(event(1))):
            try:
                ask()
            except Exception as error:
                caught.append(error)

    with made(tmp_path) as trail:
        thread = threading.Thread(target=use, args=(trail,))
        thread.start()
        thread.join()
        assert [type(error) for error in caught] == [sqlite3.ProgrammingError] * 2
        assert trail.append(event(1)).seq == 1


def test_a_closed_trail_says_so(tmp_path: Path) -> None:
    trail = made(tmp_path)
    trail.close()
    trail.close()
    for ask in (trail.head, trail.verify, lambda: trail.append(event(1))):
        with pytest.raises(RuntimeError, match="has been closed"):
            ask()


def test_a_trail_opened_for_reading_takes_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    with Trail.open(path, read_only=True) as trail:
        with pytest.raises(TrailUnwritable, match="opened for reading only"):
            trail.append(event(9, "prep-9"))
        with pytest.raises(TrailUnwritable, match="opened for reading only"):
            trail.keep(TOML_DIGEST, "workflow", "glass_ampoule", TOML)
        with Trail.open(path) as writer:
            added = writer.append(event(70, "prep-70"))
        assert trail.head() == (3, added.digest)
