"""Checks on a device that comes filled: its fill, its own scale, and a dose that is part of it."""

from __future__ import annotations

from datetime import date

from checklist.checks.calculation import OVER_CONTENT, UNIT_MISMATCH, WASTE_EXPECTED, unit_of
from checklist.checks.product import EXPIRED, PRODUCT_MISMATCH, STRENGTH_MISMATCH
from checklist.checks.registry import check, reason
from checklist.checks.volume import UNDER
from checklist.device import amount_of, is_whole
from checklist.observation import Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import ordered_dose, product_of, target
from checklist.timing import said_date
from checklist.verdict import Note, Pass, Refusal, Remedy, Source, Tier, Verdict

IV_PUSH = Source(
    title="ISMP, Safe practice guidelines for adult IV push medications, and survey findings on "
    "the use of prefilled syringes and flushes, 2018"
)

FILL = reason(
    "fill_volume_abnormal",
    Tier.HARD,
    "What is in it is not what its label says.",
    "A device with another fill gives another dose than it promises.",
    "Keep it, labelled, for the pharmacy and take another.",
    Remedy.QUARANTINE,
    Remedy.RECHECK,
    hazards="H10 H23 H50",
    firm=True,
    source=Source(title="overfilled cartridges as reported by a maker and a safety body (recall)"),
)
PART = reason(
    "partial_dose_from_prefilled",
    Tier.INFORMATION,
    "The dose is only a part of what this device holds.",
    "What is too much goes out before anything is given.",
    "Push the excess out first, tip up, to the exact line.",
    Remedy.RECHECK,
    hazards="H23",
)
NO_SCALE = reason(
    "no_usable_scale",
    Tier.HARD,
    "This device cannot measure the ordered dose: {why}.",
    "A part that cannot be read is a guess.",
    "Take another strength or a container to draw from, or call the pharmacist.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H23",
)
EXCESS = reason(
    "excess_not_expelled",
    Tier.HARD,
    "You read {read}. That is above the volume for this dose.",
    "A dose given up to a line by eye is often given whole.",
    "Tip up, push the excess into the waste pad to the exact line, then read again.",
    Remedy.ADJUST,
    Remedy.DISCARD_RESTART,
    hazards="H23",
    firm=True,
)
AS_VIAL = reason(
    "device_used_as_vial",
    Tier.HARD,
    "{what}: not so.",
    "Its scale, its label and its code then say nothing about what is given.",
    "Discard both and begin with a new one.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H34 H35",
    firm=True,
    source=IV_PUSH,
)
DILUTED = reason(
    "unneeded_dilution",
    Tier.HARD,
    "Something went into it that neither order nor leaflet asks for.",
    "The strength in it is no longer that of its label.",
    "Call the pharmacist; without a clear answer discard it.",
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H34",
    source=IV_PUSH,
)
FIT = reason(
    "connector_fit",
    Tier.SOFT,
    "{what}: not so.",
    "A tip that fits badly leaks or breaks.",
    "Take another syringe or connector, or say why this one.",
    Remedy.REPLACE_ITEM,
    hazards="H24",
)
FLUSHING = "flushing"
ADDED = ("nothing", "what order or leaflet asks for", "something else")


