"""Checks on controlled drugs: the count of stock, the waste to the hundredth, the witness."""

from __future__ import annotations

from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.people import Role
from checklist.permission import Action, may
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity, same
from checklist.target import container_count, opened_volume, product_of, waste_volume
from checklist.verdict import Caution, Pass, Refusal, Remedy, Source, Tier, Verdict

NG46 = Source(title="NICE NG46, Controlled drugs: safe use and management, 2016")

COUNT_MISMATCH = reason(
    "cd_count_mismatch",
    Tier.HARD,
    "{what}",
    "Every container has to be somewhere.",
    "Count again, both of you. If it stays so, open the event; nobody leaves.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H39",
    firm=True,
    source=NG46,
)
WITNESS_MISSING = reason(
    "cd_witness_missing",
    Tier.HARD,
    "{what}: not seen by the witness.",
    "A signature for an act that was not seen proves nothing.",
    "Do it again with the witness watching, or open the event.",
    Remedy.SECOND_PERSON,
    Remedy.EVENT,
    hazards="H39",
    firm=True,
    source=NG46,
)
WITNESS_SAME = reason(
    "cd_witness_same_person",
    Tier.HARD,
    "The witness is the person who prepares.",
    "Nobody can be their own witness.",
    "Fetch another person who may witness.",
    Remedy.SECOND_PERSON,
    hazards="H39",
    firm=True,
    source=NG46,
)
WITNESS_NOT_ELIGIBLE = reason(
    "cd_witness_not_eligible",
    Tier.HARD,
    "{person} is on record as {role}; a witness here is a {needed}.",
    "The unit has fixed who may witness.",
    "Fetch a person who may.",
    Remedy.SECOND_PERSON,
    hazards="H39",
    firm=True,
)
WASTE_MISMATCH = reason(
    "cd_waste_mismatch",
    Tier.HARD,
    "What was opened is not what was prepared plus what was wasted.",
    "A part of a controlled drug has no place yet.",
    "Measure the waste again with the witness.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H39",
    firm=True,
    source=NG46,
)
RECOVERABLE = reason(
    "cd_waste_recoverable",
    Tier.SOFT,
    "Wasted this way the drug could be got back: {method}.",
    "Someone could take it.",
    "Put it into the absorbent kit, then answer again.",
    Remedy.ADJUST,
    hazards="H39",
)
UNACCOUNTED = reason(
    "cd_unaccounted",
    Tier.HARD,
    "{what}",
    "A quantity without a destination is a loss.",
    "Account for it with the witness, or open the event.",
    Remedy.RECHECK,
    Remedy.EVENT,
    hazards="H39",
    firm=True,
    source=NG46,
)

HUNDREDTH = Quantity.of("0.01", "mL")
KITS = ("absorbent kit", "unit's waste device", "sink", "sharps box, not absorbed", "pharmacy")
# What each rule of a unit allows beside the kits.
WAYS_OUT = {"absorbent_or_kit": (), "return": KITS[4:], "sink": KITS[2:3]}


