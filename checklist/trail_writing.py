"""Writing to a trail, within one write transaction: the next row, read back, and sealed texts."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from checklist import chain
from checklist import trail_reading as reading
from checklist import trail_row as stored
from checklist import trail_schema as schema
from checklist import trail_verification as verifying
from checklist.chain import Head, Row
from checklist.preparation import Act, Event
from checklist.trail_fault import TrailUnwritable, UnfitEvent, damaged, turn_taken
from checklist.trail_reading import Origin

ARCHIVED = "archived"
"""The kind of the last entry of a trail that is closed for good."""


def known(db: sqlite3.Connection, event: Event | Act) -> Row | None:
    """The row that holds this event already; UnfitEvent if its id holds another.

    The turn of an act is the trail's own, so it is not compared.
    """
    row = reading.row_of_event(db, event.id)
    if row is None:
        return None
    offered = stored.columns(event.event(row.turn) if isinstance(event, Act) else event)
    if row[1:-2] != offered:
        raise UnfitEvent(f"Another event stands under the id {row.id}.", recorded=False)
    return row


def sound_head(db: sqlite3.Connection, path: Path, origin: Origin, seen: Head | None) -> Head:
    """The head to go on from, after a look at the last entry and at the head `seen` before."""
    head = reading.last(db, origin)
    if seen is not None and seen.seq:
        before = reading.row(db, seen.seq)
        if before is None or before.digest != seen.digest:
            finding = f"Entry {seen.seq}, seen before, is gone or changed."
            raise damaged(path, finding, recorded=False)
    if (broken := verifying.tail_break(db, origin, 1)) is not None:
        raise damaged(path, broken.sentence, recorded=False)
    last = reading.row(db, head.seq)
    if last is not None and last.kind == ARCHIVED:
        raise TrailUnwritable(
            f"The trail {path.name} has been closed for good and takes nothing more. What was"
            " entered is not recorded; everything recorded before is safe. Name the trail that"
            " goes on from it.",
            recorded=False,
        )
    return head


def in_turn(db: sqlite3.Connection, event: Event | Act) -> Event:
    """The event at the turn that is next; an act gets it here. Raises TurnTaken, UnfitEvent."""
    if isinstance(event, Act):
        return event.event(reading.next_turn(db, ""))
    turn = reading.next_turn(db, event.preparation)
    if event.turn < turn:
        raise turn_taken()
    if event.turn > turn:
        raise UnfitEvent(
            f"The next turn of {event.preparation} is {turn}; {event.turn} was given.",
            recorded=False,
        )
    return event


def seal(db: sqlite3.Connection, path: Path, text: stored.SealedColumns) -> None:
    """Keep one text beside the chain, under a reference that was never used."""
    if reading.unsealed(db, text[0]) is not None:
        raise UnfitEvent(f"A text is sealed under {text[0]} already.", recorded=False)
    if db.execute("INSERT INTO main.private VALUES (?, ?, ?, ?, ?)", text).rowcount != 1:
        raise damaged(path, "A sealed text was not taken.", recorded=False)


def erase(db: sqlite3.Connection, references: Sequence[str]) -> None:
    """Take the texts under these references away; UnfitEvent where one is not there."""
    for reference in references:
        if db.execute("DELETE FROM main.private WHERE reference = ?", (reference,)).rowcount != 1:
            raise UnfitEvent(
                f"No text is sealed under {reference}. Nothing was erased; ask again what there"
                " is to erase.",
                recorded=False,
            )


def added(db: sqlite3.Connection, path: Path, origin: Origin, head: Head, event: Event) -> Row:
    """Insert the next row and read it back: it must be there, once, as it was meant."""
    plain = Row._make((head.seq + 1, *stored.columns(event), head.digest, b""))
    row = plain._replace(digest=chain.digest(chain.entry_bytes(origin.id, plain)))
    if db.execute(schema.INSERT, row).rowcount != 1 or reading.row(db, row.seq) != row:
        raise damaged(path, "A new entry does not read as written.", recorded=False)
    return row
