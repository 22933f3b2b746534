"""Checks on powders: mixed as the leaflet tells, dissolved, and of the strength reckoned with."""

from __future__ import annotations

from checklist import site
from checklist.checks.calculation import MISMATCH
from checklist.checks.diluent import UNKNOWN_STRENGTH, mixing_in_force
from checklist.checks.product import (
    PRODUCT_MISMATCH,
    STRENGTH_MISMATCH,
)
from checklist.checks.registry import check, reason
from checklist.checks.vial import KEPT
from checklist.mixture import METHODS
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, Quantity
from checklist.target import mixture_in_force, product_of, whole_containers
from checklist.timing import said_span, said_time, span
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict
from checklist.vial import mixed_until

DISPLACED = Source(
    title="Displacement values ignored in 6 of 7 wards, doses 4-12 % low: Eur J Hosp Pharm "
    "2015;22(Suppl 1):A152"
)
MARSDEN = Source(
    title="The Royal Marsden Manual of Clinical Nursing Procedures, procedures 15.12 and 15.13 "
    "(powder ampoule, powder vial)"
)

DISPLACEMENT = reason(
    "displacement_ignored",
    Tier.SOFT,
    "Your strength is that of the diluent alone; the powder adds to the volume.",
    "A part of it would then hold less than you think.",
    "Add the powder's own volume, or ask the pharmacist for it.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    hazards="H20",
    source=DISPLACED,
)
OTHER_STRENGTH = reason(
    "concentration_mismatch",
    Tier.HARD,
    "{what}",
    "The same volume would hold another dose.",
    "Read the strength on the mixed item and work the dose out with it.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H20",
    firm=True,
)
NO_VACUUM = reason(
    "vacuum_absent",
    Tier.SOFT,
    "The vial did not draw the diluent in.",
    "A vial that has lost its vacuum may have let germs in.",
    "Keep it for the pharmacy and take another, or say why it is used.",
    Remedy.QUARANTINE,
    hazards="H10",
)
PRESSURE = reason(
    "pressure_method",
    Tier.INFORMATION,
    "Pressure: {how}.",
    "Pressure left in the vial sprays drug out at the needle.",
    "Let as much air out as fluid went in.",
    Remedy.RECHECK,
    hazards="H21 H41",
)
METHOD = reason(
    "mix_method_wrong",
    Tier.HARD,
    "It was {how}; here it may be {allowed}.",
    "Moved in another way, some drugs fall apart, and nothing shows it.",
    "Keep it, labelled, for the pharmacy, or ask the pharmacist whether it can be used.",
    Remedy.QUARANTINE,
    Remedy.CALL_PHARMACIST,
    hazards="H21",
)
FOAM = reason(
    "foam_present",
    Tier.SOFT,
    "There is foam.",
    "It hides what is not dissolved, and it is no drug to measure.",
    "Let it stand until the foam is gone, then look again.",
    Remedy.WAIT,
    hazards="H21",
)
UNDISSOLVED = reason(
    "dissolution_incomplete",
    Tier.HARD,
    "{what}",
    "What is not dissolved is missing from the dose, or blocks a vessel.",
    "{then}",
    Remedy.WAIT,
    Remedy.DISCARD_RESTART,
    hazards="H11 H21",
    firm=True,
    source=MARSDEN,
)
UNLABELLED = reason(
    "reconstituted_vial_unlabelled",
    Tier.HARD,
    "A mixed vial is kept without strength, diluent, time and initials on it.",
    "The next person takes it for dry powder or for another strength.",
    "Discard it now, then answer again.",
    Remedy.RECHECK,
    hazards="H20 H27",
    firm=True,
)
OLD_MIXTURE = reason(
    "reconstituted_beyond_use",
    Tier.HARD,
    "It was to be used before {limit}.",
    "Mixed, it loses strength and germs grow in it.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H20 H28",
    firm=True,
)
LOST = reason(
    "powder_lost",
    Tier.SOFT,
    "Some powder blew out or was spilt.",
    "The dose falls short, and what flies about is breathed in.",
    "Discard it and begin with a new one, or say why it is used.",
    Remedy.DISCARD_RESTART,
    hazards="H24 H41",
    source=MARSDEN,
)

