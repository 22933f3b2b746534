"""Questions to a trail's file: its origin, rows, preparations, definitions and sealed texts."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from checklist import chain, codec
from checklist.chain import Head, Row
from checklist.preparation import CLOSED
from checklist.trail_schema import COLUMNS

BATCH = 250
"""How many rows one short read takes."""
MOST_TURNS = 2**63 - 1
"""No turn is greater: SQLite's largest whole number."""
NEWEST = 50
"""How many acts of the workplace one short read takes: what is asked of them lies near the end."""


class Origin(NamedTuple):
    """The one row that says which trail this is."""

    id: str
    unit: str
    created_at: str
    genesis: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A preparation in a list: when and by whom it was opened, where it stands, its last entry.

    `station` is where its last entry was made.
    """

    id: str
    opened_at: datetime
    opened_by: str
    station: str
    place: str
    turn: int
    last_at: datetime
    last_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A sealed text: its reference, its preparation ("" for none), its field, and the text."""

    reference: str
    preparation: str
    field: str
    text: str


def origin(db: sqlite3.Connection) -> Origin:
    """Which trail the file says that it is; without its row, one that is never sound."""
    sql = 'SELECT "id", "unit", created_at, genesis FROM main.trail'
    found = db.execute(sql).fetchone()
    return Origin("", "", "", b"") if found is None else Origin._make(found)


def is_sound(found: Origin) -> bool:
    """Whether the row that says which trail this is still has the genesis made from it."""
    return chain.genesis(found.id, found.unit, found.created_at) == found.genesis


def rows(db: sqlite3.Connection, after: int, last: int) -> Iterator[Row]:
    """The stored rows after one number up to another."""
    for batch in batches(db, after, last):
        yield from map(Row._make, batch)


def batches(db: sqlite3.Connection, after: int, last: int) -> Iterator[list[tuple[Any, ...]]]:
    """The stored rows after one number up to another, some at a time, as their bare columns.

    They are read in short transactions: a long read would keep the write-ahead log from being
    folded back into the file. Those before one that cannot be read come before the sqlite3.Error.
    """
    sql = f"SELECT {COLUMNS} FROM main.entries WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?"
    while after < last:
        batch: list[tuple[Any, ...]] = []
        try:
            batch.extend(db.execute(sql, (after, last, BATCH)))
        except sqlite3.Error:
            if batch:
                yield batch
            raise
        if not batch:
            return
        yield batch
        after = batch[-1][0]


def digests(db: sqlite3.Connection, after: int, last: int) -> Iterator[tuple[int, bytes]]:
    """The number and digest of the stored rows after one number up to another."""
    sql = "SELECT seq, digest FROM main.entries WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?"
    while after < last:
        batch: list[tuple[int, bytes]] = db.execute(sql, (after, last, BATCH)).fetchall()
        if not batch:
            return
        yield from batch
        after = batch[-1][0]


def last(db: sqlite3.Connection, origin: Origin) -> Head:
    """The number and digest of the last entry as stored, or what stands before the first."""
    sql = "SELECT seq, digest FROM main.entries ORDER BY seq DESC LIMIT 1"
    found = db.execute(sql).fetchone()
    return Head(0, origin.genesis) if found is None else Head._make(found)


def row(db: sqlite3.Connection, seq: int) -> Row | None:
    """The stored row with this number."""
    sql = f"SELECT {COLUMNS} FROM main.entries WHERE seq = ?"
    found = db.execute(sql, (seq,)).fetchone()
    return None if found is None else Row._make(found)


def row_of_event(db: sqlite3.Connection, event: str) -> Row | None:
    """The stored row of the event with this id."""
    sql = f"SELECT {COLUMNS} FROM main.entries WHERE id = ?"
    found = db.execute(sql, (event,)).fetchone()
    return None if found is None else Row._make(found)


def rows_of(db: sqlite3.Connection, preparation: str, after: int = -1) -> list[Row]:
    """The stored rows of a preparation behind a turn, in the order of its turns."""
    sql = f"SELECT {COLUMNS} FROM main.entries WHERE preparation = ? AND turn > ? ORDER BY turn"
    return [Row._make(each) for each in db.execute(sql, (preparation, after))]


