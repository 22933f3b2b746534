"""Checks on a pen: one pen for one person, in date once open, primed, dialled and held."""

from __future__ import annotations

from datetime import date, datetime

from checklist.checks.calculation import MISMATCH, UNIT_MISMATCH, unit_of
from checklist.checks.patient import agrees
from checklist.checks.prefilled import NO_SCALE
from checklist.checks.registry import check, reason
from checklist.checks.second import DISAGREES
from checklist.observation import Identifier, Kind, Observation
from checklist.pen import dial, hold_of, prime_of
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, Quantity
from checklist.target import ordered_dose, product_of
from checklist.timing import said_date, said_span, span
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

ONE_PERSON = Source(
    title="CDC, Clinical reminder: insulin pens must never be used for more than one person, 2012; "
    "FDA, insulin pens and cartridges are not to be shared, 2009 and 2015"
)
TECHNIQUE = Source(
    title="Insulin pen teaching pages after Frid AH et al., New Insulin Delivery Recommendations, "
    "Mayo Clin Proc 2016;91(9):1231-55"
)

NOT_LABELLED = reason(
    "pen_not_labelled",
    Tier.HARD,
    "{what}: not so.",
    "A cap gets swapped, and a pen without a name gets shared.",
    "Leave this pen; take one with the patient's name on its barrel.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H18",
    firm=True,
    source=ONE_PERSON,
)
WRONG_PATIENT = reason(
    "pen_wrong_patient",
    Tier.HARD,
    "The name on this pen is not that of this order's patient.",
    "Blood can run back into a pen; a new needle does not change that.",
    "Put it back. Was it used for another person, open the event.",
    Remedy.REPLACE_ITEM,
    Remedy.EVENT,
    hazards="H01 H18",
    firm=True,
    identity=True,
    source=ONE_PERSON,
)
NO_DATE = reason(
    "in_use_date_missing",
    Tier.HARD,
    "{what}: not there, or not a day that has been.",
    "Without it nobody knows how long the drug has been warm.",
    "Take another; on a new one write the date when you open it.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H09",
    firm=True,
)
OUT_OF_USE = reason(
    "in_use_expired",
    Tier.HARD,
    "Opened on {opened}; it may be used until {until}.",
    "Once open it loses strength, and germs have time.",
    "Discard it and take another.",
    Remedy.REPLACE_ITEM,
    hazards="H09 H49",
    firm=True,
)
UNITS_LEFT = reason(
    "pen_units_insufficient",
    Tier.SOFT,
    "This pen holds {left}; that is not enough for prime and dose.",
    "Half a dose from each of two pens is easily lost count of.",
    "Take a new pen, or say how the dose is split.",
    Remedy.REPLACE_ITEM,
    hazards="H24 H36",
)
OLD_NEEDLE = reason(
    "pen_needle_not_new",
    Tier.HARD,
    "{what}: not so.",
    "A used needle is blocked, bent or carries blood.",
    "Take that needle off into the sharps box and fit a new one.",
    Remedy.REPLACE_ITEM,
    hazards="H18 H36",
    firm=True,
    source=ONE_PERSON,
)
INNER_CAP = reason(
    "pen_inner_cap_on",
    Tier.HARD,
    "{what}: not so.",
    "With it on, nothing reaches the patient.",
    "Take both caps off, then look again.",
    Remedy.RECHECK,
    hazards="H36",
    source=Source(title="CMS, consumer note on pen needle caps, 2014; ISMP alert on the same"),
)
PRIME_FAILED = reason(
    "pen_prime_failed",
    Tier.HARD,
    "{what}: not so.",
    "Air or a blocked needle would take the place of the dose.",
    "Prime again, needle up. After a few tries a new needle, then a new pen.",
    Remedy.RECHECK,
    Remedy.REPLACE_ITEM,
    hazards="H36",
    firm=True,
    source=TECHNIQUE,
)
WINDOW = reason(
    "dose_window_mismatch",
    Tier.HARD,
    "The window shows {read}. That is not what the order asks for.",
    "One turn too many or too few is another dose.",
    "Turn it to the ordered amount, then read the window again.",
    Remedy.ADJUST,
    Remedy.REPLACE_ITEM,
    hazards="H23 H35",
    firm=True,
)
HELD_SHORT = reason(
    "hold_time_short",
    Tier.SOFT,
    "It was held for {held}; its leaflet asks for {least}.",
    "Part of the dose may have run out of the skin.",
    "Write what was seen and look at the effect earlier.",
    Remedy.RECHECK,
    hazards="H36",
    source=TECHNIQUE,
)
DOSE_INCOMPLETE = reason(
    "dose_incomplete",
    Tier.HARD,
    "{what}: not so.",
    "Nobody knows how much went in; a second try could double it.",
    "Add nothing by guess. Call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.RECHECK,
    Remedy.STOP,
    hazards="H36",
)
NEEDLE_ON = reason(
    "needle_left_on_pen",
    Tier.HARD,
    "{what}: not so.",
    "Air goes in, drug runs out, and the next hand finds the needle.",
    "Take it off with the remover, into the sharps box.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H18 H40",
)
STALE = reason(
    "assessment_stale",
    Tier.SOFT,
    "{what} is from {age} ago; it may be {limit} old.",
    "It may be quite another by now.",
    "Measure it again, or say why this one still holds.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    hazards="H47 H51",
)

ON_BARREL, ON_CAP, NOWHERE = "on the barrel", "on the cap only", "nowhere"


