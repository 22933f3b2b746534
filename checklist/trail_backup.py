"""Backups of a trail and the drill of restoring one: copied whole, verified, and compared."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from checklist import trail_file as file
from checklist import trail_reading as reading
from checklist import trail_verification as verifying
from checklist.chain import Head
from checklist.trail_copying import copied, sha_256
from checklist.trail_fault import NotATrail, TrailFault, damaged, of_sqlite


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """A verified copy of a trail: where it is, its trail's id and last entry, and its check value.

    `size` is in bytes, `sha_256` over the whole file, in hexadecimal figures.
    """

    path: Path
    trail: str
    head: Head
    size: int
    sha_256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Later:
    """What stands in a trail after the last entry of a copy.

    `entries` is how many; `preparations` maps the id of each preparation they belong to, in the
    order of first being met, to how many of them are its own; "" is the place of work itself.
    """

    entries: int
    preparations: dict[str, int]


def backed_up(source: Path, target: Path, *, patience_ms: int = file.PATIENCE_MS) -> Copy:
    """Copy a trail, which may be written to meanwhile, into a new file, and verify the copy.

    Raises NotATrail where something stands at the target, TrailDamaged for a copy that is not as
    it was recorded; then there is none. Whatever was recorded before the call is in the copy.
    """
    place = file.existing(source)
    before = _head(place, patience_ms)
    copied(place, target, patience_ms=patience_ms)
    return _verified(target, at_least=before, patience_ms=patience_ms)


def restored(backup: Path, target: Path, *, patience_ms: int = file.PATIENCE_MS) -> Copy:
    """Bring a backup back at a new place, and verify it there; raises as `backed_up`."""
    place = file.existing(backup)
    head = _head(place, patience_ms)
    copied(place, target, patience_ms=patience_ms)
    return _verified(target, at_least=head, patience_ms=patience_ms)


def later(copy: Path, live: Path, *, patience_ms: int = file.PATIENCE_MS) -> Later:
    """What the live trail holds that the copy does not.

    Raises NotATrail when they are two trails, and TrailDamaged when the live one does not hold
    the copy's last entry as it is there: then one of them is not as it was recorded.
    """
    with _opened(copy, patience_ms) as one, _opened(live, patience_ms) as two:
        origin = reading.origin(one)
        if reading.origin(two) != origin:
            raise NotATrail(
                f"{live} and {copy} are two trails. Give the trail that the backup was made of."
            )
        head = reading.last(one, origin)
        same = reading.row(two, head.seq)
        if head.seq and (same is None or same.digest != head.digest):
            raise damaged(live, f"It does not hold entry {head.seq} as the backup does.")
        since: dict[str, int] = {}
        for row in reading.rows(two, head.seq, reading.last(two, origin).seq):
            since[row.preparation] = since.get(row.preparation, 0) + 1
        return Later(entries=sum(since.values()), preparations=since)


def _verified(target: Path, *, at_least: Head, patience_ms: int) -> Copy:
    """The copy, once it is sure that it is whole and holds at least this head."""
    try:
        with _opened(target, patience_ms) as db:
            found = verifying.verification(db)
            origin = reading.origin(db)
            row = reading.row(db, at_least.seq)
        if found.first_break is not None:
            raise damaged(target, found.first_break.sentence)
        if found.faults:
            raise damaged(target, " ".join(found.faults))
        if found.head is None or (at_least.seq and (row is None or row.digest != at_least.digest)):
            raise damaged(target, f"Entry {at_least.seq} is not in the copy.")
    except TrailFault:
        target.unlink(missing_ok=True)
        raise
    return Copy(
        path=target,
        trail=origin.id,
        head=found.head,
        size=target.stat().st_size,
        sha_256=sha_256(target),
    )


def _head(place: Path, patience_ms: int) -> Head:
    with _opened(place, patience_ms) as db:
        return reading.last(db, reading.origin(db))


@contextmanager
def _opened(path: Path, patience_ms: int) -> Iterator[sqlite3.Connection]:
    place = file.existing(path)
    db = file.opened(place, how=file.way_to_read(place), patience_ms=patience_ms)
    try:
        yield db
    except sqlite3.Error as error:
        raise of_sqlite(error, path, offered=False) from error
    finally:
        db.close()
