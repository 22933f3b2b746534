"""Checks on the item in the hand: drug, strength, form, route, lot, expiry and its twins."""

from __future__ import annotations

from datetime import date

from checklist.checks.registry import check, reason
from checklist.formulary import Product
from checklist.observation import Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import same
from checklist.target import containers_for, ordered_dose
from checklist.timing import said_date
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

WHO_LASA = Source(
    title="WHO, Medication safety for look-alike, sound-alike medicines, 2023, "
    "ISBN 978-92-4-005889-7"
)
EXPIRY = Source(
    title="GS1 General Specifications: an expiry written YYMM00 is the last day of the month "
    "(from memory); use through the end of the expiry day: common practice",
    status="from memory",
)

UNKNOWN_CONTAINER = reason(
    "container_type_unknown",
    Tier.HARD,
    "The code {code} is not in the formulary.",
    "What is not known cannot be compared.",
    "Take an item the pharmacy supplied for this order, or call the pharmacist.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H02",
)
CONTAINER_MISMATCH = reason(
    "container_type_mismatch",
    Tier.HARD,
    "This item is a {read}; these steps are for a {wanted}.",
    "Another container asks for other steps.",
    "Take a {wanted}, or end here and open the right steps.",
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H02 H12",
    firm=True,
)
PRODUCT_MISMATCH = reason(
    "product_mismatch",
    Tier.HARD,
    "Read: {read}. The order asks for {ordered}.",
    "Names and boxes are easily taken for each other.",
    "Put this one in the return tray and take another.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H02 H48",
    firm=True,
    identity=True,
    source=WHO_LASA,
)
STRENGTH_MISMATCH = reason(
    "strength_mismatch",
    Tier.HARD,
    "The strength read is {read}. {needed}",
    "The same volume would hold another dose.",
    "Take the right strength and read its label.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H03 H35 H48",
    firm=True,
    identity=True,
)
FORM_MISMATCH = reason(
    "formulation_mismatch",
    Tier.HARD,
    "The form read is {read}; the order asks for {ordered}.",
    "Forms of one drug act for different lengths of time.",
    "Take the ordered form.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H05",
    firm=True,
)
ROUTE_MISMATCH = reason(
    "route_mismatch",
    Tier.HARD,
    "The label allows {allowed}; the order says {ordered}.",
    "By another route this item can do harm.",
    "Take an item for the ordered route.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H05",
    firm=True,
)
NOT_FOR_INJECTION = reason(
    "not_for_injection",
    Tier.HARD,
    "This item is for {use}, not for injection.",
    "It is not made to go into tissue or blood.",
    "Put it back and take the item for injection.",
    Remedy.REPLACE_ITEM,
    hazards="H05 H32",
    firm=True,
)
FLUSH_SYRINGE = reason(
    "flush_syringe_as_diluent",
    Tier.HARD,
    "This is a flush syringe; it is for flushing a line.",
    "A drug in or from a flush syringe carries another name.",
    "Leave it for the flush and take the item that belongs here.",
    Remedy.REPLACE_ITEM,
    hazards="H34",
    firm=True,
    source=Source(
        title="ISMP, survey and safe practice guidelines on adult IV push medications, 2018: flush "
        "syringes are used to dilute drugs"
    ),
)
CONCENTRATE = reason(
    "concentrate_undiluted",
    Tier.HARD,
    "This is a concentrate; these steps do not dilute it.",
    "Given undiluted it can stop the heart or harm the vein.",
    "Take a ready-to-use item, or call the pharmacist.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H32",
    firm=True,
)
BULK_PACK = reason(
    "pharmacy_bulk_pack_on_ward",
    Tier.HARD,
    "This is a pharmacy bulk pack.",
    "It is meant for many doses under a clean-air hood.",
    "Send it back to the pharmacy.",
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H32",
    firm=True,
)
LABEL_UNREADABLE = reason(
    "label_unreadable",
    Tier.HARD,
    "{what}: not readable.",
    "What cannot be read cannot be compared.",
    "Take another item.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H02",
)
RECALLED = reason(
    "lot_recalled",
    Tier.HARD,
    "Lot {lot} is on the stop list.",
    "A fault in this lot is known or suspected.",
    "Keep it for the pharmacy, labelled, and take another lot.",
    Remedy.QUARANTINE,
    Remedy.REPLACE_ITEM,
    hazards="H50",
)
EXPIRED = reason(
    "product_expired",
    Tier.HARD,
    "Printed expiry: {expiry}. Today: {today}.",
    "Strength and sterility are no longer assured.",
    "Set it aside for return and take another.",
    Remedy.REPLACE_ITEM,
    hazards="H09 H48",
    firm=True,
    source=EXPIRY,
)
EXPIRY_UNREADABLE = reason(
    "expiry_unreadable",
    Tier.HARD,
    "{what}: no readable date.",
    "Without it nobody knows whether the item is still good.",
    "Take another item.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H09",
)
STORAGE = reason(
    "storage_breach",
    Tier.HARD,
    "{what}: not so.",
    "Heat, frost or light can weaken the drug unseen.",
    "Keep it for the pharmacy and take another.",
    Remedy.QUARANTINE,
    Remedy.CALL_PHARMACIST,
    hazards="H49",
)
DAMAGED = reason(
    "container_damaged",
    Tier.HARD,
    "{what}: not so.",
    "A crack lets germs in and drug out.",
    "Keep it for the pharmacy and take another.",
    Remedy.QUARANTINE,
    Remedy.REPLACE_ITEM,
    hazards="H10",
    firm=True,
)
ABNORMAL = reason(
    "appearance_abnormal",
    Tier.HARD,
    "{what}: not so.",
    "What floats or clouds can block a vessel or show a spoiled drug.",
    "Keep it, labelled, for the pharmacy; take another.",
    Remedy.QUARANTINE,
    Remedy.DISCARD_RESTART,
    Remedy.CALL_PHARMACIST,
    hazards="H11 H29 H50",
    firm=True,
    source=Source(title="USP <790> Visible Particulates in Injections (preview page)"),
)
LABEL_READ_MISSING = reason(
    "label_read_missing",
    Tier.HARD,
    "{what}: not read this time.",
    "One reading cannot stand for another.",
    "Read the label on the container in your hand.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H02 H19",
    firm=True,
)
LASA_ALERT = reason(
    "lasa_alert",
    Tier.INFORMATION,
    "{drug} has a twin that looks or sounds like it: {twin}.",
    "These two have been taken for each other.",
    "Read the whole name, letter by letter.",
    Remedy.RECHECK,
    hazards="H02",
    source=WHO_LASA,
)
LASA_NOT_CONFIRMED = reason(
    "lasa_not_confirmed",
    Tier.HARD,
    'You read "{read}" on the label. That is not the ordered name.',
    "Its twin looks or sounds much like it.",
    "Read the whole name on the label again, letter by letter.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    hazards="H02",
    identity=True,
    source=WHO_LASA,
)
HIGH_ALERT = reason(
    "high_alert_drug",
    Tier.INFORMATION,
    "{drug} is on the unit's high-alert list.",
    "A slip with it does more harm than with most drugs.",
    "A second person works the dose out alone before it is opened.",
    Remedy.RECHECK,
    hazards="H43",
)
MANY_CONTAINERS = reason(
    "many_containers_for_dose",
    Tier.SOFT,
    "This dose would take {count} containers.",
    "More than two or three often shows a slip in dose or strength.",
    "Work it out again, or say why it is right.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    hazards="H03 H04",
)


