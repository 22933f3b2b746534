"""What is seen while the ampoule is opened and the dose is drawn: reasons of observed lines."""

from __future__ import annotations

from checklist.checks.registry import check, reason
from checklist.observation import Observation
from checklist.preparation import Preparation, Surroundings
from checklist.verdict import Note, Pass, Remedy, Source, Tier, Verdict

SHARP = Source(
    title="Sabon RL et al., Glass particle contamination, Anesthesiology 1989;70(5):859-862"
)

NECK_NOT_CLEAR = reason(
    "neck_not_clear",
    Tier.SOFT,
    "Liquid still stands in the neck or head.",
    "It is lost when the neck is snapped, and the dose falls short.",
    "Tap or swing it down, then look again.",
    Remedy.RECHECK,
    hazards="H24",
)
NECK_NOT_WIPED = reason(
    "neck_not_wiped",
    Tier.SOFT,
    "The neck has not been wiped and left to dry.",
    "What is on the glass falls into the opening.",
    "Wipe it, let it dry, then look again.",
    Remedy.RECHECK,
    Remedy.WAIT,
    hazards="H15",
    source=Source(title="APSF Newsletter 2012;27(2): wipe the outside of ampoules before opening"),
)
SHATTERED = reason(
    "ampoule_shattered",
    Tier.HARD,
    "The break is jagged or the ampoule has shattered.",
    "Splinters are in the drug.",
    "Discard it and begin with a new one.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H12 H13",
    firm=True,
    source=SHARP,
)
GLASS = reason(
    "glass_visible",
    Tier.HARD,
    "Glass is seen in the drug.",
    "A splinter in a vein or muscle does lasting harm.",
    "Discard it and begin with a new one.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H11 H12",
    firm=True,
    source=SHARP,
)
CUT = reason(
    "glass_cut",
    Tier.HARD,
    "There is a cut on your hand.",
    "Blood near the opening spoils the drug.",
    "Let a colleague see to the cut, discard this, open the event.",
    Remedy.DISCARD_RESTART,
    Remedy.EVENT,
    hazards="H13",
    firm=True,
)
SHARP_LEFT = reason(
    "sharp_not_disposed",
    Tier.HARD,
    "{what}: not yet.",
    "A loose sharp finds a hand.",
    "Put it into the sharps box now, then answer again.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H40",
    firm=True,
)
KEY_PART = reason(
    "key_part_touched",
    Tier.HARD,
    "{what}: not so, or in doubt.",
    "In doubt it is contaminated, and germs go in with the dose.",
    "Replace what was touched; if the drug may be touched, discard it.",
    Remedy.REPLACE_ITEM,
    Remedy.DISCARD_RESTART,
    hazards="H15 H48",
    firm=True,
)
AIR_IN = reason(
    "air_injected_into_ampoule",
    Tier.HARD,
    "Air was pushed into the open ampoule.",
    "Drug spurts out or is lost in foam.",
    "Discard it and begin with a new one.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H24",
)
RETURNED = reason(
    "fluid_returned_to_container",
    Tier.HARD,
    "Drug or air was pushed back into the container.",
    "What has been in the syringe no longer belongs there, and it may not be clean.",
    "Discard both and begin with new items.",
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H17 H24",
    firm=True,
)
PACK = reason(
    "device_pack_breached",
    Tier.HARD,
    "{what}: not so.",
    "A torn or wet pack is no longer sterile.",
    "Take another pack.",
    Remedy.REPLACE_ITEM,
    hazards="H10 H15",
)
DEVICE_EXPIRED = reason(
    "device_expired",
    Tier.HARD,
    "{what}: not so.",
    "Past its date the pack is not assured to be sterile.",
    "Take another pack.",
    Remedy.REPLACE_ITEM,
    hazards="H09",
)
SHARPS_BOX = reason(
    "sharps_box_absent_or_full",
    Tier.SOFT,
    "{what}: not so.",
    "A used sharp has then to be carried.",
    "Fetch a box that has room, then look again.",
    Remedy.RECHECK,
    hazards="H40",
)
LABEL_NOT_READY = reason(
    "label_not_ready",
    Tier.HARD,
    "{what}: not so.",
    "A drawn syringe then waits without a name.",
    "Fetch a label before anything is opened.",
    Remedy.RECHECK,
    hazards="H27",
)

SETTLE_SHORT = reason(
    "settle_wait_short",
    Tier.INFORMATION,
    "The ampoule was open for {seconds} s; this unit waits {wanted} s before drawing.",
    "Fine glass sinks in that time.",
    "Wait, then draw slowly.",
    Remedy.WAIT,
    hazards="H12",
    source=Source(title="Joo et al., SpringerPlus 2016;5:15: a wait of 2 min, not clearly better"),
)


@check(SETTLE_SHORT)
def glass_has_settled(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Between breaking the glass and drawing, the unit's time has passed."""
    wanted, broken = around.unit.count("ampoule_settle_seconds"), prep.time_of("clean_break")
    if broken is None or wanted == 0:
        return Pass()
    waited = int((around.at - broken).total_seconds())
    if waited >= wanted:
        return Pass()
    facts = {"seconds": str(waited), "wanted": str(wanted)}
    return Pass(notes=(Note(SETTLE_SHORT, facts),))
