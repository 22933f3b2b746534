"""Kills writers of a trail over and over: python killer.py PATH ROUNDS SIGNAL SEED [early].

Each round forks a writer that says number and digest of an entry once the trail has acknowledged
it, stops it by the signal after a random moment, and holds what was said against what is in the
trail. `early` plants the fault that this is to find: an entry is said before its commit. One line
of JSON at the end tells the counts.
"""

from __future__ import annotations

import itertools
import json
import os
import random
import signal
import sqlite3
import sys
import time
from pathlib import Path
from typing import Any, NoReturn

from checklist.chain import Head
from checklist.preparation import Entry
from checklist.trail import Trail
from tests.ward_trail import event

LONGEST = 0.03
"""Seconds from a writer's first word to the signal, at most."""
Said = dict[int, str]


class Early:
    """A real connection that has its last entry acknowledged before it is committed."""

    def __init__(self, db: sqlite3.Connection, told: int) -> None:
        self._db, self._told = db, told

    def __getattr__(self, name: str) -> Any:
        return getattr(self._db, name)

    def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
        if sql == "COMMIT":
            last = "SELECT seq, digest FROM main.entries ORDER BY seq DESC LIMIT 1"
            say(self._told, *self._db.execute(last).fetchone())
        return self._db.execute(sql, *values)


def say(told: int, seq: int, digest: bytes) -> None:
    os.write(told, f"{seq} {digest.hex()}\n".encode())


def write(path: Path, name: str, told: int, early: bool) -> NoReturn:
    """Append to preparations of its own until it is stopped."""

    def stop(*_: object) -> None:
        raise SystemExit(0)

    signal.signal(signal.SIGTERM, stop)
    with Trail.open(path) as trail:
        if early:
            connection = trail._connection
            connection._db = Early(connection._db, told)  # type: ignore[arg-type, assignment]
        for number in itertools.count():
            prep, turn = divmod(number, 5)
            entry = trail.append(event(number, f"{name}-{prep}", turn, id=f"{name}-{number}"))
            if not early:
                say(told, entry.seq, entry.digest)
    raise AssertionError("a writer ends only when it is stopped")


def round_of(path: Path, name: str, by: signal.Signals, early: bool, after: float) -> Said:
    """What one writer said before it was stopped; a line cut by the signal does not count."""
    heard, told = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        try:
            write(path, name, told, early)
        finally:
            os._exit(0)
    os.close(told)
    with os.fdopen(heard, "rb") as lines:
        first = lines.readline()
        time.sleep(after)
        os.kill(child, by)
        os.waitpid(child, 0)
        every = [first, *lines.readlines()]
    whole = [line.decode().split() for line in every if line.endswith(b"\n")]
    return {int(seq): digest for seq, digest in whole}


def added_to(path: Path, before: Head) -> list[Entry]:
    """The entries since `before`; opening looks over the form and the chain."""
    with Trail.open(path) as trail:
        entries = list(trail.since(before.seq))
    assert [one.previous for one in entries[:1]] == [before.digest][: len(entries)]
    return entries


def main(path: Path, rounds: int, by: signal.Signals, seed: int, early: bool) -> dict[str, int]:
    """Stop so many writers; with a planted fault, until the first loss."""
    draw = random.Random(seed)
    counts = {"rounds": 0, "acknowledged": 0, "lost": 0, "not_acknowledged": 0, "most_of_these": 0}
    with Trail.open(path) as trail:
        before = trail.head()
    for number in range(rounds):
        said = round_of(path, f"K{number}", by, early, draw.uniform(0, LONGEST))
        entries = added_to(path, before)
        stored = {one.seq: one.digest.hex() for one in entries}
        lost = said.items() - stored.items()
        extra = stored.keys() - said.keys()
        counts["rounds"] += 1
        counts["acknowledged"] += len(said)
        counts["lost"] += len(lost)
        counts["not_acknowledged"] += len(extra)
        counts["most_of_these"] = max(counts["most_of_these"], len(extra))
        if entries:
            before = Head(entries[-1].seq, entries[-1].digest)
        if early and lost:
            break
    return counts


if __name__ == "__main__":
    path, rounds, by, seed, *planted = sys.argv[1:]
    found = main(Path(path), int(rounds), signal.Signals[by], int(seed), planted == ["early"])
    sys.stdout.write(json.dumps(found) + "\n")
