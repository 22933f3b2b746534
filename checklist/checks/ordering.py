"""Checks on the order: complete, clear, current, in time, and a dose within its limits."""

from __future__ import annotations

from datetime import timedelta

from checklist import codec, infusion
from checklist.checks.registry import check, reason
from checklist.notation import faults
from checklist.observation import Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import ordered_dose, weight_in_kg
from checklist.timing import said_date, said_span, said_time, span
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

WINDOWS = Source(
    title="Windows by class of drug: ISMP acute care guidelines for timely administration, 2011, "
    "as summarised on rn.com; 30 minutes for time-critical doses: CMS State Operations Manual, "
    "Appendix A, 42 CFR 482.23(c), 2011"
)
NOTATION = Source(
    title="Joint Commission, Official Do Not Use List (2017); ISMP list of error-prone notation"
)

MISSING = reason(
    "order_missing",
    Tier.HARD,
    "The medication record has no line {order} for this patient any more.",
    "Without an order there is nothing to prepare.",
    "Open the record again, or call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H07",
    firm=True,
)
INCOMPLETE = reason(
    "order_incomplete",
    Tier.HARD,
    "The order does not say: {what}.",
    "A gap gets filled from memory, and memory differs.",
    "Call the prescriber and have the order completed.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H07",
)
AMBIGUOUS = reason(
    "order_ambiguous",
    Tier.HARD,
    "The order can be read in more than one way: {what}.",
    "The dose could be taken as ten times more or less.",
    "Call the prescriber and have it written out.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H07 H03",
)
NOT_CURRENT = reason(
    "order_not_current",
    Tier.HARD,
    "The order is {state}.",
    "The patient would get what is no longer wanted.",
    "Read the record again; call the prescriber if the dose is still wanted.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H06 H07",
)
NOTATION_PRONE = reason(
    "order_notation_error_prone",
    Tier.SOFT,
    'The order writes "{text}".',
    "{why}",
    "Have it written as: {instead}.",
    Remedy.CALL_PRESCRIBER,
    hazards="H03 H07 H35",
    source=NOTATION,
)
NOT_READ_BACK = reason(
    "verbal_order_not_read_back",
    Tier.HARD,
    "This spoken order has no read-back on record.",
    "Words heard once are often heard wrongly.",
    "Read it back to the prescriber and hear that it is right.",
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H48",
)
ALREADY_GIVEN = reason(
    "dose_already_given",
    Tier.HARD,
    "A dose of this line is on record at {time}.",
    "A second one would double it.",
    "Look at the record with the person who gave it, and stop here.",
    Remedy.STOP,
    Remedy.CALL_PRESCRIBER,
    hazards="H06",
)
INTERVAL = reason(
    "interval_too_short",
    Tier.HARD,
    "The last dose was at {time}; the least time between doses is {interval}.",
    "Doses too close together add up.",
    "Wait until {earliest}, or call the prescriber.",
    Remedy.WAIT,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H06",
)
OUTSIDE_WINDOW = reason(
    "outside_time_window",
    Tier.SOFT,
    "Due at {due}; it is now {off} outside the unit's window of {window}.",
    "The effect depends on regular times.",
    "Wait, or say why it is given now.",
    Remedy.WAIT,
    Remedy.CALL_PRESCRIBER,
    hazards="H06",
    source=WINDOWS,
)
CRITICAL_LATE = reason(
    "time_critical_late",
    Tier.SOFT,
    "Time-critical, due at {due}; it is now {off} past the window of {window}.",
    "For this drug a late dose can do harm.",
    "Tell the prescriber, then say why it is given now.",
    Remedy.CALL_PRESCRIBER,
    hazards="H06",
    source=WINDOWS,
)
WEIGHT_MISSING = reason(
    "weight_missing",
    Tier.HARD,
    "The dose hangs on body weight, and no weight in kg is on record.",
    "A guessed weight is a guessed dose.",
    "Weigh the patient and record it, then look again.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H04",
)
WEIGHT_OLD = reason(
    "weight_out_of_date",
    Tier.SOFT,
    "The weight is from {date}; the unit's limit is {limit}.",
    "Weight changes, and the dose with it.",
    "Weigh again, or say why this weight still holds.",
    Remedy.RECHECK,
    hazards="H04",
)
ABOVE_LIMIT = reason(
    "dose_above_limit",
    Tier.HARD,
    "{dose} is above the limit of {limit} for one dose.",
    "No reason typed here makes that safe to give.",
    "Call the prescriber.",
    Remedy.CALL_PRESCRIBER,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H03 H04",
)
OUTSIDE_RANGE = reason(
    "dose_outside_range",
    Tier.SOFT,
    "{dose} is {side} the usual {range}.",
    "It may be meant, or it may be a slip.",
    "Ask the pharmacist, or say why it is meant.",
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    hazards="H04",
)
NO_INDICATION = reason(
    "indication_unclear",
    Tier.SOFT,
    "The order does not say what the drug is for.",
    "Without the purpose nobody can see a mix-up.",
    "Ask, or say how the purpose is known.",
    Remedy.CALL_PRESCRIBER,
    hazards="H04",
)
NO_REVIEW = reason(
    "no_pharmacist_review",
    Tier.SOFT,
    "No pharmacist's review of this order is on record.",
    "The unit expects one before an injection is prepared.",
    "Ask the pharmacist, or say why it cannot wait.",
    Remedy.CALL_PHARMACIST,
    hazards="H02 H04 H29",
)
PHARMACY_ONLY = reason(
    "pharmacy_only_preparation",
    Tier.HARD,
    "{drug} is made up in the pharmacy only.",
    "The ward has neither the cabinet nor the protection for it.",
    "Order it from the pharmacy and stop here.",
    Remedy.STOP,
    Remedy.CALL_PHARMACIST,
    hazards="H41 H15 H20",
)
READY_MADE = reason(
    "ready_to_use_available",
    Tier.SOFT,
    "A ready-made form of this dose is in the formulary: {product}.",
    "What need not be made up cannot be made up wrongly.",
    "Use it, or say why not.",
    Remedy.STOP,
    hazards="H41 H32",
)

