"""Writes that share one transaction: each stands or falls by itself, all are durable at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from checklist.trail import Trail, TrailBusy, TrailUnwritable, TurnTaken
from tests.test_trail_disk import Troubled
from tests.ward_trail import event, filled, made


def commits(path: Path) -> int:
    """The commits in the write-ahead log, by its file format: frames that end a transaction.

    Source: SQLite file format, section 4.1 (frame header, bytes 4 to 7).
    """
    log = path.with_name(path.name + "-wal").read_bytes()
    size = int.from_bytes(log[8:12], "big")
    frames = range(32, len(log), 24 + size)
    return sum(int.from_bytes(log[at + 4 : at + 8], "big") > 0 for at in frames)


def test_many_writes_are_one_commit_and_seen_by_others_only_then(tmp_path: Path) -> None:
    with made(tmp_path) as trail, Trail.open(trail.path, read_only=True) as other:
        before = commits(trail.path)
        with trail.together():
            told = [trail.append(event(n, turn=n)) for n in range(20)]
            assert trail.head().seq == 20
            assert other.head().seq == 0
        assert other.head().seq == 20
        assert [one.seq for one in told] == list(range(1, 21))
        assert commits(trail.path) == before + 1
        assert other.verify().whole


def test_one_that_is_refused_takes_no_other_with_it(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        with trail.together():
            trail.append(event(900, turn=0))
            with pytest.raises(TurnTaken):
                trail.append(event(901, turn=0))
            trail.append(event(902, turn=1))
        assert [one.event.id for one in trail.since(0)] == ["ev-900", "ev-902"]
        assert trail.verify().whole


def test_a_block_that_is_left_by_a_fault_leaves_nothing(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        trail.append(event(900, turn=0))
        with pytest.raises(KeyError), trail.together():
            trail.append(event(901, turn=1))
            raise KeyError
        assert trail.head().seq == 1
        trail.append(event(901, turn=1))
        assert trail.verify().whole


@pytest.mark.parametrize("done", [False, True], ids=["not done", "done all the same"])
def test_trouble_at_the_commit_is_told_for_the_whole_block(tmp_path: Path, done: bool) -> None:
    with made(tmp_path) as trail:
        trail.append(event(900, turn=0))
        assert trail._db is not None
        trail._db = Troubled(trail._db, done=done, then=lambda: None)  # type: ignore[assignment]
        with pytest.raises(TrailUnwritable) as raised, trail.together():
            trail.append(event(901, turn=1))
            trail.append(event(902, turn=2))
        assert raised.value.recorded is done
        assert trail.head().seq == (3 if done else 1)
        trail.append(event(903, turn=3 if done else 1))
        assert trail.verify().whole


def test_trouble_inside_takes_the_whole_block_back(tmp_path: Path) -> None:
    path = filled(tmp_path, 3)
    with Trail.open(path) as trail:
        with pytest.raises(TrailUnwritable), trail.together():
            trail.append(event(901, turn=0, preparation="other"))
            assert trail._db is not None
            (pages,) = trail._db.execute("PRAGMA page_count").fetchone()
            trail._db.set_authorizer(None)
            trail._db.execute(f"PRAGMA max_page_count = {pages}")
            for n in range(1, 400):
                trail.append(event(n, turn=n, preparation="other", body={"seen": "x" * 3_000}))
        assert trail.head().seq == 3
        trail.append(event(901, turn=0, preparation="other"))
        assert trail.verify().whole


def test_another_writer_is_waited_for_and_told_of(tmp_path: Path) -> None:
    path = filled(tmp_path, 1)
    with Trail.open(path, patience_ms=20) as one, Trail.open(path, patience_ms=20) as two:
        with one.together():
            one.append(event(901, turn=0, preparation="other"))
            with pytest.raises(TrailBusy) as raised:
                two.append(event(902, turn=0, preparation="third"))
            assert raised.value.recorded is False
        two.append(event(902, turn=0, preparation="third"))
        assert two.verify().whole


def test_blocks_do_not_nest(tmp_path: Path) -> None:
    with made(tmp_path) as trail, trail.together(), pytest.raises(RuntimeError), trail.together():
        pass
