"""Checks on liquids for mouth or tube: bottle dates, tip, level of a controlled one, the way in."""

from __future__ import annotations

from datetime import date

from checklist.checks.controlled import COUNT_MISMATCH, HUNDREDTH
from checklist.checks.giving import FLUSH
from checklist.checks.pen import OUT_OF_USE
from checklist.checks.registry import check, reason
from checklist.checks.vial import newborn
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity, same
from checklist.target import product_of, target
from checklist.timing import said_date
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict
from checklist.vial import discard_by

TIPS = Source(
    title="study of the volume that stays in the moat of standard enteral connectors, 0.089 to "
    "0.179 mL (abstract)"
)
ENTERAL_ONLY = Source(
    title="NPSA Alert 19, Promoting safer measurement and administration of liquid medicines, "
    "2007; ISMP, oral syringes, in P&T (PMC3628168)"
)

TIP_NEEDED = reason(
    "enteral_tip_needed",
    Tier.SOFT,
    "A dose this small has a standard tip.",
    "What stays in the ring of a standard tip can be a good part of it.",
    "Take a syringe with a low-dose tip, or say why not.",
    Remedy.REPLACE_ITEM,
    hazards="H38",
    source=TIPS,
)
TIP_EXCESS = reason(
    "enteral_tip_excess",
    Tier.SOFT,
    "{what}: not so.",
    "A drop in the ring of the tip goes in on top of the dose.",
    "Tap and wipe it off, then look again.",
    Remedy.ADJUST,
    hazards="H38",
    source=TIPS,
)
BOTTLE_DATE = reason(
    "bottle_opened_date_missing",
    Tier.SOFT,
    "The bottle was opened before, and no date stands on it.",
    "Nobody can tell how long it has stood open.",
    "Take a dated one, or say how its age is known.",
    Remedy.REPLACE_ITEM,
    hazards="H09",
)
LOSS_TOLERATED = reason(
    "cd_liquid_loss_in_tolerance",
    Tier.SOFT,
    "The bottle is {off} off the register, within the {limit} the unit allows.",
    "A little stays in adapters and syringes; a lot of littles is a loss.",
    "Say what is known about it; it is added up.",
    Remedy.RECHECK,
    hazards="H39",
)
SWALLOW = reason(
    "swallow_unassessed",
    Tier.SOFT,
    "{what}: not so.",
    "Liquid that enters the airway ends in the lung.",
    "Have it judged, or say how you know.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    hazards="H05",
)
TUBE = reason(
    "tube_position_unproven",
    Tier.HARD,
    "Where the tube ends is not proven: {how}.",
    "A tube that has slipped ends in the lung.",
    "Prove it by the unit's way, or call the prescriber; nothing goes in before.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    Remedy.STOP,
    hazards="H05 H37",
    firm=True,
    source=ENTERAL_ONLY,
)

NEW_BOTTLE, LOW_DOSE_TIP = "new, its seal whole until now", "low-dose tip"
PROVEN = ("acid drawn back, measured now", "X-ray read since it was placed, mark unchanged")
SMALL = Quantity.of(2, "mL")
"""Below this an enteral dose has a low-dose tip. Source: `TIPS`."""


@check(OUT_OF_USE, BOTTLE_DATE, bottle_state=Kind.CHOICE, bottle_opened_on=Kind.DATE)
def bottle_may_still_be_used(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """An opened bottle has its date and is within its life; a controlled one without exception."""
    if seen["bottle_state"].value == NEW_BOTTLE:
        return Pass()
    drug, product = around.formulary.drug(prep.order.drug), product_of(prep, around)
    written, expiry = seen.get("bottle_opened_on"), prep.latest("expiry")
    opened = written.value if written is not None else None
    if not isinstance(opened, date):
        strict = drug is None or drug.controlled or (product is not None and bool(product.mixing))
        return (Refusal if strict else Caution)(BOTTLE_DATE)
    printed = expiry.value if expiry is not None else None
    today = around.unit.local(around.at).date()
    if product is None or not isinstance(printed, date) or not opened <= today:
        return Refusal(OUT_OF_USE, {"opened": said_date(opened), "until": "nobody knows"})
    last = discard_by(opened, product, printed, around.unit)
    if today <= last:
        return Pass()
    return Refusal(OUT_OF_USE, {"opened": said_date(opened), "until": said_date(last)})


@check(TIP_NEEDED, tip_kind=Kind.CHOICE)
def small_dose_has_its_tip(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """A dose of less than 2 mL, or a newborn's, is given with a low-dose tip."""
    aim = target(prep, around)
    small = aim is None or aim.exact < SMALL or newborn(around)
    needs = small and seen["tip_kind"].value != LOW_DOSE_TIP
    return Caution(TIP_NEEDED) if needs else Pass()


def _off(read: object, expected: Quantity | None, around: Surroundings) -> Verdict:
    """What a level says beside the figure it should have: equal, a little off, or a loss."""
    if expected is None or not isinstance(read, Quantity) or not read.alike(expected):
        return Refusal(COUNT_MISMATCH, {"what": "The level and the register do not compare."})
    off = abs(read - expected).to("mL")
    limit = around.unit.liquid_loss
    if off.rounded(HUNDREDTH).value.magnitude == 0:
        return Pass()
    if off <= limit and read < expected:
        return Caution(LOSS_TOLERATED, {"off": str(off), "limit": str(limit)})
    return Refusal(COUNT_MISMATCH, {"what": "The level in the bottle is not what is booked."})


@check(COUNT_MISMATCH, LOSS_TOLERATED, level_before=Kind.QUANTITY)
def level_is_what_is_booked(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The level of a controlled liquid agrees with the register, less what was drawn since."""
    product = product_of(prep, around)
    booked = around.liquids.get(product.code) if product else None
    if booked is None:
        return Pass(not_compared="register: no level for this product")
    return _off(seen["level_before"].value, booked, around)


@check(COUNT_MISMATCH, LOSS_TOLERATED, level_after=Kind.QUANTITY)
def level_fell_by_the_dose(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """After drawing, the level has fallen by what was drawn."""
    before, drawn = prep.latest("level_before"), prep.latest("drawn_volume")
    was, out = (r.value if r else None for r in (before, drawn))
    expected = was - out if isinstance(was, Quantity) and isinstance(out, Quantity) else None
    return _off(seen["level_after"].value, expected, around)


@check(COUNT_MISMATCH, witness_level=Kind.QUANTITY)
def witness_reads_the_same_level(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The witness's own reading of the level equals the preparer's newest one."""
    first = prep.latest("level_after") or prep.latest("level_before")
    if first is not None and same(seen["witness_level"].value, first.value):
        return Pass()
    return Refusal(COUNT_MISMATCH, {"what": "The two readings of the level differ."})


@check(TUBE, tube_proof=Kind.CHOICE)
def tube_end_is_proven(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """It is proven where the tube ends, by acid drawn back now or an X-ray that still holds."""
    how = str(seen["tube_proof"].value)
    return Pass() if how in PROVEN else Refusal(TUBE, {"how": how})


@check(FLUSH, flush_volume=Kind.QUANTITY)
def tube_was_flushed(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Some water went through the tube after the dose."""
    volume = seen["flush_volume"].value
    flushed = isinstance(volume, Quantity) and volume.magnitude > 0
    return Pass() if flushed else Caution(FLUSH)
