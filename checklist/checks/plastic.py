"""Checks on plastic ampoules and nebules: what they are for, and how they are emptied."""

from __future__ import annotations

from checklist.checks.equipment import ENTERAL, FILTER_NOT_ALLOWED, WRONG_KIND
from checklist.checks.product import NOT_FOR_INJECTION, ROUTE_MISMATCH
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.target import product_of, whole_containers
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

LOOK_ALIKE = Source(
    title="Plastic ampoules of water, saline and lidocaine look alike: BMJ letters 2001-2002; "
    "Scottish Executive, Good Practice Statement for the Preparation of Injections, 2002, 1.5"
)

POUCH = reason(
    "pouch_opened_date_missing",
    Tier.SOFT,
    "The foil pouch is open and carries no date.",
    "Out of the pouch water is lost and light gets in, and nobody knows since when.",
    "Take one from a new pouch and date it, or say why this one.",
    Remedy.REPLACE_ITEM,
    hazards="H09",
)
NEEDLE_UNNEEDED = reason(
    "needle_unneeded",
    Tier.SOFT,
    "A needle was used where the syringe fits straight on.",
    "Each needle can hurt somebody.",
    "Take the needle off and draw straight from the neck, or say why not.",
    Remedy.REPLACE_ITEM,
    hazards="H40",
)
FILTER_NOT_NEEDED = reason(
    "filter_not_needed",
    Tier.INFORMATION,
    "A filter was used; a plastic ampoule sheds no glass.",
    "It does no harm here, and costs time.",
    "Draw without one next time.",
    Remedy.RECHECK,
    hazards="H44",
)

USES = (
    "for injection",
    "for inhalation",
    "for irrigation",
    "for the eye",
    "to be swallowed",
    "it does not say",
)
PATHS = ("syringe straight on its neck", "needle", "filter needle or filter straw")
MEASURES = (
    "straight from the nebule",
    "syringe for the mouth or for inhaling",
    "syringe for injection",
)


@check(NOT_FOR_INJECTION, ROUTE_MISMATCH, use_on_label=Kind.CHOICE)
def label_says_it_is_for_this_route(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What the label itself says the item is for is what the order wants it for."""
    if "use_on_label" not in seen:
        return Pass(not_compared="use: this container is made for injection only")
    said = str(seen["use_on_label"].value)
    wanted = USES[1] if prep.order.route == "INH" else USES[0]
    if said == wanted:
        return Pass()
    if wanted == USES[0]:
        use = said.removeprefix("for ") if said != USES[5] else "a use that its label does not tell"
        return Refusal(NOT_FOR_INJECTION, {"use": use})
    return Refusal(ROUTE_MISMATCH, {"allowed": said, "ordered": prep.order.route})


@check(FILTER_NOT_ALLOWED, NEEDLE_UNNEEDED, FILTER_NOT_NEEDED, plastic_path=Kind.CHOICE)
def plastic_ampoule_is_emptied_simply(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The syringe goes straight on the neck where it fits, and no filter bars the drug."""
    product, path = product_of(prep, around), str(seen["plastic_path"].value)
    if path == PATHS[2]:
        if product is not None and not product.filter_allowed:
            return Refusal(FILTER_NOT_ALLOWED)
        return Pass(notes=(Note(FILTER_NOT_NEEDED),))
    if path == PATHS[1] and product is not None and product.luer_fit:
        return Caution(NEEDLE_UNNEEDED)
    return Pass()


@check(ENTERAL, WRONG_KIND, measured_with=Kind.CHOICE)
def nebule_is_never_in_a_syringe_for_injection(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A whole nebule goes straight into the chamber, a part by a syringe that fits no vein."""
    how = str(seen["measured_with"].value)
    if how == MEASURES[2]:
        return Refusal(ENTERAL, {"what": "A drug to inhale, in a syringe for injection"})
    if how == MEASURES[0] and not whole_containers(prep, around):
        wanted = f"a {MEASURES[1]}, since a part of a nebule is ordered"
        return Refusal(WRONG_KIND, {"what": f'Read "{how}", asked for {wanted}'})
    return Pass()