def acts(db: sqlite3.Connection, kinds: Sequence[str]) -> Iterator[Row]:
    """The stored acts of the workplace of these kinds, newest first, in short reads."""
    sql = (
        f"SELECT {COLUMNS} FROM main.entries WHERE preparation = '' AND turn < ?"
        f" AND kind IN ({', '.join('?' * len(kinds))}) ORDER BY turn DESC LIMIT ?"
    )
    before, most = MOST_TURNS, 1  # the newest one is often all that is looked at
    while batch := [Row._make(each) for each in db.execute(sql, (before, *kinds, most))]:
        yield from batch
        before, most = batch[-1].turn, NEWEST


def next_turn(db: sqlite3.Connection, preparation: str) -> int:
    """The turn that the next entry of a preparation has; 0 for one that was never opened."""
    sql = "SELECT coalesce(max(turn), -1) + 1 FROM main.entries WHERE preparation = ?"
    (turn,) = db.execute(sql, (preparation,)).fetchone()
    return int(turn)


def kept(db: sqlite3.Connection, digest: str) -> tuple[str, str] | None:
    """The kind and the text of the definition that is kept under a digest."""
    sql = "SELECT kind, text FROM main.definitions WHERE digest = ?"
    found: tuple[str, str] | None = db.execute(sql, (digest,)).fetchone()
    return found


def unsealed(db: sqlite3.Connection, reference: str) -> str | None:
    """The text that is sealed under a reference."""
    sql = "SELECT text FROM main.private WHERE reference = ?"
    found = db.execute(sql, (reference,)).fetchone()
    return None if found is None else str(found[0])


def about(db: sqlite3.Connection, person: str, identifiers: Sequence[str]) -> tuple[Kept, ...]:
    """The texts sealed about a person or holding an identifier, whatever its capitals."""
    sought = tuple(one.casefold() for one in identifiers if one)
    sql = "SELECT reference, preparation, field, person, text FROM main.private ORDER BY reference"
    return tuple(
        Kept(reference=reference, preparation=preparation, field=field, text=text)
        for reference, preparation, field, whom, text in db.execute(sql)
        if whom == person or any(one in text.casefold() for one in sought)
    )


_LISTED = """
SELECT first.preparation, first.at, first."by", last.station, last.lands, last.turn, last.at,
       last."by"
FROM main.entries AS first JOIN main.entries AS last
  ON last.preparation = first.preparation
 AND last.turn = (SELECT max(turn) FROM main.entries AS each
                  WHERE each.preparation = first.preparation)
WHERE first.kind = 'opened' {only}
ORDER BY first.seq
"""


class _KeptUp:
    """Something told of all entries, kept up with what is added to the trail.

    To look for it anew costs as much as the trail is long, and each step asks for it.
    """

    def __init__(self) -> None:
        self._upto: Head | None = None

    def _catch_up(self, db: sqlite3.Connection, origin: Origin) -> None:
        head = last(db, origin)
        if self._upto is not None and self._stands(db, self._upto):
            self._on(db, self._upto.seq, head.seq)
        else:
            self._anew(db, head.seq)
        self._upto = head

    @staticmethod
    def _stands(db: sqlite3.Connection, upto: Head) -> bool:
        """Whether the entry looked at last still stands: a write that was taken back is gone."""
        stored = row(db, upto.seq)
        return stored is not None and stored.digest == upto.digest

    def _anew(self, db: sqlite3.Connection, upto: int) -> None:
        """Look at everything up to an entry."""
        raise NotImplementedError

    def _on(self, db: sqlite3.Connection, after: int, upto: int) -> None:
        """Take in the entries after one up to another."""
        raise NotImplementedError


class Opening(NamedTuple):
    """What the opening entry of a preparation says: its id, the order line, the digest of the
    register that was in force, and that of the workflow.
    """

    preparation: str
    order: str
    register: str
    workflow: str


