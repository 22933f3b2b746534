"""Devices that come filled: which ones, whether a dose is all of one, and a time of their own."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from checklist.formulary import Product
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import product_of, target
from checklist.timing import span
from checklist.unit import Unit

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


def until(prep: Preparation, around: Surroundings) -> datetime | None:
    """When a device runs out by a time of its own; None when it has none, or none yet.

    That is the pharmacy's own limit on what it filled, and for a depot its life once made even.
    """
    day, at = prep.latest("use_before_day"), prep.latest("use_before_time")
    if day is not None and isinstance(day.value, date):
        return pharmacy_limit(day.value, at.value if at is not None else None, around.unit)
    product, even = product_of(prep, around), prep.time_of("moved_for")
    if product is None or even is None or product.container != "depot_suspension":
        return None
    life = product.life_after_opening
    return even + span(life) if life is not None else None


def pharmacy_limit(day: date, at: object, unit: Unit) -> datetime:
    """The moment that a pharmacy's label sets: its day and time, or the end of its day.

    `at` is a time of day as it was read at a step, which has today's date.
    """
    zone = ZoneInfo(unit.timezone)
    if isinstance(at, datetime):
        return datetime.combine(day, unit.local(at).time(), zone)
    return datetime.combine(day + timedelta(days=1), time(), zone)
