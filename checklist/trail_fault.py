"""What can stand in the way of a trail, in words for the nurse at the station and for IT."""

from __future__ import annotations

import sqlite3
from pathlib import Path


class TrailFault(Exception):
    """The trail did not take or give what was asked.

    `recorded` says whether the event that was offered stands in the trail: True or False once
    that was looked up, None where it could not be found out or nothing was offered.
    """

    def __init__(self, sentence: str, *, recorded: bool | None = None) -> None:
        super().__init__(sentence)
        self.recorded = recorded


class TurnTaken(TrailFault):
    """Someone else has moved this preparation on since it was read."""


class TrailBusy(TrailFault):
    """Another program held the trail for longer than the station waits."""


class TrailDamaged(TrailFault):
    """The trail is not as it was recorded; nothing more is written to it."""


class TrailUnwritable(TrailFault):
    """The disk or its permissions do not let the trail be written or read."""


class NotATrail(TrailFault):
    """There is no trail at this path that this program may open."""


class UnfitEvent(TrailFault, ValueError):
    """What was offered can never be stored as it stands: the caller's own mistake."""


class NotKept(TrailFault, LookupError):
    """No definition with this digest is kept in the trail."""


_IN = "What was entered is in the trail. Open the preparation again before going on, and"
_OUT = (
    "What was entered is not recorded; everything recorded before is safe. Stop this preparation"
    " here and"
)
_UNKNOWN = (
    "It is not known whether what was entered is recorded; everything recorded before is safe."
    " Stop here, open the preparation again once the trail can be read, and"
)
_NOTHING_OFFERED = "Nothing that is recorded was changed. Stop here and"

_CAUSES = {
    sqlite3.SQLITE_FULL: "The disk that holds the trail {name} is full.",
    sqlite3.SQLITE_READONLY: "The trail {name} may not be written to here.",
    sqlite3.SQLITE_CANTOPEN: "The trail {name} cannot be opened here.",
    sqlite3.SQLITE_PERM: "The trail {name} may not be opened by this user.",
    sqlite3.SQLITE_IOERR: "The disk that holds the trail {name} reported trouble.",
    sqlite3.SQLITE_NOMEM: "The station ran out of memory at the trail {name}.",
}

_BROKEN = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CONSTRAINT)


def turn_taken() -> TurnTaken:
    """For the second of two who moved a preparation on from the same place."""
    return TurnTaken(
        "Someone else has moved this preparation on. What was entered here is not recorded, and"
        " nothing recorded is lost. Open the preparation again to see where it stands.",
        recorded=False,
    )


def damaged(path: Path, finding: str, *, recorded: bool | None = None) -> TrailDamaged:
    """For a trail whose content or form is not what was recorded; `finding` is one sentence."""
    return TrailDamaged(
        f"The trail {path.name} is not as it was recorded. {finding} Nothing is added to it, so"
        " nothing more can be lost. Stop using it, leave the file as it is, and call IT to verify"
        " it and to begin a new one.",
        recorded=recorded,
    )


def of_sqlite(
    error: sqlite3.Error, path: Path, *, recorded: bool | None = None, offered: bool = True
) -> TrailFault:
    """The trail's own fault for what SQLite reported, with SQLite's name of it for IT.

    `offered` says whether something was to be recorded; `recorded` whether it now is.
    """
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    name = getattr(error, "sqlite_errorname", type(error).__name__)
    then = {True: _IN, False: _OUT, None: _UNKNOWN}[recorded] if offered else _NOTHING_OFFERED
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return TrailBusy(
            f"Another program is using the trail {path.name} and did not finish in time."
            f" {then} try once more; if it stays so, call IT ({name}).",
            recorded=recorded,
        )
    if primary in _BROKEN or primary is None:
        return damaged(path, f"SQLite says: {error} ({name}).", recorded=recorded)
    cause = _CAUSES.get(primary, "The trail {name} could not be used.").format(name=path.name)
    return TrailUnwritable(f"{cause} {then} call IT ({name}).", recorded=recorded)
