"""Copies of a trail that are whole: made while it is written to, one file each, never over another.

A plain copy of the file loses what stands in the write-ahead log beside it, or mixes two moments;
SQLite's own copying does neither.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from pathlib import Path

from checklist import trail_file as file
from checklist.trail_fault import NotATrail, TrailUnwritable, of_sqlite

PAGES = 1_000
"""How many pages are copied at a time; writers go on in between."""


def copied(
    source: Path, target: Path, *, patience_ms: int = file.PATIENCE_MS, way: str = ""
) -> None:
    """Copy a trail of any form into a new file, which is at rest: one file, no log beside it.

    It has the mode 0600 and is on the disk when this returns; on any trouble there is none.
    Raises NotATrail where something stands at the target, TrailUnwritable, TrailBusy.
    """
    file.vacant(target)
    try:
        target.touch(mode=0o600, exist_ok=False)
    except OSError as error:
        raise TrailUnwritable(
            f"A copy cannot be made in {target.parent} ({error.strerror}). Nothing was made. Give"
            " another folder, or call IT."
        ) from error
    try:
        _copy(source, target, way or file.way_to_read(source), patience_ms)
        synced(target)
        file.sync(target.parent)
    except BaseException as error:
        for each in (target, *file.companions(target)):
            each.unlink(missing_ok=True)
        if isinstance(error, sqlite3.Error):
            raise of_sqlite(error, source, offered=False) from error
        raise


def _copy(source: Path, target: Path, how: str, patience_ms: int) -> None:
    origin = file.connect(source, how=how, patience_ms=patience_ms)
    try:
        copy = file.connect(target, how=file.TO_WRITE, patience_ms=patience_ms)
        try:
            origin.backup(copy, pages=PAGES)
            copy.execute("PRAGMA journal_mode = DELETE").fetchone()
        finally:
            copy.close()
    finally:
        origin.close()


def synced(path: Path) -> None:
    """Bring a file that nobody has open to the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sha_256(path: Path) -> str:
    """SHA-256 of a whole file that this process has not open as a trail, in hexadecimal figures.

    To open and close the file of a trail that is in use would take away its locks.
    """
    if not path.is_file():
        raise NotATrail(f"There is no file {path}. Give the path of a trail.")
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()