@check(NOT_LABELLED, WRONG_PATIENT, name_is_on=Kind.CHOICE, pen_identifier=Kind.IDENTIFIER)
def pen_is_this_patients(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The pen has this patient's name, and has it on the barrel."""
    if seen["name_is_on"].value != ON_BARREL:
        return Refusal(NOT_LABELLED, {"what": "Patient's name on the barrel"})
    given, patient = seen["pen_identifier"].value, around.patient
    if patient is not None and isinstance(given, Identifier) and agrees(given, patient):
        return Pass()
    return Refusal(WRONG_PATIENT)


@check(NO_DATE, OUT_OF_USE, opened_on=Kind.DATE)
def pen_is_in_its_time_of_use(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The opened date has been, and the pen's own time of use has not run out since."""
    opened, product = seen["opened_on"].value, product_of(prep, around)
    today = around.unit.local(around.at).date()
    if not isinstance(opened, date) or not opened <= today:
        return Refusal(NO_DATE, {"what": "Opened date"})
    if product is None or product.life_in_use is None:
        return Pass(not_compared="time of use: no figure for this product")
    until = opened + span(product.life_in_use)
    if today <= until:
        return Pass()
    return Refusal(OUT_OF_USE, {"opened": said_date(opened), "until": said_date(until)})


@check(NO_SCALE)
def pen_can_show_the_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The pen counts what the order asks for, and the dose is one of the amounts it can show."""
    aim = dial(prep, around)
    if aim is None:
        return Refusal(NO_SCALE, {"why": "it counts another kind of amount"})
    if aim.counted:
        return Pass()
    return Refusal(NO_SCALE, {"why": "the dose lies between two of its steps"})


@check(UNIT_MISMATCH, MISMATCH, own_amount=Kind.QUANTITY)
def own_amount_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The amount to dial, worked out alone, is the ordered dose."""
    own, dose = seen["own_amount"].value, ordered_dose(prep, around)
    assert isinstance(own, Quantity)
    if dose is None:
        return Refusal(MISMATCH)
    if not own.alike(dose):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(own), "wanted": unit_of(dose)})
    return Pass() if own == dose else Refusal(MISMATCH)


@check(UNITS_LEFT, amount_left=Kind.QUANTITY)
def pen_holds_prime_and_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """What is left in the pen is enough for what is pushed out first and the dose."""
    left, aim = seen["amount_left"].value, dial(prep, around)
    assert isinstance(left, Quantity)
    if aim is not None and left.alike(aim.needed) and left >= aim.needed:
        return Pass()
    return Caution(UNITS_LEFT, {"left": str(left)})


@check(PRIME_FAILED, primed=Kind.QUANTITY)
def pen_was_primed(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """As much was pushed out before the dose as the leaflet asks for."""
    primed, least = seen["primed"].value, prime_of(prep, around)
    assert isinstance(primed, Quantity)
    if primed.alike(least) and primed >= least:
        return Pass()
    return Refusal(PRIME_FAILED, {"what": f"At least {least} pushed out first"})


@check(WINDOW, window=Kind.QUANTITY)
def window_shows_the_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The amount read in the dose window is the ordered dose."""
    read, aim = seen["window"].value, dial(prep, around)
    assert isinstance(read, Quantity)
    if aim is not None and read.alike(aim.set) and read == aim.set:
        return Pass()
    return Refusal(WINDOW, {"read": str(read)})


@check(DISAGREES, checker_window=Kind.QUANTITY)
def second_reading_of_the_window_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The amount in the dose window as read by the second person is the ordered dose."""
    aim, window = dial(prep, around), seen["checker_window"].value
    if aim is None or not isinstance(window, Quantity) or not window.alike(aim.set):
        return Refusal(DISAGREES, {"what": "Window"})
    return Pass() if window == aim.set else Refusal(DISAGREES, {"what": "Window"})


@check(
    DISAGREES,
    checker_drug=Kind.TEXT,
    checker_strength=Kind.CONCENTRATION,
    checker_label_identifier=Kind.IDENTIFIER,
)
def second_reading_of_the_device_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug, strength and patient as read by the second person are those of item and order."""
    product, patient = product_of(prep, around), around.patient
    strength = seen["checker_strength"].value
    named = seen["checker_label_identifier"].value
    drug = " ".join(str(seen["checker_drug"].value).casefold().split())
    agree = {
        "Drug": drug == prep.order.drug.casefold(),
        "Strength": product is not None
        and isinstance(strength, Concentration)
        and strength.amount.alike(product.strength.amount)
        and strength == product.strength,
        "Patient on it": patient is not None
        and isinstance(named, Identifier)
        and agrees(named, patient),
    }
    differing = [name for name, same in agree.items() if not same]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()


@check(STALE, assessed_at=Kind.TIME)
def assessment_is_fresh(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The value that the hold rule names was measured lately enough, and not after now."""
    rule, at = prep.order.hold, seen["assessed_at"].value if "assessed_at" in seen else None
    if rule is None:
        return Pass(not_compared="age of the value: the order has no hold rule")
    if rule.max_age is None:
        return Pass(not_compared="age of the value: the order names no limit")
    facts = {"what": rule.what, "age": "an unknown time", "limit": str(rule.max_age)}
    if not isinstance(at, datetime) or not at <= around.at:
        return Caution(STALE, facts)
    age = around.at - at
    if age <= span(rule.max_age):
        return Pass()
    return Caution(STALE, {**facts, "age": said_span(age)})


@check(HELD_SHORT, held_for=Kind.QUANTITY)
def held_long_enough(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """It was held in the skin as long as its leaflet asks."""
    held, least = seen["held_for"].value, hold_of(prep, around)
    if isinstance(held, Quantity) and held.alike(least) and held >= least:
        return Pass()
    return Caution(HELD_SHORT, {"held": str(held), "least": str(least)})
