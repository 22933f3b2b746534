"""Checks on the diluent of a powder: its instruction, its identity, its volume."""

from __future__ import annotations

from datetime import date

from checklist.checks.calculation import PARSHURAM
from checklist.checks.equipment import FILTER_MISSING
from checklist.checks.patient import ALLERGY_MATCH
from checklist.checks.product import EXPIRED, FLUSH_SYRINGE, RECALLED, UNKNOWN_CONTAINER
from checklist.checks.registry import check, reason
from checklist.checks.second import DISAGREES
from checklist.checks.vial import PRESERVED, preservative_speaks_against
from checklist.formulary import Mixing, Product
from checklist.mixture import instruction
from checklist.observation import Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import mixture_in_force, product_of
from checklist.timing import said_date
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

DILUENTS = Source(
    title="ISMP, diluent mix-ups with vaccines, 2014: a muscle relaxant taken for the diluent"
)

NO_INSTRUCTION = reason(
    "reconstitution_instruction_missing",
    Tier.HARD,
    "How it is mixed is not known: {what}.",
    "Diluent and volume differ by route, and a guess changes the dose.",
    "Ask the pharmacist for the instruction for this item and route.",
    Remedy.CALL_PHARMACIST,
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H19 H20",
    firm=True,
)
UNKNOWN_STRENGTH = reason(
    "concentration_unknown",
    Tier.HARD,
    "The strength after mixing is not known: neither a volume nor a strength is kept.",
    "Without it no dose can be worked out.",
    "Ask the pharmacist for the strength after mixing.",
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H20",
    firm=True,
)
WRONG_DILUENT = reason(
    "wrong_diluent",
    Tier.HARD,
    "Read: {read}. The leaflet has it mixed with {allowed}.",
    "Another fluid can make it clump, burn or do harm; a drug has been taken for the diluent.",
    "Put it back, take one that the leaflet names and read its label.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H19",
    firm=True,
    identity=True,
    source=DILUENTS,
)
VOLUME_WRONG = reason(
    "diluent_volume_wrong",
    Tier.HARD,
    "{what}",
    "Too little or too much makes every dose from it too strong or too weak.",
    "Put the volume right and read it again; if it is in already, discard it.",
    Remedy.ADJUST,
    Remedy.DISCARD_RESTART,
    hazards="H20",
    firm=True,
    source=PARSHURAM,
)

ADDED = ("all of it is in, the same in each", "not all of it is in")
PATHS = ("needle", "filter needle or filter straw", "no needle, straight on its neck")


def mixing_in_force(prep: Preparation, around: Surroundings) -> Mixing | None:
    """How the item is mixed for the ordered route; None when nothing is kept about it."""
    product = product_of(prep, around)
    return None if product is None else instruction(product, prep.order.route)


def _name(product: Product) -> str:
    return (product.called or product.drug).casefold()


def _fluid(seen: Observation, around: Surroundings) -> tuple[str, Product | None]:
    value = seen["diluent"].value
    code = value.code if isinstance(value, ProductRead) else str(value)
    return code, around.formulary.products.get(code)


def _taken(prep: Preparation, around: Surroundings) -> Product | None:
    """The diluent that was accepted for this preparation, None before one was."""
    first = prep.latest("diluent")
    code = first.value.code if first and isinstance(first.value, ProductRead) else ""
    return around.formulary.products.get(code)


