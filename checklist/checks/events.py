"""What an interruption leaves behind, and what must be seen before work goes on."""

from __future__ import annotations

from checklist.checks.patient import ID_MISMATCH, ID_TOO_FEW, identified
from checklist.checks.product import PRODUCT_MISMATCH
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation, ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.timing import said_span
from checklist.verdict import Note, Pass, Refusal, Remedy, Source, Tier, Verdict

WESTBROOK = Source(
    title="Westbrook JI et al., Association of interruptions with medication errors, "
    "Arch Intern Med 2010;170(8):683-690"
)

INTERRUPTED = reason(
    "interrupted",
    Tier.INFORMATION,
    "The break lasted {time}.",
    "Each break makes a slip more likely.",
    "Identity is read again before work goes on.",
    Remedy.RECHECK,
    hazards="H42",
    source=WESTBROOK,
)
CRITICAL = reason(
    "interrupted_at_critical_step",
    Tier.HARD,
    "The break came while something was being measured, counted or worked out.",
    "Memory of a number fades in seconds.",
    "Do that step again from its beginning.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H42",
    firm=True,
    source=WESTBROOK,
)
UNATTENDED = reason(
    "left_unattended",
    Tier.HARD,
    "The drug was out of your hands: {where}.",
    "Nobody can say what happened to it.",
    "Discard it and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H28 H39",
    firm=True,
)

WITHOUT_ACCOUNT = reason(
    "abort_without_account",
    Tier.HARD,
    "Something of what was opened has no place yet.",
    "What is left lying is taken by the next person, or by nobody who may.",
    "Find it and discard it, a controlled drug past the witness.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H39",
    firm=True,
)


@check(ID_MISMATCH, ID_TOO_FEW, first_identifier=Kind.IDENTIFIER, second_identifier=Kind.IDENTIFIER)
def patient_is_still_the_ordered_patient(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """After a break the patient on the record is identified again."""
    return identified(seen, around)


@check(PRODUCT_MISMATCH, product_again=Kind.PRODUCT)
def item_is_still_the_same(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """After a break the item in the hand is the item that was identified before."""
    again = seen["product_again"].value
    code = again.code if isinstance(again, ProductRead) else str(again)
    # Where two drugs are in one syringe, either container says which dose it is.
    views = [prep, *(prep.of(item) for item in prep.items if prep.latest("product") is None)]
    mine = [view.latest("product") for view in views]
    if code in {r.value.code for r in mine if r and isinstance(r.value, ProductRead)}:
        return Pass()
    product = around.formulary.products.get(code)
    read = product.drug if product else f"code {code}"
    return Refusal(PRODUCT_MISMATCH, {"read": read, "ordered": "the item you took before"})


IN_HAND, PUT_DOWN_LABELLED, PUT_DOWN_UNLABELLED, OUT_OF_SIGHT = (
    "in my hand all the time",
    "put down, labelled, in my sight",
    "put down without a label",
    "out of my sight",
)


@check(UNATTENDED, custody=Kind.CHOICE)
def custody_was_unbroken(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The opened or drawn drug stayed in the hand, or labelled and in sight."""
    where = seen["custody"].value
    labelled = any(prep.latest(name) is not None for name in ("label_made", "name_is_on"))
    if where == IN_HAND or (where == PUT_DOWN_LABELLED and labelled):
        return Pass()
    said = "put down before it had a label" if where == PUT_DOWN_LABELLED else str(where)
    return Refusal(UNATTENDED, {"where": said})


@check(CRITICAL, INTERRUPTED)
def break_was_not_at_a_critical_step(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Nothing was being measured, counted or worked out when the break came."""
    if around.critical_break:
        return Refusal(CRITICAL)
    if prep.interrupted_at is None:
        return Pass()
    facts = {"time": said_span(around.at - prep.interrupted_at)}
    return Pass(notes=(Note(INTERRUPTED, facts),))
