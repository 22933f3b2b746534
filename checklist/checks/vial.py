"""Checks on vials: seal and stopper, air and entry, rubber cores, the preservative."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from types import MappingProxyType

from checklist.checks.equipment import FILTER_MISSING, FILTER_NOT_ALLOWED
from checklist.checks.opening import RETURNED
from checklist.checks.product import UNKNOWN_CONTAINER
from checklist.checks.registry import check, reason
from checklist.formulary import Product
from checklist.mixture import instruction
from checklist.observation import Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.target import product_of
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

SINGLE_DOSE = Source(
    title="CDC position on single-dose and single-use vials, 2012: one patient, one procedure"
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
    "Entered with: {how}.",
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

AIRS = ("as much air as drug", "a little less air than drug", "no air", "through a vented device")
# The ways that each rule about air allows; the first is the rule in words.
_AIR_RULES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "equal_volume": (AIRS[0], AIRS[3]),
        "slightly_less": (AIRS[1], AIRS[3]),
        "vent_device": (AIRS[3],),
        "none_small_volume": (AIRS[2], AIRS[1], AIRS[3]),
        "negative_pressure": (AIRS[1], AIRS[2], AIRS[3]),
    }
)
DRAWERS = (
    "needle, bevel up at a slant",
    "needle, straight through the centre",
    "blunt needle or spike",
    "filter needle or filter straw",
)
_USUAL_ENTRY = {
    "any": DRAWERS[:2],
    "45_then_90_bevel_up": DRAWERS[:1],
    "90_centre": DRAWERS[1:2],
}
BACK = (
    "nothing",
    "bubbles, before the needle left",
    "drug, before the needle left",
    "something, after the needle had left",
)

LATEX = reason(
    "latex_alert",
    Tier.SOFT,
    "Latex allergy is on record, and the stopper or plunger of this item may hold latex.",
    "A needle carries traces of it into the patient.",
    "Take an item that its maker declares free of latex, or ask the pharmacist.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H08",
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


@check(AIR, air_in=Kind.CHOICE)
def air_suits_the_drug(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The air put in before drawing is what the rule for this drug asks."""
    if "air_in" not in seen:
        return Pass(not_compared="air: this container takes none")
    drug = around.formulary.drug(prep.order.drug)
    hazardous = drug is None or drug.hazardous
    allowed = _AIR_RULES["negative_pressure" if hazardous else around.unit.word("vial_air_rule")]
    air = str(seen["air_in"].value)
    if air in allowed:
        return Pass()
    return Caution(AIR, {"air": air, "rule": " or ".join(allowed)})


@check(FILTER_MISSING, FILTER_NOT_ALLOWED, ENTRY, drawn_with=Kind.CHOICE)
def vial_is_entered_with_the_right_device(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A filter is on where the product asks for one, none where it must not pass one."""
    if "drawn_with" not in seen:
        return Pass(not_compared="entry: this container has no stopper")
    product, device = product_of(prep, around), str(seen["drawn_with"].value)
    mixing = instruction(product, prep.order.route) if product is not None else None
    if device == DRAWERS[3]:
        if product is not None and not product.filter_allowed:
            return Refusal(FILTER_NOT_ALLOWED)
        return Pass()
    if mixing is not None and mixing.filtered:
        return Refusal(FILTER_MISSING, {"found": device})
    usual = _USUAL_ENTRY[around.unit.word("vial_entry_angle")]
    return Pass() if device in usual else Pass(notes=(Note(ENTRY, {"how": device}),))


@check(RETURNED, pushed_back=Kind.CHOICE)
def nothing_went_back_wrongly(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Nothing was pushed back once the needle had left; drug never into a vial for many doses.

    Before it leaves, bubbles may go back, and drug where the unit allows it for one patient's vial.
    """
    if "pushed_back" not in seen:
        return Pass(not_compared="pushed back: this container has no stopper")
    what, product = str(seen["pushed_back"].value), product_of(prep, around)
    shared = product is None or product.container == "multi_dose_vial"
    allowed = around.unit.word("excess_back_into_vial") == "while_needle_still_in"
    if what in BACK[:2] or (what == BACK[2] and allowed and not shared):
        return Pass()
    return Refusal(RETURNED)


@check(LATEX, UNKNOWN_CONTAINER, product=Kind.PRODUCT)
def item_is_free_of_latex(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """For a patient with a latex allergy the item is one that its maker declares free of latex."""
    value, patient = seen["product"].value, around.patient
    code = value.code if isinstance(value, ProductRead) else str(value)
    product = around.formulary.products.get(code)
    if product is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    known = patient.allergies if patient is not None and patient.allergies else ()
    latex = any("latex" in (a.substance.casefold(), a.drug_class.casefold()) for a in known)
    return Caution(LATEX) if latex and not product.latex_free else Pass()
