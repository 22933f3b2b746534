"""How long a vial may be used once it was opened or mixed, and what must then be written on it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from checklist.dose import discard
from checklist.formulary import Product
from checklist.observation import ProductRead
from checklist.preparation import Preparation, Surroundings
from checklist.target import mixture_in_force, product_of, strength_in_force
from checklist.timing import said_date, said_moment, span
from checklist.unit import Unit


def discard_by(opened: date, product: Product, expiry: date, unit: Unit) -> date:
    """The last day on which a vial for many doses may be used.

    The maker's own life goes before the unit's days, shorter or longer; by the unit's rule "maker"
    there is none but the maker's. The unit says whether the day of opening counts as day 0 or 1.
    The printed expiry is never passed.
    """
    days = unit.word("mdv_days")
    if not opened <= expiry or (product.life_in_use is None and days == "maker"):
        return expiry
    life = int(days) if product.life_in_use is None else span(product.life_in_use).days
    counting = (discard.Counting.FROM_ZERO, discard.Counting.FROM_ONE)[unit.count("mdv_opened_day")]
    kept = min(max(life, 1), discard.MAX_DAYS)
    return discard.discard_by(opened, days=kept, counting=counting, expiry=expiry).last_day


def opened_on(prep: Preparation, around: Surroundings) -> date | None:
    """The day on which the vial in the hand was opened: read from it, or today for a new one."""
    state, written = prep.latest("vial_state"), prep.latest("vial_opened_on")
    if state is None:
        return None
    if written is not None and isinstance(written.value, date):
        return written.value
    return around.unit.local(around.at).date()


def mixed_until(prep: Preparation, around: Surroundings) -> datetime | None:
    """The moment up to which a mixed powder may be used; None where nothing limits it."""
    at, mixture = prep.time_of("diluent_added"), mixture_in_force(prep, around)
    if at is None or mixture is None or mixture.mixing.life is None:
        return None
    return at + span(mixture.mixing.life)


def vial_items(prep: Preparation, around: Surroundings) -> Mapping[str, str]:
    """What is written on a vial that stays in use, by item; empty for one that does not.

    One for many doses carries the day it was opened and the day to discard it by; one whose mixed
    rest may be kept carries strength, diluent, time and the moment up to which it may be used.
    """
    product = product_of(prep, around)
    if product is None:
        return {}
    begun = opened_on(prep, around)
    if begun is not None:
        printed = prep.latest("expiry")
        if printed is None or not isinstance(printed.value, date):
            return {}
        last = discard_by(begun, product, printed.value, around.unit)
        return {
            "opened": said_date(begun),
            "discard_after": said_date(last),
            "initials": prep.preparer,
        }
    mixture, strength = mixture_in_force(prep, around), strength_in_force(prep, around)
    at, until = prep.time_of("diluent_added"), mixed_until(prep, around)
    if mixture is None or strength is None or at is None or not mixture.mixing.kept:
        return {}
    return {
        "mixed_drug": f"{product.drug} {strength}",
        "mixed_with": diluent_used(prep, around),
        "mixed": said_moment(at, around.unit),
        **({} if until is None else {"use_before": said_moment(until, around.unit)}),
        "initials": prep.preparer,
    }


VIAL_WORDS: Mapping[str, str] = {
    "mixed_drug": "",
    "mixed_with": "mixed with ",
    "mixed": "mixed ",
    "opened": "opened ",
    "discard_after": "discard after ",
    "use_before": "use before ",
    "initials": "initials ",
}
"""What stands before each item of a vial's own label."""


def vial_label(prep: Preparation, around: Surroundings) -> tuple[str, ...]:
    """The vial's own label in lines; empty for a vial that does not stay in use."""
    return tuple(f"{VIAL_WORDS[name]}{text}" for name, text in vial_items(prep, around).items())


def diluent_used(prep: Preparation, around: Surroundings) -> str:
    """The diluent with the volume that went into each container, in words; "" before that."""
    read, volume = prep.latest("diluent"), prep.latest("diluent_drawn")
    if read is None or volume is None or not isinstance(read.value, ProductRead):
        return ""
    fluid = around.formulary.products.get(read.value.code)
    return "" if fluid is None else f"{fluid.called or fluid.drug}, {volume.value}"
