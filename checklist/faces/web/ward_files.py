"""The ward's files, read again when they change."""

from __future__ import annotations

import threading
import time
from pathlib import Path
from typing import NamedTuple

from checklist.intake.fault import Fault, Faults
from checklist.intake.ward import Ward, load_ward, reload_orders

ORDERS = "orders.json"
OTHERS = ("unit.toml", "staff.toml", "formulary.toml", "formulary.csv", "compatibility.toml")
FRESH_NS = 2_000_000_000
"""A file that was written less than this before it was looked at may be written again within the
same tick of the disk's clock (FAT counts in twos of seconds), so it counts as changed."""


class _Mark(NamedTuple):
    written: int
    size: int
    number: int
    settled: bool


class WardFiles:
    """The ward of the moment. `last` is the last one without a fault; threads may share this."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._marks = self._marked()
        self.last = load_ward(folder)

    def now(self) -> Ward:
        """The ward as its files say now. Raises Faults, of which nothing is then taken over."""
        with self._lock:
            marks = self._marked()
            if self._same(marks, (ORDERS, *OTHERS)):
                return self.last
            whole = not self._same(marks, OTHERS)
            fresh = load_ward(self._folder) if whole else reload_orders(self.last)
            if fresh.unit.code != self.last.unit.code:
                raise Faults(
                    [Fault("unit.toml", "code", "It is another unit now. Start the server anew.")]
                )
            self._marks, self.last = marks, fresh
            return fresh

    def _same(self, marks: dict[str, _Mark | None], names: tuple[str, ...]) -> bool:
        before = self._marks
        return all(
            marks[name] == before[name] and (one is None or one.settled)
            for name in names
            for one in [before[name]]
        )

    def _marked(self) -> dict[str, _Mark | None]:
        return {name: _mark(self._folder / name) for name in (ORDERS, *OTHERS)}


def _mark(path: Path) -> _Mark | None:
    now = time.time_ns()
    try:
        about = path.stat()
    except OSError:
        return None
    settled = now - about.st_mtime_ns >= FRESH_NS
    return _Mark(about.st_mtime_ns, about.st_size, about.st_ino, settled)