# What an item has to be made for by these routes; by any other it is for injection.
USE_BY_ROUTE = {"INH": "inhalation", "PO": "oral", "NG": "oral", "PEG": "oral"}


def _read(seen: Observation, around: Surroundings) -> tuple[str, Product | None]:
    value = seen["product"].value
    code = value.code if isinstance(value, ProductRead) else str(value)
    return code, around.formulary.products.get(code)


def _said(product: Product) -> str:
    return product.said


@check(UNKNOWN_CONTAINER, CONTAINER_MISMATCH, product=Kind.PRODUCT)
def item_is_one_these_steps_are_for(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The item is in the formulary, in the container that these steps are for or start from."""
    code, product = _read(seen, around)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    source = prep.sources.get(prep.item, around.container)
    if product.container == source:
        return Pass()
    read, wanted = (c.replace("_", " ") for c in (product.container, source))
    return Refusal(CONTAINER_MISMATCH, {"read": read, "wanted": wanted})


@check(PRODUCT_MISMATCH, UNKNOWN_CONTAINER, HIGH_ALERT, product=Kind.PRODUCT)
def item_is_the_ordered_drug(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The item holds the ordered drug."""
    code, product = _read(seen, around)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    drug = around.formulary.drug(prep.order.drug)
    if drug is None or product.drug != drug.name:
        return Refusal(PRODUCT_MISMATCH, {"read": _said(product), "ordered": prep.order.drug})
    notes = (Note(HIGH_ALERT, {"drug": drug.name}),) if drug.high_alert else ()
    return Pass(notes=notes)


@check(STRENGTH_MISMATCH, UNKNOWN_CONTAINER, product=Kind.PRODUCT)
def item_has_the_ordered_strength(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Where the order names a strength, the item has it; and it measures what the order asks."""
    code, product = _read(seen, around)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    wanted, dose = prep.order.strength, ordered_dose(prep, around)
    if wanted is not None and not same(wanted, product.strength):
        facts = {"read": str(product.strength), "needed": f"The order names {wanted}."}
        return Refusal(STRENGTH_MISMATCH, facts)
    if dose is not None and not dose.alike(product.strength.amount):
        needed = f"The dose is ordered as {dose}, which is another kind of amount."
        return Refusal(STRENGTH_MISMATCH, {"read": str(product.strength), "needed": needed})
    return Pass()


@check(FORM_MISMATCH, UNKNOWN_CONTAINER, product=Kind.PRODUCT)
def item_has_the_ordered_form(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Where the order names a form, the item has it."""
    code, product = _read(seen, around)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    if not prep.order.form or prep.order.form == product.form:
        return Pass()
    return Refusal(FORM_MISMATCH, {"read": product.form, "ordered": prep.order.form})


@check(
    FLUSH_SYRINGE,
    NOT_FOR_INJECTION,
    ROUTE_MISMATCH,
    CONCENTRATE,
    BULK_PACK,
    UNKNOWN_CONTAINER,
    product=Kind.PRODUCT,
)
def item_is_for_the_ordered_route(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The item is made for this use, its label allows the route, and its dilution is planned."""
    code, product = _read(seen, around)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    if product.use == "flushing":
        return Refusal(FLUSH_SYRINGE)
    wanted = USE_BY_ROUTE.get(prep.order.route, "injection")
    if product.use != wanted:
        if wanted == "injection":
            return Refusal(NOT_FOR_INJECTION, {"use": product.use})
        facts = {"allowed": f"use for {product.use}", "ordered": prep.order.route}
        return Refusal(ROUTE_MISMATCH, facts)
    if product.bulk_pack:
        return Refusal(BULK_PACK)
    if product.concentrate and prep.order.infusion is None:
        return Refusal(CONCENTRATE)
    if prep.order.route in product.routes:
        return Pass()
    allowed = ", ".join(product.routes) or "no route on record"
    return Refusal(ROUTE_MISMATCH, {"allowed": allowed, "ordered": prep.order.route or "none"})


@check(RECALLED, product=Kind.PRODUCT, lot=Kind.TEXT)
def lot_is_not_recalled(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The lot is not on the unit's stop list; lots are compared with their capitals."""
    code, _ = _read(seen, around)
    lot = str(seen["lot"].value)
    if f"{code}/{lot}" in around.unit.recalled:
        return Refusal(RECALLED, {"lot": lot})
    return Pass()


@check(EXPIRED, expiry=Kind.DATE)
def item_is_in_date(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Today is at most the printed expiry day, on the ward's own calendar."""
    expiry, today = seen["expiry"].value, around.unit.local(around.at).date()
    if isinstance(expiry, date) and today <= expiry:
        return Pass()
    said = said_date(expiry) if isinstance(expiry, date) else str(expiry)
    return Refusal(EXPIRED, {"expiry": said, "today": said_date(today)})


@check(LASA_NOT_CONFIRMED, LASA_ALERT, name_on_label=Kind.TEXT)
def name_is_not_its_twin(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The whole name as read on the label is the ordered drug's name and not a twin's."""
    read = " ".join(str(seen["name_on_label"].value).casefold().split())
    drug = around.formulary.drug(prep.order.drug)
    if drug is None or read != drug.name:
        return Refusal(LASA_NOT_CONFIRMED, {"read": read})
    if drug.lookalikes:
        facts = {"drug": drug.name, "twin": ", ".join(drug.lookalikes)}
        return Pass(notes=(Note(LASA_ALERT, facts),))
    return Pass()


@check(MANY_CONTAINERS, product=Kind.PRODUCT)
def few_containers_make_the_dose(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The dose takes fewer containers than the unit calls many."""
    _, product = _read(seen, around)
    dose = ordered_dose(prep, around)
    if product is None or dose is None or not dose.alike(product.strength.amount):
        return Pass(not_compared="number of containers: dose or strength not known")
    count = containers_for(product.strength.volume_for(dose), product)
    if count < around.unit.many_containers:
        return Pass()
    return Caution(MANY_CONTAINERS, {"count": str(count)})


@check(PRODUCT_MISMATCH, STRENGTH_MISMATCH, read_drug=Kind.TEXT, read_strength=Kind.CONCENTRATION)
def label_reads_as_the_first_time(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug and strength as read again, just before drawing, are those of the item identified."""
    first = prep.latest("product")
    code = first.value.code if first and isinstance(first.value, ProductRead) else ""
    product = around.formulary.products[code]
    read = " ".join(str(seen["read_drug"].value).casefold().split())
    if read != product.drug:
        return Refusal(PRODUCT_MISMATCH, {"read": read, "ordered": prep.order.drug})
    strength = seen["read_strength"].value
    if same(strength, product.strength):
        return Pass()
    facts = {"read": str(strength), "needed": "That is not the strength of the item you took."}
    return Refusal(STRENGTH_MISMATCH, facts)


@check(PRODUCT_MISMATCH, UNKNOWN_CONTAINER, emptied=Kind.PRODUCT)
def emptied_container_is_the_same_item(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The container in the hand after drawing is the item that was identified at the start."""
    value, first = seen["emptied"].value, prep.latest("product")
    code = value.code if isinstance(value, ProductRead) else str(value)
    product = around.formulary.products.get(code)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    if first is not None and isinstance(first.value, ProductRead) and first.value.code == code:
        return Pass()
    return Refusal(PRODUCT_MISMATCH, {"read": _said(product), "ordered": prep.order.drug})
