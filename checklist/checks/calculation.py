"""Checks on the volume worked out: own answer first, then rounding, content and site."""

from __future__ import annotations

from fractions import Fraction

from checklist import site
from checklist.ampoule import greatest_content
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import STAYING, container_count, content_in_force, product_of, target
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

PARSHURAM = Source(
    title="Parshuram CS et al., CMAJ 2008;178(1):42-48: 5 % taken as the threshold of a volume "
    "error, 10 % for a concentration"
)
OVERFILL = Source(
    title="USP 29-NF 24, general chapter <1151>, Injections, recommended excess volume (2006)"
)

MISSING = reason(
    "calculation_missing",
    Tier.HARD,
    "Your own answer is not entered yet.",
    "Seen first, a figure is believed rather than worked out.",
    "Work it out from the label in your hand, then enter it.",
    Remedy.RECHECK,
    hazards="H04",
)
MISMATCH = reason(
    "calculation_mismatch",
    Tier.HARD,
    "Your answer and the second calculation do not agree.",
    "A slip here changes the dose.",
    "Work it out again from the label in your hand.",
    Remedy.RECHECK,
    Remedy.SECOND_PERSON,
    Remedy.CALL_PHARMACIST,
    hazards="H03 H04",
    firm=True,
    source=PARSHURAM,
)
UNIT_MISMATCH = reason(
    "unit_mismatch",
    Tier.HARD,
    "Your answer is in {given}; {wanted} is asked for.",
    "Units that look alike differ by a factor of ten or a thousand.",
    "Give it in {wanted}.",
    Remedy.RECHECK,
    Remedy.CALL_PRESCRIBER,
    hazards="H04",
    firm=True,
)
ESTIMATE = reason(
    "estimate_disagrees",
    Tier.SOFT,
    "You expected {estimate}, and your answer is far from that.",
    "One of the two is off by a lot.",
    "Think of one container and its whole amount, then answer both again.",
    Remedy.RECHECK,
    hazards="H03 H04",
)
ROUNDING = reason(
    "rounding_out_of_tolerance",
    Tier.HARD,
    "On this scale the nearest line changes the dose by {share} %.",
    "More than {limit} % is another dose.",
    "Take a finer syringe.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H04 H25",
    source=PARSHURAM,
)
HARD_TO_MEASURE = reason(
    "volume_hard_to_measure",
    Tier.SOFT,
    "This dose is less than {least}.",
    "At so small a volume the needle's own space matters.",
    "Ask the pharmacist for a weaker product, or say how it is measured.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H04 H25",
)
OVER_CONTENT = reason(
    "volume_exceeds_content",
    Tier.HARD,
    "You entered {volume}; {count} of these hold {content} at most, overfill counted.",
    "More than there is cannot be drawn.",
    "Read the label and the syringe again.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    hazards="H04 H23",
    firm=True,
    source=OVERFILL,
)
SITE_LIMIT = reason(
    "volume_exceeds_site_limit",
    Tier.SOFT,
    "{volume} is more than the {limit} usual for one injection at this site.",
    "Too much in one place hurts and is taken up badly.",
    "Ask whether it can be split, or say why it is given so.",
    Remedy.CALL_PRESCRIBER,
    Remedy.CALL_PHARMACIST,
    hazards="H23 H53",
    source=Source(title="published ranges with their pages in workflows/limits/site.toml"),
)
WASTE_EXPECTED = reason(
    "waste_expected",
    Tier.INFORMATION,
    "Part of the container will be left over.",
    "It has to be discarded, and for a controlled drug witnessed.",
    "Have a witness at hand before you open it.",
    Remedy.RECHECK,
    hazards="H39",
)

LESS, HALF, ONE, MORE = (
    "much less than half a container",
    "about half a container",
    "about one container",
    "more than one container",
)
# The share of a container that each answer stands for, with generous edges: the estimate is there
# to catch a factor of ten, not a tenth. Common practice, no source.
_SHARES = {LESS: (0, 45), HALF: (25, 75), ONE: (60, 130), MORE: (105, 100_000)}


