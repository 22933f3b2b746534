"""The trail's heads, signed and kept by a thread of their own.

A head speaks of what is on the disk, so it is never made within a transaction that may still be
taken back; and nobody at a tablet waits while it is written elsewhere.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from checklist.faces.leaving import message
from checklist.faces.notarial import notary_of
from checklist.heads import HeadLost
from checklist.notary import Notary
from checklist.signing import KeyFault
from checklist.trail import Trail, TrailFault

GAP_S = 1.0
"""Seconds between two heads at least: each costs several waits for the disk."""


class HeadsLater:
    """Keeps a head of the trail at this path whenever one is wanted, and at the end.

    `lost` is told of a trail that does not go on from its last head. Other trouble is said once on
    stderr, since the trail itself is whole and the work goes on.
    """

    def __init__(self, path: Path, lost: Callable[[TrailFault], None]) -> None:
        self._path = path
        self._lost = lost
        self._due = threading.Event()
        self._stopping = threading.Event()
        self._said = ""
        self._thread = threading.Thread(target=self._run, name="heads")

    def want(self) -> None:
        """Have a head of what is on the disk made soon; from any thread."""
        self._due.set()

    def start(self) -> None:
        """Begin to wait."""
        self._thread.start()

    def stop(self) -> None:
        """Keep a last head, and end the thread."""
        self._stopping.set()
        self._due.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            with Trail.open(self._path, read_only=True) as trail:
                notary = notary_of(trail)
                while True:
                    self._due.wait()
                    self._due.clear()
                    last = self._stopping.is_set()
                    self._keep(notary)
                    if last:
                        return
                    self._stopping.wait(GAP_S)
        except TrailFault as fault:
            self._say(str(fault))

    def _keep(self, notary: Notary) -> None:
        try:
            notary.checkpoint()
            self._say(notary.trouble)
        except HeadLost as fault:
            self._lost(fault)
            self._say(str(fault))
        except (KeyFault, TrailFault) as fault:
            self._say(str(fault))

    def _say(self, trouble: str) -> None:
        if trouble and trouble != self._said:
            message(trouble)
        self._said = trouble
