"""Checks on the volume in the syringe: air out, read at eye level, neither more nor less."""

from __future__ import annotations

from checklist.checks.calculation import (
    OVER_CONTENT,
    PARSHURAM,
    UNIT_MISMATCH,
    unit_of,
    within_content,
)
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import target
from checklist.verdict import Caution, Pass, Refusal, Remedy, Tier, Verdict

AIR = reason(
    "air_present",
    Tier.SOFT,
    "A bubble is left in the syringe.",
    "Air takes the place of drug and does harm in a vein.",
    "Tip up, tap, draw back a little, push the air out slowly, look again.",
    Remedy.ADJUST,
    hazards="H24 H26",
)
NOT_RECORDED = reason(
    "volume_not_recorded",
    Tier.HARD,
    "The volume in the syringe is not entered yet.",
    "What is not read is not known.",
    "Hold it at eye level, read it and enter it.",
    Remedy.RECHECK,
    hazards="H23",
    firm=True,
)
OVER = reason(
    "volume_over_target",
    Tier.HARD,
    "You read {read}. That is above the volume for this dose.",
    "The patient would get too much.",
    "Push the extra into the waste pad, then read again.",
    Remedy.ADJUST,
    Remedy.DISCARD_RESTART,
    hazards="H23",
    firm=True,
    source=PARSHURAM,
)
UNDER = reason(
    "volume_under_target",
    Tier.HARD,
    "You read {read}. That is below the volume for this dose.",
    "Air in the needle or drug left in the neck may hold the rest.",
    "Clear the air, draw the rest while the ampoule is in your hand, then read again.",
    Remedy.ADJUST,
    Remedy.DISCARD_RESTART,
    hazards="H24",
    firm=True,
    source=PARSHURAM,
)


@check(AIR, bubble_free=Kind.CHOICE)
def air_is_out(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """No bubble is left; for a vein, the spine or less than 1 mL without exception."""
    if seen["bubble_free"].value == "no bubble left":
        return Pass()
    aim = target(prep, around)
    small = aim is None or aim.exact < Quantity.of("1", "mL")
    strict = small or prep.order.route in ("IV", "IT", "EPI")
    return Refusal(AIR) if strict else Caution(AIR)


@check(UNIT_MISMATCH, OVER_CONTENT, OVER, UNDER, drawn_volume=Kind.QUANTITY)
def drawn_volume_is_the_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The volume read is the dose's volume on this scale, neither more nor less.

    The dose is set on a line of the scale, and a reading is to that line: the reading passes when
    it lies within half a line of the exact dose and is the line that was aimed at.
    """
    read, aim = seen["drawn_volume"].value, target(prep, around)
    assert isinstance(read, Quantity)
    if aim is None:
        return Refusal(UNDER, {"read": str(read)})
    if not read.alike(aim.set):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(read), "wanted": "mL"})
    held = within_content(read, prep, around)
    if isinstance(held, Refusal):
        return held
    if read in (aim.set, aim.exact):
        return Pass()
    return Refusal(OVER if read > aim.set else UNDER, {"read": str(read)})
