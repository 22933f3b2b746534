"""The audit trail: one file per unit that takes an Event and gives back an Entry, or raises."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Self

from checklist import chain, codec
from checklist import trail_file as file
from checklist import trail_reading as reading
from checklist import trail_row as stored
from checklist import trail_schema as schema
from checklist import trail_verification as verifying
from checklist import trail_writing as writing
from checklist.chain import Head, Row
from checklist.codec import CodecFault
from checklist.preparation import Act, Entry, Event
from checklist.trail_connection import Connection
from checklist.trail_fault import (
    NotATrail,
    NotKept,
    TrailBusy,
    TrailDamaged,
    TrailFault,
    TrailUnwritable,
    TurnTaken,
    UnfitEvent,
    damaged,
)
from checklist.trail_reading import Kept, Listed, Opening, Origin
from checklist.trail_row import SealedText
from checklist.trail_verification import Verification

__all__ = [
    "Kept", "Listed", "NotATrail", "NotKept", "Opening", "Origin", "SealedText", "Trail",
    "TrailBusy", "TrailDamaged", "TrailFault", "TrailUnwritable", "TurnTaken", "UnfitEvent",
    "Verification",
]  # fmt: skip

Attest = Callable[[Entry], Act]
LATELY = 256
"""Entries that were read last and are kept; each step reads its newest ones several times."""


class Trail:
    """An append-only, hash-chained trail in one SQLite file; see `open` and `create`.

    The order is that of writing (`seq`), never of clocks. `origin` says which trail it is. One
    object belongs to one thread and one process; open one for each. What stands in the way comes
    as a TrailFault with a sentence for the nurse or for IT. Use it as a context manager, or close
    it.
    """

    def __init__(self, path: Path, *, how: str, patience_ms: int) -> None:
        self.path = path
        self._connection = Connection(path, how=how, patience_ms=patience_ms)
        self._written: Entry | None = None  # the last one that was written here
        self._open = reading.StillOpen()
        self._lately: dict[int, tuple[Row, Entry]] = {}
        self._openings = reading.Openings(self._opening)

    @property
    def origin(self) -> Origin:
        """Which trail this is: its id, its unit, and when it was begun."""
        return self._connection.origin

    @classmethod
    def create(
        cls,
        path: Path | str,
        *,
        trail_id: str,
        unit: str,
        at: datetime,
        patience_ms: int = file.PATIENCE_MS,
    ) -> Self:
        """Make a new trail where there is no file, and open it.

        `trail_id` is to be unlike that of any other trail; it goes into every digest. Raises
        NotATrail where something stands already, TrailUnwritable, UnfitEvent for a name that
        cannot be stored.
        """
        place = file.vacant(Path(path))
        named = (
            stored.short(trail_id, "The trail's id"),
            stored.short(unit, "The unit"),
            codec.time_out(at),
        )
        file.make(place, Origin(*named, chain.genesis(*named)), patience_ms=patience_ms)
        return cls.open(place, patience_ms=patience_ms)

    @classmethod
    def open(
        cls, path: Path | str, *, read_only: bool = False, patience_ms: int = file.PATIENCE_MS
    ) -> Self:
        """Open a trail after looking over its form and its last TAIL entries.

        Raises NotATrail for anything that is no trail of this version, TrailDamaged for one that
        is not as it was recorded (`examine` then says what is), TrailUnwritable, TrailBusy.
        """
        place = file.existing(Path(path))
        how = file.way_to_read(place) if read_only else file.TO_WRITE
        return cls(place, how=how, patience_ms=patience_ms)

    @staticmethod
    def examine(path: Path | str, *, patience_ms: int = file.PATIENCE_MS) -> Verification:
        """Verify a trail that may be too damaged to open, without writing to it.

        Raises NotATrail, and TrailDamaged only when SQLite cannot read the file at all.
        """
        place = file.existing(Path(path))
        db = file.opened(place, how=file.way_to_read(place), patience_ms=patience_ms)
        try:
            return verifying.verification(db)
        finally:
            db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; closing twice is fine."""
        self._connection.close()

    def append(
        self, event: Event, sealed: Sequence[SealedText] = (), *, attest: Attest | None = None
    ) -> Entry:
        """Record an event, with the texts sealed for it, and give it back as an entry.

        The act that `attest` makes of the entry, to sign it, is recorded in the same transaction.
        It returns only once the entry is on the disk and reads back as it was written. An event
        that stands in the trail already, with the same id and content, gives its entry again.
        Raises TurnTaken when the preparation has been moved on by someone else, UnfitEvent when
        it can never be stored, TypeError for a float anywhere in the body, and otherwise
        TrailBusy, TrailDamaged or TrailUnwritable, whose `recorded` says what became of it.
        """
        stored.columns(event)
        return self._recorded(event, sealed, (), attest)

    def record(
        self,
        act: Act,
        sealed: Sequence[SealedText] = (),
        *,
        erasing: Sequence[str] = (),
        attest: Attest | None = None,
    ) -> Entry:
        """Record an act that belongs to no preparation, as `append` records an event.

        The texts sealed under the references `erasing` are taken away in the same transaction;
        `trail_erasing` then has their bytes overwritten. Raises as `append`, but never TurnTaken.
        """
        stored.columns(act.event(0))
        return self._recorded(act, sealed, erasing, attest)

    @property
    def is_together(self) -> bool:
        """Whether this is within a block of `together`, so that nothing is on the disk yet."""
        return self._connection.is_together

    def together(self) -> AbstractContextManager[None]:
        """Record all that is recorded within this block in one write transaction.

        Nothing of it may be told as recorded, and no head of it signed, before the block has been
        left without a fault: only then is it on the disk. A TurnTaken or UnfitEvent within takes
        back that one act. Trouble at the file, or an exception that leaves the block, takes back
        everything; folds made of the entries given within have to be thrown away then. Raises as
        `append` does, and RuntimeError inside another such block.
        """
        return self._connection.together()

    def keep(self, digest: str, kind: str, name: str, text: str) -> None:
        """Keep the text of a definition, once; `digest` is its SHA-256 in hexadecimal figures.

        Keeping the same text again changes nothing. Raises UnfitEvent when the digest is not that
        of the text, TrailDamaged when another text stands under it.
        """
        row = (digest, kind, stored.short(name, "The name"), stored.definition(text))
        if kind not in schema.DEFINITION_KINDS:
            raise UnfitEvent(f"{kind!r} is no kind of definition.", recorded=False)
        if not verifying.is_digest_of(digest, text):
            raise UnfitEvent(f"{digest} is not the digest of the text of {name}.", recorded=False)

        def act(db: sqlite3.Connection) -> None:
            if (found := reading.kept(db, digest)) is None:
                added = db.execute("INSERT INTO main.definitions VALUES (?, ?, ?, ?)", row)
                if added.rowcount != 1:
                    raise damaged(self.path, "A definition was not taken.", recorded=False)
            elif found != (kind, text):
                raise damaged(self.path, f"Another text stands under {digest}.", recorded=False)

        self._connection.write(act, lambda db: reading.kept(db, digest) == (kind, text))

    def definition(self, digest: str) -> str:
        """The text that is kept under a digest, exactly; NotKept when there is none."""
        with self._connection.reading() as db:
            found = reading.kept(db, digest)
        if found is None:
            raise NotKept(f"The trail keeps no definition {digest}. Look at the digest again.")
        if not verifying.is_digest_of(digest, found[1]):
            raise damaged(self.path, f"The definition {digest} does not have the kept text.")
        return found[1]

    def of(self, preparation: str, *, after: int = -1) -> tuple[Entry, ...]:
        """The entries of a preparation in their order, those behind turn `after`.

        Empty when it was never opened, or has not moved on from there.
        """
        with self._connection.reading() as db:
            rows = reading.rows_of(db, preparation, after)
        for turn, row in enumerate(rows, start=after + 1):
            if row.turn != turn:
                raise damaged(self.path, f"Turn {turn} of {preparation} is missing.")
        return tuple(map(self._known, rows))

    def acts(self, kinds: Sequence[str]) -> Iterator[Entry]:
        """The acts of the workplace of these kinds, from the newest back."""
        with self._connection.reading() as db:
            yield from map(self._known, reading.acts(db, kinds))

    def digests(self, after: int = 0) -> Iterator[tuple[int, bytes]]:
        """The number and digest of the entries after a number, as they are stored."""
        with self._connection.reading() as db:
            yield from reading.digests(db, after, reading.last(db, self.origin).seq)

    def rows(self) -> Iterator[Row]:
        """The rows of all entries exactly as stored, in order; nothing is verified."""
        with self._connection.reading() as db:
            yield from reading.rows(db, 0, reading.last(db, self.origin).seq)

    def since(self, seq: int) -> Iterator[Entry]:
        """The entries after a number (0 for all), up to the last one when the first is taken."""
        end = self.head().seq
        with self._connection.reading() as db:
            for expected, row in enumerate(reading.rows(db, seq, end), start=seq + 1):
                if row.seq != expected:
                    raise damaged(self.path, f"Entry {expected} is missing.")
                yield self._entry(row)

    def preparations(self) -> tuple[Listed, ...]:
        """Every preparation, in the order of opening."""
        with self._connection.reading() as db:
            return reading.listed(db, only_open=False)

    def opened_for(self, order: str) -> tuple[str, ...]:
        """The ids of the preparations that were opened for an order line, in that order."""
        with self._connection.reading() as db:
            return self._openings.of_order(db, self.origin, order)

    def opened_under(self, register: str) -> tuple[Opening, ...]:
        """The preparations that were opened while a register was in force (the digest that their
        opening entries have), in that order.
        """
        with self._connection.reading() as db:
            return self._openings.under(db, self.origin, register)

    def opened_with(self, container: str) -> tuple[str, ...]:
        """The ids of the preparations that were opened with a container, in that order."""
        with self._connection.reading() as db:
            return reading.opened_with(db, container)

    def containers(self) -> tuple[str, ...]:
        """The containers that preparations were opened with, by name."""
        with self._connection.reading() as db:
            return reading.containers(db)

    def open_preparations(self) -> tuple[Listed, ...]:
        """The preparations that have not come to an end, in the order of opening."""
        with self._connection.reading() as db:
            return self._open.now(db, self.origin)

    def newest(self) -> Entry | None:
        """The last entry; None in an empty trail."""
        with self._connection.reading() as db:
            head = reading.last(db, self.origin)
            if self._written is None or self._written.digest != head.digest:
                row = reading.row(db, head.seq)
                return None if row is None else self._known(row)
        return self._written

    def head(self) -> Head:
        """The number and digest of the last entry; number 0 for an empty trail."""
        with self._connection.reading() as db:
            return reading.last(db, self.origin)

    def unsealed(self, reference: str) -> str | None:
        """The text sealed under a reference; None once it has been erased, or never was there."""
        with self._connection.reading() as db:
            return reading.unsealed(db, reference)

    def sealed_about(self, person: str, identifiers: Sequence[str] = ()) -> tuple[Kept, ...]:
        """The texts sealed about a person, and those that hold one of the person's identifiers."""
        with self._connection.reading() as db:
            return reading.about(db, person, identifiers)

    def verify(self) -> Verification:
        """Look at the whole file: SQLite's own check, form, chain and definitions."""
        with self._connection.reading() as db:
            return verifying.verification(db)

    def _recorded(
        self,
        event: Event | Act,
        sealed: Sequence[SealedText],
        erasing: Sequence[str],
        attest: Attest | None,
    ) -> Entry:
        of = event.preparation if isinstance(event, Event) else ""
        texts = [stored.sealed(each, of) for each in sealed]

        def act(db: sqlite3.Connection) -> Row:
            if (known := writing.known(db, event)) is not None:
                return known
            head = writing.sound_head(db, self.path, self.origin, self._connection.known)
            next_one = writing.in_turn(db, event)
            for text in texts:
                writing.seal(db, self.path, text)
            writing.erase(db, erasing)
            row = writing.added(db, self.path, self.origin, head, next_one)
            if attest is not None:
                signed = writing.in_turn(db, attest(self._entry(row)))
                writing.added(db, self.path, self.origin, Head(row.seq, row.digest), signed)
            return row

        row = self._connection.write(act, lambda db: writing.known(db, event) is not None)
        if self._connection.known is None or row.seq > self._connection.known.seq:
            self._connection.known = Head(row.seq, row.digest)
        self._written = self._entry(row)
        return self._written

    def _opening(self, row: Row) -> Opening:
        body = self._entry(row).event.body
        told = (str(body.get(name, "")) for name in ("register", "workflow"))
        return Opening(row.preparation, body["order"]["id"], *told)

    def _known(self, row: Row) -> Entry:
        """The row as an entry; one that was read lately and is the same in every column is not
        read again.
        """
        known = self._lately.get(row.seq)
        if known is not None and known[0] == row:
            return known[1]
        entry = self._entry(row)
        self._lately[row.seq] = row, entry
        while len(self._lately) > LATELY:
            del self._lately[next(iter(self._lately))]
        return entry

    def _entry(self, row: Row) -> Entry:
        """The row as an entry, once it has the digest of its content. Nothing else makes one."""
        if chain.altered(row, self.origin.id):
            raise damaged(self.path, f"Entry {row.seq} does not have its recorded content.")
        try:
            event = stored.event(row)
        except CodecFault as fault:
            raise damaged(self.path, f"Entry {row.seq} cannot be read: {fault}") from fault
        return Entry(seq=row.seq, event=event, previous=row.previous, digest=row.digest)
