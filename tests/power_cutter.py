"""Power lost, or trouble at a disk, under a writer: python power_cutter.py ACT FOLDER COUNT SEED.

`loss` cuts the power so many times at any moment under a writer and holds what it acknowledged
against what is found; `careless` is the same under a writer that does not wait for the disk, which
must be seen to lose; `together` writes BLOCK entries to a transaction, and no image may hold a
part of them. `trouble` lets every call to the disk report trouble in turn, once and for
good. One line of JSON at the end tells the counts.
"""

from __future__ import annotations

import json
import random
import sqlite3
import sys
from pathlib import Path
from typing import Any

import apsw

from checklist import trail_file
from checklist.trail import Trail, TrailFault
from tests.made_up_disk import Connection, Disk
from tests.made_up_disk import trouble as trouble_at
from tests.ward_trail import event, fill, made

ENTRIES = 12
BLOCK = 3
SETTINGS = trail_file._SETTINGS
CODES = {
    "open": apsw.SQLITE_CANTOPEN,
    "read": apsw.SQLITE_IOERR_READ,
    "write": apsw.SQLITE_IOERR_WRITE,
    "truncate": apsw.SQLITE_IOERR_TRUNCATE,
    "sync": apsw.SQLITE_IOERR_FSYNC,
    "size": apsw.SQLITE_IOERR_FSTAT,
    "delete": apsw.SQLITE_IOERR_DELETE,
    "access": apsw.SQLITE_IOERR_ACCESS,
}
COUNTED = (
    "points",
    "told",
    "not_opened",
    "stored_all_the_same",
    "unknown",
    "unknown_after_one",
    "untrue",
    "lost",
    "broken",
    "stuck",
)
Counts = dict[str, int]


def on(disk_name: str, *, careless: bool = False) -> None:
    """Have trails opened on a disk in memory, with the trail's own settings."""

    def connect(path: Path, *, how: str, patience_ms: int) -> Any:
        db = Connection(path, disk_name, patience_ms)
        for setting in SETTINGS:
            db.execute(setting)
        if careless:
            db.execute("PRAGMA synchronous = NORMAL")
        return db

    trail_file.connect = connect


def a_trail(folder: Path) -> Path:
    """A trail with some entries, closed, on the real disk."""
    with made(folder) as trail:
        fill(trail, 3)
        return trail.path


def writer(path: Path, said: list[tuple[int, bytes]]) -> None:
    """Append to a preparation; `said` holds what was acknowledged so far."""
    with Trail.open(path) as trail:
        for number in range(ENTRIES):
            entry = trail.append(event(number, "p", number, id=f"p-{number}"))
            said.append((entry.seq, entry.digest))


def writer_of_blocks(path: Path, said: list[tuple[int, bytes]]) -> None:
    """The same, some entries to a transaction; said is what was acknowledged after each."""
    with Trail.open(path) as trail:
        for start in range(0, ENTRIES, BLOCK):
            with trail.together():
                entries = [
                    trail.append(event(number, "p", number, id=f"p-{number}"))
                    for number in range(start, start + BLOCK)
                ]
            said.extend((entry.seq, entry.digest) for entry in entries)


def looked_at(found: dict[str, bytes], folder: Path, path: Path) -> tuple[list[Any], bool]:
    """What the usual SQLite reads from the files that were left; and whether they are whole."""
    place = folder / "left"
    place.mkdir(exist_ok=True)
    for old in place.iterdir():
        old.unlink()
    for name, content in found.items():
        (place / Path(name).name).write_bytes(content)
    try:
        with Trail.open(place / path.name) as trail:
            whole = trail.verify().whole
            return [(one.seq, one.digest) for one in trail.since(0)], whole
    except TrailFault:
        return [], False


