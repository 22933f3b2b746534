"""Devices that come filled: which containers they are, and whether a dose is all that one holds."""

from __future__ import annotations

from checklist.formulary import Product
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import product_of, target

FILLED = (
    "prefilled_syringe",
    "cartridge_in_holder",
    "two_chamber_device",
    "depot_suspension",
    "pharmacy_syringe",
    "auto_injector",
)
"""Containers of one dose that is given out of the container itself."""
PENS = ("insulin_pen",)
RESUSPENDED = ("rolled and turned over", "rolled", "turned over", "swirled", "shaken")
"""How a suspension may be made even, as its leaflet says."""


def amount_of(product: Product) -> Quantity:
    """The labelled amount of drug in one device."""
    return product.strength.amount_in(product.content)


def is_whole(prep: Preparation, around: Surroundings) -> bool:
    """Whether the dose is all that one device holds by its label."""
    aim, product = target(prep, around), product_of(prep, around)
    return aim is not None and product is not None and aim.exact == product.content