@check(FILL, fill_volume=Kind.QUANTITY)
def fill_is_as_the_label_says(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What is in the device, read on its own scale, is its labelled content to half a line."""
    product = product_of(prep, around)
    step = product.scale_step if product is not None else None
    if product is None or step is None or not step.alike(product.content):
        return Pass(not_compared="fill: this device has no scale to read it on")
    read = seen["fill_volume"].value if "fill_volume" in seen else None
    if not isinstance(read, Quantity) or not read.alike(product.content):
        return Refusal(FILL)
    off = read - product.content if read >= product.content else product.content - read
    return Pass() if off * 2 <= step else Refusal(FILL)


@check(OVER_CONTENT, NO_SCALE, PART, WASTE_EXPECTED, own_volume=Kind.QUANTITY)
def this_device_measures_the_volume(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The dose is all of one device, or a part that its own scale shows."""
    own, product, aim = seen["own_volume"].value, product_of(prep, around), target(prep, around)
    if product is None or aim is None or not isinstance(own, Quantity):
        return Refusal(NO_SCALE, {"why": "dose or device is not known"})
    if own.alike(product.content) and own > product.content:
        facts = {"volume": str(own), "count": "1", "content": str(product.content)}
        return Refusal(OVER_CONTENT, facts)
    if is_whole(prep, around):
        return Pass()
    if product.scale_step is None:
        return Refusal(NO_SCALE, {"why": "it has no lines to read a part on"})
    if not aim.exact >= product.scale_step:
        return Refusal(NO_SCALE, {"why": f"its lines are {product.scale_step} apart"})
    return Pass(notes=(Note(PART), Note(WASTE_EXPECTED)))


@check(UNIT_MISMATCH, EXCESS, UNDER, drawn_volume=Kind.QUANTITY)
def volume_left_is_the_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """What is left in the device is the dose on its own scale, neither more nor less."""
    read, aim = seen["drawn_volume"].value, target(prep, around)
    assert isinstance(read, Quantity)
    if aim is None:
        return Refusal(UNDER, {"read": str(read)})
    if not read.alike(aim.set):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(read), "wanted": "mL"})
    if read in (aim.set, aim.exact):
        return Pass()
    return Refusal(EXCESS if read > aim.set else UNDER, {"read": str(read)})


@check(DILUTED, added=Kind.CHOICE)
def nothing_is_added_unasked(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Nothing goes into the device that order and leaflet do not ask for.

    A unit that allows it for a push into a vein has it on record all the same.
    """
    if seen["added"].value in ADDED[:2]:
        return Pass()
    allowed = around.unit.word("dilute_iv_push") == "allowed" and prep.order.route == "IV"
    return Pass(notes=(Note(DILUTED),)) if allowed else Refusal(DILUTED)


@check(STRENGTH_MISMATCH, NO_SCALE)
def device_gives_the_ordered_dose(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """All that the device gives is the ordered dose: it gives all or nothing."""
    product, dose = product_of(prep, around), ordered_dose(prep, around)
    if product is None or dose is None:
        return Refusal(NO_SCALE, {"why": "dose or device is not known"})
    whole = amount_of(product)
    if whole.alike(dose) and whole == dose:
        return Pass()
    others = around.formulary.of_drug(prep.order.drug)
    if not whole.alike(dose) or any(
        amount_of(other) == dose
        for other in others
        if other.container == product.container and amount_of(other).alike(dose)
    ):
        facts = {"read": str(whole), "needed": "It gives all of that at once."}
        return Refusal(STRENGTH_MISMATCH, facts)
    return Refusal(NO_SCALE, {"why": f"it gives {whole} at once, all or nothing"})


@check(PRODUCT_MISMATCH, EXPIRED, flush=Kind.PRODUCT, flush_expiry=Kind.DATE)
def flush_is_made_for_flushing(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The flush at hand is a flush syringe in date; a flush drawn up by hand is not compared."""
    if "flush" not in seen:
        return Pass(not_compared="flush: no code was read")
    value = seen["flush"].value
    code = value.code if isinstance(value, ProductRead) else str(value)
    product = around.formulary.products.get(code)
    if product is None or product.use != FLUSHING:
        read = product.said if product is not None else f"code {code}"
        return Refusal(PRODUCT_MISMATCH, {"read": read, "ordered": "a flush syringe"})
    expiry = seen["flush_expiry"].value if "flush_expiry" in seen else None
    today = around.unit.local(around.at).date()
    if isinstance(expiry, date) and today <= expiry:
        return Pass()
    said = said_date(expiry) if isinstance(expiry, date) else "not read"
    return Refusal(EXPIRED, {"expiry": said, "today": said_date(today)})
