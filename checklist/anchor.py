"""A trail beside a head that was kept elsewhere: whether it goes on from it, and where not.

The chain inside a trail shows any change that was not carried on to its end. A cut-off end, an
older file put back, another trail in its place and a chain made anew are seen only from outside,
by the size and root that somebody kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from checklist import trail_file as file
from checklist import trail_reading as reading
from checklist.merkle import HASH_BYTES, Tree
from checklist.note import Checkpoint, origin_of
from checklist.trail_reading import Origin


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """The first entry that is not as it was, 0 where it is another trail altogether."""

    seq: int
    sentence: str


class Stored:
    """The digests of a trail's entries as they stand in its file, which may be damaged.

    `origin` is what the file says that it is; `leaves` and their `tree` cover the entries up to
    the first that is missing or cannot be read. Raises NotATrail, TrailDamaged when SQLite cannot
    open the file.
    """

    def __init__(self, path: Path, *, patience_ms: int = file.PATIENCE_MS) -> None:
        place = file.existing(path)
        self.origin = Origin("", "", "", b"")
        found = bytearray()
        db = file.opened(place, how=file.way_to_read(place), patience_ms=patience_ms)
        with closing(db), suppress(sqlite3.Error):  # what was read until then is what there is
            self.origin = reading.origin(db)
            last = reading.last(db, self.origin).seq
            for expected, (seq, digest) in enumerate(reading.digests(db, 0, last), start=1):
                if seq != expected or len(digest) != HASH_BYTES:
                    break
                found += digest
        self.leaves = bytes(found)
        self.tree = Tree(self.leaves)


def compared(
    stored: Stored, head: Checkpoint, *, known: bytes = b"", good: Iterable[Checkpoint] = ()
) -> Finding | None:
    """What a head that was kept elsewhere finds amiss in a trail; None when the trail extends it.

    `known` are digests kept beside the head: where they are the head's own, they tell the very
    entry. Without them the heads in `good` that still hold tell between which two it is.
    """
    if head.origin != origin_of(stored.origin.id):
        return Finding(
            seq=0,
            sentence=f"This is another trail: it is {origin_of(stored.origin.id)}, and the head"
            f" that was kept is of {head.origin}.",
        )
    size = stored.tree.size
    if head.size <= size and stored.tree.root(head.size) == head.root:
        return None
    first = _first_difference(stored.leaves, known[: head.size * HASH_BYTES], head)
    if first is not None and first <= size:
        return Finding(seq=first, sentence=f"Entry {first} is not the one that was there.")
    if first is not None or (head.size > size and _reaches(stored, good)):
        return Finding(
            seq=size + 1,
            sentence=f"Entry {size + 1} is missing: the trail ended with entry {head.size} when"
            " the head was kept.",
        )
    held = max((one.size for one in good if _holds(stored, one)), default=0)
    return Finding(
        seq=held + 1,
        sentence=f"One of the entries {held + 1} to {head.size} is not the one that was there, or"
        " is missing; which one, only the digests kept beside the heads can tell.",
    )


def _first_difference(leaves: bytes, known: bytes, head: Checkpoint) -> int | None:
    """The first entry whose digest is not the known one; None where those are not the head's."""
    if len(known) != head.size * HASH_BYTES or Tree(known).root() != head.root:
        return None
    for at in range(0, len(known), HASH_BYTES):
        if leaves[at : at + HASH_BYTES] != known[at : at + HASH_BYTES]:
            return at // HASH_BYTES + 1
    return None


def _reaches(stored: Stored, good: Iterable[Checkpoint]) -> bool:
    return any(one.size == stored.tree.size and _holds(stored, one) for one in good)


def _holds(stored: Stored, head: Checkpoint) -> bool:
    return (
        head.origin == origin_of(stored.origin.id)
        and head.size <= stored.tree.size
        and stored.tree.root(head.size) == head.root
    )
