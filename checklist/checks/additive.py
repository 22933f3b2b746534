"""Checks on what drugs are added to: the fluid, what goes together, the port, the mixing."""

from __future__ import annotations

from collections.abc import Iterator

from checklist.checks.equipment import TOO_SMALL
from checklist.checks.product import STRENGTH_MISMATCH, UNKNOWN_CONTAINER
from checklist.checks.registry import check, reason
from checklist.compatibility import Judgement, Pair, Where
from checklist.formulary import Product
from checklist.infusion import carrier_of, plan
from checklist.observation import Kind, Observation, ProductRead
from checklist.order import Infusion
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, Quantity, same
from checklist.target import container_count, ordered_dose, product_of
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

IMMEDIATE_USE = Source(
    title="USP <797> immediate use, 2008 edition: at most 3 sterile packages and 2 entries into "
    "one container (SNM question page)"
)
BAG_MIXING = Source(
    title="Thompson WL, Feer TD, Incomplete mixing of drugs in intravenous infusions, Crit Care "
    "Med 1980 (abstract): potassium added to a bag in use peaked at 21 times the mean"
)
ONE_PATIENT = Source(
    title="CDC, FAQs regarding safe practices for medical injections: no bag or bottle as a "
    "common source for several patients"
)

CARRIER = reason(
    "carrier_mismatch",
    Tier.HARD,
    "Read: {read}. The order asks for {ordered}.",
    "In another fluid the drug can come out of solution or do harm.",
    "Put this one back and take the ordered fluid.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H19 H29",
    firm=True,
    identity=True,
)
BAG_VOLUME = reason(
    "bag_volume_mismatch",
    Tier.HARD,
    "{what}",
    "In another volume the drug is stronger or weaker than ordered.",
    "Put the volume right or take the ordered size; in doubt begin with new items.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H20",
)
INCOMPATIBLE = reason(
    "incompatible",
    Tier.HARD,
    "{one} and {other} do not go together: {source}.",
    "They can form crystals or spoil each other.",
    "Call the pharmacist about another fluid or another way.",
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H29",
    firm=True,
)
UNKNOWN = reason(
    "compatibility_unknown",
    Tier.HARD,
    "{one} with {other}: {what}.",
    "What nobody has looked at may come out of solution in the vein.",
    "Call the pharmacist; their answer goes into the ward's table.",
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H29",
    firm=True,
)
GOES_TOGETHER = reason(
    "goes_together",
    Tier.INFORMATION,
    "{one} with {other}: compatible{limits} ({source}).",
    "The time limit counts from mixing.",
    "Look for haze or crystals all the same.",
    Remedy.RECHECK,
    hazards="H29",
)
OVER_LIMIT = reason(
    "components_over_limit",
    Tier.SOFT,
    "This takes {count} sterile packages; {most} is the most on a ward.",
    "Each entry is one more chance for germs.",
    "Ask the pharmacist to make it, or say why it is made here.",
    Remedy.CALL_PHARMACIST,
    hazards="H29",
    source=IMMEDIATE_USE,
)
RUNNING = reason(
    "added_to_running_bag",
    Tier.HARD,
    "The container is {state}.",
    "Drug added to a running bag reaches the vein undiluted.",
    "Take a new container that is not connected.",
    Remedy.REPLACE_ITEM,
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H30",
    firm=True,
    source=BAG_MIXING,
)
PORT = reason(
    "port_not_disinfected",
    Tier.HARD,
    "{what}: not so.",
    "What is on the port goes in with the needle.",
    "Rub it with alcohol, let it dry, then answer again.",
    Remedy.RECHECK,
    hazards="H15",
    firm=True,
)
PUNCTURED = reason(
    "bag_punctured",
    Tier.HARD,
    "{what}: not so.",
    "It leaks, and germs go in.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H15",
    firm=True,
)
NOT_MIXED = reason(
    "mixing_not_done",
    Tier.HARD,
    "{what}",
    "Drug that lies at the port runs in first, all at once.",
    "Turn it over from end to end, look for layers, then answer again.",
    Remedy.RECHECK,
    hazards="H30",
    firm=True,
    source=BAG_MIXING,
)
VACUUM_LOST = reason(
    "vacuum_lost",
    Tier.HARD,
    "{what}: not so.",
    "Air has been in it, and germs with it.",
    "Keep it for the pharmacy and take another.",
    Remedy.QUARANTINE,
    Remedy.REPLACE_ITEM,
    hazards="H10",
    firm=True,
)
COMMON_SOURCE = reason(
    "common_source_bottle",
    Tier.HARD,
    "{what}: not so.",
    "What one patient left in it goes on to the next.",
    "Discard it and take one that nobody has used.",
    Remedy.REPLACE_ITEM,
    Remedy.EVENT,
    hazards="H16",
    firm=True,
    source=ONE_PATIENT,
)
CHAMBERS = reason(
    "chambers_not_mixed",
    Tier.HARD,
    "{what}: not so.",
    "One part runs in alone, far too strong.",
    "Break the seal, mix all parts, then look again.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    hazards="H21 H30",
    firm=True,
)
PREMIX_ADDITIVE = reason(
    "premix_has_additive",
    Tier.HARD,
    "{what}: not so.",
    "Nobody has looked whether the two go together, or how strong it is now.",
    "Discard it; for a second drug use the steps for adding to a bag.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H29",
    firm=True,
)

