"""Trouble at the trail: killed writers, races, full and read-only disks, lost logs."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import checklist
from checklist.trail import NotATrail, Trail, TrailBusy
from tests.ward_trail import event, fill, filled, made

HERE = Path(__file__).parent
ROOT = Path(checklist.__file__).parent.parent


def worker(act: str, path: Path, name: str, count: int, told: Path) -> subprocess.Popen[str]:
    with told.open("w") as out:
        return subprocess.Popen(
            [sys.executable, str(HERE / "trail_worker.py"), act, str(path), name, str(count)],
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), str(HERE.parent)])},
        )


def acknowledged(told: Path) -> dict[str, tuple[int, str]]:
    """What a worker was told is recorded; a line cut by a kill does not count."""
    lines = [line.split() for line in told.read_text().splitlines(keepends=True) if "\n" in line]
    return {event_id: (int(seq), digest) for event_id, seq, digest in lines}


def stored(path: Path) -> dict[str, tuple[int, str]]:
    with Trail.open(path) as trail:
        found = trail.verify()
        assert found.whole
        entries = list(trail.since(0))
    assert [entry.seq for entry in entries] == list(range(1, found.entries + 1))
    return {entry.event.id: (entry.seq, entry.digest.hex()) for entry in entries}


def test_every_acknowledged_event_survives_writers_that_are_killed(tmp_path: Path) -> None:
    path = filled(tmp_path, 1)
    told = {name: tmp_path / name for name in ("A", "B", "C", "D")}
    doomed = {name: worker("write", path, name, 0, told[name]) for name in ("A", "B")}
    steady = [worker("write", path, name, 60, told[name]) for name in ("C", "D")]
    for name, process in doomed.items():
        while len(told[name].read_text().splitlines()) < 25 and process.poll() is None:
            time.sleep(0.01)
        process.send_signal(signal.SIGKILL)
        assert process.wait() == -signal.SIGKILL
    for process in steady:
        assert process.communicate()[1] == ""
        assert process.returncode == 0
    for process in doomed.values():
        process.communicate()
    found = stored(path)
    for name in told:
        heard = acknowledged(told[name])
        assert len(heard) >= 25
        assert heard.items() <= found.items()
        own = sum(event_id.startswith(f"{name}-") for event_id in found)
        assert own - len(heard) in (0, 1), "only the one event under way may be unacknowledged"


def test_of_many_who_move_one_preparation_on_one_wins_each_turn(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        path = trail.path
    told = {name: tmp_path / name for name in ("A", "B", "C", "D")}
    racers = [worker("race", path, name, 40, told[name]) for name in told]
    for process in racers:
        assert process.communicate()[1] == ""
        assert process.returncode == 0
    won = [acknowledged(out) for out in told.values()]
    found = stored(path)
    assert sum(map(len, won)) == len(found) == 40
    assert {name: heard for each in won for name, heard in each.items()} == found
    with Trail.open(path) as trail:
        assert [entry.event.turn for entry in trail.of("shared")] == list(range(40))


def test_a_full_disk_is_told_and_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    path = filled(tmp_path, 3)
    told = tmp_path / "told"
    process = worker("no_room", path, "N", 3, told)
    said = process.communicate()[1]
    assert process.returncode == 0, said
    number, recorded, sentence = said.split(" ", 2)
    assert recorded == "False"
    assert "What was entered is not recorded; everything recorded before is safe." in sentence
    assert "call IT" in sentence
    assert len(acknowledged(told)) == int(number) + 3
    assert acknowledged(told).items() <= stored(path).items()
    assert len(stored(path)) == 3 + int(number) + 3


def test_a_trail_that_cannot_be_made_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "ward").mkdir()
    process = worker("no_room_for_a_new_one", tmp_path / "ward", "new", 5_000, tmp_path / "told")
    assert "call IT" in process.communicate()[1]
    assert list((tmp_path / "ward").iterdir()) == []


@pytest.fixture
def shared_folder() -> Iterator[Path]:
    """A folder that other users of the machine can reach."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def by_a_user_without_rights(ask: Callable[[], object]) -> str:
    """What comes of it when it is done by a user who may write nothing here."""
    if os.geteuid() != 0:
        return outcome(ask)
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
        os.write(write, outcome(ask).encode())
        os._exit(0)
    os.close(write)
    os.waitpid(child, 0)
    with os.fdopen(read) as said:
        return said.read()


