"""Whether a trail file still is what was recorded: file, form, chain and definitions."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from checklist import trail_reading as reading
from checklist.chain import Break, Head, first_break
from checklist.trail_reading import Origin
from checklist.trail_schema import schema_faults

NOT_THIS_TRAIL = "The row that says which trail this is was changed or is missing."
MOST_FAULTS = 20
"""Most lines taken over from SQLite's own check of the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was found in a trail.

    `entries` is how many entries are stored, `head` the last one (number 0 for none; None when it
    cannot be read), `first_break` the first entry that is not as recorded, `faults` a sentence for
    everything else that is not. Sealed texts are not verified: they may be erased. A lost tail is
    not seen here: compare `head` with one that was kept elsewhere.
    """

    entries: int
    head: Head | None
    first_break: Break | None
    faults: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """True when nothing was found that is not as it was recorded."""
        return self.first_break is None and not self.faults


def verification(
    db: sqlite3.Connection,
    *,
    form: Callable[[sqlite3.Connection], Iterable[str]] = schema_faults,
) -> Verification:
    """Look at everything in the file behind a connection; what is found there never raises.

    `form` says what is amiss with its tables and triggers; by default against the present form.
    """
    faults: list[str] = []
    for what, look in (("The form of the file", form), *_LOOKS):
        try:
            faults.extend(look(db))
        except sqlite3.Error as error:
            faults.append(f"{what} cannot be read ({error}).")
    entries, head, broken = 0, None, None
    try:
        origin = reading.origin(db)
        head = reading.last(db, origin)
        (entries,) = db.execute("SELECT count(*) FROM main.entries").fetchone()
        broken = break_after(db, origin, Head(0, origin.genesis), head.seq)
    except sqlite3.Error as error:
        faults.append(f"The entries cannot be read ({error}).")
    return Verification(entries=entries, head=head, first_break=broken, faults=tuple(faults))


def tail_break(db: sqlite3.Connection, origin: Origin, most: int) -> Break | None:
    """The first break among the last entries, so many at most."""
    head = reading.last(db, origin)
    before = max(head.seq - most, 0)
    start = Head(0, origin.genesis)
    if before:
        found = reading.row(db, before)
        if found is None:
            return Break(seq=before, sentence=f"Entry {before} is missing.")
        start = Head(found.seq, found.digest)
    return break_after(db, origin, start, head.seq)


def break_after(db: sqlite3.Connection, origin: Origin, start: Head, end: int) -> Break | None:
    """The first break among the entries after `start`, up to number `end`."""
    try:
        for batch in reading.batches(db, start.seq, end):
            if (broken := first_break(batch, origin.id, after=start)) is not None:
                return broken
            start = Head(batch[-1][0], batch[-1][-1])
    except sqlite3.Error as error:
        seq = start.seq + 1
        return Break(seq=seq, sentence=f"Entry {seq} cannot be read ({error}).")
    return None


def _file_faults(db: sqlite3.Connection) -> Iterator[str]:
    for (line,) in db.execute("PRAGMA integrity_check").fetchmany(MOST_FAULTS):
        if line != "ok":
            yield f"The file is damaged: {line}."


def _origin_faults(db: sqlite3.Connection) -> Iterator[str]:
    if not reading.is_sound(reading.origin(db)):
        yield NOT_THIS_TRAIL


def _definition_faults(db: sqlite3.Connection) -> Iterator[str]:
    for digest, name, text in db.execute("SELECT digest, name, text FROM main.definitions"):
        if not is_digest_of(digest, text):
            yield f"The definition {name} ({digest[:12]}) does not have the text that was kept."


def is_digest_of(digest: str, text: str) -> bool:
    """Whether a definition's digest is SHA-256 of its text, in lower-case hexadecimal figures."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest() == digest


_LOOKS = (
    ("The file", _file_faults),
    ("The row that says which trail this is", _origin_faults),
    ("The definitions", _definition_faults),
)
