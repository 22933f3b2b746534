"""Checks on the devices: syringe, filter and needle, against dose, route and body."""

from __future__ import annotations

from checklist import needle, site
from checklist.checks.calculation import UNIT_MISMATCH, unit_of
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.syringe import Kind as Syringe
from checklist.syringe import Use, holds, kinds_for, tolerance, widest_line
from checklist.target import product_of, target, weight_in_kg
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Source, Tier, Verdict

ISO_7886 = Source(
    title="ISO 7886-1, sterile hypodermic syringes, tolerance on graduated capacity, as computed "
    "by P. Phillips, Surgical Materials Testing Laboratory, rev. 1.4 (2016)"
)
FILTER = Source(
    title="ASHP 2008 and INS Infusion Nursing Standards 2011, standard 28.6: filter needle or "
    "straw of 5 micrometre for glass ampoules, as quoted on a question page"
)
NEEDLES = Source(
    title="CDC/ACIP General Best Practice Guidelines, Vaccine Administration, needle lengths, as "
    "restated by Immunize.org (2020)"
)

WRONG_KIND = reason(
    "wrong_syringe_kind",
    Tier.HARD,
    "{what}: the syringe is not of the right kind.",
    "Its scale or tip is made for another use.",
    "Take a syringe of the right kind.",
    Remedy.REPLACE_ITEM,
    hazards="H35",
    firm=True,
)
ENTERAL = reason(
    "enteral_in_parenteral_syringe",
    Tier.HARD,
    "{what}: dose and syringe do not belong together.",
    "A dose for the mouth could go into a vein, or the other way round.",
    "Take a syringe for the ordered route.",
    Remedy.REPLACE_ITEM,
    Remedy.DISCARD_RESTART,
    hazards="H05 H37",
    firm=True,
)
NEURAXIAL = reason(
    "neuraxial_connector_required",
    Tier.HARD,
    "A dose for the spine asks for its own connector; this syringe has {kind}.",
    "Common tips fit lines that end elsewhere.",
    "Take a syringe with the neuraxial connector.",
    Remedy.REPLACE_ITEM,
    hazards="H05",
    firm=True,
)
SCALE = reason(
    "syringe_scale_mismatch",
    Tier.HARD,
    "The scale counts {kind} units; this drug is not measured so.",
    "The mark would stand for another amount.",
    "Take a syringe marked in mL.",
    Remedy.REPLACE_ITEM,
    hazards="H03 H35",
    firm=True,
)
TOO_SMALL = reason(
    "syringe_too_small",
    Tier.HARD,
    "A {size} syringe does not hold this dose.",
    "Two part-doses invite a miscount.",
    "Take the next larger size.",
    Remedy.REPLACE_ITEM,
    hazards="H24",
)
TOO_COARSE = reason(
    "syringe_too_coarse",
    Tier.SOFT,
    "The lines of this syringe are {step} apart: {why}.",
    "The dose falls between lines or covers too few of them.",
    "Take a finer syringe that still holds the dose.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H25 H37",
    source=ISO_7886,
)
ACCURACY = reason(
    "syringe_tolerance",
    Tier.INFORMATION,
    "This size may be out by up to {tolerance} at this dose.",
    "That is what the standard allows the maker.",
    "A smaller syringe that holds the dose is more exact.",
    Remedy.RECHECK,
    hazards="H25",
    source=ISO_7886,
)
FILTER_MISSING = reason(
    "filter_missing",
    Tier.HARD,
    "No filter as asked for here is on the syringe: {found}.",
    "Fine glass, or what is not dissolved, can be drawn up unseen.",
    "Fit a filter straw or filter needle of 5 micrometre or finer before drawing.",
    Remedy.REPLACE_ITEM,
    Remedy.CALL_PHARMACIST,
    hazards="H12 H44",
    firm=True,
    source=FILTER,
)
FILTER_NOT_ALLOWED = reason(
    "filter_not_allowed",
    Tier.HARD,
    "This product is not to pass a filter.",
    "The filter would hold the drug back.",
    "Call the pharmacist about another product or another way.",
    Remedy.CALL_PHARMACIST,
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H44",
    source=Source(title="product-specific; from memory", status="from memory"),
)
FILTER_LEFT = reason(
    "filter_not_removed",
    Tier.HARD,
    "The filter is still on the syringe.",
    "Pushing back through it would send the glass to the patient.",
    "Take it off without touching the tip and fit the injection needle or a cap.",
    Remedy.REPLACE_ITEM,
    Remedy.DISCARD_RESTART,
    hazards="H12 H44",
    firm=True,
)
NEEDLE_KEPT = reason(
    "needle_not_changed",
    Tier.SOFT,
    "The needle that drew the drug is still on.",
    "It is blunted and carries drug on its outside.",
    "Fit a new needle.",
    Remedy.REPLACE_ITEM,
    hazards="H44",
)
NEEDLE_UNSUITABLE = reason(
    "needle_unsuitable",
    Tier.SOFT,
    "The needle is {needle}: {why}.",
    "Too short or too long, the dose ends up in another layer.",
    "Take a needle that suits route, site and body, or say why this one.",
    Remedy.REPLACE_ITEM,
    hazards="H53",
    source=NEEDLES,
)
RECAPPED = reason(
    "recap_two_handed",
    Tier.HARD,
    "The needle was recapped with two hands.",
    "That is how most needle injuries happen.",
    "If the skin is broken open the event; else take a new needle.",
    Remedy.REPLACE_ITEM,
    Remedy.EVENT,
    hazards="H40",
    source=Source(title="OSHA 29 CFR 1910.1030(d)(2)(vii), interpretation of 26 Jan 1993"),
)