def outcome(ask: Callable[[], object]) -> str:
    try:
        return str(ask())
    except Exception as error:
        return f"{type(error).__name__}: {error}"


def read_all(path: Path) -> int:
    with Trail.open(path, read_only=True) as trail:
        return len(list(trail.since(0)))


def test_a_folder_that_may_not_be_written_is_told_and_can_still_be_read(
    shared_folder: Path,
) -> None:
    path = filled(shared_folder, 5)
    path.chmod(0o644)
    shared_folder.chmod(0o555)
    assert by_a_user_without_rights(lambda: read_all(path)) == "5"
    assert by_a_user_without_rights(lambda: Trail.examine(path).whole) == "True"
    for ask in (lambda: Trail.open(path), lambda: made(shared_folder, "new")):
        said = by_a_user_without_rights(ask)
        assert said.startswith("TrailUnwritable: ")
        assert "call IT" in said
    assert [each.name for each in shared_folder.iterdir()] == ["ward.trail"]


def test_a_file_that_may_not_be_written_is_told_when_it_is_opened(shared_folder: Path) -> None:
    path = filled(shared_folder, 5)
    path.chmod(0o444)
    shared_folder.chmod(0o777)
    said = by_a_user_without_rights(lambda: Trail.open(path))
    assert said.startswith("TrailUnwritable: The trail ward.trail may not be written to here.")
    assert by_a_user_without_rights(lambda: read_all(path)) == "5"
    path.chmod(0)
    said = by_a_user_without_rights(lambda: Trail.open(path))
    assert said.startswith("TrailUnwritable: The trail ward.trail cannot be opened here.")


def test_a_writer_that_holds_the_trail_keeps_others_from_opening_it_only_for_a_while(
    tmp_path: Path,
) -> None:
    path = filled(tmp_path, 2)
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    with pytest.raises(TrailBusy, match="Another program is using the trail"):
        Trail.open(path, patience_ms=30)
    with Trail.open(path, read_only=True, patience_ms=30) as reader:
        assert reader.head().seq == 2
    db.execute("ROLLBACK")
    db.close()
    with Trail.open(path, patience_ms=30) as trail:
        assert trail.append(event(3, turn=2)).seq == 3


def test_a_copy_without_its_log_lacks_the_newest_entries_and_only_a_kept_head_shows_it(
    tmp_path: Path,
) -> None:
    with made(tmp_path) as trail:
        entries = fill(trail, 8)
        shutil.copy(trail.path, tmp_path / "copy")
    found = Trail.examine(tmp_path / "copy")
    assert found.whole
    assert found.entries < 8
    assert found.head != (8, entries[-1].digest)


def test_a_log_left_by_a_killed_writer_is_read_and_cannot_be_given_to_another(
    tmp_path: Path,
) -> None:
    path = filled(tmp_path, 2)
    process = worker("write", path, "A", 0, tmp_path / "told")
    while len((tmp_path / "told").read_text().splitlines()) < 5 and process.poll() is None:
        time.sleep(0.01)
    process.kill()
    process.communicate()
    assert path.with_name("ward.trail-wal").stat().st_size > 0
    shutil.move(path, tmp_path / "moved")
    with pytest.raises(NotATrail, match=r"There is already a file .*ward\.trail-wal"):
        made(tmp_path)
    shutil.move(tmp_path / "moved", path)
    assert acknowledged(tmp_path / "told").items() <= stored(path).items()
