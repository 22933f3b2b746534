"""Checks at the bedside: the patient, the label and the order once more, side by side."""

from __future__ import annotations

from checklist.checks.patient import ID_MISMATCH, ID_TOO_FEW, agrees, identified
from checklist.checks.registry import check, reason
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import same
from checklist.target import ordered_dose
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

BY_ALTERNATIVE = reason(
    "patient_id_by_alternative",
    Tier.SOFT,
    "Identified {how}, not by the patient's own words and band.",
    "This way is less sure.",
    "Use band and words if you can, or say why not.",
    Remedy.RECHECK,
    hazards="H01",
)
NO_BAND = reason(
    "wristband_missing",
    Tier.HARD,
    "There is no readable band.",
    "A name alone does not tell two people apart.",
    "Have a new band put on, then read it.",
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H01",
)
BEDSIDE_MISMATCH = reason(
    "bedside_mismatch",
    Tier.HARD,
    "On the label, {what} is not what the order says.",
    "Patient, label and order have to tell the same story.",
    "Read the label again. If it stays so, discard the dose and start again.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H01 H02 H07",
    firm=True,
    identity=True,
)
GIVER = reason(
    "giver_not_preparer",
    Tier.SOFT,
    "{giver} gives what {preparer} prepared.",
    "Whoever gives has not seen what was drawn.",
    "Let the preparer give it, or say who watched the preparation.",
    Remedy.RECHECK,
    hazards="H27 H28",
    source=Source(
        title="NMC Standards for medicines management 2008 (withdrawn 2019), as quoted in a "
        "nursing manual; the unit's rule decides"
    ),
)
CONCERN = reason(
    "patient_concern",
    Tier.HARD,
    "The patient or family says that something is different.",
    "They are often right.",
    "Stop, look at order, label and container again together.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H02 H51",
)
NOT_TRACED = reason(
    "line_not_traced",
    Tier.HARD,
    "The line has not been followed from the port to the body.",
    "Lines that look alike end in different places.",
    "Follow it with your hand, then answer again.",
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H05 H37 H45",
    firm=True,
)
PATENCY = reason(
    "patency_unconfirmed",
    Tier.SOFT,
    "It is not shown that the line is open and in the vein.",
    "Drug beside the vein damages tissue.",
    "Test it, or say why it cannot be tested.",
    Remedy.RECHECK,
    hazards="H45",
)
SITE_UNSUITABLE = reason(
    "site_unsuitable",
    Tier.SOFT,
    "The site is inflamed, scarred or used too often.",
    "Drug is taken up badly there and hurts.",
    "Choose another site, or say why this one.",
    Remedy.RECHECK,
    hazards="H53",
)
GLOVES = reason(
    "gloves_risk_unassessed",
    Tier.SOFT,
    "Whether gloves are needed has not been judged.",
    "They protect you where blood may come.",
    "Judge it now.",
    Remedy.RECHECK,
    hazards="H54",
)

BY_WORDS, BY_BAND_ONLY, BY_COLLEAGUE, NO_READABLE = (
    "asked for name and birth date, read the band",
    "read the band only, patient cannot answer",
    "two colleagues know the patient",
    "no readable band",
)


@check(
    NO_BAND,
    ID_MISMATCH,
    ID_TOO_FEW,
    BY_ALTERNATIVE,
    identified_by=Kind.CHOICE,
    first_identifier=Kind.IDENTIFIER,
    second_identifier=Kind.IDENTIFIER,
)
def patient_at_the_bedside_is_the_ordered_patient(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The identifiers read from the band are this patient's, and how they were read is said."""
    how = str(seen["identified_by"].value)
    if how == NO_READABLE:
        return Refusal(NO_BAND)
    verdict = identified(seen, around)
    if isinstance(verdict, Refusal) or how == BY_WORDS:
        return verdict
    said = "by the band only" if how == BY_BAND_ONLY else "by two colleagues"
    return Caution(BY_ALTERNATIVE, {"how": said})


@check(
    BEDSIDE_MISMATCH,
    bedside_drug=Kind.TEXT,
    bedside_dose=Kind.QUANTITY,
    bedside_identifier=Kind.IDENTIFIER,
)
def label_order_and_patient_agree(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug, amount and patient as read from the label at the bedside are those of the order."""
    drug = " ".join(str(seen["bedside_drug"].value).casefold().split())
    # Of two drugs in one syringe either may be read first; another check looks at both together.
    own = ordered_dose(prep, around)
    doses = {prep.order.drug.casefold(): own}
    if prep.order.second is not None:
        doses[prep.order.second.drug.casefold()] = prep.order.second.dose
    identifier, patient = seen["bedside_identifier"].value, around.patient
    agreeing = {
        "the drug": drug in doses,
        "the amount": same(seen["bedside_dose"].value, doses.get(drug, own)),
        "the patient": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [what for what, agree in agreeing.items() if not agree]
    if differing:
        return Refusal(BEDSIDE_MISMATCH, {"what": " and ".join(differing)})
    return Pass()


@check(GIVER)
def giver_prepared_it(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Whoever gives is whoever prepared, or the unit's rule lets another give."""
    if around.by.code == prep.preparer:
        return Pass()
    facts = {"giver": around.by.code, "preparer": prep.preparer}
    rule = around.unit.word("giver_must_be_preparer")
    if rule == "strict":
        return Refusal(GIVER, facts)
    if rule == "witnessed" and around.by.code == prep.person_of("checker_drawn_volume"):
        return Pass(not_compared="giver: read the finished dose as second person")
    return Caution(GIVER, facts)