@check(UNIT_MISMATCH, MISMATCH, own_volume=Kind.QUANTITY)
def own_answer_agrees(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The volume worked out alone equals the engine's, exact or on the syringe's lines."""
    own, aim = seen["own_volume"].value, target(prep, around)
    assert isinstance(own, Quantity)
    if aim is None:
        return Refusal(MISMATCH)
    if not own.alike(aim.exact):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(own), "wanted": "mL"})
    return Pass() if own in (aim.exact, aim.set) else Refusal(MISMATCH)


@check(ESTIMATE, estimate=Kind.CHOICE, own_volume=Kind.QUANTITY)
def estimate_and_answer_belong_together(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The volume worked out lies where it was expected before the sum."""
    own, content = seen["own_volume"].value, content_in_force(prep, around)
    assert isinstance(own, Quantity)
    if content is None or not own.alike(content):
        return Pass(not_compared="estimate: answer and container do not compare")
    low, high = _SHARES[str(seen["estimate"].value)]
    if low <= own.ratio(content) * 100 <= high:
        return Pass()
    return Caution(ESTIMATE, {"estimate": str(seen["estimate"].value)})


@check(ROUNDING, HARD_TO_MEASURE, own_volume=Kind.QUANTITY)
def volume_can_be_measured(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """On the chosen scale rounding changes the dose little, and the volume is not tiny."""
    aim, unit = target(prep, around), around.unit
    if aim is None or aim.rounded is None:
        return Pass(not_compared="rounding: no syringe scale chosen")
    share, limit = abs(aim.rounded.share), _rounding_limit(aim.dose, prep, around)
    if not share <= limit:
        return Refusal(ROUNDING, {"share": _percent(share), "limit": _percent(limit)})
    if not aim.exact >= unit.smallest_volume:
        return Caution(HARD_TO_MEASURE, {"least": str(unit.smallest_volume)})
    return Pass()


def _rounding_limit(dose: Quantity, prep: Preparation, around: Surroundings) -> Fraction:
    """The share of the dose that rounding may change: the unit's, or the drug's own if lower."""
    drug, unit = around.formulary.drug(prep.order.drug), around.unit
    most = drug.max_rounding if drug is not None else None
    if most is None or not most.alike(dose):
        return unit.rounding_limit
    return min(unit.rounding_limit, most.ratio(dose))


def unit_of(quantity: Quantity) -> str:
    """The unit of a quantity as people write it."""
    return str(quantity).rpartition(" ")[2]


def _percent(share: object) -> str:
    whole = Quantity.of(share * 100, "1").rounded(Quantity.of("0.1", "1")).value  # type: ignore[operator]
    return str(whole).partition(" ")[0]


@check(OVER_CONTENT, WASTE_EXPECTED, own_volume=Kind.QUANTITY)
def containers_hold_the_volume(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The answer is at most what the containers for this dose can hold with their overfill."""
    own = seen["own_volume"].value
    assert isinstance(own, Quantity)
    verdict = within_content(own, prep, around)
    content, aim = content_in_force(prep, around), target(prep, around)
    count = container_count(prep, around)
    if not isinstance(verdict, Pass) or content is None or aim is None or count is None:
        return verdict
    product = product_of(prep, around)
    stays = product is not None and product.container in STAYING
    left = content * count > aim.set and not stays
    return Pass(notes=(Note(WASTE_EXPECTED),)) if left else Pass()


def within_content(volume: Quantity, prep: Preparation, around: Surroundings) -> Verdict:
    """Whether a volume is at most what the opened containers can hold, overfill counted."""
    product, content = product_of(prep, around), content_in_force(prep, around)
    count = container_count(prep, around)
    if product is None or content is None or count is None or not volume.alike(content):
        return Pass(not_compared="content: the volume does not compare with the container")
    most = greatest_content(content, product.viscous, around.limits.ampoules) * count
    if volume <= most:
        return Pass()
    facts = {"volume": str(volume), "count": str(count), "content": str(most)}
    return Refusal(OVER_CONTENT, facts)


@check(SITE_LIMIT, own_volume=Kind.QUANTITY)
def volume_fits_the_site(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The volume is within what one injection at this site may take."""
    own = seen["own_volume"].value
    assert isinstance(own, Quantity)
    return site_verdict(own, prep, around)


def site_verdict(volume: Quantity, prep: Preparation, around: Surroundings) -> Verdict:
    """Whether one injection at the ordered site may take this volume."""
    patient, order = around.patient, prep.order
    if order.route not in ("IM", "SC", "ID"):
        return Pass()
    today = around.unit.local(around.at).date()
    age = site.Age.between(patient.birth_date, today) if patient else None
    table = around.limits.sites
    limit = site.limit(order.route, order.site or None, site.group(age, table), table)
    if limit is None or not volume.alike(limit.warn_above):
        return Pass(not_compared="site limit: no figure for this route and age")
    match site.level(volume, limit):
        case site.Level.WITHIN:
            return Pass()
        case site.Level.ABOVE_USUAL:
            facts = {"volume": str(volume), "limit": str(limit.warn_above)}
            return Caution(SITE_LIMIT, facts)
        case _:
            facts = {"volume": str(volume), "limit": str(limit.refuse_above)}
            return Refusal(SITE_LIMIT, facts)
