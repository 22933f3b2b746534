"""Checks on the people and the place of work."""

from __future__ import annotations

from checklist.checks.registry import check, reason
from checklist.observation import Observation
from checklist.people import Role
from checklist.permission import Action, may
from checklist.preparation import Preparation, Surroundings
from checklist.timing import said_date
from checklist.verdict import Caution, Pass, Refusal, Remedy, Tier, Verdict

NOT_AUTHORISED = reason(
    "not_authorised",
    Tier.HARD,
    "{person} is on record as {role}; this task asks for {needed}.",
    "The unit has fixed who may do this.",
    "Hand the task to a person who may.",
    Remedy.STOP,
    Remedy.SECOND_PERSON,
    hazards="H43",
)
LAPSED = reason(
    "competency_lapsed",
    Tier.SOFT,
    "Competency for {task}: {state}.",
    "Skills that are not used fade.",
    "Have a person in date do it, or say who stands beside you.",
    Remedy.SECOND_PERSON,
    hazards="H43",
)
AREA_NOT_CLEAN = reason(
    "area_not_clean",
    Tier.HARD,
    "{what}: not so.",
    "What lies or splashes here can get onto a sterile part.",
    "Clear, clean and dry the surface, then look again.",
    Remedy.RECHECK,
    hazards="H15",
)
AREA_NOT_DESIGNATED = reason(
    "area_not_designated",
    Tier.SOFT,
    "This is not one of the unit's preparation areas.",
    "Noise, sinks and passers-by add risk.",
    "Move, or say why it is done here.",
    Remedy.RECHECK,
    hazards="H15",
)
STRAY_ITEM = reason(
    "unlabelled_item_found",
    Tier.HARD,
    "An unlabelled syringe or cup lies here.",
    "Nobody knows what is in it.",
    "Discard it (if it may hold a controlled drug, open the event), then look again.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H27 H52",
)
NO_QUIET = reason(
    "protected_time_off",
    Tier.INFORMATION,
    "No quiet time has been declared.",
    "Breaks in attention cost accuracy.",
    "Tell your colleagues that you are preparing a dose.",
    Remedy.RECHECK,
    hazards="H42",
)
OTHER_OPEN = reason(
    "another_preparation_open",
    Tier.HARD,
    "Preparation {other} is still open in the same hands or at the same station.",
    "Two open doses at one place get mixed up.",
    "Finish or end that one first.",
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H01 H27 H52",
    firm=True,
)
HANDS = reason(
    "hand_hygiene_missing",
    Tier.HARD,
    "{what}: not done yet.",
    "Hands carry germs to sterile parts and to the patient.",
    "Clean your hands and let them dry, then answer again.",
    Remedy.RECHECK,
    hazards="H15 H54",
    firm=True,
)
SKIN = reason(
    "hand_skin_breach",
    Tier.SOFT,
    "A cut or inflamed skin on the hands is not covered.",
    "It can shed germs and take them up.",
    "Cover it, or let a colleague prepare.",
    Remedy.RECHECK,
    Remedy.SECOND_PERSON,
    hazards="H15 H40",
)
PPE = reason(
    "ppe_insufficient",
    Tier.HARD,
    "Protection for this drug is not on.",
    "Snapping glass and expelling air can spray the drug.",
    "Put on what the unit's list asks for, clean your hands, then look again.",
    Remedy.RECHECK,
    hazards="H13 H41 H54",
)


@check(NOT_AUTHORISED, LAPSED)
def preparer_may_do_this(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The preparer's role covers the task and their competency for route and drug is in date."""
    person, unit = around.by, around.unit
    needed = Action.PRACTISE if around.practice else Action.PREPARE
    if not may(person, needed):
        facts = {"person": person.code, "role": person.on_record_as, "needed": Role.PREPARER.said}
        return Refusal(NOT_AUTHORISED, facts)
    drug = around.formulary.drug(prep.order.drug)
    tasks = [prep.order.route]
    tasks += ["high_alert"] if drug and drug.high_alert else []
    tasks += ["controlled"] if drug and drug.controlled else []
    today = unit.local(around.at).date()
    for task in filter(None, tasks):
        until = person.competent.get(task)
        if until is not None and today <= until:
            continue
        state = "none on record" if until is None else f"in date until {said_date(until)}"
        facts = {"task": task.replace("_", " "), "state": state}
        strict = task in ("high_alert", "controlled")
        return Refusal(LAPSED, facts) if strict else Caution(LAPSED, facts)
    return Pass()


@check(OTHER_OPEN)
def nothing_else_is_open(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """No other preparation is open in the same hands or at the same station."""
    if around.others_open:
        return Refusal(OTHER_OPEN, {"other": around.others_open[0]})
    return Pass()


@check(AREA_NOT_DESIGNATED)
def area_is_a_preparation_area(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The station is one of the unit's preparation areas."""
    if not around.unit.stations:
        return Pass(not_compared="preparation area: the unit lists none")
    return Pass() if around.station in around.unit.stations else Caution(AREA_NOT_DESIGNATED)