PRESSURES = (
    "the vacuum drew it in",
    "as much air let out again",
    "through a vented device",
    "no vacuum was felt, it was pushed in",
)
STATES = ("all dissolved", "lumps, gel or powder left")
RESTS = (
    "discarded",
    "kept, with strength, diluent, time and initials on it",
    "kept, without all of these on it",
)
POWDER = ("all of it wet, nothing blew out", "some blew out or was spilt")
ADULT = 18
"""Years from which a patient counts as grown up; common practice, no source."""


def _strict(prep: Preparation, around: Surroundings) -> bool:
    """Whether this dose is for a child, or of a drug with which a slip does more harm."""
    drug, patient = around.formulary.drug(prep.order.drug), around.patient
    if patient is None or drug is None or drug.high_alert:
        return True
    today = around.unit.local(around.at).date()
    return site.Age.between(patient.birth_date, today).months < ADULT * 12


@check(UNKNOWN_STRENGTH, DISPLACEMENT, OTHER_STRENGTH, MISMATCH, own_strength=Kind.CONCENTRATION)
def own_strength_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The strength after mixing, worked out alone, is the one in force for this route.

    A strength that leaves out the powder's own volume is told apart: for whole containers it does
    not matter, and where the powder's volume is not known it is the best there is.
    """
    own, mixture = seen["own_strength"].value, mixture_in_force(prep, around)
    if mixture is None:
        return Refusal(UNKNOWN_STRENGTH)
    if not isinstance(own, Concentration) or not own.amount.alike(mixture.strength.amount):
        return Refusal(MISMATCH)
    whole = whole_containers(prep, around)
    if own == mixture.strength:
        if mixture.exact or whole:
            return Pass()
        return Refusal(DISPLACEMENT) if _strict(prep, around) else Caution(DISPLACEMENT)
    if own in (mixture.summed, mixture.mixing.strength):
        one, other = ("the sum", "label") if own == mixture.summed else ("the label", "sum")
        what = f"Your strength is that of {one}; on this unit the {other} rules, and they differ."
        return Refusal(OTHER_STRENGTH, {"what": what})
    return Refusal(DISPLACEMENT if _of_the_diluent(own, prep, around) else MISMATCH)


def _of_the_diluent(own: Concentration, prep: Preparation, around: Surroundings) -> bool:
    """Whether this strength is the powder in the diluent alone."""
    product, mixing = product_of(prep, around), mixing_in_force(prep, around)
    if product is None or product.powder is None or mixing is None or mixing.volume is None:
        return False
    return own == Concentration(amount=product.powder, per=mixing.volume)


@check(NO_VACUUM, PRESSURE, pressure=Kind.CHOICE)
def pressure_was_kept_level(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """A vial with a vacuum drew the diluent in; how the pressure was kept is noted."""
    mixing, how = mixing_in_force(prep, around), str(seen["pressure"].value)
    if mixing is not None and mixing.vacuum and how != PRESSURES[0]:
        return Caution(NO_VACUUM)
    return Pass(notes=(Note(PRESSURE, {"how": how}),))


@check(METHOD, mixed_by=Kind.CHOICE)
def mixed_as_the_leaflet_tells(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """It was moved in a way that its leaflet allows; an open ampoule is never turned or shaken."""
    mixing, how = mixing_in_force(prep, around), str(seen["mixed_by"].value)
    allowed = mixing.methods if mixing is not None and mixing.methods else METHODS
    product = product_of(prep, around)
    if product is not None and product.container == "powder_ampoule":
        allowed = tuple(m for m in allowed if m in (METHODS[0], METHODS[4]))
    if how in allowed:
        none = mixing is None or not mixing.methods
        return Pass(not_compared="way of mixing: the leaflet's is not kept" if none else "")
    return Refusal(METHOD, {"how": how, "allowed": " or ".join(allowed) or "neither"})


@check(LOST, powder_stayed=Kind.CHOICE)
def no_powder_was_lost(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """All of the powder became wet; without exception where what is lost does harm."""
    if seen["powder_stayed"].value == POWDER[0]:
        return Pass()
    drug = around.formulary.drug(prep.order.drug)
    strict = drug is None or drug.hazardous or drug.controlled or drug.high_alert
    return Refusal(LOST) if strict else Caution(LOST)


@check(UNDISSOLVED, dissolved=Kind.CHOICE)
def all_of_it_is_dissolved(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Everything is dissolved, within the times that the leaflet gives."""
    mixing, at = mixing_in_force(prep, around), prep.time_of("diluent_added")
    since = around.at - at if at is not None else None
    if since is None:
        return Refusal(UNDISSOLVED, {"what": "No diluent is in it yet.", "then": "Add it first."})
    if seen["dissolved"].value == STATES[0]:
        if mixing is None or mixing.least is None or since >= span(mixing.least):
            return Pass()
        what = f"Only {said_span(since)} have passed; its leaflet gives {mixing.least} at least."
        return Refusal(UNDISSOLVED, {"what": what, "then": "Wait, then look again."})
    if mixing is not None and mixing.most is not None and not since <= span(mixing.most):
        what = f"It is not dissolved after {said_span(since)}; its leaflet gives {mixing.most}."
        return Refusal(UNDISSOLVED, {"what": what, "then": "Discard it and begin with new items."})
    then = "Go on as the leaflet tells, wait, then look again."
    return Refusal(UNDISSOLVED, {"what": "It is not dissolved yet.", "then": then})


