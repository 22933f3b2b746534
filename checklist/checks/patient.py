"""Checks on the patient: who it is, allergies, the hold rule and readiness."""

from __future__ import annotations

from collections.abc import Iterable

from checklist.checks.calculation import UNIT_MISMATCH, unit_of
from checklist.checks.registry import check, reason
from checklist.formulary import Product
from checklist.observation import Identifier, IdentifierKind, Kind, Observation, ProductRead
from checklist.order import Patient
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import product_of
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

IDENTIFIERS = Source(
    title="Joint Commission, National Patient Safety Goals 2015, NPSG.01.01.01: at least two "
    "person-specific identifiers, never the room or physical location"
)

ID_MISMATCH = reason(
    "patient_id_mismatch",
    Tier.HARD,
    "The {what} entered is not the one on the order.",
    "This may be another patient.",
    "Ask for name and date of birth, then read it again.",
    Remedy.RECHECK,
    Remedy.SECOND_PERSON,
    Remedy.STOP,
    hazards="H01",
    firm=True,
    identity=True,
    source=IDENTIFIERS,
)
ID_TOO_FEW = reason(
    "patient_id_too_few",
    Tier.HARD,
    "{count} of {needed} identifiers given: {what}.",
    "A name alone, a room or a bed does not tell two people apart.",
    "Give {needed} different identifiers, such as name and date of birth.",
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H01",
    firm=True,
    source=IDENTIFIERS,
)
ALLERGY_UNKNOWN = reason(
    "allergy_unknown",
    Tier.HARD,
    "The allergy status of this patient is not on record.",
    "Not recorded does not mean none.",
    "Ask, record it in the medication record, then look again.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H08",
    firm=True,
)
ALLERGY_MATCH = reason(
    "allergy_match",
    Tier.HARD,
    "Allergy on record: {substance}, reaction {reaction}. {drug} belongs to it.",
    "A known reaction can come back, stronger.",
    "Stop here and call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H08",
    firm=True,
)
ALLERGY_CROSS = reason(
    "allergy_cross_class",
    Tier.SOFT,
    "Allergy on record: {substance}, reaction {reaction}. {drug} is of a related class.",
    "Some people react to both.",
    "Ask the pharmacist, or say why it can be given.",
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    hazards="H08",
)
HOLD = reason(
    "hold_parameter_met",
    Tier.HARD,
    "{what} is {value}; the order says to withhold {bound}.",
    "At this value the drug can do harm.",
    "Withhold and call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H51",
)
ASSESSMENT_MISSING = reason(
    "assessment_missing",
    Tier.SOFT,
    "{what}: no value yet.",
    "The order asks for it before this drug.",
    "Measure it and enter the value.",
    Remedy.RECHECK,
    hazards="H47 H51",
)
ROUTE_UNAVAILABLE = reason(
    "route_unavailable",
    Tier.HARD,
    "The ordered route cannot be used now.",
    "The dose would have nowhere safe to go.",
    "Call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H05",
)
DECLINED = reason(
    "patient_declined",
    Tier.HARD,
    "The patient does not agree to this dose.",
    "It is the patient's decision.",
    'Stop, record "not given: declined" and tell the prescriber.',
    Remedy.STOP,
    Remedy.RECHECK,
    hazards="H51",
)
SIMILAR_NAME = reason(
    "similar_patient_name",
    Tier.INFORMATION,
    "Another patient with a like name is on the unit.",
    "Names alone have been taken for each other.",
    "Compare the record number as well.",
    Remedy.RECHECK,
    hazards="H01",
)


def agrees(given: Identifier, patient: Patient, bands: Iterable[str] = ()) -> bool:
    """Whether an identifier is this patient's, compared by its kind.

    Names are compared without regard to capitals, order or spacing, never by likeness.
    """
    match given.kind:
        case IdentifierKind.RECORD_NUMBER:
            return given.text == patient.record_number
        case IdentifierKind.BIRTH_DATE:
            return given.text == patient.birth_date.isoformat()
        case IdentifierKind.BAND_NUMBER:
            return given.text in (*patient.band_numbers, *bands)
        case IdentifierKind.NAME:
            return _name(given.text) == _name(patient.name)
        case _:
            return False