def loss(folder: Path, count: int, seed: int, act: str) -> Counts:
    """Cut the power under so many writers, or images of one writer, at any call."""
    work = writer_of_blocks if act == "together" else writer
    draw, path = random.Random(seed), a_trail(folder)
    usual = trail_file.connect
    shots: list[tuple[list[tuple[int, bytes]], dict[str, bytes]]] = []
    said: list[tuple[int, bytes]] = []
    disk = Disk("loss")
    per_call = 0.0

    def photograph(_call: str) -> None:
        for _ in range(int(per_call) + (draw.random() < per_call % 1)):
            shots.append((list(said), disk.images(draw)))

    calls = [0]

    def counted(_call: str) -> None:
        calls[0] += 1

    disk.only(path)
    disk.before = counted
    on("loss", careless=act == "careless")
    work(path, [])
    per_call = count / calls[0]
    disk.only(path)
    disk.before = photograph
    work(path, said)
    trail_file.connect = usual
    counts = {"images": len(shots), "calls": calls[0]}
    counts |= dict.fromkeys(("lost", "broken", "extra", "parts"), 0)
    for acknowledged, found in shots:
        stored, whole = looked_at(found, folder, path)
        counts["broken"] += not whole
        counts["lost"] += bool(set(acknowledged) - set(stored))
        counts["extra"] = max(counts["extra"], len(stored) - 3 - len(acknowledged))
        counts["parts"] += (len(stored) - 3) % BLOCK != 0
    return counts


def trouble(folder: Path) -> Counts:
    """Let the n-th call report trouble, for every n there is, once and from then on for good."""
    path, usual = a_trail(folder), trail_file.connect
    counts: Counts = dict.fromkeys(COUNTED, 0)
    disk, state = Disk("trouble"), {"left": 0, "for_good": 0}

    def fail(call: str) -> None:
        state["left"] -= 1
        if state["left"] == 0 or (state["for_good"] and state["left"] < 0):
            raise trouble_at(CODES.get(call, apsw.SQLITE_IOERR), f"made-up trouble at {call}")

    disk.before = fail
    for for_good in (0, 1):
        number = 0
        while True:
            number += 1
            disk.only(path)
            state.update(left=number, for_good=for_good)
            on("trouble")
            said, fault, opened = _troubled(path)
            reached = state["left"] <= 0
            state.update(left=1 << 60, for_good=0)
            counts["unknown_after_one"] += (
                opened and not for_good and fault is not None and fault.recorded is None
            )
            _went_on(path, counts, said, fault, opened)
            trail_file.connect = usual
            stored, whole = looked_at(
                {name: bytes(held.now) for name, held in disk.files.items()}, folder, path
            )
            counts["points"] += reached
            counts["broken"] += not whole
            counts["lost"] += bool(set(said) - set(stored))
            if not reached:
                break
    return counts


def _troubled(path: Path) -> tuple[list[tuple[int, bytes]], TrailFault | None, bool]:
    said: list[tuple[int, bytes]] = []
    opened = False
    try:
        with Trail.open(path) as trail:
            opened = True
            for number in range(3):
                entry = trail.append(event(number, "p", number, id=f"p-{number}"))
                said.append((entry.seq, entry.digest))
    except TrailFault as fault:
        return said, fault, opened
    except sqlite3.Error:  # closing may meet trouble too, when all has been said
        return said, None, opened
    return said, None, opened


def _went_on(
    path: Path,
    counts: Counts,
    said: list[tuple[int, bytes]],
    fault: TrailFault | None,
    opened: bool,
) -> None:
    """With the disk well again: what was said of the entry under way is true, and work goes on."""
    if fault is None:
        return
    counts["told" if opened else "not_opened"] += 1
    with Trail.open(path) as trail:
        ids = {one.event.id for one in trail.since(0)}
        there = f"p-{len(said)}" in ids
        if opened:
            counts["stored_all_the_same"] += there
            counts["unknown"] += fault.recorded is None
            counts["untrue"] += fault.recorded not in (None, there)
        for number in range(len(said), 4):  # the same event again is never a second entry
            entry = trail.append(event(number, "p", number, id=f"p-{number}"))
        counts["stuck"] += entry.seq != 3 + 4
        trail.verify()


if __name__ == "__main__":
    act, where, count, seed = sys.argv[1:]
    if act == "trouble":
        told = trouble(Path(where))
    else:
        told = loss(Path(where), int(count), int(seed), act)
    sys.stdout.write(json.dumps(told) + "\n")
