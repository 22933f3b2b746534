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
from checklist.target import mixture_in_force, product_of, target, whole_containers
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

AIR = reason(
    "air_present",
    Tier.SOFT,
    "A bubble is left in the syringe.",
    "Air takes the place of drug and does harm in a vein.",
    "Tip up, tap, draw back a little, push the air out slowly, look again.",
    Remedy.ADJUST,
    hazards="H24 H26",
)
AIR_EXPELLED = reason(
    "air_expelled_against_product",
    Tier.SOFT,
    "The bubble that the maker put in is gone.",
    "It pushes the last of the drug out; with it some drug may be gone too.",
    "Read the volume with care, or take another.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H24",
    source=Source(title="leaflets of low-molecular-weight heparin in whole-dose syringes"),
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
    "Air in the needle or drug left behind may hold the rest.",
    "Clear the air and read again. Draw the rest only from a container still in your hand.",
    Remedy.ADJUST,
    Remedy.DISCARD_RESTART,
    hazards="H24",
    firm=True,
    source=PARSHURAM,
)


@check(AIR, AIR_EXPELLED, bubble_free=Kind.CHOICE)
def air_is_out(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """No bubble is left; for a vein, the spine or less than 1 mL without exception.

    Where a leaflet keeps the maker's bubble for the whole dose, the bubble is still there.
    """
    gone = seen["bubble_free"].value == "no bubble left"
    aim, product = target(prep, around), product_of(prep, around)
    whole = product is not None and aim is not None and aim.exact == product.content
    if product is not None and product.keeps_air and whole:
        return Caution(AIR_EXPELLED) if gone else Pass()
    if gone:
        return Pass()
    small = aim is None or aim.exact < Quantity.of("1", "mL")
    strict = small or prep.order.route in ("IV", "IT", "EPI")
    return Refusal(AIR) if strict else Caution(AIR)


def _all_of_it(prep: Preparation, around: Surroundings) -> bool:
    """Whether the dose is whole containers of a powder that adds an unknown volume to its diluent.

    All of it is drawn then, however much it fills; what the containers can hold bounds it.
    """
    mixture = mixture_in_force(prep, around)
    return mixture is not None and not mixture.exact and whole_containers(prep, around)


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
    if read in (aim.set, aim.exact) or (read > aim.set and _all_of_it(prep, around)):
        return Pass()
    return Refusal(OVER if read > aim.set else UNDER, {"read": str(read)})
