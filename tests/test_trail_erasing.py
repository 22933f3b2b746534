"""Erasing what names a person: the chain stays whole, and not a byte of the value is left."""

from __future__ import annotations

import random
import sqlite3
from pathlib import Path

import pytest

from checklist import trail_erasing
from checklist.preparation import Act
from checklist.trail import SealedText, Trail, TrailBusy, UnfitEvent
from tests.ward_trail import AT, event, made, plain

SHUFFLED = random.Random(20261125)


def act(number: int, references: tuple[str, ...]) -> Act:
    return Act(
        id=f"erasing-{number}", kind="erased", at=AT, by="AD-1", station="S1", channel="typed",
        body={"person": "P-1", "ground": "asked", "references": list(references)},
    )  # fmt: skip


def sealed(reference: str, text: str, person: str) -> SealedText:
    return SealedText(reference=reference, field="note", text=text, person=person)


def forgotten(trail: Trail, person: str, identifiers: tuple[str, ...] = ()) -> list[str]:
    """Erase a person as the command does; gives the texts that were sealed."""
    found = trail.sealed_about(person, identifiers)
    references = tuple(one.reference for one in found)
    trail.record(act(trail.head().seq, references), erasing=references)
    return [one.text for one in found]


def bytes_beside(path: Path) -> bytes:
    return b"".join(one.read_bytes() for one in path.parent.iterdir() if one.is_file())


def test_after_an_erasure_no_byte_of_the_value_is_left_and_the_chain_is_whole(
    tmp_path: Path,
) -> None:
    # Long and short texts, one after the other and much moved about, so that pages split and
    # texts run over onto pages of their own.
    with made(tmp_path) as trail:
        trail.append(event(1))
        for number in range(2, 120):
            person = "P-1" if number % 3 else "P-2"
            length = SHUFFLED.choice((1, 3, 40, 900, 5_000, 30_000))
            text = f"Canary-{person}-{number}-" + f"Zwölfte Straße {number} " * length
            trail.append(
                event(number, turn=number - 1), [sealed(f"s-{number:05}", text[:200_000], person)]
            )
        assert bytes_beside(trail.path).count(b"Canary-P-1-") > 50
        gone = forgotten(trail, "P-1")
        assert len(gone) == 79
    assert trail_erasing.scrubbed(trail.path, gone) == []
    left = bytes_beside(trail.path)
    assert b"Canary-P-1-" not in left
    assert left.count(b"Canary-P-2-") >= 39
    with Trail.open(trail.path) as again:
        assert again.verify().whole
        assert again.sealed_about("P-1") == ()
        assert len(again.sealed_about("P-2")) == 39
        (erased,) = again.of("")
        assert (erased.event.kind, erased.event.by) == ("erased", "AD-1")
        assert "Canary" not in str(erased.event.body)
        assert again.append(event(500, turn=119)).seq == erased.seq + 1


@pytest.mark.parametrize("seed", range(4))
def test_erasing_in_any_order_leaves_nothing_of_it_without_building_the_file_anew(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # What secure_delete alone does: the file is not built anew here.
    chance = random.Random(seed)
    folded = trail_erasing.folded
    calls: list[bool] = []

    def counted(path: Path, patience_ms: int, *, anew: bool) -> None:
        calls.append(anew)
        folded(path, patience_ms, anew=anew)

    monkeypatch.setattr(trail_erasing, "folded", counted)
    with made(tmp_path) as trail:
        trail.append(event(1))
        for turn in range(1, 60):
            person = chance.choice(("P-1", "P-2", "P-3"))
            text = f"Canary-{person}-{turn}-" + "x" * chance.randrange(1, 3_000)
            reference = f"{chance.randrange(10**9):09}"
            trail.append(event(turn + 1, turn=turn), [sealed(reference, text, person)])
        gone = [*forgotten(trail, "P-2"), *forgotten(trail, "P-1")]
    assert trail_erasing.scrubbed(trail.path, gone) == []
    left = bytes_beside(trail.path)
    assert b"Canary-P-1" not in left and b"Canary-P-2" not in left
    assert calls == [False]


def test_a_text_in_the_log_alone_is_gone_with_the_log(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
        log = trail.path.with_name(f"{trail.path.name}-wal")
        assert b"Wilhelmina Quist" in log.read_bytes()
        gone = forgotten(trail, "P-1")
        assert b"Wilhelmina Quist" in log.read_bytes()
    assert trail_erasing.scrubbed(trail.path, gone) == []
    assert b"Wilhelmina" not in bytes_beside(trail.path)


def test_old_content_that_an_other_program_left_behind_is_built_out_of_the_file(
    tmp_path: Path,
) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
    db = plain(trail.path)
    db.execute("PRAGMA secure_delete = OFF")
    db.execute("DELETE FROM private")
    db.close()
    assert b"Wilhelmina Quist" in bytes_beside(trail.path)
    assert trail_erasing.scrubbed(trail.path, ["Wilhelmina Quist"]) == []
    assert b"Wilhelmina" not in bytes_beside(trail.path)
    assert Trail.examine(trail.path).whole


def test_a_text_that_stands_in_an_entry_too_is_told(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1, body={"note": "for Wilhelmina Quist"}))
        trail.append(event(2, turn=1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
        gone = forgotten(trail, "P-1")
    assert trail_erasing.scrubbed(trail.path, gone) == ["Wilhelmina Quist"]
    assert Trail.examine(trail.path).whole


def test_texts_that_hold_a_persons_identifier_are_found_wherever_they_were_entered(
    tmp_path: Path,
) -> None:
    # A wristband of P-2 read at the bed of P-1 is sealed with the preparation of P-1.
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "]d28018952000000000003027", "P-1")])
        trail.append(event(2, turn=1), [sealed("s-2", "for QUIST, wilhelmina", "P-1")])
        trail.append(event(3, turn=2), [sealed("s-3", "30011742", "P-1")])
        names = ("8952000000000003027", "Quist, Wilhelmina")
        assert [one.reference for one in trail.sealed_about("P-2", names)] == ["s-1", "s-2"]
        assert trail.sealed_about("P-2") == trail.sealed_about("P-2", ("",)) == ()


def test_an_erasure_of_what_is_not_there_is_refused_whole(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
        with pytest.raises(UnfitEvent, match="No text is sealed under s-9"):
            trail.record(act(1, ("s-1", "s-9")), erasing=("s-1", "s-9"))
        assert trail.head().seq == 1
        assert trail.unsealed("s-1") == "Wilhelmina Quist"


def test_the_same_erasure_offered_twice_is_one_entry(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
        first = trail.record(act(1, ("s-1",)), erasing=("s-1",))
        assert trail.record(act(1, ("s-1",)), erasing=("s-1",)) == first
        assert trail.head().seq == 2


def test_while_another_program_reads_the_log_is_not_said_to_be_empty(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(1), [sealed("s-1", "Wilhelmina Quist", "P-1")])
        reader = sqlite3.connect(trail.path, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM private").fetchall()
        gone = forgotten(trail, "P-1")
    with pytest.raises(TrailBusy, match="its log cannot be emptied now"):
        trail_erasing.scrubbed(trail.path, gone, patience_ms=50)
    reader.close()
    assert trail_erasing.scrubbed(trail.path, gone) == []
    assert b"Wilhelmina" not in bytes_beside(trail.path)
