"""Checks on two drugs in one syringe: permitted, compatible, in the right order, exact."""

from __future__ import annotations

from checklist.checks.additive import GOES_TOGETHER, INCOMPATIBLE, UNKNOWN, together
from checklist.checks.bedside import BEDSIDE_MISMATCH
from checklist.checks.calculation import (
    MISMATCH,
    SITE_LIMIT,
    UNIT_MISMATCH,
    site_verdict,
    unit_of,
)
from checklist.checks.controlled import HUNDREDTH, UNACCOUNTED
from checklist.checks.equipment import NEEDLE_KEPT, TOO_COARSE, TOO_SMALL, no_volume_among
from checklist.checks.labelling import MISMATCH as LABEL_MISMATCH
from checklist.checks.ordering import (
    ABOVE_LIMIT,
    OUTSIDE_RANGE,
    PHARMACY_ONLY,
    READY_MADE,
    dose_is_in_the_usual_range,
    dose_is_within_the_limit,
    preparation_belongs_on_the_ward,
)
from checklist.checks.patient import (
    ALLERGY_CROSS,
    ALLERGY_MATCH,
    ALLERGY_UNKNOWN,
    agrees,
    allergies_do_not_speak_against_it,
)
from checklist.checks.registry import check, reason
from checklist.checks.second import DISAGREES
from checklist.checks.volume import OVER, UNDER
from checklist.compatibility import Where
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import FIRST, SECOND, Preparation, Surroundings
from checklist.quantity import Concentration, Quantity, same
from checklist.syringe import holds, widest_line
from checklist.target import drawn_of, opened_volume, ordered_dose, target
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict
from checklist.way_in import Item, order_matters

ISMP_PUSH = Source(
    title="ISMP survey on adult IV push, part II, 15 Nov 2018: no mixing of intravenous pushes "
    "outside the pharmacy"
)
DRAWING_ORDER = Source(
    title="Taylor's Clinical Nursing Skills, 6th edition, Skill 5-5 (excerpt); teaching pages on "
    "insulin pairs, secondary"
)

NOT_PERMITTED = reason(
    "mixing_not_permitted",
    Tier.HARD,
    "These two may not be mixed on this ward: {why}.",
    "What clouds or spoils in one syringe cannot be taken apart again.",
    "Give them in two syringes, or call the pharmacist.",
    Remedy.CALL_PHARMACIST,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H29",
    firm=True,
    source=ISMP_PUSH,
)
ORDER_WRONG = reason(
    "mix_order_wrong",
    Tier.HARD,
    "{what}",
    "Drug on the needle gets into the other container, which others may use after.",
    "Before anything is drawn, answer again; after that, discard both and begin with new items.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H17 H29",
    firm=True,
    source=DRAWING_ORDER,
)
OVERDRAWN = reason(
    "overdraw_in_mixture",
    Tier.HARD,
    "You read {read}. With the second drug that is too much.",
    "Nobody can push back one of two drugs that are mixed.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H23",
    firm=True,
)

# Classes that no ward mixes: common practice for vaccines (CDC/ACIP), insulin analogues of long
# action (teaching pages, unanimous).
NEVER = {"vaccine": "a vaccine is never mixed", "long-acting insulin": "its action would change"}
NEVER_BY_VEIN = ("IV", "IT", "EPI")
NEW_NEEDLE = "new needle"


