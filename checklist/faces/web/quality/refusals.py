"""What was refused beside preparations, counted for whoever looks after the trail: no person in it.

That there is something to look into is seen; who it was stands in the entries.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from checklist.trail import Trail

DAYS = 30
"""For how many days what was refused is told."""
MOST_REFUSALS = 5_000
"""How many refusals one look counts at most."""
REFUSALS = {
    "not_signed_in": "sign-in",
    "not_allowed": "act that no role of the person allows",
    "turned_away": "form that no page of ours sends",
    "locked": "person locked",
}
"""The acts that are refusals, and what they are called here."""
WHY = {
    "pin": "the PIN did not fit",
    "unknown": "nobody has this code",
    "locked": "the person was locked",
    "no pin": "no PIN is set",
    "given pin": "the PIN was set by somebody else",
    "tries": "several PINs that did not fit",
}
"""Words for why, where the entry's own is short."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Acts of one kind that were refused for one reason: how many, and when the last was."""

    what: str
    why: str
    count: int
    last: datetime


def refusals(trail: Trail, since: datetime) -> list[Refused]:
    """What was refused beside preparations since a moment, the most frequent first; no person."""
    counted: Counter[tuple[str, str]] = Counter()
    last: dict[tuple[str, str], datetime] = {}
    for entry in islice(trail.acts(tuple(REFUSALS)), MOST_REFUSALS):
        event = entry.event
        if event.at < since:
            break
        why = str(event.body.get("why") or event.body.get("action") or "")
        key = REFUSALS[event.kind], WHY.get(why, why.replace("_", " "))
        counted[key] += 1 + int(str(event.body.get("left_out") or 0))
        last.setdefault(key, event.at)
    return [
        Refused(what=what, why=why, count=count, last=last[what, why])
        for (what, why), count in counted.most_common()
    ]
