"""Checks on how an infusion runs: concentration, rate, line, pump, burette, and its time."""

from __future__ import annotations

from checklist.checks.calculation import MISMATCH, UNIT_MISMATCH, unit_of
from checklist.checks.labelling import MISMATCH as LABEL_MISMATCH
from checklist.checks.patient import agrees
from checklist.checks.registry import check, reason
from checklist.checks.second import DISAGREES
from checklist.infusion import LEFT_OUT, Plan, carrier_of, plan
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, Quantity, same, words
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

CALDWELL = Source(
    title="Parshuram CS et al., CMAJ 2008;178(1):42-48: 34.7 % of infusions made under test "
    "conditions had a concentration error"
)

RANGE = reason(
    "final_concentration_out_of_range",
    Tier.HARD,
    "The mixture would come out {side} what may be given.",
    "Too strong harms the vein or the heart; too weak floods the patient.",
    "Look at dose and fluid again; if they are as ordered, call the pharmacist.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    hazards="H31",
    firm=True,
    source=CALDWELL,
)
OVERFILL = reason(
    "overfill_not_considered",
    Tier.SOFT,
    "This container holds {overfill} more than its label, and the sum leaves that out.",
    "For this drug the difference counts.",
    "Draw it out or count it in, or say why it can be left.",
    Remedy.RECHECK,
    hazards="H20",
)
RATE = reason(
    "rate_mismatch",
    Tier.HARD,
    "{what}",
    "Too fast or too slow changes the dose every minute.",
    "Work it out or set it again, then read it once more.",
    Remedy.ADJUST,
    Remedy.CALL_PRESCRIBER,
    Remedy.SECOND_PERSON,
    hazards="H31",
    firm=True,
)
RATE_LIMIT = reason(
    "rate_above_limit",
    Tier.HARD,
    "The ordered rate comes to {rate}; the formulary's limit is {limit}.",
    "At this rate the drug can do harm within minutes.",
    "Call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H31",
)
SAY_ALOUD = reason(
    "rate_said_aloud",
    Tier.INFORMATION,
    "Say it aloud: {words}.",
    "A figure that is heard is caught more often than one that is read.",
    "Say drug, rate and unit while you set it.",
    Remedy.RECHECK,
    hazards="H31",
)


def near(read: object, exact: Concentration) -> bool:
    """Whether a concentration as people write it stands for this one: within a hundredth.

    Most final concentrations have no end of decimals, so they are entered to three figures or as
    the amount in the volume. Common practice, no source.
    """
    if not isinstance(read, Concentration) or not read.amount.alike(exact.amount):
        return False
    return abs(read.per_mL.ratio(exact.per_mL) - 1) * 100 <= 1


@check(
    MISMATCH,
    UNIT_MISMATCH,
    own_final_volume=Kind.QUANTITY,
    own_final_strength=Kind.CONCENTRATION,
)
def own_mixture_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """All the liquid, and the amount in it, as worked out alone are those of the order."""
    made = plan(prep.joined(seen), around)
    volume, strength = seen["own_final_volume"].value, seen["own_final_strength"].value
    if made is None or not isinstance(volume, Quantity):
        return Refusal(MISMATCH)
    if not volume.alike(made.volume):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(volume), "wanted": "mL"})
    return Pass() if volume == made.volume and near(strength, made.strength) else Refusal(MISMATCH)


