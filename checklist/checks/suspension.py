"""Checks on what settles: warm enough, and made even in its own way for long enough."""

from __future__ import annotations

from checklist.checks.mixing import METHOD
from checklist.checks.registry import check, reason
from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import product_of
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict

NOT_RESUSPENDED = reason(
    "not_resuspended",
    Tier.HARD,
    "{what}: not so.",
    "The first dose would be too weak and a later one too strong.",
    "Go on moving it as its leaflet says, then look again.",
    Remedy.WAIT,
    Remedy.REPLACE_ITEM,
    hazards="H22",
    source=Source(
        title="Insulin pen teaching pages after Frid AH et al., Mayo Clin Proc "
        "2016;91(9):1231-55: cloudy insulin is rolled and tipped until even"
    ),
)
TOO_COLD = reason(
    "too_cold",
    Tier.SOFT,
    "It is not as warm yet as its leaflet asks.",
    "Cold, it is thick: it hurts, and part of it stays behind.",
    "Let it come to room temperature, then look again.",
    Remedy.WAIT,
    hazards="H22 H49",
)


@check(METHOD, NOT_RESUSPENDED, moved_how=Kind.CHOICE, moved_for=Kind.QUANTITY)
def suspension_was_made_even(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The suspension was moved in the way its leaflet names, and for long enough.

    What was shaken or turned over against its leaflet may be spoiled; what was moved more gently
    than that is only not even yet.
    """
    product, moved = product_of(prep, around), seen["moved_for"].value
    if product is None or not product.resuspend_how or product.resuspend_for is None:
        return Pass(not_compared="evenness: the formulary keeps no way of mixing for this item")
    how = str(seen["moved_how"].value)
    if _force(how) > _force(product.resuspend_how):
        return Refusal(METHOD, {"how": how, "allowed": product.resuspend_how})
    if how != product.resuspend_how:
        return Refusal(NOT_RESUSPENDED, {"what": "Moved in the way of its leaflet"})
    least = product.resuspend_for
    if isinstance(moved, Quantity) and moved.alike(least) and moved >= least:
        return Pass()
    return Refusal(NOT_RESUSPENDED, {"what": "Moved for as long as its leaflet asks"})


def _force(how: str) -> int:
    """How hard a way of moving is on the drug: 0 without turning it over, 1 with, 2 shaken."""
    return 2 if how == "shaken" else 1 if "turned over" in how else 0
