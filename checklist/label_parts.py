"""What a label says beyond one drug in one syringe: carrier fluid, second drug, enteral use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from checklist.compatibility import Where
from checklist.infusion import plan
from checklist.number import shown
from checklist.preparation import FIRST, SECOND, Preparation, Surroundings
from checklist.quantity import Concentration, Quantity
from checklist.target import ordered_dose, product_of
from checklist.timing import span

ENTERAL = ("PO", "NG", "PEG")
"""Routes by mouth or by a tube into the stomach."""
ITEMS: Mapping[str, str] = {
    "added": "volume of drug added",
    "carrier": "in",
    "rate": "rate",
    "only": "take care",
}
"""The further items and their words; only what applies to a dose is asked of its label."""


def parts(prep: Preparation, around: Surroundings) -> Mapping[str, str]:
    """The items that this dose has beside or instead of the plain ones; "" when not known."""
    if prep.order.second is not None:
        return _of_two(prep, around)
    if prep.order.infusion is not None:
        return _of_infusion(prep, around)
    return {"only": "for enteral use only"} if prep.order.route in ENTERAL else {}


def _of_infusion(prep: Preparation, around: Surroundings) -> Mapping[str, str]:
    run, made = prep.order.infusion, plan(prep, around)
    assert run is not None
    rate = run.rate
    if rate is None and made is not None:
        rate = made.rate_set
    found = {
        "volume": "" if made is None else str(made.volume),
        "concentration": "" if made is None else per_mL(made.strength),
        "rate": "" if rate is None else str(rate),
    }
    if not run.into:
        return found
    drawn = prep.latest("drawn_volume")
    added = drawn.value if drawn else None
    strength = "" if run.carrier_strength is None else f" {of_fluid(run.carrier_strength)}"
    found["added"] = str(added) if isinstance(added, Quantity) else ""
    found["carrier"] = f"{run.carrier}{strength}, {run.volume}" if run.carrier else ""
    return found


def both(prep: Preparation, around: Surroundings) -> tuple[tuple[str, Quantity, str], ...]:
    """Each of two drugs in one syringe: its name, its amount, and that in each mL of the liquid.

    Empty for an order of one drug, and while an amount or the volume is not known.
    """
    if prep.order.second is None:
        return ()
    views = [prep.of(FIRST), prep.of(SECOND)]
    products = [product_of(view, around) for view in views]
    doses = [ordered_dose(view, around) for view in views]
    total = prep.latest("drawn_volume")
    liquid = total.value if total else None
    if None in products or None in doses or not isinstance(liquid, Quantity):
        return ()
    return tuple(
        (product.drug, dose, per_mL(Concentration(amount=dose, per=liquid)))
        for product, dose in zip(products, doses, strict=True)
        if product is not None and dose is not None
    )


def _of_two(prep: Preparation, around: Surroundings) -> Mapping[str, str]:
    """Both drugs with their amounts, and what each comes to in all of the liquid."""
    each = both(prep, around)
    return {
        "drug": " and ".join(name for name, _, _ in each),
        "dose": " and ".join(f"{name} {dose}" for name, dose, _ in each),
        "concentration": " and ".join(f"{name} {strength}" for name, _, strength in each),
    }


def together_until(prep: Preparation, around: Surroundings) -> datetime | None:
    """Until when two drugs may stay in one syringe by the ward's table; None where it sets none."""
    second, both_in = prep.order.second, prep.time_of("drawn_volume")
    if second is None or both_in is None:
        return None
    pair = around.compatibility.of(prep.order.drug, second.drug, Where.SYRINGE)
    return None if pair is None or pair.within is None else both_in + span(pair.within)


def per_mL(strength: Concentration) -> str:
    """A strength as the amount in one mL, a mass in grams told in mg."""
    each = strength.per_mL
    return str(each.to("mg/mL") if each.unit == "g/mL" else each)


def of_fluid(strength: Concentration) -> str:
    """A carrier fluid's strength as its bag says it: in percent, the grams in 100 mL.

    So it is not taken for that of the drug beside it, which is told by the mL. A strength that is
    no mass is told by the mL as well. Common practice, no source.
    """
    if not strength.amount.alike(Quantity.of(1, "g")):
        return per_mL(strength)
    grams = strength.amount_in(Quantity.of(100, "mL")).to("g")
    return f"{shown(grams.magnitude)} %"
