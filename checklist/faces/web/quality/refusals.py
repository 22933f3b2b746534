"""What was refused before it came to any preparation, counted for whoever looks after the trail.

Without a person or a time: that there is something to look into is seen, and who it was stands in
the entries.
"""

from __future__ import annotations

from collections import Counter

from checklist.trail import Trail

ONE_MANY = {
    "turned_away": ("form that no page here sends", "forms that no page here sends"),
    "not_allowed": ("page or act beyond a role", "pages or acts beyond a role"),
    "not_signed_in": ("sign-in", "sign-ins"),
}
"""The kinds that are counted, in words for one and for more."""
LOCKED = "locked"


def refusals(trail: Trail) -> Counter[str]:
    """How often each kind was refused, and people were locked; with forms that were turned away and
    not recorded one by one.
    """
    found: Counter[str] = Counter()
    for entry in trail.acts((*ONE_MANY, LOCKED)):
        found[entry.event.kind] += 1
        found["turned_away"] += int(entry.event.body.get("left_out", 0))
    return +found


def refusals_said(found: Counter[str]) -> str:
    """The same as a sentence; "" for none."""
    parts = [f"{found[kind]} {ONE_MANY[kind][found[kind] > 1]}" for kind in ONE_MANY if found[kind]]
    sentence = f"{', '.join(parts)}." if parts else ""
    if found[LOCKED]:
        sentence += f" Locked {found[LOCKED]} {'time' if found[LOCKED] == 1 else 'times'}."
    return sentence.strip()