@check(NO_INSTRUCTION, UNKNOWN_STRENGTH, VOLUME_WRONG, diluent_planned=Kind.QUANTITY)
def item_can_be_mixed_for_this_route(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """An instruction for this item and route is kept, and the volume read from the leaflet is its.

    The volume is read before anything is opened: two leaflets, or two routes on one leaflet, are
    told apart here rather than at the vial.
    """
    mixing, volume = mixing_in_force(prep, around), seen["diluent_planned"].value
    if mixing is None:
        what = f"nothing is kept for this item by the route {prep.order.route or 'none'}"
        return Refusal(NO_INSTRUCTION, {"what": what})
    if mixture_in_force(prep, around) is None:
        return Refusal(UNKNOWN_STRENGTH)
    if mixing.volume is None:
        return Pass(not_compared="volume to add: the formulary keeps the strength alone")
    if isinstance(volume, Quantity) and volume.alike(mixing.volume) and volume == mixing.volume:
        return Pass()
    what = f"You read {volume} from the leaflet. That is not the volume kept for this route."
    return Refusal(VOLUME_WRONG, {"what": what})


@check(UNKNOWN_CONTAINER, FLUSH_SYRINGE, WRONG_DILUENT, PRESERVED, diluent=Kind.PRODUCT)
def diluent_is_one_that_the_leaflet_names(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The diluent is one of those named for this item and route, and not preserved where barred."""
    code, fluid = _fluid(seen, around)
    if fluid is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    if fluid.use == "flushing":
        return Refusal(FLUSH_SYRINGE)
    mixing = mixing_in_force(prep, around)
    named = mixing.diluents if mixing is not None else ()
    if fluid.use != "injection" or _name(fluid) not in [name.casefold() for name in named]:
        allowed = " or ".join(named) or "nothing that is kept here"
        return Refusal(WRONG_DILUENT, {"read": fluid.said, "allowed": allowed})
    return preservative_speaks_against(fluid, prep, around)


@check(ALLERGY_MATCH, diluent=Kind.PRODUCT)
def allergies_do_not_speak_against_the_diluent(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Neither the diluent, its class nor a known excipient of it is on the allergy list."""
    fluid, patient = _fluid(seen, around)[1], around.patient
    if fluid is None or patient is None or patient.allergies is None:
        return Pass(not_compared="allergies: diluent or status not known here")
    drug = around.formulary.drug(fluid.drug)
    own = {fluid.drug, fluid.preservative, *fluid.excipients}
    own |= set(drug.allergy_classes) if drug is not None else set()
    for allergy in patient.allergies:
        if {allergy.substance.casefold(), allergy.drug_class.casefold()} & (own - {""}):
            reaction = allergy.reaction or "not described"
            facts = {"substance": allergy.substance, "reaction": reaction, "drug": fluid.said}
            return Refusal(ALLERGY_MATCH, facts)
    return Pass()


@check(EXPIRED, diluent_expiry=Kind.DATE)
def diluent_is_in_date(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Today is at most the expiry day printed on the diluent."""
    expiry, today = seen["diluent_expiry"].value, around.unit.local(around.at).date()
    if isinstance(expiry, date) and today <= expiry:
        return Pass()
    said = said_date(expiry) if isinstance(expiry, date) else str(expiry)
    return Refusal(EXPIRED, {"expiry": said, "today": said_date(today)})


@check(RECALLED, diluent=Kind.PRODUCT, diluent_lot=Kind.TEXT)
def diluent_lot_is_not_recalled(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The lot of the diluent is not on the unit's stop list."""
    code, lot = _fluid(seen, around)[0], str(seen["diluent_lot"].value)
    return Refusal(RECALLED, {"lot": lot}) if f"{code}/{lot}" in around.unit.recalled else Pass()


@check(WRONG_DILUENT, diluent_read=Kind.TEXT)
def diluent_reads_as_the_first_time(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The name on the diluent, read again just before it is drawn, is that of the item taken."""
    fluid, mixing = _taken(prep, around), mixing_in_force(prep, around)
    read = " ".join(str(seen["diluent_read"].value).casefold().split())
    if fluid is not None and read == _name(fluid):
        return Pass()
    allowed = " or ".join(mixing.diluents) if mixing is not None else "nothing that is kept here"
    return Refusal(WRONG_DILUENT, {"read": read, "allowed": allowed})


@check(FILTER_MISSING, diluent_path=Kind.CHOICE)
def diluent_from_glass_is_filtered(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A diluent that comes in glass is drawn through a filter."""
    fluid, path = _taken(prep, around), str(seen["diluent_path"].value)
    glass = fluid is None or fluid.container == "glass_ampoule"
    return Refusal(FILTER_MISSING, {"found": path}) if glass and path != PATHS[1] else Pass()


@check(VOLUME_WRONG, diluent_drawn=Kind.QUANTITY)
def diluent_volume_is_right(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The volume of diluent read in the syringe is the one that goes into each container."""
    read, mixing = seen["diluent_drawn"].value, mixing_in_force(prep, around)
    planned = mixing.volume if mixing is not None else None
    if planned is None:
        told = prep.latest("diluent_planned")
        planned = told.value if told is not None and isinstance(told.value, Quantity) else None
    if planned is None or not isinstance(read, Quantity) or not read.alike(planned):
        return Refusal(VOLUME_WRONG, {"what": f"You read {read}; that is no volume to add."})
    if read == planned:
        return Pass()
    side = "above" if read > planned else "below"
    return Refusal(VOLUME_WRONG, {"what": f"You read {read}. That is {side} what is to go in."})


@check(DISAGREES, checker_diluent=Kind.TEXT, checker_amount=Kind.QUANTITY)
def second_reading_of_the_diluent_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Diluent and amount of powder as the second person reads them are those that were taken."""
    if "checker_diluent" not in seen:
        return Pass(not_compared="diluent: this item is not mixed")
    fluid, product = _taken(prep, around), product_of(prep, around)
    read = " ".join(str(seen["checker_diluent"].value).casefold().split())
    amount, powder = seen["checker_amount"].value, product.powder if product is not None else None
    agree = {
        "Diluent": fluid is not None and read == _name(fluid),
        "Amount of powder": isinstance(amount, Quantity)
        and powder is not None
        and amount.alike(powder)
        and amount == powder,
    }
    differing = [what for what, same in agree.items() if not same]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()


@check(VOLUME_WRONG, diluent_added=Kind.CHOICE)
def all_of_the_diluent_is_in(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """All of the measured diluent went in, the same into each container."""
    if seen["diluent_added"].value == ADDED[0]:
        return Pass()
    return Refusal(VOLUME_WRONG, {"what": "Some of the diluent is still outside."})
