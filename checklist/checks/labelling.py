"""Checks on the label: present, complete, readable and telling what is in the syringe."""

from __future__ import annotations

from checklist.checks.patient import agrees
from checklist.checks.registry import check, reason
from checklist.infusion import in_hand
from checklist.label import label
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import same
from checklist.target import ordered_dose
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

LABELS = Source(
    title="Joint Commission, National Performance Goals 2026, NPG.14.03.01 (successor of "
    "NPSG.03.04.01), as summarised; ACSQHC National Standard for User-applied Labelling, 2015"
)

MISSING = reason(
    "label_missing",
    Tier.HARD,
    "{what}: not so.",
    "Nobody can tell what is in it, you included.",
    "If it never left your hand, label it now; else discard it and begin with new items.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H27 H37",
    firm=True,
    source=LABELS,
)
INCOMPLETE = reason(
    "label_incomplete",
    Tier.HARD,
    "The label lacks or blurs: {what}.",
    "What is not on it gets guessed at the bedside.",
    "Write a new label with every item, then read it back.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H01 H27",
    firm=True,
    source=LABELS,
)
MISMATCH = reason(
    "label_mismatch",
    Tier.HARD,
    "On the label, {what} is not that of this dose.",
    "The next reader will trust the label.",
    "Take that label off and write a new one; in doubt discard the dose.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H27",
    firm=True,
    source=LABELS,
)
COVERS = reason(
    "label_covers_scale",
    Tier.SOFT,
    "The label hides the scale or the name.",
    "The volume cannot be read any more.",
    "Put it on again, as a flag on a small syringe.",
    Remedy.RECHECK,
    hazards="H23 H27",
    source=LABELS,
)


@check(INCOMPLETE)
def label_says_everything(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Every item that this label must carry can be filled, and none breaks a writing rule."""
    made = label(prep, around)
    if made.missing:
        return Refusal(INCOMPLETE, {"what": ", ".join(made.missing)})
    if made.misreadable:
        return Refusal(INCOMPLETE, {"what": made.misreadable[0].rstrip(".")})
    return Pass()


@check(
    MISMATCH,
    label_drug=Kind.TEXT,
    label_dose=Kind.QUANTITY,
    label_volume=Kind.QUANTITY,
    label_identifier=Kind.IDENTIFIER,
)
def label_tells_what_is_in_it(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Drug, amount, volume and patient as read back from the label are those of the dose."""
    drug = " ".join(str(seen["label_drug"].value).casefold().split())
    identifier, patient = seen["label_identifier"].value, around.patient
    agreeing = {
        "the drug": drug == prep.order.drug.casefold(),
        "the amount": same(seen["label_dose"].value, ordered_dose(prep, around)),
        "the volume": same(seen["label_volume"].value, in_hand(prep, around)),
        "the patient": patient is not None
        and isinstance(identifier, Identifier)
        and agrees(identifier, patient),
    }
    differing = [what for what, agree in agreeing.items() if not agree]
    return Refusal(MISMATCH, {"what": " and ".join(differing)}) if differing else Pass()
