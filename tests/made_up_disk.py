"""A disk in memory for SQLite, through apsw, that can report trouble and lose its power.

Never beside the usual sqlite3 on one file: what it holds is written out to new files before those
are looked at. Sectors of 512 bytes are written whole or not at all.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import apsw

SECTOR = 512
PAGE = 4096


def trouble(code: int, said: str) -> apsw.IOError:
    """What a disk reports, with SQLite's extended code of it."""
    error = apsw.IOError(said)
    error.extendedresult = code  # type: ignore[attr-defined]
    return error


@dataclass(slots=True)
class Held:
    """A file: its bytes as programs see them, those that are safe, and what is on its way.

    `named` is whether its name is on the disk for good. `waiting` holds writes (place, bytes) and
    new lengths (place, None) since the last sync.
    """

    now: bytearray
    safe: bytes
    named: bool
    waiting: list[tuple[int, bytes | None]] = field(default_factory=list)

    def put(self, place: int, what: bytes | None) -> None:
        _put(self.now, place, what)
        self.waiting.append((place, what))

    def sync(self) -> None:
        self.safe, self.named = bytes(self.now), True
        self.waiting.clear()


def _put(content: bytearray, place: int, what: bytes | None) -> None:
    if what is None:
        del content[place:]
        return
    content.extend(bytes(max(0, place + len(what) - len(content))))
    content[place : place + len(what)] = what


class Disk(apsw.VFS):
    """A disk with files in memory. `before` is called with each call's name and may raise."""

    def __init__(self, name: str, before: Callable[[str], None] = lambda _: None) -> None:
        self.files: dict[str, Held] = {}
        self.gone: dict[str, Held] = {}
        self.before = before
        super().__init__(name, "")

    def only(self, path: Path) -> None:
        """Hold a copy of this file as it stands, safe and named, and nothing else."""
        self.files.clear()
        self.gone.clear()
        content = path.read_bytes()
        self.files[str(path)] = Held(bytearray(content), content, named=True)

    def xOpen(self, name: Any, flags: list[int]) -> OpenFile:  # type: ignore[override]
        self.before("open")
        path: str = name.filename() if isinstance(name, apsw.URIFilename) else name
        if path not in self.files:
            if not flags[0] & apsw.SQLITE_OPEN_CREATE:
                raise apsw.CantOpenError(f"no file {path}")
            again = self.gone.pop(path) if path in self.gone else None
            self.files[path] = again or Held(bytearray(), b"", named=False)
        flags[1] = flags[0]
        return OpenFile(self, self.files[path])

    def xFullPathname(self, name: str) -> str:
        return name

    def xAccess(self, path: str, flags: int) -> bool:
        self.before("access")
        return path in self.files

    def xDelete(self, path: str, sync: bool) -> None:
        self.before("delete")
        held = self.files.pop(path, None)
        if held is None:
            raise trouble(apsw.SQLITE_IOERR_DELETE_NOENT, path)
        if held.named and not sync:
            held.now.clear()
            self.gone[path] = held

    def images(self, draw: random.Random) -> dict[str, bytes]:
        """The files as they may be found after power was lost just now."""
        found = {}
        for path, held in self.files.items():
            if held.named or draw.random() < 0.5:
                found[path] = _after_loss(held, draw)
        for path, held in self.gone.items():
            if draw.random() < 0.5:
                found[path] = _after_loss(held, draw)
        return found


def _after_loss(held: Held, draw: random.Random) -> bytes:
    """What is safe, and of the rest: nothing, all, a beginning, or any sectors."""
    content, way = bytearray(held.safe), draw.choice(("none", "all", "first", "any"))
    pieces = list(_pieces(held.waiting))
    kept = draw.randint(0, len(pieces)) if way == "first" else len(pieces)
    for place, what in pieces[:kept] if way != "none" else []:
        if way != "any" or draw.random() < 0.5:
            _put(content, place, what)
    return bytes(content)


def _pieces(waiting: Sequence[tuple[int, bytes | None]]) -> Iterator[tuple[int, bytes | None]]:
    """Each write cut at the borders of sectors."""
    for place, what in waiting:
        if what is None:
            yield place, None
            continue
        at = 0
        while at < len(what):
            end = at + SECTOR - (place + at) % SECTOR
            yield place + at, what[at:end]
            at = end


class OpenFile:
    """A file that SQLite has open on the disk; the methods are those apsw asks for."""

    def __init__(self, disk: Disk, held: Held) -> None:
        self._disk, self._held = disk, held

    def xRead(self, amount: int, offset: int) -> bytes:
        self._disk.before("read")
        return bytes(self._held.now[offset : offset + amount])

    def xWrite(self, data: bytes, offset: int) -> None:
        self._disk.before("write")
        self._held.put(offset, bytes(data))

    def xTruncate(self, size: int) -> None:
        self._disk.before("truncate")
        if size < len(self._held.now):
            self._held.put(size, None)

    def xSync(self, flags: int) -> None:
        self._disk.before("sync")
        self._held.sync()

    def xFileSize(self) -> int:
        self._disk.before("size")
        return len(self._held.now)

    def xLock(self, level: int) -> None:
        """One program alone: nothing to do."""

    xUnlock = xLock

    def xCheckReservedLock(self) -> bool:
        return False

    def xFileControl(self, op: int, pointer: int) -> bool:
        return False

    def xSectorSize(self) -> int:
        return PAGE

    def xDeviceCharacteristics(self) -> int:
        return 0

    def xClose(self) -> None:
        """Nothing to give back."""


class Connection:
    """apsw's connection with the few words of the usual sqlite3 that a trail uses."""

    def __init__(self, path: Path, vfs: str, patience_ms: int) -> None:
        flags = apsw.SQLITE_OPEN_READWRITE
        with _AsUsual():
            self._db = apsw.Connection(str(path.absolute()), flags=flags, vfs=vfs)
            # Without shared memory a log can be kept by one program that has the file alone.
            self._db.execute("PRAGMA locking_mode = EXCLUSIVE").fetchall()
            self._db.set_busy_timeout(patience_ms)

    def execute(self, sql: str, values: Sequence[Any] = ()) -> Answer:
        with _AsUsual():
            rows = self._db.execute(sql, tuple(values)).fetchall()
            return Answer(rows, self._db.changes())

    def set_authorizer(self, guard: Any) -> None:
        self._db.authorizer = guard

    def setlimit(self, limit: int, most: int) -> None:
        self._db.limit(limit, most)

    def close(self) -> None:
        with _AsUsual():
            self._db.close(True)


class Answer:
    """The rows of a statement, all read."""

    def __init__(self, rows: list[tuple[Any, ...]], rowcount: int) -> None:
        self._rows, self.rowcount = iter(rows), rowcount

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        return self._rows

    def fetchone(self) -> tuple[Any, ...] | None:
        return next(self._rows, None)

    def fetchmany(self, most: int) -> list[tuple[Any, ...]]:
        return list(islice(self._rows, most))

    def fetchall(self) -> list[tuple[Any, ...]]:
        return list(self._rows)


class _AsUsual:
    """Turns what apsw raises into what the usual sqlite3 raises, with the same codes."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, _: object, fault: BaseException | None, __: object) -> None:
        if isinstance(fault, apsw.Error):
            code = int(getattr(fault, "extendedresult", 0) or getattr(fault, "result", 1))
            names = {**apsw.mapping_result_codes, **apsw.mapping_extended_result_codes}
            usual = sqlite3.OperationalError(str(fault))
            usual.sqlite_errorcode = code
            usual.sqlite_errorname = str(names.get(code, ""))
            raise usual from fault