class Openings(_KeptUp):
    """The preparations by what their opening entries say; `read` reads the row of such an entry."""

    def __init__(self, read: Callable[[Row], Opening]) -> None:
        super().__init__()
        self._read = read
        self._for: dict[str, dict[str, None]] = {}
        self._under: dict[str, dict[str, Opening]] = {}

    def of_order(self, db: sqlite3.Connection, origin: Origin, order: str) -> tuple[str, ...]:
        """The ids of those of one order line, in the order of opening."""
        self._catch_up(db, origin)
        return tuple(self._for.get(order, ()))

    def under(self, db: sqlite3.Connection, origin: Origin, register: str) -> tuple[Opening, ...]:
        """Those that were opened while a register was in force, in the order of opening."""
        self._catch_up(db, origin)
        return tuple(self._under.get(register, {}).values())

    def _anew(self, db: sqlite3.Connection, upto: int) -> None:
        self._for, self._under = {}, {}
        self._on(db, 0, upto)

    def _on(self, db: sqlite3.Connection, after: int, upto: int) -> None:
        sql = (
            f"SELECT {COLUMNS} FROM main.entries"
            " WHERE kind = 'opened' AND seq > ? AND seq <= ? ORDER BY seq"
        )
        for each in db.execute(sql, (after, upto)):
            one = self._read(Row._make(each))
            self._for.setdefault(one.order, {})[one.preparation] = None
            self._under.setdefault(one.register, {})[one.preparation] = one


class StillOpen(_KeptUp):
    """The preparations that have not come to an end."""

    def __init__(self) -> None:
        super().__init__()
        self._open: dict[str, Listed] = {}

    def now(self, db: sqlite3.Connection, origin: Origin) -> tuple[Listed, ...]:
        """All of them as they stand, in the order of opening."""
        self._catch_up(db, origin)
        return tuple(self._open.values())

    def _anew(self, db: sqlite3.Connection, upto: int) -> None:
        self._open = {one.id: one for one in listed(db, only_open=True)}

    def _on(self, db: sqlite3.Connection, after: int, upto: int) -> None:
        for each in rows(db, after, upto):
            self._moved(each)

    def _moved(self, row: Row) -> None:
        if row.lands in CLOSED:
            self._open.pop(row.preparation, None)
            return
        at, known = codec.time_in(row.at), self._open.get(row.preparation)
        if row.kind != "opened" and known is None:
            return  # an act of the workplace, or one beside a preparation that is over
        self._open[row.preparation] = Listed(
            id=row.preparation,
            opened_at=known.opened_at if known else at,
            opened_by=known.opened_by if known else row.by,
            station=row.station,
            place=row.lands,
            turn=row.turn,
            last_at=at,
            last_by=row.by,
        )


def listed(db: sqlite3.Connection, *, only_open: bool) -> tuple[Listed, ...]:
    """The preparations in the order of their opening, all of them or those not yet at an end."""
    only = f"AND last.lands NOT IN ({', '.join('?' * len(CLOSED))})" if only_open else ""
    found = db.execute(_LISTED.format(only=only), CLOSED if only_open else ()).fetchall()
    return tuple(
        Listed(
            id=preparation,
            opened_at=codec.time_in(opened_at),
            opened_by=opened_by,
            station=station,
            place=place,
            turn=turn,
            last_at=codec.time_in(last_at),
            last_by=last_by,
        )
        for preparation, opened_at, opened_by, station, place, turn, last_at, last_by in found
    )


def opened_with(db: sqlite3.Connection, container: str) -> tuple[str, ...]:
    """The ids of the preparations that were opened with a container, in the order of opening."""
    sql = (
        "SELECT preparation FROM main.entries WHERE kind = 'opened'"
        " AND json_extract(body, '$.container') = ? ORDER BY seq"
    )
    return tuple(str(found) for (found,) in db.execute(sql, (container,)))


def containers(db: sqlite3.Connection) -> tuple[str, ...]:
    """The containers that preparations were opened with, by name."""
    sql = (
        "SELECT DISTINCT json_extract(body, '$.container') FROM main.entries"
        " WHERE kind = 'opened' ORDER BY 1"
    )
    return tuple(str(found) for (found,) in db.execute(sql) if found)
