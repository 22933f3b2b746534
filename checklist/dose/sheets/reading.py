"""Reading what was written for a blank: strictly, as it stands, with a sentence when it is not."""

from collections.abc import Callable
from datetime import date, datetime, time
from fractions import Fraction

from checklist.number import number, quoted
from checklist.quantity import Concentration, Quantity
from checklist.site import Age
from checklist.ucum import unit, written

AMOUNTS = ("mg", "{unit}", "[iU]", "mmol", "meq", "mosm")
VOLUME = ("mL",)
WEIGHT = ("kg", "[lb_av]")
TIME = ("h",)


class Misfit(ValueError):
    """What was written is read well, and is another kind of thing than is asked for."""


def quantity(*codes: str, like: str) -> Callable[[str], Quantity]:
    """A reader of quantities that are alike to one of the codes; `like` shows how they look."""

    def read(text: str) -> Quantity:
        found = Quantity.parse(text)
        if not any(found.alike(Quantity.of(1, code)) for code in codes):
            raise Misfit(f"{quoted(text)} is {unit(found.unit).meaning}. Write it like {like}.")
        return found

    return read


def per(below: str, *codes: str, like: str) -> Callable[[str], Quantity]:
    """A reader of amounts for each of `below`, such as kg or kg/min."""
    return quantity(*(f"{code}/{below}" for code in codes or AMOUNTS), like=like)


def strength(text: str) -> Concentration:
    """A strength as an amount in a volume; a percentage or ratio is sent to its own sheet."""
    if "%" in text or ":" in text:
        raise Misfit(
            f"{quoted(text)} does not say how much in how much. Work it out first with the sheet"
            " strength, then write the amount and the volume."
        )
    return Concentration.parse(text)


def any_strength(text: str) -> Concentration:
    """A strength in any written form, a percentage weight in volume or a ratio too."""
    return Concentration.parse(text, expand=True)


def whole(least: int = 0) -> Callable[[str], int]:
    """A reader of whole numbers from `least` on."""

    def read(text: str) -> int:
        found = number(text)
        if found.denominator != 1 or not found >= least:
            raise Misfit(f"{quoted(text)} is not a whole number of {least} or more.")
        return int(found)

    return read


def times_a_day(text: str) -> Quantity:
    """How many times a day, as a quantity per day."""
    return Quantity.of(whole(1)(text), "1/d")


def factor(text: str) -> Quantity:
    """A factor such as 2.2 pounds/kg or 5 mL/teaspoon."""
    found = Quantity.parse(text)
    if not unit(found.unit).below:
        raise Misfit(f"{quoted(text)} is no factor. Write it like 2.2 pounds/kg.")
    return found


def unit_code(text: str) -> str:
    """A unit as people write it, as its code."""
    return written(text)


def volume_or_percent(text: str) -> Quantity | Fraction:
    """A volume, or a percentage as a share."""
    figures, sign, rest = text.partition("%")
    if sign and not rest.strip():
        return number(figures.strip()) / 100
    return quantity(*VOLUME, like="50 mL")(text)


def day(text: str) -> date:
    """A date as 2026-02-10 or 10 Feb 2026; nothing that could be read in two ways."""
    for form in ("%Y-%m-%d", "%d %b %Y"):
        try:
            return datetime.strptime(text, form).date()  # noqa: DTZ007 - a day has no zone
        except ValueError:
            continue
    raise Misfit(f"{quoted(text)} is no date. Write it like 2026-02-10 or 10 Feb 2026.")


def clock(text: str) -> time:
    """A time of day as 21:30."""
    try:
        return datetime.strptime(text, "%H:%M").time()  # noqa: DTZ007 - a ward's own clock
    except ValueError:
        raise Misfit(f"{quoted(text)} is no time of day. Write it like 21:30.") from None


def age(text: str) -> Age:
    """An age as 3 years, 8 months or 10 days."""
    return Age.stated(quantity("mo", "d", like="3 years, 8 months or 10 days")(text))


def choice(*allowed: str) -> Callable[[str], str]:
    """A reader of one word out of a list, whatever its capitals."""
    known = {word.casefold(): word for word in allowed}

    def read(text: str) -> str:
        if text.casefold() not in known:
            raise Misfit(f"{quoted(text)} is not on the list. Write one of: {', '.join(allowed)}.")
        return known[text.casefold()]

    return read
