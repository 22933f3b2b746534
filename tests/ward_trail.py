"""An invented ward's trail for the tests: events to append, files, and a way behind their back."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from checklist.preparation import Entry, Event
from checklist.trail import Trail

AT = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
TURNS = 4
"""How many entries each invented preparation has; the last of them gives the dose."""


def event(number: int, preparation: str = "prep-1", turn: int = 0, **changed: Any) -> Event:
    fields: dict[str, Any] = {
        "id": f"ev-{number}",
        "preparation": preparation,
        "turn": turn,
        "kind": "passed" if turn else "opened",
        "place": f"step-{turn}" if turn else "",
        "lands": f"step-{turn + 1}",
        "at": AT + timedelta(seconds=number),
        "by": "RN-12",
        "station": "S1",
        "channel": "typed",
        "body": {"seen": {"volume": {"raw": str(number), "channel": "typed"}}},
    }
    fields.update(changed)
    return Event(**fields)


def made(folder: Path, name: str = "ward.trail", **options: Any) -> Trail:
    return Trail.create(folder / name, trail_id="7e-2026", unit="W7E", at=AT, **options)


def fill(trail: Trail, count: int) -> list[Entry]:
    """Append so many entries: preparations one after the other, each given at its last turn."""
    entries = []
    for number in range(1, count + 1):
        at_prep, turn = divmod(number - 1, TURNS)
        lands = "given" if turn == TURNS - 1 else f"step-{turn + 1}"
        entries.append(trail.append(event(number, f"prep-{at_prep + 1}", turn, lands=lands)))
    return entries


def filled(folder: Path, count: int) -> Path:
    """The path of a closed trail with so many entries."""
    with made(folder) as trail:
        fill(trail, count)
        return trail.path


def plain(path: Path) -> sqlite3.Connection:
    """A connection with nothing but SQLite's own rules, as any other program would open it."""
    return sqlite3.connect(path, isolation_level=None)
