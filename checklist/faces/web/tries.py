"""How often one address may try something in a while."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

MOST_ADDRESSES = 10_000
"""Addresses that are remembered; the one that was heard of longest ago is forgotten first."""


class Tries:
    """Counts the tries of each address: `most` of them within `within` seconds, no more.

    It stands beside the lockout of each person, which the trail keeps: this one slows down whoever
    tries many people, and costs the trail nothing.
    """

    def __init__(
        self, most: int, within: float, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.most = most
        self.within = within
        self._clock = clock
        self._known: dict[str, deque[float]] = {}

    def wait(self, address: str) -> int:
        """How many whole seconds an address has to wait before its next try; 0 for none."""
        kept = self._of(address)
        if len(kept) < self.most:
            return 0
        return max(1, round(kept[0] + self.within - self._clock()))

    def count(self, address: str) -> None:
        """Count a try."""
        kept = self._of(address)
        kept.append(self._clock())
        self._known[address] = kept
        while len(self._known) > MOST_ADDRESSES:
            del self._known[next(iter(self._known))]

    def _of(self, address: str) -> deque[float]:
        kept = self._known.pop(address, deque())
        while kept and kept[0] <= self._clock() - self.within:
            kept.popleft()
        if kept:
            self._known[address] = kept
        return kept
