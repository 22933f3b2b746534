"""How a file lay when it was read: enough to say later that it need not be read again."""

from __future__ import annotations

import os
import time
from typing import NamedTuple

FRESH_NS = 2_000_000_000
"""A file that was written less than this before it was looked at may be written again within the
same tick of the disk's clock (FAT counts in twos of seconds), so it counts as changed."""


class Mark(NamedTuple):
    """When a file was written in ns, its size, its number on the disk, whether it had settled."""

    written: int
    size: int
    number: int
    settled: bool


def mark(about: os.stat_result) -> Mark:
    """The mark of a file, from what the system just said about it."""
    settled = time.time_ns() - about.st_mtime_ns >= FRESH_NS
    return Mark(about.st_mtime_ns, about.st_size, about.st_ino, settled)


def same(before: Mark | None, now: Mark | None) -> bool:
    """Whether what was read then is what would be read now; two absences are the same."""
    return before == now and (before is None or before.settled)