NOTHING = Quantity.of(0, "mL")
_NEURAXIAL_ROUTES = ("IT", "EPI")
_ENTERAL_ROUTES = ("PO", "NG", "PEG")


def _syringe_use(prep: Preparation) -> Use:
    if prep.order.route in _NEURAXIAL_ROUTES:
        return Use.NEURAXIAL
    if prep.order.route in _ENTERAL_ROUTES:
        return Use.ENTERAL
    insulin = "insulin" in prep.order.drug.casefold()
    return Use.INSULIN if insulin and prep.order.route == "SC" else Use.INJECTION


@check(WRONG_KIND, ENTERAL, NEURAXIAL, SCALE, syringe_kind=Kind.CHOICE)
def syringe_is_of_the_right_kind(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The syringe's tip and scale are made for the ordered route and drug."""
    kind, use = str(seen["syringe_kind"].value), _syringe_use(prep)
    allowed = [k.value for k in kinds_for(use, around.limits.syringes)]
    if kind in allowed:
        return Pass()
    what = f'Read "{kind}", asked for {" or ".join(allowed)}'
    facts = {"what": what, "kind": kind}
    if use is Use.NEURAXIAL:
        return Refusal(NEURAXIAL, facts)
    if Use.ENTERAL in (use, kind) or kind == Syringe.ENTERAL:
        return Refusal(ENTERAL, facts)
    return Refusal(SCALE if kind == Syringe.INSULIN else WRONG_KIND, facts)


def no_volume_among(*figures: Quantity) -> Refusal | None:
    """What is said when one of these is not a volume above zero."""
    for given in figures:
        if not given.alike(NOTHING) or not given > NOTHING:
            facts = {"given": str(given), "wanted": "a figure in mL above zero"}
            return Refusal(UNIT_MISMATCH, facts)
    return None


@check(
    UNIT_MISMATCH,
    TOO_SMALL,
    TOO_COARSE,
    ACCURACY,
    syringe_size=Kind.QUANTITY,
    graduation=Kind.QUANTITY,
    syringe_kind=Kind.CHOICE,
)
def syringe_measures_this_dose(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The syringe holds the volume and its lines are fine enough for it."""
    size, step = seen["syringe_size"].value, seen["graduation"].value
    assert isinstance(size, Quantity) and isinstance(step, Quantity)
    if unclear := no_volume_among(size, step):
        return unclear
    aim = target(prep, around, graduation=step)
    if aim is None or aim.rounded is None:
        return Pass(not_compared="syringe size: the dose volume is not known")
    if not holds(aim.exact, size):
        return Refusal(TOO_SMALL, {"size": str(size)})
    table, lines = around.limits.syringes, aim.exact.ratio(step)
    facts = {"step": str(step), "why": ""}
    drug = around.formulary.drug(prep.order.drug)
    if lines < table.lines_least:
        facts["why"] = f"this dose covers fewer than {table.lines_least} of them"
        return Refusal(TOO_COARSE, facts)
    if not step <= widest_line(size, table):
        facts["why"] = f"wider than the standard allows for a {size} syringe"
        return Refusal(TOO_COARSE, facts)
    if abs(aim.rounded.share) > around.unit.rounding_warn:
        facts["why"] = "the nearest line changes the dose too much"
        strict = drug is None or drug.high_alert
        return (Refusal if strict else Caution)(TOO_COARSE, facts)
    if str(seen["syringe_kind"].value) not in [k.value for k in table.accuracy_kinds]:
        return Pass(not_compared="tolerance: no figure for this kind of syringe")
    allowed = tolerance(aim.exact, size, table)
    return Pass(notes=(Note(ACCURACY, {"tolerance": str(allowed)}),))


@check(FILTER_NOT_ALLOWED, FILTER_MISSING, filter_kind=Kind.CHOICE, pore=Kind.QUANTITY)
def filter_is_fitted(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """A filter needle or straw is on the syringe, its pore at most that of the published rule.

    The unit's rule says for which doses one is asked.
    """
    kind = str(seen["filter_kind"].value)
    product = product_of(prep, around)
    if product is not None and not product.filter_allowed:
        return Refusal(FILTER_NOT_ALLOWED)
    if waived := _no_filter_asked(kind, prep, around):
        return Pass(not_compared=f"filter: {waived}")
    advice = needle.for_drawing("glass_ampoule", around.limits.needles)
    fitted = {k.value: k for k in advice.kinds}.get(kind) if advice else None
    if advice is None or advice.pore_most is None or fitted is None:
        return Refusal(FILTER_MISSING, {"found": kind})
    pore = seen["pore"].value if "pore" in seen else None
    if not isinstance(pore, Quantity):
        return Refusal(FILTER_MISSING, {"found": "no pore size read from the pack"})
    zero = Quantity.of(0, "um")
    if pore.alike(zero) and zero < pore <= advice.pore_most:
        return Pass()
    return Refusal(FILTER_MISSING, {"found": f"pore of {pore}"})


def _no_filter_asked(kind: str, prep: Preparation, around: Surroundings) -> str:
    """Why this unit's rule asks for no filter on the syringe here; "" when it does."""
    match around.unit.word("glass_filter_rule"):
        case "off":
            return "this unit's rule asks for none"
        case "by_product":
            return "this unit leaves it to the product, and no instruction asks for one"
        case "iv_and_neuraxial" if prep.order.route not in ("IV", *_NEURAXIAL_ROUTES):
            return "this unit's rule asks for one into a vein or the spine only"
        case "inline_filter_accepted" if kind == "filter at the line only":
            return "this unit accepts a filter in the line"
        case _:
            return ""


TIPS = ("new injection needle", "cap, no needle", "the filter", "the needle that drew it up")


@check(FILTER_LEFT, NEEDLE_KEPT, tip=Kind.CHOICE)
def filter_is_off_and_the_needle_changed(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """What sits on the tip now is a new injection needle or a cap, not the filter."""
    tip = str(seen["tip"].value)
    if tip in TIPS[:2]:
        return Pass()
    if tip != TIPS[3]:
        return Refusal(FILTER_LEFT)
    product = product_of(prep, around)
    viscous = product is None or product.viscous
    filtered = prep.latest("filter_kind") is not None
    rule = around.unit.word("needle_change_before_injection")
    return Caution(NEEDLE_KEPT) if rule == "always" or viscous or filtered else Pass()


@check(
    UNIT_MISMATCH, NEEDLE_UNSUITABLE, tip=Kind.CHOICE, gauge=Kind.COUNT, needle_length=Kind.QUANTITY
)
def needle_suits_route_site_and_body(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """Gauge and length lie in the published range for route, site, age, sex and weight."""
    order, patient, product = prep.order, around.patient, product_of(prep, around)
    today = around.unit.local(around.at).date()
    advice = needle.recommended(
        order.route,
        site.known(order.site, around.limits.sites),
        age=site.Age.between(patient.birth_date, today) if patient else None,
        weight=weight_in_kg(around),
        sex=patient.sex if patient else "",
        table=around.limits.needles,
        viscous=product.viscous if product else False,
    )
    if advice is None:
        return Pass(not_compared="needle: no published range for this route and site")
    if str(seen["tip"].value) == TIPS[1]:
        if order.route == "IV" or not advice.kinds:
            return Pass()
        facts = {"needle": "not fitted", "why": "a cap is on, and this route takes a needle"}
        return Caution(NEEDLE_UNSUITABLE, facts)
    gauge = seen["gauge"].value if "gauge" in seen else None
    length = seen["needle_length"].value if "needle_length" in seen else None
    if isinstance(length, Quantity) and not length.alike(Quantity.of(0, "mm")):
        return Refusal(UNIT_MISMATCH, {"given": unit_of(length), "wanted": "mm"})
    fitted = needle.Needle(
        kind=needle.Kind.INJECTION,
        gauge=int(gauge.magnitude) if isinstance(gauge, Quantity) else None,
        length=length if isinstance(length, Quantity) else None,
    )
    why = needle.suits(fitted, advice)
    if not why:
        return Pass(not_compared="" if advice.lengths else f"needle: {advice.note}")
    said = f"{fitted.gauge or '?'} G, {fitted.length if fitted.length is not None else '? mm'}"
    return Caution(NEEDLE_UNSUITABLE, {"needle": said, "why": " ".join(why).rstrip(".")})
