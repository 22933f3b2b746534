"""A clock that went back: told in the trail before the next entry, whose order does not hang on it.

Entries are in the order of writing, whatever their times say. A clock that is set right by hand, or
wrong by somebody who would have it so, is to be seen by whoever reads the times.
"""

from __future__ import annotations

from datetime import timedelta

from checklist.preparation import Act, Entry, Event
from checklist.trail import Trail

SLACK = timedelta(minutes=2)
"""How far the clocks of two stations may be apart without a word. Common practice, no source."""
MOVED = "clock_moved"


def watched(trail: Trail, event: Event, *, id_: str) -> Entry | None:
    """Record that the clock stands before the last entry by more than SLACK; None where not.

    `event` is the one that is about to be recorded, `id_` that of the entry about the clock. The
    body tells the last entry, its time's distance in whole seconds, and its station. Raises the
    trail's own faults.
    """
    last = trail.newest()
    if last is None or event.at >= last.event.at - SLACK:
        return None
    body = {
        "after": last.seq,
        "back_s": (last.event.at - event.at) // timedelta(seconds=1),
        "station": last.event.station,
    }
    return trail.record(
        Act(
            id=id_,
            kind=MOVED,
            at=event.at,
            by=event.by,
            station=event.station,
            channel="engine",
            body=body,
        )
    )