def _name(text: str) -> tuple[str, ...]:
    return tuple(sorted(text.casefold().replace(",", " ").split()))


def identified(seen: Observation, around: Surroundings) -> Verdict:
    """The verdict on the identifiers among what was seen: enough of them, all this patient's."""
    given = [r.value for r in seen.values() if isinstance(r.value, Identifier)]
    patient = around.patient
    if patient is None:
        return Refusal(ID_MISMATCH, {"what": "patient"})
    # A band number is one identifier, and a machine-read band with number and birth date two.
    good = {i.kind for i in given if i.kind is not IdentifierKind.LOCATION}
    for one in given:
        if one.kind is not IdentifierKind.LOCATION and not agrees(one, patient):
            return Refusal(ID_MISMATCH, {"what": one.kind.value})
    needed = around.unit.count("identifiers_required")
    if len(good) >= needed:
        return Pass()
    what = ", ".join(sorted({i.kind.value for i in given})) or "none"
    return Refusal(ID_TOO_FEW, {"count": str(len(good)), "needed": str(needed), "what": what})


@check(
    ID_MISMATCH,
    ID_TOO_FEW,
    SIMILAR_NAME,
    first_identifier=Kind.IDENTIFIER,
    second_identifier=Kind.IDENTIFIER,
)
def patient_is_the_ordered_patient(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Enough different identifiers were given, and each is this patient's."""
    verdict = identified(seen, around)
    if isinstance(verdict, Pass) and around.similar_name:
        return Pass(notes=(Note(SIMILAR_NAME),))
    return verdict


@check(ALLERGY_UNKNOWN, ALLERGY_MATCH, ALLERGY_CROSS)
def allergies_do_not_speak_against_it(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The allergy status is recorded; neither drug, class nor a known excipient is on it."""
    patient, drug = around.patient, around.formulary.drug(prep.order.drug)
    if patient is None or patient.allergies is None:
        return Refusal(ALLERGY_UNKNOWN)
    if drug is None:
        return Pass(not_compared="allergies by class: the drug is not in the formulary")
    product = _in_hand(seen, around) or product_of(prep, around)
    own = {drug.name, *drug.allergy_classes, *(product.excipients if product else ())}
    related: tuple[str, Verdict] | None = None
    for allergy in patient.allergies:
        facts = {
            "substance": allergy.substance,
            "reaction": allergy.reaction or "not described",
            "drug": drug.name,
        }
        names = {allergy.substance.casefold(), allergy.drug_class.casefold()} - {""}
        if names & {name.casefold() for name in own}:
            return Refusal(ALLERGY_MATCH, facts)
        if names & {name.casefold() for name in drug.cross_classes} and related is None:
            related = (allergy.substance, Caution(ALLERGY_CROSS, facts))
    return related[1] if related else Pass()


def _in_hand(seen: Observation, around: Surroundings) -> Product | None:
    """The product that is being read at this very step."""
    reading = seen.get("product")
    value = reading.value if reading is not None else None
    return around.formulary.products.get(value.code) if isinstance(value, ProductRead) else None


@check(UNIT_MISMATCH, HOLD, ASSESSMENT_MISSING, assessment=Kind.QUANTITY)
def nothing_says_withhold(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The value that the order's hold rule names lies where the drug may be given."""
    rule = prep.order.hold
    if rule is None:
        return Pass(not_compared="hold rule: the order has none")
    reading = seen.get("assessment")
    value = reading.value if reading else None
    if not isinstance(value, Quantity):
        return Caution(ASSESSMENT_MISSING, {"what": rule.what})
    low, high = rule.lowest, rule.highest
    if not all(value.alike(bound) for bound in (low, high) if bound is not None):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(value), "wanted": rule.unit})
    if (low is None or value >= low) and (high is None or value <= high):
        return Pass()
    bound = f"below {low}" if low is not None and not value >= low else f"above {high}"
    return Refusal(HOLD, {"what": rule.what, "value": str(value), "bound": bound})
