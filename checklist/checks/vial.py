"""Checks on vials: seal and stopper, air, rubber cores, one dose or many, the preservative."""

from __future__ import annotations

from datetime import date, timedelta

from checklist.checks.patient import agrees
from checklist.checks.product import UNKNOWN_CONTAINER
from checklist.checks.registry import check, reason
from checklist.formulary import Product
from checklist.observation import Identifier, Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import product_of
from checklist.timing import said_date, span
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

SINGLE_DOSE = Source(
    title="CDC position on single-dose and single-use vials, 2012: one patient, one procedure"
)
MULTI_DOSE = Source(
    title="CDC, FAQs regarding safe practices for medical injections, multi-dose vials; USP <797>: "
    "28 days from the first entry unless the maker states otherwise"
)
STOPPERS = Source(
    title="CDC, FAQs regarding safe practices for medical injections; Lamberg JJ, Yoo J, "
    "APSF Newsletter 2012;27(2): disinfect before every entry"
)
PRESERVATIVES = Source(
    title="CDC, Neonatal deaths associated with use of benzyl alcohol, MMWR 1982; "
    "Committee on Drugs, Pediatrics 1983;72:356"
)
CORES = Source(
    title="Wani T, Wadhwa A, Tobias JD, J Clin Anesth 2014;26(2):152-154: coring of stoppers by "
    "blunt and sharp needles"
)

SEAL = reason(
    "seal_broken",
    Tier.HARD,
    "{what}: not so.",
    "Somebody may have been in it before, or changed what it holds.",
    "Keep it for the pharmacy and take another; a controlled drug goes by way of the event.",
    Remedy.QUARANTINE,
    Remedy.REPLACE_ITEM,
    Remedy.EVENT,
    hazards="H10 H39",
    firm=True,
)
REENTRY = reason(
    "single_dose_reentry",
    Tier.HARD,
    "A needle has been in this vial before.",
    "It has no preservative, and germs have had time to grow.",
    "Take a vial that nobody has entered.",
    Remedy.REPLACE_ITEM,
    hazards="H16",
    firm=True,
    source=SINGLE_DOSE,
)
STOPPER = reason(
    "stopper_not_disinfected",
    Tier.HARD,
    "{what}: not so.",
    "The cap keeps dust off; it does not keep the stopper sterile.",
    "Rub it with alcohol, let it dry, then answer again.",
    Remedy.RECHECK,
    hazards="H15 H17",
    firm=True,
    source=STOPPERS,
)
WET = reason(
    "stopper_not_dry",
    Tier.SOFT,
    "The stopper is still wet.",
    "Alcohol works while it dries, and a wet one is carried in by the needle.",
    "Let it dry, then look again.",
    Remedy.WAIT,
    Remedy.RECHECK,
    hazards="H15",
)
AIR = reason(
    "air_volume_unequal",
    Tier.SOFT,
    "Put in before drawing: {air}. For this drug the rule is {rule}.",
    "Too little air pulls drug back; too much sprays it out.",
    "Put the pressure right, then answer again.",
    Remedy.ADJUST,
    hazards="H24 H41",
)
ENTRY = reason(
    "entry_angle_note",
    Tier.INFORMATION,
    "Entered {how}.",
    "How the needle goes in decides whether it cuts a core out of the stopper.",
    "Look for a piece of rubber in vial and syringe.",
    Remedy.RECHECK,
    hazards="H14",
    source=CORES,
)
CORE = reason(
    "core_visible",
    Tier.HARD,
    "A piece of rubber is seen.",
    "It blocks the needle or travels into the patient.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H11 H14",
    firm=True,
    source=CORES,
)
KEPT = reason(
    "single_dose_kept",
    Tier.HARD,
    "What is left in the vial has been kept.",
    "Nothing in it holds germs back.",
    "Discard it now, then answer again.",
    Remedy.RECHECK,
    hazards="H16",
    firm=True,
    source=SINGLE_DOSE,
)
POOLED = reason(
    "contents_pooled",
    Tier.HARD,
    "Leftovers of several vials have been put together.",
    "One touched vial spoils them all.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H16",
    firm=True,
    source=SINGLE_DOSE,
)
STORED = reason(
    "storage_after_use",
    Tier.SOFT,
    "{what}: not so.",
    "In the wrong place it spoils, or is taken for its neighbour.",
    "Put it where it belongs, then answer again.",
    Remedy.ADJUST,
    hazards="H02 H49",
)
PRESERVED = reason(
    "preservative_not_allowed",
    Tier.HARD,
    "It holds {preservative}, which is not for {whom}.",
    "A preservative can poison a newborn and harm the nerves of the spine.",
    "Take one without a preservative.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H33",
    firm=True,
    source=PRESERVATIVES,
)

NEWBORN = timedelta(days=28)
"""Up to the 28th day of life a child is a newborn (WHO's definition, from memory)."""


def newborn(around: Surroundings) -> bool:
    """Whether the patient is in the first 28 days of life, or of unknown age."""
    if around.patient is None:
        return True
    return around.unit.local(around.at).date() - around.patient.birth_date < NEWBORN


def preservative_speaks_against(
    product: Product, prep: Preparation, around: Surroundings
) -> Verdict:
    """Whether a preserved item may go into this patient by this route."""
    if not product.preservative:
        return Pass()
    if prep.order.route in ("IT", "EPI"):
        return Refusal(PRESERVED, {"preservative": product.preservative, "whom": "the spine"})
    if newborn(around):
        return Refusal(PRESERVED, {"preservative": product.preservative, "whom": "a newborn"})
    return Pass()


@check(PRESERVED, UNKNOWN_CONTAINER, product=Kind.PRODUCT)
def preservative_is_allowed(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The item holds no preservative where the patient is a newborn or the route is the spine."""
    value = seen["product"].value
    code = value.code if isinstance(value, ProductRead) else str(value)
    product = around.formulary.products.get(code)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    return preservative_speaks_against(product, prep, around)