FROM_CONTAINER = {
    "bag": "fluid_bag",
    "bottle": "fluid_bottle",
    "burette": "fluid_bag",
    "pump syringe": "fluid_bag",
}
MATERIAL = {"bag": "soft bag", "bottle": "rigid bottle"}
OFF_LINE, HANGING, TAKEN_DOWN = (
    "not running, clamped and off the line",
    "hanging and running",
    "clamped and taken down from its line",
)


@check(UNKNOWN_CONTAINER, CARRIER, BAG_VOLUME, product=Kind.PRODUCT)
def fluid_is_the_ordered_one(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The fluid is the ordered one in name, strength, container and volume."""
    value, run = seen["product"].value, prep.order.infusion
    code = value.code if isinstance(value, ProductRead) else str(value)
    fluid = around.formulary.products.get(code)
    if fluid is None:
        return Refusal(UNKNOWN_CONTAINER, {"code": code})
    if run is None or not _same_fluid(fluid, run):
        ordered = "none" if run is None else _fluid(run.carrier, run.carrier_strength, run.into)
        read = f"{fluid.drug} {fluid.strength}, {fluid.container.replace('_', ' ')}"
        return Refusal(CARRIER, {"read": read, "ordered": ordered})
    if run.volume is None or not _fits(fluid.content, run):
        return Refusal(BAG_VOLUME, {"what": f"This one holds {fluid.content} by its label."})
    return Pass()


def _same_fluid(fluid: Product, run: Infusion) -> bool:
    strength = run.carrier_strength
    return (
        fluid.drug == run.carrier
        and fluid.container == FROM_CONTAINER.get(run.into)
        and (strength is None or same(strength, fluid.strength))
    )


def _fits(content: Quantity, run: Infusion) -> bool:
    assert run.volume is not None
    if run.into in ("bag", "bottle"):
        return content == run.volume
    return content >= run.volume


def _fluid(name: str, strength: Concentration | None, into: str) -> str:
    kept = FROM_CONTAINER.get(into, into).replace("_", " ")
    return f"{name} {strength}, {kept}" if strength is not None else f"{name}, {kept}"


def together(pair: Pair | None, one: str, other: str, strength: Concentration | None) -> Verdict:
    """What a row of the table, or its absence, says about two things put together.

    `strength` is that of the first in the mixture; a row that holds only up to a lower one is no
    data for this mixture.
    """
    facts = {"one": one, "other": other}
    if pair is None or pair.judgement is Judgement.NO_DATA:
        what = "nothing is known" if pair else "not in the ward's table"
        return Refusal(UNKNOWN, {**facts, "what": what})
    if pair.judgement is Judgement.INCOMPATIBLE:
        return Refusal(INCOMPATIBLE, {**facts, "source": pair.source})
    if pair.most is not None and strength is not None:
        comparable = pair.most.amount.alike(strength.amount)
        if not comparable or not strength.per_mL <= pair.most.per_mL:
            return Refusal(UNKNOWN, {**facts, "what": f"known only up to {pair.most}"})
    limits = f", up to {pair.within}" if pair.within is not None else ""
    return Pass(notes=(Note(GOES_TOGETHER, {**facts, "limits": limits, "source": pair.source}),))


@check(INCOMPATIBLE, UNKNOWN, GOES_TOGETHER)
def drug_fluid_and_container_go_together(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The ward's table has drug and fluid as compatible, and nothing against the container."""
    run, drug = prep.order.infusion, prep.order.drug.casefold()
    if run is None:
        return Refusal(UNKNOWN, {"one": drug, "other": "the fluid", "what": "no fluid is ordered"})
    made = plan(prep, around)
    strength = made.strength if made else None
    row = around.compatibility.of(drug, run.carrier, Where.BAG)
    verdict = together(row, drug, run.carrier, strength)
    material = MATERIAL.get(run.into)
    against = around.compatibility.of(drug, material, Where.BAG) if material else None
    if not isinstance(verdict, Pass) or against is None or material is None:
        return verdict
    second = together(against, drug, material, strength)
    return second if not isinstance(second, Pass) else verdict


@check(OVER_LIMIT)
def few_packages_are_put_together(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """No more sterile packages are put together than the ward may."""
    count = sum(_packages(prep, around))
    if count <= around.unit.packages_most:
        return Pass()
    return Caution(OVER_LIMIT, {"count": str(count), "most": str(around.unit.packages_most)})


def _packages(prep: Preparation, around: Surroundings) -> Iterator[int]:
    """One for each container of drug, one for the fluid."""
    yield container_count(prep, around) or 1
    if carrier_of(prep, around) is not None:
        yield 1
    product = product_of(prep, around)
    if product is not None and product.mixing:
        yield 1


@check(RUNNING, bag_state=Kind.CHOICE)
def container_is_not_running(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The container is off the line, or the unit lets one be taken down for an addition."""
    state = str(seen["bag_state"].value)
    allowed = around.unit.word("add_to_hanging_bag") == "clamped_and_taken_down"
    if state == OFF_LINE or (state == TAKEN_DOWN and allowed):
        return Pass()
    return Refusal(RUNNING, {"state": state})


@check(BAG_VOLUME, removed_volume=Kind.QUANTITY)
def as_much_came_out_as_goes_in(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Where the drug takes the place of fluid, the same volume was drawn out first."""
    run, reading = prep.order.infusion, seen.get("removed_volume")
    drawn = prep.latest("drawn_volume")
    if run is None or not run.first_out:
        return Pass()
    removed = reading.value if reading else None
    wanted = drawn.value if drawn else None
    if isinstance(removed, Quantity) and isinstance(wanted, Quantity) and removed.alike(wanted):
        if removed == wanted:
            return Pass()
        return Refusal(BAG_VOLUME, {"what": f"{removed} was drawn out; the drug takes another."})
    return Refusal(BAG_VOLUME, {"what": "What was drawn out is not known."})


@check(NOT_MIXED, turned_over=Kind.COUNT)
def container_was_turned_over(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The filled container was turned end over end as often as unit and drug ask."""
    turned = seen["turned_over"].value
    assert isinstance(turned, Quantity)
    drug = around.formulary.drug(prep.order.drug)
    own = drug.infusion.inversions if drug else 0
    key = "bag_mix_inversions_potassium" if "potassium" in prep.order.drug.casefold() else ""
    least = max(own, around.unit.count(key or "bag_mix_inversions"))
    if turned.magnitude >= least:
        return Pass()
    return Refusal(NOT_MIXED, {"what": f"It was turned over {turned.magnitude} times."})


@check(BAG_VOLUME, made_up_volume=Kind.QUANTITY)
def whole_volume_is_the_ordered_one(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug and fluid together come to the volume that the order asks to make up to."""
    read, run = seen["made_up_volume"].value, prep.order.infusion
    if run is not None and run.volume is not None and same(read, run.volume):
        return Pass()
    return Refusal(BAG_VOLUME, {"what": f"You read {read}. That is not the volume ordered."})


@check(TOO_SMALL, pump_syringe_size=Kind.QUANTITY)
def pump_syringe_holds_all_of_it(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The pump's syringe takes drug and fluid together."""
    size, run = seen["pump_syringe_size"].value, prep.order.infusion
    whole = run.volume if run else None
    if isinstance(size, Quantity) and whole is not None and size.alike(whole) and whole <= size:
        return Pass()
    return Refusal(TOO_SMALL, {"size": str(size)})


@check(STRENGTH_MISMATCH)
def ready_mixed_bag_holds_the_dose(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """All that a ready-mixed bag holds is the ordered dose."""
    product, dose = product_of(prep, around), ordered_dose(prep, around)
    held = None if product is None else product.strength.amount_in(product.content)
    if held is not None and same(held, dose):
        return Pass()
    facts = {"read": str(held), "needed": f"The whole bag is to hold {dose}."}
    return Refusal(STRENGTH_MISMATCH, facts)
