"""Checks on cartridges, auto-injectors, two-chamber devices and what the pharmacy has filled."""

from __future__ import annotations

from datetime import date, datetime

from checklist.checks.equipment import NEEDLE_UNSUITABLE
from checklist.checks.labelling import MISMATCH
from checklist.checks.patient import agrees
from checklist.checks.registry import check, reason
from checklist.device import pharmacy_limit
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import ordered_dose, product_of
from checklist.timing import said_date
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

HOLDER = reason(
    "holder_fault",
    Tier.HARD,
    "{what}: not so.",
    "A dirty holder carries germs, a cracked one slips.",
    "Clean it as the unit says, or take another.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    hazards="H15 H17",
)
NOT_SEATED = reason(
    "cartridge_not_seated",
    Tier.HARD,
    "{what}: not so.",
    "The rod would push beside the plunger, and the dose would fall short.",
    "Seat the cartridge and the rod again, or take others.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    hazards="H24",
)
WRONG_HOLDER = reason(
    "cartridge_type_mismatch",
    Tier.HARD,
    "The holder is marked {read}; this cartridge is made for another.",
    "Dental, pen and ward cartridges look alike and do not fit one another.",
    "Take the holder that the cartridge is made for.",
    Remedy.REPLACE_ITEM,
    hazards="H05 H36",
)
FIRED = reason(
    "device_already_fired",
    Tier.HARD,
    "{what}: not so.",
    "A fired device gives nothing.",
    "Take another and keep this one out of reach.",
    Remedy.REPLACE_ITEM,
    hazards="H36",
    firm=True,
)
KIT_MIXED = reason(
    "kit_components_mixed",
    Tier.HARD,
    "The parts do not carry one and the same lot.",
    "Parts of two kits may be two strengths, or powder without its own solvent.",
    "Put both aside and take a whole kit.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H19",
    firm=True,
)
ACTIVATION = reason(
    "activation_incomplete",
    Tier.HARD,
    "{what}: not so.",
    "What is mixed in part holds another dose.",
    "Go on as its leaflet says; if it cannot be put right take a new one.",
    Remedy.WAIT,
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H21",
)
BEYOND_USE = reason(
    "beyond_use_date_passed",
    Tier.HARD,
    "The pharmacy's label says: use before {until}.",
    "After that nobody answers for what is in it.",
    "Send it back to the pharmacy and ask for a new one.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H09",
    source=Source(title="beyond-use date of a pharmacy's own preparation; USP <797>"),
)

ONCE = "once, all the way"


@check(WRONG_HOLDER, holder_mark=Kind.TEXT)
def holder_is_made_for_the_cartridge(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The mark read on the holder is that of the holder which the cartridge is made for."""
    read, product = str(seen["holder_mark"].value), product_of(prep, around)
    wanted = product.holder if product is not None else ""
    if wanted and "".join(read.casefold().split()) == "".join(wanted.casefold().split()):
        return Pass()
    return Refusal(WRONG_HOLDER, {"read": read})


@check(KIT_MIXED, kit_lot=Kind.TEXT)
def kit_parts_belong_together(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The lot read on the second part is that of the first; lots keep their capitals."""
    first = prep.latest("lot")
    if first is not None and str(first.value) == str(seen["kit_lot"].value):
        return Pass()
    return Refusal(KIT_MIXED)


@check(ACTIVATION, activated=Kind.CHOICE)
def parts_came_together_once(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The device was activated once and all the way."""
    if seen["activated"].value == ONCE:
        return Pass()
    return Refusal(ACTIVATION, {"what": "The two parts together, once and all the way"})


@check(NEEDLE_UNSUITABLE, needle_from=Kind.CHOICE)
def needle_is_the_kits_own(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Where only the needle in the box will do, that needle is on."""
    product, source = product_of(prep, around), str(seen["needle_from"].value)
    if product is None or product.needle != "kit" or source == "the box of this item":
        return Pass()
    facts = {"needle": f"from {source}", "why": "only the one in the box of this item will do"}
    return Refusal(NEEDLE_UNSUITABLE, facts)


@check(BEYOND_USE, use_before_day=Kind.DATE, use_before_time=Kind.TIME)
def beyond_use_has_not_come(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Now is before the day and time that the pharmacy's label sets; without a time, its day."""
    day = seen["use_before_day"].value
    at = seen["use_before_time"].value if "use_before_time" in seen else None
    if not isinstance(day, date):
        return Refusal(BEYOND_USE, {"until": "a day that was not read"})
    limit = pharmacy_limit(day, at, around.unit)
    if around.at < limit:
        return Pass()
    clock = f" {around.unit.local(limit):%H:%M}" if isinstance(at, datetime) else ""
    return Refusal(BEYOND_USE, {"until": said_date(day) + clock})


@check(MISMATCH, label_drug=Kind.TEXT, label_dose=Kind.QUANTITY, label_identifier=Kind.IDENTIFIER)
def label_is_for_this_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Drug, amount and patient as read from the label are those of the order."""
    drug = " ".join(str(seen["label_drug"].value).casefold().split())
    read, dose = seen["label_dose"].value, ordered_dose(prep, around)
    named, patient = seen["label_identifier"].value, around.patient
    same = {
        "the drug": drug == prep.order.drug.casefold(),
        "the amount": isinstance(read, Quantity)
        and dose is not None
        and read.alike(dose)
        and read == dose,
        "the patient": patient is not None
        and isinstance(named, Identifier)
        and agrees(named, patient),
    }
    differing = [what for what, agree in same.items() if not agree]
    return Refusal(MISMATCH, {"what": " and ".join(differing)}) if differing else Pass()