@check(OLD_MIXTURE)
def mixed_drug_is_still_good(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Now is before the end of the time for which the mixed drug may be used."""
    limit = mixed_until(prep, around)
    if limit is None:
        return Pass(not_compared="life after mixing: the leaflet's is not kept")
    if around.at < limit:
        return Pass()
    return Refusal(OLD_MIXTURE, {"limit": said_time(limit, around.unit, around.at)})


@check(PRODUCT_MISMATCH, STRENGTH_MISMATCH, read_drug=Kind.TEXT, read_amount=Kind.QUANTITY)
def powder_reads_as_the_first_time(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug and amount, read again on the container just before drawing, are those of the item."""
    product = product_of(prep, around)
    read = " ".join(str(seen["read_drug"].value).casefold().split())
    if product is None or product.powder is None or read != product.drug:
        return Refusal(PRODUCT_MISMATCH, {"read": read, "ordered": prep.order.drug})
    amount = seen["read_amount"].value
    if isinstance(amount, Quantity) and amount.alike(product.powder) and amount == product.powder:
        return Pass()
    facts = {"read": str(amount), "needed": "That is not the amount in the item you took."}
    return Refusal(STRENGTH_MISMATCH, facts)


@check(OTHER_STRENGTH, made_strength=Kind.CONCENTRATION)
def strength_made_is_the_one_reckoned_with(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The strength that was made, said again before drawing, is that of the calculated volume."""
    made, mixture = seen["made_strength"].value, mixture_in_force(prep, around)
    own = prep.latest("own_strength")
    if (
        isinstance(made, Concentration)
        and mixture is not None
        and own is not None
        and isinstance(own.value, Concentration)
        and made.amount.alike(own.value.amount)
        and made == own.value == mixture.strength
    ):
        return Pass()
    what = f"You say that {made} was made; the volume was worked out with another strength."
    return Refusal(OTHER_STRENGTH, {"what": what})


@check(KEPT, UNLABELLED, rest_of_vial=Kind.CHOICE)
def rest_is_discarded_or_labelled(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What is left in the mixed vial is discarded, or kept with its label where that is allowed."""
    if "rest_of_vial" not in seen:
        return Pass(not_compared="rest of the vial: this container is not mixed")
    mixing, rest = mixing_in_force(prep, around), str(seen["rest_of_vial"].value)
    if rest == RESTS[0]:
        return Pass()
    if mixing is None or not mixing.kept:
        return Refusal(KEPT)
    return Pass() if rest == RESTS[1] else Refusal(UNLABELLED)
