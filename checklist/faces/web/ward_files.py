"""The ward's files, read again when they change."""

from __future__ import annotations

import threading
from pathlib import Path

from checklist.intake.fault import Fault, Faults
from checklist.intake.file_mark import Mark, mark, same
from checklist.intake.ward import Ward, load_ward, reload_orders

ORDERS = "orders.json"
OTHERS = ("unit.toml", "staff.toml", "formulary.toml", "formulary.csv", "compatibility.toml")


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

    def _same(self, marks: dict[str, Mark | None], names: tuple[str, ...]) -> bool:
        return all(same(self._marks[name], marks[name]) for name in names)

    def _marked(self) -> dict[str, Mark | None]:
        return {name: _mark(self._folder / name) for name in (ORDERS, *OTHERS)}


def _mark(path: Path) -> Mark | None:
    try:
        return mark(path.stat())
    except OSError:
        return None
