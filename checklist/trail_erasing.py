"""Making sure that an erased text is gone: from the file, its free pages and the log beside it.

To delete a row is not enough. SQLite keeps old content in free pages and in the write-ahead log.
`secure_delete` has what is freed overwritten with zeros, and the log is folded in and cut to
nothing. Then the bytes of every file are looked over; where a text still stands, the file is built
anew, which changes no entry. What a disk, a snapshot or a backup keeps is beyond this.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from pathlib import Path

from checklist import trail_file as file
from checklist.trail_fault import TrailBusy, of_sqlite

SHORTEST = 4
"""Bytes from which a text is looked for: shorter ones stand in any file by chance."""
BLOCK = 1 << 20
"""How many bytes are looked over at a time."""


def scrubbed(path: Path, texts: Iterable[str], *, patience_ms: int = file.PATIENCE_MS) -> list[str]:
    """Have deleted content overwritten; gives those of the texts that still stand in the file.

    The trail must not be open in this process: to look at its bytes would take away its locks.
    A text that is left stands in an entry or a definition too, which are never changed. Raises
    TrailBusy when another program holds the trail for longer than the station waits: then the
    texts are deleted, and their bytes may still stand in the log.
    """
    folded(path, patience_ms, anew=False)
    left = standing(path, texts)
    if left:
        folded(path, patience_ms, anew=True)
        left = standing(path, left)
    return left


def folded(path: Path, patience_ms: int = file.PATIENCE_MS, *, anew: bool = False) -> None:
    """Fold the log into the file and cut it; `anew` has the file built again before that."""
    try:
        file.opened(path, how=file.TO_WRITE, patience_ms=patience_ms).close()
        db = file.connect(path, how=file.TO_WRITE, patience_ms=patience_ms)
        try:
            if anew:
                db.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 1)  # VACUUM attaches its own copy
                db.execute("PRAGMA temp_store = FILE")
                db.execute("VACUUM")
            (busy, *_) = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        finally:
            db.close()
    except sqlite3.Error as error:
        raise of_sqlite(error, path, offered=False) from error
    if busy:
        raise TrailBusy(
            f"Another program reads the trail {path.name}, so its log cannot be emptied now. What"
            " was to be erased is deleted, and its bytes may still stand in the log. Close what"
            " reads the trail, and erase once more.",
            recorded=True,
        )


def standing(path: Path, texts: Iterable[str]) -> list[str]:
    """Those of the texts whose bytes stand in a trail's file or in a file beside it."""
    sought = {text: text.encode() for text in texts if len(text.encode()) >= SHORTEST}
    there = (one for one in (path, *file.companions(path)) if one.is_file())
    found = {text for one in there for text in _found(one, sought)}
    return [text for text in sought if text in found]


def _found(path: Path, sought: dict[str, bytes]) -> Iterator[str]:
    overlap = max((len(one) for one in sought.values()), default=1) - 1
    left = dict(sought)
    with path.open("rb") as handle:
        before = b""
        while left and (block := handle.read(BLOCK)):
            window = before + block
            for text in [text for text, one in left.items() if one in window]:
                del left[text]
                yield text
            before = window[-overlap:] if overlap else b""
