"""Checks in an emergency: who leads, what was said, what stays, what is made good after."""

from __future__ import annotations

from datetime import date

from checklist.checks.bedside import BY_ALTERNATIVE, BY_WORDS, NO_READABLE
from checklist.checks.labelling import MISSING as LABEL_MISSING
from checklist.checks.ordering import NOT_READ_BACK
from checklist.checks.patient import (
    ALLERGY_CROSS,
    ALLERGY_MATCH,
    ID_MISMATCH,
    ID_TOO_FEW,
    allergies_do_not_speak_against_it,
    identified,
)
from checklist.checks.product import EXPIRED, PRODUCT_MISMATCH
from checklist.checks.registry import check, reason
from checklist.checks.second import DISAGREES
from checklist.checks.staff import NOT_AUTHORISED
from checklist.observation import Kind, Observation, ProductRead
from checklist.order import Order
from checklist.people import Role
from checklist.permission import Action, may
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import same
from checklist.target import ordered_dose
from checklist.timing import said_date
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

KITS = Source(
    title="emergency kit chapter and AHRQ PSNet, near miss with bedside medications (the drug "
    "kept in case)"
)

MODE = reason(
    "emergency_mode",
    Tier.INFORMATION,
    "The short way is in force, led by {leader}.",
    "Order, review and second check are not waived; they come afterwards.",
    "Say the dose back, read the label aloud, and finish what is open when there is time.",
    Remedy.RECHECK,
    hazards="H48",
    source=KITS,
)
NOT_COMPLETED = reason(
    "emergency_not_completed",
    Tier.HARD,
    "Still open after the emergency: {what}.",
    "What is not made good now is missing at the next one.",
    "Have it done, then answer again.",
    Remedy.RECHECK,
    Remedy.SECOND_PERSON,
    Remedy.CALL_PRESCRIBER,
    Remedy.CALL_PHARMACIST,
    hazards="H48",
    source=KITS,
)
EXEMPT = reason(
    "label_exempt_unbroken",
    Tier.INFORMATION,
    "No label: it stays in one hand from the draw to the patient.",
    "At the first pause nobody would know what it is.",
    "Label or discard it as soon as it leaves your hand.",
    Remedy.RECHECK,
    hazards="H27",
)

SAID_BACK = "said back, and the leader said yes"
IN_HAND, LABELLED = "in my hand until it is given", "put down or handed on, labelled"


@check(NOT_AUTHORISED, MODE, leader=Kind.TEXT)
def emergency_has_a_named_leader(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Somebody who may lead, and who is not the one preparing, has declared the emergency."""
    code = str(seen["leader"].value).strip()
    person = around.staff.get(code)
    needed = Role.LEADER.said
    if person is None or not may(person, Action.LEAD):
        role = person.on_record_as if person else "not known here"
        return Refusal(NOT_AUTHORISED, {"person": code, "role": role, "needed": needed})
    if code == prep.preparer or code != prep.order.prescriber:
        facts = {"person": code, "role": "not the leader who called for it", "needed": needed}
        return Refusal(NOT_AUTHORISED, facts)
    return Pass(notes=(Note(MODE, {"leader": code}),))


@check(NOT_READ_BACK, said_back=Kind.CHOICE, heard_drug=Kind.TEXT, heard_dose=Kind.QUANTITY)
def call_was_said_back(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Drug and dose were said back as they were called, and the leader answered."""
    heard = " ".join(str(seen["heard_drug"].value).casefold().split())
    same_call = heard == prep.order.drug.casefold() and same(
        seen["heard_dose"].value, ordered_dose(prep, around)
    )
    # Saying it again takes a second, so an emergency is no reason to go on without an answer.
    answered = seen["said_back"].value == SAID_BACK
    return Pass() if same_call and answered else Refusal(NOT_READ_BACK)


@check(
    ID_MISMATCH,
    ID_TOO_FEW,
    BY_ALTERNATIVE,
    identified_by=Kind.CHOICE,
    first_identifier=Kind.IDENTIFIER,
    second_identifier=Kind.IDENTIFIER,
)
def patient_is_known_in_the_emergency(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The identifiers are this patient's; that there is no band does not stop an emergency."""
    how, verdict = str(seen["identified_by"].value), identified(seen, around)
    if isinstance(verdict, Refusal) or how == BY_WORDS:
        return verdict
    said = "without a readable band" if how == NO_READABLE else "without the patient's own words"
    return Caution(BY_ALTERNATIVE, {"how": said})


@check(ALLERGY_MATCH, ALLERGY_CROSS)
def no_known_allergy_is_against_it(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A recorded allergy stops the dose here too; one that is not recorded cannot be waited for."""
    if around.patient is None or around.patient.allergies is None:
        return Pass(not_compared="allergies: not on record; ask afterwards")
    return allergies_do_not_speak_against_it(seen, prep, around)


@check(EXPIRED, kit_expiry=Kind.DATE)
def kit_is_in_date(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Today is at most the earliest expiry that stands on the outside of the kit."""
    expiry, today = seen["kit_expiry"].value, around.unit.local(around.at).date()
    if isinstance(expiry, date) and today <= expiry:
        return Pass()
    said = said_date(expiry) if isinstance(expiry, date) else str(expiry)
    return Refusal(EXPIRED, {"expiry": said, "today": said_date(today)})


@check(LABEL_MISSING, EXEMPT, whereabouts=Kind.CHOICE)
def unlabelled_only_in_the_hand(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Without a label the dose does not leave the hand that drew it."""
    where = seen["whereabouts"].value
    if where == LABELLED:
        return Pass()
    if where == IN_HAND:
        return Pass(notes=(Note(EXEMPT),))
    return Refusal(LABEL_MISSING, {"what": "A label before it leaves your hand"})


def _written_for(prep: Preparation, around: Surroundings, line: str) -> Order | None:
    """The line of the medication record that stands for what was called."""
    order = around.record.get(line)
    if order is None or order.prescriber != prep.order.prescriber:
        return None
    alike = order.drug.casefold() == prep.order.drug.casefold() and order.route == prep.order.route
    dose = ordered_dose(prep, around)
    return order if alike and same(order.dose, dose) else None


@check(NOT_COMPLETED, written_line=Kind.TEXT)
def call_is_written_and_reviewed(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The record now has the call as the leader's own order, and a pharmacist has seen it."""
    line = str(seen["written_line"].value).strip()
    order = _written_for(prep, around, line)
    if order is None:
        what = f"an order {line} by the leader for this drug, dose and route"
        return Refusal(NOT_COMPLETED, {"what": what})
    if around.unit.pharmacist_review_expected and not order.reviewed_by:
        return Refusal(NOT_COMPLETED, {"what": "the pharmacist's review of the order"})
    return Pass()


@check(PRODUCT_MISMATCH, DISAGREES, looked_at=Kind.PRODUCT, checker_given_volume=Kind.QUANTITY)
def second_look_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The emptied container and the volume given, read afterwards by another, agree."""
    first, value = prep.latest("product"), seen["looked_at"].value
    code = value.code if isinstance(value, ProductRead) else str(value)
    mine = first.value.code if first and isinstance(first.value, ProductRead) else ""
    if not mine or code != mine:
        product = around.formulary.products.get(code)
        read = product.drug if product else f"code {code}"
        return Refusal(PRODUCT_MISMATCH, {"read": read, "ordered": "the item that was used"})
    given = prep.latest("given_volume")
    if given is not None and same(seen["checker_given_volume"].value, given.value):
        return Pass()
    return Refusal(DISAGREES, {"what": "Volume given"})
