"""Backups and the drill of restoring one, while others write, against plain copies of the file."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from checklist import trail_backup, trail_copying
from checklist.preparation import Act
from checklist.trail import NotATrail, SealedText, Trail, TrailDamaged, TrailUnwritable
from tests.effort import FULL
from tests.ward_trail import AT, TURNS, event, fill, filled, made, plain

ROUNDS = 60 if FULL else 6


def rows(path: Path) -> list[tuple[object, ...]]:
    db = plain(path)
    found = [
        row
        for table, key in (("entries", "seq"), ("private", "reference"), ("definitions", "digest"))
        for row in db.execute(f"SELECT * FROM {table} ORDER BY {key}")
    ]
    db.close()
    return found


def test_a_backup_holds_all_that_the_trail_holds_in_one_file(tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    with made(tmp_path) as trail:
        fill(trail, 3 * TURNS)
        trail.append(
            event(90, turn=TURNS), [SealedText(reference="s-1", field="name", text="Nan Tam")]
        )
        head = trail.head()
        copy = trail_backup.backed_up(trail.path, tmp_path / "kept" / "day.trail")
        assert rows(copy.path) == rows(trail.path)
    assert (copy.head, copy.trail) == (head, "7e-2026")
    assert [one.name for one in copy.path.parent.iterdir()] == ["day.trail"]
    assert copy.path.stat().st_mode & 0o777 == 0o600
    content = copy.path.read_bytes()
    assert (copy.size, copy.sha_256) == (len(content), hashlib.sha256(content).hexdigest())
    with Trail.open(copy.path, read_only=True) as again:
        assert again.verify().whole
        assert again.unsealed("s-1") == "Nan Tam"


def test_every_backup_made_while_others_write_is_whole_and_has_what_was_acknowledged(
    tmp_path: Path,
) -> None:
    with made(tmp_path):
        pass
    acknowledged = [0]
    done = threading.Event()

    def write() -> None:
        with Trail.open(tmp_path / "ward.trail") as trail:
            number = 0
            while not done.is_set():
                number += 1
                acknowledged[0] = trail.append(event(number, f"prep-{number}")).seq

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(ROUNDS):
            before = acknowledged[0]
            copy = trail_backup.backed_up(tmp_path / "ward.trail", tmp_path / f"{number}.trail")
            assert copy.head.seq >= before
            assert Trail.examine(copy.path).whole
    finally:
        done.set()
        writer.join()
    assert acknowledged[0] > 0


def test_a_plain_copy_of_the_file_alone_loses_what_is_in_the_log(tmp_path: Path) -> None:
    # Why `backup` is there: this is what `cp` does to a trail in use.
    with made(tmp_path) as trail:
        fill(trail, TURNS)
        (tmp_path / "cp").mkdir()
        shutil.copy(trail.path, tmp_path / "cp" / "ward.trail")
        backup = trail_backup.backed_up(trail.path, tmp_path / "day.trail")
    assert backup.head.seq == TURNS
    found = sqlite3.connect(tmp_path / "cp" / "ward.trail")
    (entries,) = found.execute("SELECT count(*) FROM entries").fetchone()
    assert entries < TURNS
    found.close()


@pytest.mark.parametrize("there", ["file", "folder", "link", "log"])
def test_a_backup_takes_the_place_of_nothing(tmp_path: Path, there: str) -> None:
    path = filled(tmp_path, TURNS)
    target = tmp_path / "day.trail"
    match there:
        case "file":
            target.write_text("kept")
        case "folder":
            target.mkdir()
        case "link":
            target.symlink_to(tmp_path / "nowhere")
        case _:
            (tmp_path / "day.trail-wal").write_text("kept")

    def standing() -> list[tuple[str, bytes]]:
        there = sorted(tmp_path.glob("day.trail*"))
        return [(one.name, one.read_bytes() if one.is_file() else b"") for one in there]

    before = standing()
    for copy in (trail_backup.backed_up, trail_backup.restored):
        with pytest.raises(NotATrail, match="There is already a file"):
            copy(path, target)
    assert standing() == before


def test_a_damaged_trail_gives_no_backup(tmp_path: Path) -> None:
    path = filled(tmp_path, TURNS)
    db = plain(path)
    db.execute("DROP TRIGGER entries_no_update")
    db.execute("UPDATE entries SET \"by\" = 'RN-99' WHERE seq = 2")
    db.close()
    with pytest.raises(TrailDamaged, match="Entry 2 does not have the content"):
        trail_backup.backed_up(path, tmp_path / "day.trail")
    assert not (tmp_path / "day.trail").exists()


def test_a_backup_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path, TURNS)
    with pytest.raises(NotATrail, match="There is no folder"):
        trail_backup.backed_up(path, tmp_path / "none" / "day.trail")
    # A file size limit stands in for a full disk; it is set in a process of its own.
    code = (
        "import resource, sys\n"
        "from pathlib import Path\n"
        "from checklist import trail_backup\n"
        "from checklist.trail import TrailFault\n"
        "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))\n"
        "try:\n"
        "    trail_backup.backed_up(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "except TrailFault as fault:\n"
        "    print(type(fault).__name__, fault)\n"
    )
    target = tmp_path / "day.trail"
    run = subprocess.run(
        [sys.executable, "-c", code, str(path), str(target)],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert run.stdout.startswith(TrailUnwritable.__name__), run
    assert not target.exists()


def test_the_drill_restores_a_backup_elsewhere_and_says_what_came_after_it(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        fill(trail, TURNS + 1)
        copy = trail_backup.backed_up(trail.path, tmp_path / "day.trail")
        trail.append(event(20, "prep-2", 1))
        trail.append(event(21, "prep-9"))
        trail.record(
            Act(id="a", kind="signed_out", at=AT, by="RN-3", station="", channel="typed", body={})
        )
        trail.append(event(22, "prep-9", 1))
        back = trail_backup.restored(copy.path, tmp_path / "back.trail")
        found = trail_backup.later(back.path, trail.path)
        assert found.entries == 4
        assert found.preparations == {"prep-2": 1, "prep-9": 2, "": 1}
        assert trail_backup.later(trail.path, trail.path).entries == 0
    assert (back.head, back.trail) == (copy.head, copy.trail)
    assert rows(back.path) == rows(copy.path)
    with Trail.open(back.path) as again:
        assert again.append(event(30, "prep-2", 1)).seq == TURNS + 2


def test_a_backup_of_another_trail_or_of_a_trail_changed_since_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path, TURNS)
    copy = trail_backup.backed_up(path, tmp_path / "day.trail")
    with Trail.create(tmp_path / "other.trail", trail_id="8w", unit="W8", at=AT) as other:
        fill(other, TURNS)
    with pytest.raises(NotATrail, match="are two trails"):
        trail_backup.later(copy.path, other.path)
    short = tmp_path / "short"
    short.mkdir()
    with made(short) as cut:
        fill(cut, TURNS - 1)
    with pytest.raises(TrailDamaged, match=f"does not hold entry {TURNS} as the backup does"):
        trail_backup.later(copy.path, cut.path)


def test_an_archive_that_may_only_be_read_can_be_restored(tmp_path: Path) -> None:
    copy = trail_backup.backed_up(filled(tmp_path, TURNS), tmp_path / "day.trail")
    copy.path.chmod(0o400)
    back = trail_backup.restored(copy.path, tmp_path / "back.trail")
    assert back.head == copy.head
    assert trail_copying.sha_256(copy.path) == copy.sha_256