_NEEDED = (
    ("drug", "the drug"),
    ("route", "the route"),
    ("prescriber", "the prescriber"),
    ("due", "when it is due"),
)


@check(MISSING, NOT_CURRENT)
def order_is_current(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The order still stands in the record as it was opened, is active, and now is within it."""
    now = around.order_now
    if now is None:
        return Refusal(MISSING, {"order": prep.order.id})
    if now.status != "active":
        return Refusal(NOT_CURRENT, {"state": f"marked {now.status}"})
    if codec.order_out(now) != codec.order_out(prep.order):
        return Refusal(NOT_CURRENT, {"state": "changed since this preparation began"})
    if now.starts is not None and not around.at >= now.starts:
        return Refusal(NOT_CURRENT, {"state": f"not in force before {now.starts:%d %b %Y}"})
    if now.stops is not None and not around.at <= now.stops:
        return Refusal(NOT_CURRENT, {"state": f"out of force since {now.stops:%d %b %Y}"})
    return Pass()


@check(INCOMPLETE)
def order_is_complete(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The order names drug, dose with unit, route, time and prescriber."""
    order = prep.order
    missing = [words for name, words in _NEEDED if not getattr(order, name)]
    if order.dose is None and order.dose_per_weight is None and "dose" not in order.unreadable:
        missing.append("the dose with its unit")
    missing += infusion.gaps(order)
    return Refusal(INCOMPLETE, {"what": ", ".join(missing)}) if missing else Pass()


@check(AMBIGUOUS)
def order_is_unambiguous(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Every quantity of the order can be read in one way only, and time and rate agree."""
    told = infusion.contradiction(prep.order, around.unit.rounding_limit)
    if told:
        return Refusal(AMBIGUOUS, {"what": told})
    if prep.order.unreadable:
        what = "; ".join(prep.order.unreadable[k] for k in sorted(prep.order.unreadable))
        return Refusal(AMBIGUOUS, {"what": what.rstrip(".")})
    return Pass()


@check(NOTATION_PRONE)
def order_notation_is_safe(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The order's own text follows the writing rules; for high-alert drugs without exception."""
    found = [
        fault
        for name, scopes in (
            ("dose", ("dose_text",)),
            ("strength", ("dose_text",)),
            ("drug", ("drug_name",)),
            ("route", ("route",)),
            ("frequency", ("frequency",)),
        )
        for fault in faults(prep.order.written.get(name, ""), scopes=scopes)
    ]
    if not found:
        return Pass()
    first = found[0]
    facts = {
        "text": first.found,
        "why": first.rule.why[:1].upper() + first.rule.why[1:].rstrip(".") + ".",
        "instead": first.rule.use_instead.rstrip("."),
    }
    drug = around.formulary.drug(prep.order.drug)
    strict = drug is None or drug.high_alert or drug.controlled
    return (Refusal if strict else Caution)(NOTATION_PRONE, facts)


@check(NOT_READ_BACK)
def verbal_order_was_read_back(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A spoken order was read back."""
    spoken = prep.order.verbal and not prep.order.read_back
    return Refusal(NOT_READ_BACK) if spoken else Pass()


@check(ALREADY_GIVEN, INTERVAL)
def dose_is_still_to_give(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """No dose of this line has been given for this due time, and the least interval has passed."""
    given = [*around.given_before]
    if around.order_now is not None and around.order_now.last_given is not None:
        given.append(around.order_now.last_given)
    if not given:
        return Pass()
    last = max(given)
    due = prep.order.due
    if due is not None and last >= due - _window(prep, around):
        return Refusal(ALREADY_GIVEN, {"time": said_time(last, around.unit, around.at)})
    drug = around.formulary.drug(prep.order.drug)
    least = drug.min_interval if drug else None
    if least is None:
        return Pass(not_compared="least time between doses: no figure in the formulary")
    if not around.at >= last + span(least):
        facts = {
            "time": said_time(last, around.unit, around.at),
            "interval": str(least),
            "earliest": said_time(last + span(least), around.unit, around.at),
        }
        return Refusal(INTERVAL, facts)
    return Pass()


def _window(prep: Preparation, around: Surroundings) -> timedelta:
    """How far from its due time this dose may be given, by how often it is due."""
    unit, order = around.unit, prep.order
    thirty = unit.word("time_window") == "thirty_minutes"
    if thirty or order.time_critical or order.interval is None:
        return span(unit.window_time_critical)
    every = span(order.interval)
    if every < timedelta(hours=4):
        return span(unit.window_time_critical)
    return span(unit.window_frequent if every < timedelta(hours=24) else unit.window_daily)


@check(CRITICAL_LATE, OUTSIDE_WINDOW)
def dose_is_in_its_time_window(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Now lies within the unit's window around the due time."""
    due = prep.order.due
    if due is None:
        return Pass(not_compared="time window: the order has no due time")
    window = _window(prep, around)
    if abs(around.at - due) <= window:
        return Pass()
    facts = {
        "due": said_time(due, around.unit, around.at),
        "off": said_span(abs(around.at - due) - window),
        "window": said_span(window),
    }
    late = prep.order.time_critical and around.at > due
    return Caution(CRITICAL_LATE if late else OUTSIDE_WINDOW, facts)


@check(WEIGHT_MISSING, WEIGHT_OLD)
def weight_is_known(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Where the dose hangs on weight, a weight in kg is on record and recent enough."""
    drug = around.formulary.drug(prep.order.drug)
    needed = prep.order.dose_per_weight is not None or (drug is not None and drug.weight_based)
    if not needed:
        return Pass()
    patient = around.patient
    if patient is None or weight_in_kg(around) is None or patient.weighed_on is None:
        return Refusal(WEIGHT_MISSING)
    age = around.unit.local(around.at).date() - patient.weighed_on
    if age <= span(around.unit.weight_max_age):
        return Pass()
    facts = {"date": said_date(patient.weighed_on), "limit": str(around.unit.weight_max_age)}
    return Caution(WEIGHT_OLD, facts)


def _bound(limit: Quantity, prep: Preparation, around: Surroundings) -> Quantity | None:
    """A formulary figure as an amount for this patient; None without the weight it needs."""
    if "/kg" not in limit.unit:
        return limit
    weight = weight_in_kg(around)
    return None if weight is None else limit * weight


@check(ABOVE_LIMIT)
def dose_is_within_the_limit(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The dose is at most the highest single dose that the formulary allows."""
    drug, dose = around.formulary.drug(prep.order.drug), ordered_dose(prep, around)
    if drug is None or dose is None or drug.dose.limit is None:
        return Pass(not_compared="highest single dose: no figure in the formulary")
    limit = _bound(drug.dose.limit, prep, around)
    if limit is None:
        return Refusal(ABOVE_LIMIT, {"dose": str(dose), "limit": f"{drug.dose.limit} (no weight)"})
    if dose <= limit:
        return Pass()
    return Refusal(ABOVE_LIMIT, {"dose": str(dose), "limit": str(limit)})


@check(OUTSIDE_RANGE)
def dose_is_in_the_usual_range(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The dose lies in the usual range of the formulary for this patient's weight."""
    drug, dose = around.formulary.drug(prep.order.drug), ordered_dose(prep, around)
    if drug is None or dose is None:
        return Pass(not_compared="usual dose: no figure in the formulary")
    low, high = (
        _bound(q, prep, around) if q is not None else None
        for q in (drug.dose.usual_low, drug.dose.usual_high)
    )
    if low is None or high is None:
        return Pass(not_compared="usual dose: no figure in the formulary")
    if low <= dose <= high:
        return Pass()
    side = "above" if dose > high else "below"
    return Caution(OUTSIDE_RANGE, {"dose": str(dose), "side": side, "range": f"{low} to {high}"})


@check(NO_INDICATION)
def indication_is_known(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The order says what the drug is for."""
    return Pass() if prep.order.indication else Caution(NO_INDICATION)


@check(NO_REVIEW)
def pharmacist_has_reviewed(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """A pharmacist's review is on record where the unit expects one."""
    waived = not around.unit.pharmacist_review_expected or bool(prep.order.reviewed_by)
    return Pass() if waived else Caution(NO_REVIEW)


@check(PHARMACY_ONLY, READY_MADE)
def preparation_belongs_on_the_ward(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The drug may be made up on a ward, and no ready-made form of this very dose is kept."""
    drug, dose = around.formulary.drug(prep.order.drug), ordered_dose(prep, around)
    if drug is not None and drug.pharmacy_only:
        return Refusal(PHARMACY_ONLY, {"drug": drug.name})
    for product in around.formulary.of_drug(prep.order.drug):
        if not product.ready_to_use or dose is None or prep.order.route not in product.routes:
            continue
        if product.container == around.container:
            continue
        whole = product.strength.amount_in(product.content)
        if whole.alike(dose) and whole == dose:
            return Caution(READY_MADE, {"product": f"{product.drug} {product.strength}"})
    return Pass()
