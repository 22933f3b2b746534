"""Checks on what an infusion runs through: line, set, pump, burette chamber, and for how long."""

from __future__ import annotations

from checklist.checks.additive import together
from checklist.checks.registry import check, reason
from checklist.compatibility import Where
from checklist.infusion import plan
from checklist.observation import Kind, Observation
from checklist.order import Infusion
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity, same
from checklist.timing import said_span, span
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

AIR_IN_LINE = reason(
    "air_in_line",
    Tier.HARD,
    "{what}: not so.",
    "Air in the line reaches the heart.",
    "Run fluid through to the end, then look again along all of it.",
    Remedy.ADJUST,
    hazards="H26",
    firm=True,
)
SLACK = reason(
    "start_up_slack",
    Tier.SOFT,
    "{what}: not so.",
    "The pump pushes for minutes before anything arrives.",
    "Let it run to the first drop before you connect it.",
    Remedy.ADJUST,
    hazards="H24 H31",
    source=Source(title="study of start-up delay of syringe pumps at low rates (abstract)"),
)
PUMP_TYPE = reason(
    "pump_syringe_type_mismatch",
    Tier.HARD,
    "{what}",
    "The pump moves the plunger by the syringe it believes in.",
    "Choose the syringe in the pump as it is in your hand, then read again.",
    Remedy.ADJUST,
    Remedy.REPLACE_ITEM,
    hazards="H31",
    firm=True,
)
NOT_EMPTY = reason(
    "burette_not_empty",
    Tier.HARD,
    "In the chamber there is {what}.",
    "The two would meet in it and in the line.",
    "Let it run out and flush, or take a new set.",
    Remedy.WAIT,
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H29",
    firm=True,
)
INLET = reason(
    "burette_inlet_open",
    Tier.SOFT,
    "{what}: not so.",
    "More fluid runs in and thins the dose.",
    "Close the clamp above the chamber, then look again.",
    Remedy.ADJUST,
    hazards="H31",
)
VENT_MISSING = reason(
    "vent_missing",
    Tier.SOFT,
    "A bottle that cannot fold has a plain set.",
    "Without air going in it stops running.",
    "Take a vented set or put in an air inlet.",
    Remedy.REPLACE_ITEM,
    hazards="H24",
)
VENT_NOT_ALLOWED = reason(
    "vent_not_allowed",
    Tier.HARD,
    "A soft bag has a vented set.",
    "When it is empty, air follows into the vein.",
    "Take a plain set, or close the vent.",
    Remedy.REPLACE_ITEM,
    hazards="H26",
)
HANG_TIME = reason(
    "hang_time_due",
    Tier.SOFT,
    "It would run for {time}; this mixture may hang for {limit}.",
    "Past that time it weakens, and germs can have grown.",
    "Plan the change of the container, or call the pharmacist.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H09",
)
LINE = reason(
    "line_incompatible",
    Tier.HARD,
    "{other} runs in this line: {what}.",
    "The two meet in the line and may form crystals there.",
    "Use another access, or call the pharmacist.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H29",
)

EMPTY, SAME_THING = "nothing, it is empty", "the same drug in the same fluid"
PLAIN_SET, VENTED_SET = "plain set", "vented set"
NOTHING = ("nothing", "none")


@check(PUMP_TYPE, pump_size=Kind.QUANTITY)
def pump_knows_the_syringe(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The size chosen in the pump is that of the syringe in it."""
    chosen, held = seen["pump_size"].value, prep.latest("pump_syringe_size")
    size = held.value if held else None
    if same(chosen, size):
        return Pass()
    return Refusal(PUMP_TYPE, {"what": f"The pump is set for {chosen}; the syringe is another."})


@check(NOT_EMPTY, chamber=Kind.CHOICE)
def chamber_may_be_filled(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The burette's chamber is empty, or holds the same drug in the same fluid."""
    state = str(seen["chamber"].value)
    return Pass() if state in (EMPTY, SAME_THING) else Refusal(NOT_EMPTY, {"what": state})


@check(VENT_MISSING, VENT_NOT_ALLOWED, set_kind=Kind.CHOICE)
def set_suits_the_container(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """A bottle that cannot fold has a vent, and a soft bag has none."""
    kind, run = str(seen["set_kind"].value), prep.order.infusion
    rigid = run is not None and run.into == "bottle"
    if rigid and kind == PLAIN_SET:
        return Caution(VENT_MISSING)
    return Refusal(VENT_NOT_ALLOWED) if not rigid and kind == VENTED_SET else Pass()


@check(HANG_TIME)
def it_may_hang_that_long(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The mixture is used up before its time is over."""
    made, limit = plan(prep, around), _life(prep, around)
    if limit is None or made is None or made.rate is None:
        return Pass(not_compared="hanging time: no figure in the formulary")
    runs = made.volume.over(made.rate).to("h")
    if runs <= limit:
        return Pass()
    return Caution(HANG_TIME, {"time": said_span(span(runs)), "limit": str(limit)})


def _life(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The shorter of what the drug and the table of what goes together allow."""
    run, drug = prep.order.infusion, around.formulary.drug(prep.order.drug)
    own = drug.infusion.life if drug else None
    row = _row(run, prep, around)
    both = [limit for limit in (own, row) if limit is not None]
    return min(both, key=span) if both else None


def _row(run: Infusion | None, prep: Preparation, around: Surroundings) -> Quantity | None:
    if run is None or not run.carrier:
        return None
    pair = around.compatibility.of(prep.order.drug, run.carrier, Where.BAG)
    return pair.within if pair else None


@check(LINE, in_the_line=Kind.TEXT)
def line_carries_nothing_against_it(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Nothing runs in the line that the ward's table does not have as compatible."""
    other = " ".join(str(seen["in_the_line"].value).casefold().split())
    if other in NOTHING:
        return Pass()
    row = around.compatibility.of(prep.order.drug, other, Where.LINE)
    verdict = together(row, prep.order.drug, other, None)
    if isinstance(verdict, Pass):
        return Pass()
    said = {"incompatible": "they do not go together"}.get(verdict.reason.code, "no data")
    return Refusal(LINE, {"other": other, "what": said})