@check(RANGE)
def final_concentration_may_be_given(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The final concentration lies within what the formulary allows for the drug."""
    made, drug = plan(prep.joined(seen), around), around.formulary.drug(prep.order.drug)
    if made is None:
        return Refusal(RANGE, {"side": "nobody knows how far from"})
    least = drug.infusion.least if drug else None
    most = drug.infusion.most if drug else None
    if least is None and most is None:
        return Pass(not_compared="final concentration: no figure in the formulary")
    for bound in (least, most):
        if bound is not None and not bound.amount.alike(made.strength.amount):
            return Pass(not_compared="final concentration: the formulary's figure does not compare")
    if most is not None and not made.strength.per_mL <= most.per_mL:
        return Refusal(RANGE, {"side": "stronger than"})
    if least is not None and not made.strength.per_mL >= least.per_mL:
        return Refusal(RANGE, {"side": "weaker than"})
    return Pass()


@check(OVERFILL, overfill=Kind.CHOICE)
def overfill_was_thought_of(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Where it counts, the fluid beyond the label is drawn out or counted in."""
    reading, fluid = seen.get("overfill"), carrier_of(prep, around)
    if reading is None:
        return Pass()
    if fluid is None or fluid.overfill is None:
        return Pass(not_compared="overfill: the maker's figure is not in the formulary")
    if reading.value == LEFT_OUT:
        return Caution(OVERFILL, {"overfill": str(fluid.overfill)})
    return Pass()


@check(RATE, UNIT_MISMATCH, SAY_ALOUD, own_rate=Kind.QUANTITY)
def own_rate_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The rate as worked out alone is the order's, exact or on the pump's steps or whole drops."""
    made, own = plan(prep, around), seen["own_rate"].value
    wanted = rate_in_force(made, prep.joined(seen))
    if made is None or made.rate is None or wanted is None or not isinstance(own, Quantity):
        return Refusal(RATE, {"what": "The order gives no rate that can be worked out."})
    if not own.alike(wanted):
        gravity = prep.order.infusion is not None and prep.order.infusion.gravity
        rate = "drops/min" if gravity else "mL/h"
        return Refusal(UNIT_MISMATCH, {"given": unit_of(own), "wanted": rate})
    if own == wanted or same(own, made.rate):
        return Pass(notes=(Note(SAY_ALOUD, {"words": words(wanted)}),))
    return Refusal(RATE, {"what": "Your rate is not that of the order."})


def rate_in_force(made: Plan | None, prep: Preparation) -> Quantity | None:
    """What to set: mL/h on the pump's steps, or whole drops a minute of the set in hand."""
    if made is None:
        return None
    run, factor = prep.order.infusion, prep.latest("drop_factor")
    if run is None or not run.gravity:
        return made.rate_set
    per_mL = factor.value if factor else None
    if not isinstance(per_mL, Quantity) or not per_mL.alike(Quantity.of(1, "{drop}/mL")):
        return None
    return made.drops(per_mL)


@check(RATE_LIMIT)
def rate_is_within_the_limit(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The drug runs in no faster than the formulary allows."""
    made, drug = plan(prep, around), around.formulary.drug(prep.order.drug)
    limit = drug.infusion.rate_most if drug else None
    if limit is None:
        return Pass(not_compared="fastest rate: no figure in the formulary")
    if made is None or made.rate is None:
        return Refusal(RATE_LIMIT, {"rate": "not known", "limit": str(limit)})
    flow = made.rate
    if not flow.alike(limit):
        flow = (flow * made.strength.per_mL).to(f"{made.strength.amount.unit}/h")
    weight = around.patient.weight if around.patient else None
    if not flow.alike(limit) and weight is not None:
        flow = flow.per(weight.to("kg"))
    if not flow.alike(limit):
        return Pass(not_compared="fastest rate: the formulary's figure does not compare")
    if flow <= limit:
        return Pass()
    return Refusal(RATE_LIMIT, {"rate": str(flow), "limit": str(limit)})


@check(DISAGREES, checker_carrier=Kind.TEXT)
def second_fluid_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The fluid as the second person names it is the ordered one."""
    run = prep.order.infusion
    named = run is not None and _said(seen, "checker_carrier") == run.carrier
    return Pass() if named else Refusal(DISAGREES, {"what": "Fluid"})


@check(
    DISAGREES,
    checker_final_volume=Kind.QUANTITY,
    checker_rate=Kind.QUANTITY,
)
def second_infusion_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """All of the liquid and the rate, worked out alone, agree with the first person's."""
    made = plan(prep, around)
    wanted = rate_in_force(made, prep)
    agree = {
        "Volume": made is not None and same(seen["checker_final_volume"].value, made.volume),
        "Rate": made is not None
        and (
            same(seen["checker_rate"].value, wanted) or same(seen["checker_rate"].value, made.rate)
        ),
    }
    differing = [name for name, same in agree.items() if not same]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()


@check(RATE, set_rate=Kind.QUANTITY)
def rate_that_was_set_is_the_ordered_one(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The rate as read from the pump or counted in drops is the one worked out."""
    wanted, read = rate_in_force(plan(prep, around), prep), seen["set_rate"].value
    if isinstance(read, Quantity) and wanted is not None and read.alike(wanted) and read == wanted:
        return Pass()
    return Refusal(RATE, {"what": f"Read: {read}. That is not the rate for this order."})


@check(RATE, DISAGREES, checker_set_rate=Kind.QUANTITY)
def second_person_reads_the_same_rate(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The second person reads the same rate from the pump, without having been told."""
    first, read = prep.latest("set_rate"), seen["checker_set_rate"].value
    if first is not None and isinstance(first.value, Quantity) and same(read, first.value):
        return Pass()
    return Refusal(DISAGREES, {"what": "Rate"})


@check(
    LABEL_MISMATCH,
    label_final_volume=Kind.QUANTITY,
    label_final_strength=Kind.CONCENTRATION,
    label_carrier=Kind.TEXT,
)
def label_tells_what_it_runs_in(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Fluid, all of the liquid and final concentration as read from the label are those made."""
    made, run = plan(prep, around), prep.order.infusion
    agreeing = {
        "the fluid": run is not None and _said(seen, "label_carrier") == run.carrier,
        "the whole volume": made is not None
        and same(seen["label_final_volume"].value, made.volume),
        "the concentration": made is not None
        and near(seen["label_final_strength"].value, made.strength),
    }
    differing = [what for what, agree in agreeing.items() if not agree]
    return Refusal(LABEL_MISMATCH, {"what": " and ".join(differing)}) if differing else Pass()


def _said(seen: Observation, name: str) -> str:
    return " ".join(str(seen[name].value).casefold().split())


@check(
    DISAGREES,
    checker_bag_drug=Kind.TEXT,
    checker_bag_volume=Kind.QUANTITY,
    checker_bag_strength=Kind.CONCENTRATION,
    checker_bag_identifier=Kind.IDENTIFIER,
)
def second_reading_of_the_container_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug, volume, concentration and patient, as a second person reads the finished container."""
    made, patient = plan(prep, around), around.patient
    identifier = seen["checker_bag_identifier"].value
    agree = {
        "Drug": _said(seen, "checker_bag_drug") == prep.order.drug.casefold(),
        "Volume": made is not None and same(seen["checker_bag_volume"].value, made.volume),
        "Concentration": made is not None
        and near(seen["checker_bag_strength"].value, made.strength),
        "Patient on the label": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [what for what, holds in agree.items() if not holds]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()
