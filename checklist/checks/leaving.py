"""Checks on leaving the area: nothing left behind, the dose in custody and in time."""

from __future__ import annotations

from checklist.checks.registry import check, reason
from checklist.label import time_left, use_before
from checklist.observation import Observation
from checklist.preparation import Preparation, Surroundings
from checklist.timing import said_time
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

OPEN_ITEMS = reason(
    "area_left_with_open_items",
    Tier.HARD,
    "{what}: not so.",
    "The next person finds a sharp or an open drug.",
    "Clear it, then look again.",
    Remedy.RECHECK,
    hazards="H16 H39 H40",
)
KEPT = reason(
    "opened_ampoule_kept",
    Tier.HARD,
    "The opened ampoule has been kept.",
    "It has no stopper and is no longer sterile.",
    "Discard it now, then answer again.",
    Remedy.RECHECK,
    hazards="H16",
    firm=True,
)
NO_CONTAINER = reason(
    "original_container_absent",
    Tier.SOFT,
    "The emptied container is not with you for the bedside look.",
    "It is the last proof of what was drawn.",
    "Fetch it, or say why it cannot come along.",
    Remedy.RECHECK,
    hazards="H02",
)
TWO_PATIENTS = reason(
    "items_for_two_patients",
    Tier.HARD,
    "Something for another patient is in the tray.",
    "Doses carried together get swapped.",
    "Take it out and keep it apart, then look again.",
    Remedy.RECHECK,
    hazards="H01 H52",
    firm=True,
)
TIME_EXCEEDED = reason(
    "preparation_time_exceeded",
    Tier.HARD,
    "This dose was to be begun before {limit}.",
    "Germs that got in have had time to grow.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H28",
    firm=True,
    source=Source(
        title="USP <797> immediate use: begun within 1 h (2008 edition, SNM question page); "
        "within 4 h (2023 edition, seen on secondary pages); the unit's limit rules"
    ),
)


@check(TIME_EXCEEDED)
def dose_is_still_in_time(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Now is before the moment by which the dose must be begun."""
    limit, left = use_before(prep, around), time_left(prep, around)
    if limit is None or left is None:
        return Pass(not_compared="time since opening: nothing is open yet")
    if left.total_seconds() > 0:
        return Pass()
    return Refusal(TIME_EXCEEDED, {"limit": said_time(limit, around.unit, around.at)})
