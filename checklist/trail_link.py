"""The connection behind a trail: made anew after trouble, and every write one transaction.

Writes that wait together can share one transaction, and so one wait for the disk, in `together`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from checklist import trail_file as file
from checklist import trail_reading as reading
from checklist import trail_schema as schema
from checklist import trail_verification as verifying
from checklist.chain import Head
from checklist.trail_fault import TrailBusy, TrailFault, TrailUnwritable, damaged, of_sqlite

TAIL = 1_000
"""How many of the last entries are verified whenever a trail is opened."""
TRIES = 2
"""How often a write waits out its patience for another program before it gives up."""
_T = TypeVar("_T")
_Stands = Callable[[sqlite3.Connection], bool]


class _Group:
    """The writes of one shared transaction: what tells that the last of them stands, and trouble
    that takes them all back.
    """

    def __init__(self) -> None:
        self.last: _Stands | None = None
        self.trouble: sqlite3.Error | None = None


class Link:
    """What a trail does with its file; `_known` is the newest head that was seen."""

    def __init__(self, path: Path, *, how: str, patience_ms: int) -> None:
        self.path = path
        self._how = how
        self._patience_ms = patience_ms
        self._known: Head | None = None
        self._group: _Group | None = None
        self._closed = False
        self._db: sqlite3.Connection | None = self._connected()

    def close(self) -> None:
        """Let go of the file; closing twice is fine."""
        self._closed = True
        self._let_go()

    @contextmanager
    def together(self) -> Iterator[None]:
        """Bring what is written in this block to the disk at once, when the block is left.

        Each write stands or falls by itself as ever. What is read here meanwhile may not last, so
        nobody is to be told of a write before the block was left without a fault. Trouble that
        SQLite reports takes the whole block back: it raises TrailBusy, TrailDamaged or
        TrailUnwritable, whose `recorded` then holds for everything in the block.
        """
        if self._group is not None:
            raise RuntimeError("writes are being brought together already")
        db, known = self._begun(), self._known
        self._group = group = _Group()
        try:
            yield
            if group.trouble is not None:
                raise group.trouble
            db.execute("COMMIT")
        except sqlite3.Error as error:
            self._known, self._group = known, None
            last = group.last
            recorded = False if last is None else self._looked_up(last)
            raise of_sqlite(error, self.path, recorded=recorded) from error
        except BaseException:
            self._known, self._group = known, None
            self._taken_back(db)
            raise
        finally:
            self._group = None

    # -- inside --------------------------------------------------------------------------------

    def _connected(self) -> sqlite3.Connection:
        """A connection to a trail whose form and last entries were looked over."""
        db = file.opened(self.path, how=self._how, patience_ms=self._patience_ms)
        try:
            db.execute("BEGIN")
            self._look_over_form(db)
            self.origin = reading.origin(db)
            if not reading.is_sound(self.origin):
                raise damaged(self.path, verifying.NOT_THIS_TRAIL)
            if (broken := verifying.tail_break(db, self.origin, TAIL)) is not None:
                raise damaged(self.path, broken.sentence)
            self._known = self._known or reading.last(db, self.origin)
            db.execute("COMMIT")
        except sqlite3.Error as error:
            db.close()
            raise of_sqlite(error, self.path, offered=False) from error
        except BaseException:
            db.close()
            raise
        return db

    def _look_over_form(self, db: sqlite3.Connection) -> None:
        """Make sure, within a transaction, that the schema is ours; remember its version."""
        (version,) = db.execute("PRAGMA schema_version").fetchone()
        if faults := schema.schema_faults(db):
            raise damaged(self.path, " ".join(faults), recorded=False)
        self._schema_version = version

    def _ready(self) -> sqlite3.Connection:
        """The connection, made anew if the last one was given up in trouble."""
        if self._closed:
            raise RuntimeError("this trail has been closed; open it again")
        if self._db is None:
            self._db = self._connected()
        return self._db

    def _let_go(self) -> None:
        if self._db is not None:
            self._db.close()
            self._db = None

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        try:
            yield self._ready()
        except sqlite3.ProgrammingError:
            raise
        except sqlite3.Error as error:
            raise of_sqlite(error, self.path, offered=False) from error

    def _write(self, act: Callable[[sqlite3.Connection], _T], stands: _Stands) -> _T:
        """Do one act in one write transaction; `stands` tells later whether it was done."""
        if self._group is not None:
            return self._added(self._group, act, stands)
        db = self._begun()
        try:
            self._as_known(db)
            done = act(db)
            db.execute("COMMIT")
        except sqlite3.Error as error:
            recorded = self._looked_up(stands)
            raise of_sqlite(error, self.path, recorded=recorded) from error
        except BaseException:
            self._taken_back(db)
            raise
        return done

    def _added(self, group: _Group, act: Callable[[sqlite3.Connection], _T], stands: _Stands) -> _T:
        """Do one act as a part of a shared transaction."""
        if group.trouble is not None:
            raise of_sqlite(group.trouble, self.path, recorded=False) from group.trouble
        db = self._ready()
        try:
            self._as_known(db)
            db.execute(f"SAVEPOINT {schema.ONE_OF_SEVERAL}")
            try:
                done = act(db)
            except sqlite3.Error:
                raise
            except BaseException:
                db.execute(f"ROLLBACK TO {schema.ONE_OF_SEVERAL}")
                db.execute(f"RELEASE {schema.ONE_OF_SEVERAL}")
                raise
            db.execute(f"RELEASE {schema.ONE_OF_SEVERAL}")
        except sqlite3.Error as error:
            # SQLite may have taken everything back by itself, so nothing of the block is kept.
            group.trouble = error
            raise of_sqlite(error, self.path, recorded=False) from error
        group.last = stands
        return done

    def _as_known(self, db: sqlite3.Connection) -> None:
        """Look the form over again where somebody has changed the schema since."""
        (version,) = db.execute("PRAGMA schema_version").fetchone()
        if version != self._schema_version:
            self._look_over_form(db)

    def _begun(self) -> sqlite3.Connection:
        """A connection that holds the one write lock, taken before anything is read."""
        if self._how != file.TO_WRITE:
            raise TrailUnwritable(
                f"The trail {self.path.name} was opened for reading only. Nothing was recorded.",
                recorded=False,
            )
        db = self._ready()
        for tries in range(1, TRIES + 1):
            try:
                db.execute("BEGIN IMMEDIATE")
                return db
            except sqlite3.OperationalError as error:
                fault = of_sqlite(error, self.path, recorded=False)
                if not isinstance(fault, TrailBusy) or tries == TRIES:
                    raise fault from error
        raise AssertionError("a try either begins or raises")

    def _taken_back(self, db: sqlite3.Connection) -> None:
        try:
            db.execute("ROLLBACK")
        except sqlite3.Error:
            self._let_go()

    def _looked_up(self, stands: _Stands) -> bool | None:
        """Whether an act that met trouble was done, asked on a fresh connection.

        A commit that reports trouble may still be in the write-ahead log. Closing first makes the
        next connection read that log as any later one would.
        """
        try:
            self._let_go()
            return stands(self._ready())
        except (sqlite3.Error, TrailFault):
            return None
