"""Entries recorded together: in one write transaction, on the disk all at once or not at all."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.preparation import Act, Entry
from checklist.trail import Trail, TrailFault, TrailUnwritable, TurnTaken, UnfitEvent
from tests.faces import ROOT
from tests.notaries import notary
from tests.test_trail_disk import Meddling, Troubled
from tests.ward_trail import AT, event, filled, made


class Failed(Exception):
    """Something went wrong in the caller's own hands."""


def append(trail: Trail, *numbers: int) -> list[Entry]:
    """Append to one preparation, each number its turn."""
    return [trail.append(event(n, "p", n, id=f"p-{n}")) for n in numbers]


def act(number: int) -> Act:
    return Act(
        id=f"act-{number}", kind="signed_out", at=AT, by="RN-12", station="S1", channel="chosen",
        body={"person": "RN-12"},
    )  # fmt: skip


@given(blocks=st.lists(st.integers(0, 4), min_size=1, max_size=6))
@settings(max_examples=20, deadline=None)
def test_the_chain_is_the_same_as_when_each_is_recorded_alone(
    blocks: list[int], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("blocks")
    alone, together = made(folder, "alone.db"), made(folder, "together.db")
    number = 0
    for size in blocks:
        with together.together():
            for _ in range(size):
                append(alone, number)
                append(together, number)
                number += 1
    assert list(alone.rows()) == list(together.rows())
    assert together.verify().whole
    assert together.head().seq == number
    alone.close()
    together.close()


def test_nobody_sees_them_before_the_block_ends(tmp_path: Path) -> None:
    with made(tmp_path) as trail, Trail.open(trail.path, read_only=True) as reader:
        with trail.together():
            within = trail.is_together
            append(trail, 0, 1)
            trail.record(act(1))
            assert trail.head().seq == 3, "the writer itself goes on from its own entries"
            assert reader.head().seq == 0
        assert (within, trail.is_together) == (True, False)
        assert reader.head() == trail.head()
        assert reader.head().seq == 3


def test_an_act_that_is_not_taken_takes_back_itself_alone(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        with trail.together():
            append(trail, 0)
            with pytest.raises(TurnTaken):
                trail.append(event(7, "p", 0, id="late"))
            with pytest.raises(UnfitEvent):
                trail.append(event(8, "p", 5, id="early"))
            append(trail, 1)
        assert [entry.event.id for entry in trail.since(0)] == ["p-0", "p-1"]
        assert trail.verify().whole


def test_an_act_whose_signature_cannot_be_made_leaves_no_half_of_itself(tmp_path: Path) -> None:
    def no_key(_entry: Entry) -> Act:
        raise Failed

    with made(tmp_path) as trail:
        with trail.together():
            append(trail, 0)
            with pytest.raises(Failed):
                trail.append(event(1, "p", 1, id="p-1"), attest=no_key)
            append(trail, 1)
        assert trail.head().seq == 2
        assert trail.verify().whole


def test_an_exception_that_leaves_the_block_takes_back_everything(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        append(trail, 0)
        before = trail.head()
        with pytest.raises(Failed), trail.together():
            append(trail, 1, 2)
            raise Failed
        assert trail.head() == before
        assert append(trail, 1)[0].previous == before.digest
        with trail.together():
            append(trail, 2)
        assert trail.verify().whole


def trouble(*_: Any) -> sqlite3.Cursor:
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode = sqlite3.SQLITE_IOERR_WRITE
    error.sqlite_errorname = "SQLITE_IOERR_WRITE"
    raise error


def test_trouble_at_one_act_takes_back_all_and_the_rest_is_not_tried(tmp_path: Path) -> None:
    taken_back = pytest.raises(TrailUnwritable, match="all of it was taken back")
    with made(tmp_path) as trail:
        append(trail, 0)
        with taken_back as last, trail.together():
            append(trail, 1)
            db = trail._connection._db
            assert db is not None
            trail._connection._db = Meddling(db, "INSERT", trouble)  # type: ignore[assignment]
            with pytest.raises(TrailUnwritable, match="reported trouble") as first:
                append(trail, 2)
            with pytest.raises(TrailUnwritable, match="all of it was taken back") as next_one:
                append(trail, 2)
        assert [each.value.recorded for each in (first, next_one, last)] == [False] * 3
        assert trail.head().seq == 1
        with trail.together():
            append(trail, 1, 2)
        assert trail.verify().whole


@pytest.mark.parametrize("done", [True, False])
def test_after_trouble_with_the_commit_it_says_what_became_of_all_of_it(
    tmp_path: Path, done: bool
) -> None:
    with made(tmp_path) as trail:
        append(trail, 0)
        with pytest.raises(TrailFault, match="reported trouble") as caught, trail.together():
            append(trail, 1, 2)
            db = trail._connection._db
            assert db is not None
            trail._connection._db = Troubled(db, done=done, then=lambda: None)  # type: ignore[assignment]
        assert caught.value.recorded is done
        assert trail.head().seq == (3 if done else 1)
        append(trail, *range(trail.head().seq, 4))
        assert trail.verify().whole


def test_a_block_within_a_block_is_a_mistake_of_the_caller(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        with trail.together():
            append(trail, 0)
            with pytest.raises(RuntimeError, match="another such block"), trail.together():
                pass
            append(trail, 1)
        assert trail.head().seq == 2


def test_a_block_of_a_trail_opened_for_reading_is_refused(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    with (
        Trail.open(path, read_only=True) as trail,
        pytest.raises(TrailUnwritable, match="for reading only"),
        trail.together(),
    ):
        pass


def test_a_writer_killed_within_a_block_leaves_nothing_of_it(tmp_path: Path) -> None:
    path = filled(tmp_path, 3)
    code = (
        "import sys, time\n"
        "from pathlib import Path\n"
        "from checklist.trail import Trail\n"
        "from tests.ward_trail import event\n"
        "with Trail.open(Path(sys.argv[1])) as trail, trail.together():\n"
        "    for n in range(4):\n"
        "        trail.append(event(n, 'p', n, id=f'p-{n}'))\n"
        "    print('all in', flush=True)\n"
        "    time.sleep(60)\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "all in\n"
    process.send_signal(signal.SIGKILL)
    process.communicate()
    with Trail.open(path) as trail:
        assert trail.head().seq == 3
        assert trail.verify().whole


def test_no_head_is_signed_of_what_is_not_yet_on_the_disk(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        by = notary(tmp_path, trail)
        with trail.together():
            append(trail, 0)
            by.checkpoint()
            due = by.due
            assert not list((tmp_path / "heads").rglob("*.note"))
        note = by.checkpoint()
        assert note is not None
        assert (due, by.due) == (True, False)
        assert "\n1\n" in note.text
