"""Checks on giving, sharps and the record made at once."""

from __future__ import annotations

from datetime import datetime

from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.timing import said_span, said_time, span
from checklist.verdict import Caution, Pass, Refusal, Remedy, Tier, Verdict

SPEED = reason(
    "speed_not_as_ordered",
    Tier.SOFT,
    "It was not given at the stated speed.",
    "Too fast or too slow changes the effect.",
    "Watch the patient and write what was seen.",
    Remedy.RECHECK,
    hazards="H31",
)
REACTION = reason(
    "reaction_during",
    Tier.HARD,
    "A reaction was seen.",
    "It can grow worse in minutes.",
    "Stop giving, keep the line, call for help, keep container and lot.",
    Remedy.EVENT,
    hazards="H47",
    firm=True,
)
BLOOD = reason(
    "blood_on_aspiration",
    Tier.HARD,
    "Blood came back.",
    "The needle is in a vessel.",
    "Take it out, discard the dose and begin again for a new site.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H53",
)
PARTIAL = reason(
    "partial_dose_given",
    Tier.SOFT,
    "{given} of {drawn} was given.",
    "The effect may fall short.",
    "Write why, tell the prescriber, account for the rest.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    hazards="H24",
)
OVER_GIVEN = reason(
    "more_given_than_drawn",
    Tier.HARD,
    "More was entered as given than the syringe held.",
    "One of the two figures is not right.",
    "Look at the syringe and enter it again.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H23 H46",
    firm=True,
)
FLUSH = reason(
    "flush_missing",
    Tier.SOFT,
    "The line has not been flushed.",
    "Drug left in it reaches the patient later, all at once.",
    "Flush it with a separate syringe.",
    Remedy.RECHECK,
    hazards="H45",
)
WASTE_STREAM = reason(
    "waste_stream_wrong",
    Tier.SOFT,
    "{what}: not so.",
    "In other waste it reaches drains, or hands that do not expect it.",
    "Put it where it belongs, then answer again.",
    Remedy.ADJUST,
    hazards="H41",
)
TOO_EARLY = reason(
    "recorded_before_giving",
    Tier.HARD,
    "The time given, {time}, is not between the bedside check and now.",
    "What is written before it happens is believed when it does not.",
    "Enter the time at which you began to give.",
    Remedy.RECHECK,
    hazards="H06 H46",
    firm=True,
)
LATE = reason(
    "record_late",
    Tier.SOFT,
    "It was given {ago} ago; the unit's limit for the record is {limit}.",
    "Until it is written, someone may give it again.",
    "Say why the record comes now.",
    Remedy.RECHECK,
    hazards="H06 H46",
)
RECORD_INCOMPLETE = reason(
    "record_incomplete",
    Tier.HARD,
    "{what}: not in the record yet.",
    "The next nurse needs it.",
    "Enter it.",
    Remedy.RECHECK,
    hazards="H46",
)
MONITORING = reason(
    "monitoring_missing",
    Tier.SOFT,
    "No time is set for looking at the effect.",
    "Effects and harms show after you have left.",
    "Set it now, or say why none is needed.",
    Remedy.RECHECK,
    hazards="H47",
)


@check(OVER_GIVEN, PARTIAL, given_volume=Kind.QUANTITY)
def whole_dose_was_given(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """What was given is what the syringe held."""
    given, drawn = seen["given_volume"].value, prep.latest("drawn_volume")
    held = drawn.value if drawn else None
    if not isinstance(given, Quantity) or not isinstance(held, Quantity) or not given.alike(held):
        return Refusal(OVER_GIVEN)
    if given == held:
        return Pass()
    if given < held:
        return Caution(PARTIAL, {"given": str(given), "drawn": str(held)})
    return Refusal(OVER_GIVEN)


@check(TOO_EARLY, LATE, time_given=Kind.TIME)
def record_follows_giving(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The time given lies between the bedside check and now, and is recorded soon after.

    Times are entered to the minute, so the bedside check is taken back to its own minute.
    """
    at = seen["time_given"].value
    bedside = prep.time_of("bedside_drug")
    if not isinstance(at, datetime) or bedside is None:
        return Refusal(TOO_EARLY, {"time": "not read"})
    if not bedside.replace(second=0, microsecond=0) <= at <= around.at:
        return Refusal(TOO_EARLY, {"time": said_time(at, around.unit, around.at)})
    if around.at - at <= span(around.unit.record_late_after):
        return Pass()
    ago, limit = said_span(around.at - at), str(around.unit.record_late_after)
    return Caution(LATE, {"ago": ago, "limit": limit})
