"""What this preparation must come to: the ordered dose, its volume, and what is left over."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.volume import volume_for
from checklist.dose.weight import weight_dose
from checklist.dose.working import Working, after
from checklist.formulary import Product
from checklist.observation import ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity, Rounded
from checklist.syringe import on_line


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The volume to set: exact, and on the scale of the chosen syringe when one is chosen.

    `step` is that scale's interval, or the product's own coarser one, None before a syringe is
    chosen. `working` has every line, from the order to the volume to set.
    """

    dose: Quantity
    exact: Quantity
    set: Quantity
    rounded: Rounded | None
    step: Quantity | None
    working: Working


def ordered_dose(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The amount for this administration; None when the order or the weight it needs is missing."""
    found = dose_working(prep, around)
    return None if found is None else found.exact


def dose_working(prep: Preparation, around: Surroundings) -> Working | None:
    """As `ordered_dose`, with the lines of a dose that hangs on body weight."""
    order = prep.order
    if order.dose is not None:
        return Working(value=order.dose, exact=order.dose, lines=())
    weight = weight_in_kg(around)
    if order.dose_per_weight is None or weight is None:
        return None
    return weight_dose(order.dose_per_weight, weight)


def weight_in_kg(around: Surroundings) -> Quantity | None:
    """The patient's weight; None when none is on record, or one in pounds, which is no kg."""
    weight = around.patient.weight if around.patient else None
    return weight if weight is not None and weight.alike(Quantity.of(1, "kg")) else None


def product_of(prep: Preparation, around: Surroundings) -> Product | None:
    """The product that was accepted for this preparation, None before one was."""
    reading = prep.latest("product")
    if reading is None or not isinstance(reading.value, ProductRead):
        return None
    return around.formulary.products.get(reading.value.code)


def graduation_of(prep: Preparation) -> Quantity | None:
    """The scale interval of the chosen syringe, None before one was chosen."""
    reading = prep.latest("graduation")
    value = reading.value if reading else None
    return value if isinstance(value, Quantity) else None


def target(
    prep: Preparation, around: Surroundings, *, graduation: Quantity | None = None
) -> Target | None:
    """What to set in the syringe, or None when order or product do not give it.

    Raises DimensionMismatch when the order and the product do not measure the same kind of thing.
    """
    ordered, product = dose_working(prep, around), product_of(prep, around)
    if ordered is None or product is None:
        return None
    working = after(ordered, volume_for(ordered.exact, product.strength))
    line = graduation if graduation is not None else graduation_of(prep)
    if line is None:
        return Target(
            dose=ordered.exact, exact=working.exact, set=working.exact, rounded=None, step=None,
            working=working,
        )  # fmt: skip
    step = _step(product, line)
    found = working.exact.rounded(step, product.rounding)
    # How far rounding may go is for the checks to say; rounded to nothing, it has no lines.
    if found.value.magnitude > 0:
        rule = RoundingRule(step=step, how=product.rounding, refuse_above=None)
        working = rounded(working, rule)
    return Target(
        dose=ordered.exact, exact=working.exact, set=found.value, rounded=found, step=step,
        working=working,
    )  # fmt: skip


def _step(product: Product, line: Quantity) -> Quantity:
    """The product's own step where it is a whole number of the syringe's lines, else one line."""
    own = product.rounding_step
    return own if own is not None and own >= line and on_line(own, line) else line


def containers_for(volume: Quantity, product: Product) -> int:
    """How many containers hold the volume by their labelled content."""
    return -(-volume.ratio(product.content) // 1)


def opened_volume(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The labelled content of all containers that this dose opens, in mL."""
    aim, product = target(prep, around), product_of(prep, around)
    if aim is None or product is None:
        return None
    return (product.content * containers_for(aim.exact, product)).to("mL")


def waste_volume(prep: Preparation, around: Surroundings) -> Quantity | None:
    """What is left of the labelled content after the dose that was drawn, in mL.

    The overfill that makers add is not in the label's figure and so not in this one.
    """
    opened, drawn = opened_volume(prep, around), prep.latest("drawn_volume")
    if opened is None or drawn is None or not isinstance(drawn.value, Quantity):
        return None
    return opened - drawn.value