@check(NOT_PERMITTED)
def mixing_is_permitted(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The unit lets these two be mixed in a syringe, for a route that allows it."""
    rule, second = around.unit.word("mixing_in_syringe"), prep.order.second
    if second is None:
        return Refusal(NOT_PERMITTED, {"why": "the order names one drug only"})
    if rule == "not_allowed":
        return Refusal(NOT_PERMITTED, {"why": "the unit mixes nothing in a syringe"})
    if prep.order.route in NEVER_BY_VEIN:
        return Refusal(NOT_PERMITTED, {"why": "not for a vein or the spine"})
    for name in (prep.order.drug, second.drug):
        drug = around.formulary.drug(name)
        if drug is None or drug.drug_class in NEVER:
            why = NEVER[drug.drug_class] if drug else f"{name} is not in the formulary"
            return Refusal(NOT_PERMITTED, {"why": why})
    row = around.compatibility.of(prep.order.drug, second.drug, Where.SYRINGE)
    if rule == "allowed_list" and row is None:
        return Refusal(NOT_PERMITTED, {"why": "the pair is not on the unit's list"})
    return Pass()


@check(INCOMPATIBLE, UNKNOWN, GOES_TOGETHER)
def both_drugs_go_together(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The ward's table has the two as compatible in a syringe at the concentrations they reach."""
    second = prep.order.second
    if second is None:
        facts = {"one": prep.order.drug, "other": "nothing", "what": "no second drug"}
        return Refusal(UNKNOWN, facts)
    one = prep.order.drug.casefold()
    row = around.compatibility.of(one, second.drug, Where.SYRINGE)
    total, dose = total_of(prep, around), None
    if row is not None:
        named = next((v for v in _views(prep) if v.order.drug.casefold() == row.drug), None)
        dose = ordered_dose(named, around) if named else None
    if dose is None or total is None:
        return together(row, one, second.drug, None)
    return together(row, one, second.drug, Concentration(amount=dose, per=total))


def _views(prep: Preparation) -> tuple[Preparation, Preparation]:
    return prep.of(FIRST), prep.of(SECOND)


def total_of(prep: Preparation, around: Surroundings) -> Quantity | None:
    """Both drugs together in mL on the lines of the syringe; None while one is not known."""
    aims = [target(view, around) for view in _views(prep)]
    volumes = [aim.set for aim in aims if aim is not None]
    return volumes[0] + volumes[1] if len(volumes) == 2 else None


@check(ORDER_WRONG, drawn_first=Kind.TEXT)
def drawing_order_is_right(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The drug named to be drawn first is the one by the rule: vials in use, vials, ampoules."""
    named = " ".join(str(seen["drawn_first"].value).casefold().split())
    views = _views(prep)
    if named == views[0].order.drug.casefold():
        return Pass()
    if named not in [view.order.drug.casefold() for view in views]:
        return Refusal(ORDER_WRONG, {"what": f'"{named}" is neither of the two drugs.'})
    items = [
        Item(name=v.item, drug=v.order.drug, container=prep.sources.get(v.item, "")) for v in views
    ]
    if not order_matters(items, around.formulary):
        return Refusal(ORDER_WRONG, {"what": "These steps begin with the other drug."})
    return Refusal(ORDER_WRONG, {"what": "By the rule the other drug is drawn first."})


@check(UNIT_MISMATCH, TOO_SMALL, TOO_COARSE, syringe_size=Kind.QUANTITY, graduation=Kind.QUANTITY)
def syringe_measures_both_doses(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The syringe holds both drugs together, and each of them covers enough of its lines."""
    size, step = seen["syringe_size"].value, seen["graduation"].value
    assert isinstance(size, Quantity) and isinstance(step, Quantity)
    if unclear := no_volume_among(size, step):
        return unclear
    aims = [target(view, around, graduation=step) for view in _views(prep)]
    known = [aim for aim in aims if aim is not None]
    if len(known) < 2:
        return Pass(not_compared="syringe size: the volumes are not known")
    if not holds(known[0].exact + known[1].exact, size):
        return Refusal(TOO_SMALL, {"size": str(size)})
    if not step <= widest_line(size, around.limits.syringes):
        why = f"wider than the standard allows for a {size} syringe"
        return Refusal(TOO_COARSE, {"step": str(step), "why": why})
    for aim in known:
        least = around.limits.syringes.lines_least
        if aim.exact.ratio(step) < least:
            why = f"one of the doses covers fewer than {least} of them"
            return Refusal(TOO_COARSE, {"step": str(step), "why": why})
        if aim.rounded is not None and abs(aim.rounded.share) > around.unit.rounding_warn:
            why = "the nearest line changes one of the doses too much"
            return Refusal(TOO_COARSE, {"step": str(step), "why": why})
    return Pass()


@check(MISMATCH, UNIT_MISMATCH, SITE_LIMIT, own_total=Kind.QUANTITY)
def own_total_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The mark for both drugs as worked out alone is their sum, and one site takes it."""
    own, wanted = seen["own_total"].value, total_of(prep, around)
    if not isinstance(own, Quantity) or wanted is None:
        return Refusal(MISMATCH)
    if not own.alike(wanted):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(own), "wanted": "mL"})
    return site_verdict(own, prep, around) if own == wanted else Refusal(MISMATCH)


@check(UNIT_MISMATCH, OVERDRAWN, UNDER, drawn_volume=Kind.QUANTITY)
def both_together_are_at_the_mark(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """With the second drug the syringe stands at the mark for both, neither above nor below."""
    read, wanted = seen["drawn_volume"].value, total_of(prep, around)
    first = prep.of(FIRST).latest("drawn_volume")
    if not isinstance(read, Quantity) or wanted is None or first is None:
        return Refusal(UNDER, {"read": str(read)})
    if not read.alike(wanted):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(read), "wanted": "mL"})
    if read > wanted:
        return Refusal(OVERDRAWN, {"read": str(read)})
    return Pass() if read == wanted else Refusal(UNDER, {"read": str(read)})


@check(OVER, UNDER, DISAGREES, checker_first_volume=Kind.QUANTITY)
def second_person_reads_the_first_drug(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The first drug's volume, read by another before the second drug is touched, agrees."""
    mine = prep.of(FIRST).latest("drawn_volume")
    if mine is not None and same(seen["checker_first_volume"].value, mine.value):
        return Pass()
    return Refusal(DISAGREES, {"what": "Volume of the first drug"})


def _said(seen: Observation, name: str) -> str:
    return " ".join(str(seen[name].value).casefold().split())


@check(
    LABEL_MISMATCH,
    label_drug=Kind.TEXT,
    label_dose=Kind.QUANTITY,
    label_second_drug=Kind.TEXT,
    label_second_dose=Kind.QUANTITY,
    label_volume=Kind.QUANTITY,
    label_identifier=Kind.IDENTIFIER,
)
def label_tells_of_both_drugs(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Both drugs, both amounts, the total and the patient, read back, are those of the dose."""
    drawn, patient = prep.latest("drawn_volume"), around.patient
    identifier = seen["label_identifier"].value
    read = {
        _said(seen, "label_drug"): seen["label_dose"].value,
        _said(seen, "label_second_drug"): seen["label_second_dose"].value,
    }
    wanted = {v.order.drug.casefold(): ordered_dose(v, around) for v in _views(prep)}
    agreeing = {
        "a drug": read.keys() == wanted.keys(),
        "an amount": all(same(read.get(name), dose) for name, dose in wanted.items()),
        "the volume": drawn is not None and same(seen["label_volume"].value, drawn.value),
        "the patient": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [what for what, agree in agreeing.items() if not agree]
    return Refusal(LABEL_MISMATCH, {"what": " and ".join(differing)}) if differing else Pass()


@check(
    DISAGREES,
    checker_total=Kind.QUANTITY,
    checker_both=Kind.TEXT,
    checker_label_identifier=Kind.IDENTIFIER,
)
def second_reading_of_both_agrees(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Total, second drug and patient, as a second person reads them, are those of the mixture."""
    drawn, patient = prep.latest("drawn_volume"), around.patient
    identifier = seen["checker_label_identifier"].value
    agree = {
        "Volume": drawn is not None and same(seen["checker_total"].value, drawn.value),
        "Second drug": _said(seen, "checker_both") == prep.of(SECOND).order.drug.casefold(),
        "Patient on the label": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [what for what, holds_ in agree.items() if not holds_]
    return Refusal(DISAGREES, {"what": ", ".join(differing)}) if differing else Pass()


_ORDER_REASONS = (
    ABOVE_LIMIT, OUTSIDE_RANGE, ALLERGY_UNKNOWN, ALLERGY_MATCH, ALLERGY_CROSS, PHARMACY_ONLY,
    READY_MADE,
)  # fmt: skip


@check(*_ORDER_REASONS)
def each_of_both_may_be_given(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What the order's checks say of its first drug holds for each of the two."""
    for view in _views(prep):
        for judge in (
            dose_is_within_the_limit,
            dose_is_in_the_usual_range,
            allergies_do_not_speak_against_it,
            preparation_belongs_on_the_ward,
        ):
            verdict = judge(seen, view, around)
            if not isinstance(verdict, Pass):
                return verdict
    return Pass()


@check(
    BEDSIDE_MISMATCH,
    ALLERGY_UNKNOWN,
    ALLERGY_MATCH,
    ALLERGY_CROSS,
    bedside_drug=Kind.TEXT,
    bedside_dose=Kind.QUANTITY,
    bedside_second_drug=Kind.TEXT,
    bedside_second_dose=Kind.QUANTITY,
)
def label_and_order_agree_on_both(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Both drugs and amounts on the label are those ordered, and no allergy is against them."""
    read = {
        _said(seen, "bedside_drug"): seen["bedside_dose"].value,
        _said(seen, "bedside_second_drug"): seen["bedside_second_dose"].value,
    }
    wanted = {v.order.drug.casefold(): ordered_dose(v, around) for v in _views(prep)}
    if read.keys() != wanted.keys():
        return Refusal(BEDSIDE_MISMATCH, {"what": "a drug"})
    if not all(same(read[name], dose) for name, dose in wanted.items()):
        return Refusal(BEDSIDE_MISMATCH, {"what": "an amount"})
    verdicts = [allergies_do_not_speak_against_it(seen, v, around) for v in _views(prep)]
    return next((v for v in verdicts if not isinstance(v, Pass)), Pass())


@check(NEEDLE_KEPT, between_needle=Kind.CHOICE)
def needle_between_is_by_the_rule(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The second container is entered with a new needle, where the unit asks for one."""
    kept = seen["between_needle"].value != NEW_NEEDLE
    new = around.unit.word("needle_between_vials") == "new"
    return Caution(NEEDLE_KEPT) if kept and new else Pass()


@check(UNACCOUNTED, discarded_first=Kind.QUANTITY, discarded_second=Kind.QUANTITY)
def both_are_accounted_for(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Of each drug that is controlled, opened less used and wasted is what is discarded now."""
    for view, name in zip(_views(prep), ("discarded_first", "discarded_second"), strict=True):
        if name not in seen:
            continue
        rest, told = _rest(view, around), seen[name].value
        if rest is None or not isinstance(told, Quantity) or not told.alike(rest):
            return Refusal(UNACCOUNTED, {"what": "The amount opened is not known to the record."})
        if told.rounded(HUNDREDTH).value != rest.rounded(HUNDREDTH).value:
            return Refusal(UNACCOUNTED, {"what": "Opened, used and discarded do not add up."})
    return Pass()


def _rest(view: Preparation, around: Surroundings) -> Quantity | None:
    """What is left of one drug by its labelled content: opened less wasted less its part given."""
    rest, wasted = opened_volume(view, around), view.latest("wasted_volume")
    if rest is None:
        return None
    if wasted is not None and isinstance(wasted.value, Quantity):
        rest = rest - wasted.value
    given, whole, part = (
        view.latest("given_volume"),
        view.of("").latest("drawn_volume"),
        drawn_of(view),
    )
    if given is None or whole is None or part is None:
        return rest
    assert isinstance(given.value, Quantity) and isinstance(whole.value, Quantity)
    return rest - part * given.value.ratio(whole.value)


@check(UNACCOUNTED, witness_discarded_first=Kind.QUANTITY, witness_discarded_second=Kind.QUANTITY)
def witness_reads_the_same_of_both(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The witness's own readings of what is discarded of each drug equal the preparer's."""
    for name in ("discarded_first", "discarded_second"):
        mine, theirs = prep.latest(name), seen.get(f"witness_{name}")
        agree = mine is not None and theirs is not None and same(mine.value, theirs.value)
        if not agree and (mine is not None or theirs is not None):
            return Refusal(UNACCOUNTED, {"what": "The two readings of what is discarded differ."})
    return Pass()
