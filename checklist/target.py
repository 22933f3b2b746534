"""What this preparation must come to: the ordered dose, its volume, and what is left over."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.dose.volume import volume_for
from checklist.dose.working import Working
from checklist.formulary import Product
from checklist.observation import ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity, Rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The volume to set: exact, and on the scale of the chosen syringe when one is chosen.

    `step` is that scale's interval, None before a syringe is chosen.
    """

    dose: Quantity
    exact: Quantity
    set: Quantity
    rounded: Rounded | None
    step: Quantity | None
    working: Working


def ordered_dose(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The amount for this administration; None when the order or the weight it needs is missing."""
    order = prep.order
    if order.dose is not None:
        return order.dose
    weight = around.patient.weight if around.patient else None
    if order.dose_per_weight is None or weight is None:
        return None
    return order.dose_per_weight * weight


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
    dose, product = ordered_dose(prep, around), product_of(prep, around)
    if dose is None or product is None:
        return None
    working = volume_for(dose, product.strength)
    step = graduation if graduation is not None else graduation_of(prep)
    rounded = working.value.rounded(step) if step is not None else None
    return Target(
        dose=dose,
        exact=working.value,
        set=rounded.value if rounded is not None else working.value,
        rounded=rounded,
        step=step,
        working=working,
    )


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
