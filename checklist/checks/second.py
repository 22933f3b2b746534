"""The independent second person: another, eligible, with own readings that agree."""

from __future__ import annotations

from datetime import date

from checklist.checks.patient import agrees
from checklist.checks.registry import check, reason
from checklist.observation import Identifier, Kind, Observation
from checklist.people import Role
from checklist.permission import Action, may
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import same
from checklist.target import strength_in_force, target
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

IDC = Source(
    title="ISMP, Independent double checks: undervalued and misused, 2013; "
    "The virtues of independent double checks, 2003"
)

MISSING = reason(
    "double_check_missing",
    Tier.HARD,
    "{what}: the second person has not entered it.",
    "A check with gaps checks nothing.",
    "Let the second person read and enter it alone.",
    Remedy.SECOND_PERSON,
    Remedy.RECHECK,
    hazards="H04 H43",
    firm=True,
    source=IDC,
)
SAME_PERSON = reason(
    "checker_same_person",
    Tier.HARD,
    "The second check is signed by the preparer.",
    "The same eyes see the same thing.",
    "Fetch a colleague and hand over.",
    Remedy.SECOND_PERSON,
    Remedy.STOP,
    hazards="H43",
    firm=True,
    source=IDC,
)
NOT_ELIGIBLE = reason(
    "checker_not_eligible",
    Tier.HARD,
    "{person} is on record as {role}; a second check asks for {needed}.",
    "The unit has fixed who may check.",
    "Fetch a person who may.",
    Remedy.SECOND_PERSON,
    Remedy.STOP,
    hazards="H43",
)
NOT_INDEPENDENT = reason(
    "double_check_not_independent",
    Tier.HARD,
    "The second person knew the first answer.",
    "People find what they expect to find.",
    "Let another colleague work it out from the order and the item alone.",
    Remedy.SECOND_PERSON,
    Remedy.STOP,
    hazards="H43",
    firm=True,
    source=IDC,
)
DISAGREES = reason(
    "double_check_disagrees",
    Tier.HARD,
    "{what}: the two answers differ.",
    "One of the two is not what was ordered.",
    "Nobody overwrites. Both work it out again, apart.",
    Remedy.RECHECK,
    Remedy.SECOND_PERSON,
    Remedy.CALL_PHARMACIST,
    Remedy.DISCARD_RESTART,
    hazards="H02 H04 H23 H43",
    firm=True,
    source=IDC,
)


@check(SAME_PERSON, NOT_ELIGIBLE)
def second_person_is_another_and_eligible(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The one who checks is not the preparer, and a role of theirs may check."""
    person = around.by
    if person.code == prep.preparer:
        return Refusal(SAME_PERSON)
    if may(person, Action.CHECK):
        return Pass()
    facts = {"person": person.code, "role": person.on_record_as, "needed": Role.CHECKER.said}
    return Refusal(NOT_ELIGIBLE, facts)


def _same_drug(seen: Observation, prep: Preparation, name: str) -> bool:
    return " ".join(str(seen[name].value).casefold().split()) == prep.order.drug.casefold()


def _same_strength(seen: Observation, prep: Preparation, around: Surroundings, name: str) -> bool:
    mine = strength_in_force(prep, around)
    return mine is not None and same(seen[name].value, mine)


@check(
    DISAGREES,
    checker_drug=Kind.TEXT,
    checker_strength=Kind.CONCENTRATION,
    checker_expiry=Kind.DATE,
    checker_volume=Kind.QUANTITY,
)
def second_answers_agree(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Drug, strength, expiry and volume, read and worked out alone, agree with the first's."""
    aim, first, expiry = target(prep, around), prep.latest("own_volume"), prep.latest("expiry")
    read_expiry = seen["checker_expiry"].value
    volume = seen["checker_volume"].value
    agree = {
        "Drug": _same_drug(seen, prep, "checker_drug"),
        "Strength": _same_strength(seen, prep, around, "checker_strength"),
        "Expiry": isinstance(read_expiry, date)
        and expiry is not None
        and read_expiry == expiry.value,
        "Volume": aim is not None
        and first is not None
        and (same(volume, first.value) or same(volume, aim.set)),
    }
    differing = [name for name, same in agree.items() if not same]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()


@check(
    DISAGREES,
    checker_drawn_volume=Kind.QUANTITY,
    checker_drawn_drug=Kind.TEXT,
    checker_drawn_strength=Kind.CONCENTRATION,
    checker_label_identifier=Kind.IDENTIFIER,
)
def second_reading_of_the_dose_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Syringe, container and label as read by the second person agree with the dose made."""
    first, patient = prep.latest("drawn_volume"), around.patient
    identifier = seen["checker_label_identifier"].value
    agree = {
        "Volume": first is not None and same(seen["checker_drawn_volume"].value, first.value),
        "Drug": _same_drug(seen, prep, "checker_drawn_drug"),
        "Strength": _same_strength(seen, prep, around, "checker_drawn_strength"),
        "Patient on the label": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [name for name, same in agree.items() if not same]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()