@check(COUNT_MISMATCH, count_before=Kind.COUNT, count_taken=Kind.COUNT, count_after=Kind.COUNT)
def stock_count_holds(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Stock before agrees with the register, and stock after is before less what was taken."""
    before, taken, after = (
        _count(seen, name) for name in ("count_before", "count_taken", "count_after")
    )
    product = product_of(prep, around)
    booked = around.booked.get(product.code) if product else None
    if booked is not None and before != booked:
        return Refusal(COUNT_MISMATCH, {"what": "The stock you counted is not what is booked."})
    if after != before - taken:
        return Refusal(COUNT_MISMATCH, {"what": "Before, taken and after do not add up."})
    needed = container_count(prep, around)
    if needed is not None and taken != needed:
        return Refusal(COUNT_MISMATCH, {"what": "More or fewer were taken than the dose needs."})
    if booked is None:
        return Pass(not_compared="register: no stock figure for this product")
    return Pass()


def _count(seen: Observation, name: str) -> int:
    value = seen[name].value
    assert isinstance(value, Quantity)
    return int(value.magnitude)


@check(COUNT_MISMATCH, witness_count_after=Kind.COUNT)
def witness_counts_the_same(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The witness's own count of the stock left equals the preparer's."""
    first = prep.latest("count_after")
    if first is not None and same(first.value, seen["witness_count_after"].value):
        return Pass()
    return Refusal(COUNT_MISMATCH, {"what": "The two counts of the stock left differ."})


@check(WITNESS_SAME, WITNESS_NOT_ELIGIBLE)
def witness_is_another_and_eligible(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The witness is not the preparer, and a role of theirs, or the unit's rule, lets them."""
    person = around.by
    if person.code == prep.preparer:
        return Refusal(WITNESS_SAME)
    anybody = around.unit.word("cd_witness_roles") == "any_employee"
    if may(person, Action.WITNESS) or (anybody and person.active):
        return Pass()
    facts = {"person": person.code, "role": person.on_record_as, "needed": Role.WITNESS.said}
    return Refusal(WITNESS_NOT_ELIGIBLE, facts)


@check(WASTE_MISMATCH, wasted_volume=Kind.QUANTITY)
def waste_makes_up_the_rest(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """Opened equals prepared plus wasted, to the hundredth of a mL of labelled content."""
    return _reconciled(seen["wasted_volume"].value, waste_volume(prep, around))


def _reconciled(wasted: object, expected: Quantity | None) -> Verdict:
    if expected is None or not isinstance(wasted, Quantity) or not wasted.alike(expected):
        return Refusal(WASTE_MISMATCH)
    zero = Quantity.of(0, "mL")
    if not expected >= zero:  # the overfill was drawn as well: nothing of the label is left
        expected = zero
    same = wasted.rounded(HUNDREDTH).value == expected.rounded(HUNDREDTH).value
    return Pass() if same else Refusal(WASTE_MISMATCH)


@check(RECOVERABLE, waste_method=Kind.CHOICE)
def waste_cannot_be_got_back(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The waste went where the unit lets it go, and nobody can recover it."""
    method = str(seen["waste_method"].value)
    allowed = KITS[:2] + WAYS_OUT[around.unit.word("cd_waste_method")]
    return Pass() if method in allowed else Caution(RECOVERABLE, {"method": method})


@check(WASTE_MISMATCH, witness_wasted_volume=Kind.QUANTITY)
def witness_reads_the_same_waste(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The volume wasted as the witness read it equals what the preparer entered."""
    first, read = prep.latest("wasted_volume"), seen["witness_wasted_volume"].value
    if first is None or not isinstance(first.value, Quantity):
        return Refusal(WASTE_MISMATCH)
    return _reconciled(read, first.value)


@check(UNACCOUNTED, discarded_volume=Kind.QUANTITY)
def everything_opened_is_accounted_for(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What is discarded with the witness is all that the opened containers held by their label.

    What was already wasted at its own step counts; a part that was given counts too.
    """
    opened, volume = opened_volume(prep, around), seen["discarded_volume"].value
    if opened is None or not isinstance(volume, Quantity) or not volume.alike(opened):
        return Refusal(UNACCOUNTED, {"what": "The amount opened is not known to the record."})
    rest = opened
    for name in ("wasted_volume", "given_volume"):
        earlier = prep.latest(name)
        if earlier is not None and isinstance(earlier.value, Quantity):
            rest = rest - earlier.value
    if volume.rounded(HUNDREDTH).value == rest.rounded(HUNDREDTH).value:
        return Pass()
    return Refusal(UNACCOUNTED, {"what": "Opened, used and discarded do not add up."})


@check(UNACCOUNTED, witness_discarded_volume=Kind.QUANTITY)
def witness_reads_the_same_discard(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The witness's own reading of what is discarded equals the preparer's."""
    first = prep.latest("discarded_volume")
    if first is not None and same(first.value, seen["witness_discarded_volume"].value):
        return Pass()
    return Refusal(UNACCOUNTED, {"what": "The two readings of what is discarded differ."})
