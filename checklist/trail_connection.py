"""The one connection of an open trail: reading, and write transactions that stand or fall whole."""

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
from checklist.trail_reading import Origin

TAIL = 1_000
"""How many of the last entries are verified whenever a trail is opened."""
TRIES = 2
"""How often a write waits out its patience for another program before it gives up."""
_T = TypeVar("_T")
Stands = Callable[[sqlite3.Connection], bool]
_NOT_TOGETHER = (
    "What was done together with this met trouble at the trail, and all of it was taken back."
    " What was entered is not recorded; everything recorded before is safe. Enter it again."
)


class Connection:
    """A connection to the trail at a path, whose form and last entries were looked over.

    It is made anew after trouble. `known` is the newest head that was seen or written here, which
    every later one has to go on from; `is_together` says that acts are being done together.
    """

    def __init__(self, path: Path, *, how: str, patience_ms: int) -> None:
        self.path = path
        self.known: Head | None = None
        self.origin: Origin
        self._how = how
        self._patience_ms = patience_ms
        self._closed = False
        self.is_together = False
        self._spoiled = False  # whether trouble has taken back what was done together
        self._stands: Stands | None = None  # tells whether the last act done together stands
        self._db: sqlite3.Connection | None = self._connected()

    def close(self) -> None:
        """Let go of the file; closing twice is fine."""
        self._closed = True
        self._let_go()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The connection, with SQLite's errors told as faults of the trail."""
        try:
            yield self._ready()
        except sqlite3.ProgrammingError:
            raise
        except sqlite3.Error as error:
            raise of_sqlite(error, self.path, offered=False) from error

    def write(self, act: Callable[[sqlite3.Connection], _T], stands: Stands) -> _T:
        """Do one act in one write transaction; `stands` tells later whether it was done."""
        if self.is_together:
            return self._beside(act, stands)
        db = self._begun()
        try:
            self._look_over()
            done = act(db)
            db.execute("COMMIT")
        except sqlite3.Error as error:
            recorded = self._looked_up(stands)
            raise of_sqlite(error, self.path, recorded=recorded) from error
        except BaseException:
            self._rolled_back()
            raise
        return done

    @contextmanager
    def together(self) -> Iterator[None]:
        """One write transaction for all acts within; see Trail.together."""
        if self.is_together:
            raise RuntimeError("what is done together cannot hold another such block")
        known = self.known
        self._begun()
        self.is_together, self._spoiled, self._stands = True, False, None
        try:
            self._look_over()
            yield
            if self._spoiled:
                raise TrailUnwritable(_NOT_TOGETHER, recorded=False)
            self._ready().execute("COMMIT")
        except sqlite3.Error as error:
            self.known, stands = known, self._stands
            recorded = None if stands is None else self._looked_up(stands)
            raise of_sqlite(error, self.path, recorded=recorded) from error
        except BaseException:
            self.known = known
            if not self._spoiled:
                self._rolled_back()
            raise
        finally:
            self.is_together = False

    def _beside(self, act: Callable[[sqlite3.Connection], _T], stands: Stands) -> _T:
        """Do one act of several that are done together; a fault of its own takes back it alone."""
        if self._spoiled:
            raise TrailUnwritable(_NOT_TOGETHER, recorded=False)
        db, known = self._ready(), self.known
        try:
            db.execute(f"SAVEPOINT {schema.SAVEPOINT}")
            try:
                done = act(db)
            except sqlite3.Error:
                raise
            except BaseException:
                self.known = known
                db.execute(f"ROLLBACK TO {schema.SAVEPOINT}")
                db.execute(f"RELEASE {schema.SAVEPOINT}")
                raise
            db.execute(f"RELEASE {schema.SAVEPOINT}")
        except sqlite3.Error as error:
            # SQLite may have taken back everything by itself, so none of it may be gone on with.
            self._spoiled = True
            self._let_go()
            raise of_sqlite(error, self.path, recorded=False) from error
        self._stands = stands
        return done

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
            self.known = self.known or reading.last(db, self.origin)
            db.execute("COMMIT")
        except sqlite3.Error as error:
            db.close()
            raise of_sqlite(error, self.path, offered=False) from error
        except BaseException:
            db.close()
            raise
        return db

    def _look_over(self) -> None:
        """Look over the form again, within a transaction, where somebody has touched it."""
        db = self._ready()
        (version,) = db.execute("PRAGMA schema_version").fetchone()
        if version != self._schema_version:
            self._look_over_form(db)

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

    def _rolled_back(self) -> None:
        try:
            self._ready().execute("ROLLBACK")
        except sqlite3.Error:
            self._let_go()

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

    def _looked_up(self, stands: Stands) -> bool | None:
        """Whether an act that met trouble was done, asked on a fresh connection.

        A commit that reports trouble may still be in the write-ahead log. Closing first makes the
        next connection read that log as any later one would.
        """
        try:
            self._let_go()
            return stands(self._ready())
        except (sqlite3.Error, TrailFault):
            return None
