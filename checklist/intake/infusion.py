"""The part of an order line that says how a dose runs in, or which drug goes with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, TypeVar

from pydantic import Field

from checklist import ucum
from checklist.intake.fault import Findings, NotAsWritten, Record
from checklist.number import NumberFault, quoted
from checklist.order import Component, Infusion
from checklist.quantity import Concentration, DimensionMismatch, Quantity, UnitFault

VESSELS = ("bag", "bottle", "burette", "pump syringe")
"""What a drug may be added to; a bag that comes ready mixed is ordered with none of them."""

Line = Annotated[str, Field(max_length=120)]
Read = TypeVar("Read")
_AMOUNTS = (
    "mass", "international unit", "drug unit", "usp unit", "mole", "equivalent",
)  # fmt: skip


class InfusionRecord(Record):
    """How a dose runs in, as the file writes it."""

    into: Line = ""
    carrier: Line = ""
    carrier_strength: Line = ""
    volume: Line = ""
    duration: Line = ""
    rate: Line = ""
    first_out: bool = False
    gravity: bool = False


class ComponentRecord(Record):
    """The second drug of a line, as the file writes it."""

    drug: Line
    dose: Line
    strength: Line = ""


def clear(
    key: str, reader: Callable[[str], Read], text: str, unreadable: dict[str, str]
) -> Read | None:
    """What the order's text means; when it is not clear, None and the sentence is kept."""
    if not text.strip():
        return None
    try:
        return reader(text)
    except (NumberFault, UnitFault, DimensionMismatch, NotAsWritten) as fault:
        unreadable[key] = str(fault)
        return None


def infusion_of(
    one: InfusionRecord | None, place: str, findings: Findings, unreadable: dict[str, str]
) -> Infusion | None:
    """The infusion; a figure that can be read in two ways is left out and its sentence kept."""
    if one is None:
        return None
    if one.into:
        findings.listed(f"{place}, into", one.into, VESSELS)
    return Infusion(
        into=one.into,
        carrier=" ".join(one.carrier.lower().split()),
        carrier_strength=clear("carrier_strength", carrier_of, one.carrier_strength, unreadable),
        volume=clear("volume", _volume, one.volume, unreadable),
        duration=clear("duration", _duration, one.duration, unreadable),
        rate=clear("rate", rate_of, one.rate, unreadable),
        first_out=one.first_out,
        gravity=one.gravity,
    )


def component_of(
    one: ComponentRecord | None, reader: Callable[[str], Quantity], unreadable: dict[str, str]
) -> Component | None:
    """The second drug; None, with the sentence kept, when its dose cannot be read."""
    if one is None:
        return None
    dose = clear("second dose", reader, one.dose, unreadable)
    strength = clear("second strength", carrier_of, one.strength, unreadable)
    if dose is None:
        unreadable.setdefault("second dose", f"The dose of {one.drug} is missing. Have it written.")
        return None
    return Component(drug=" ".join(one.drug.split()), dose=dose, strength=strength)


def carrier_of(text: str) -> Concentration:
    """The strength of a fluid, which its label may give in percent: so many grams in 100 mL."""
    return Concentration.parse(text, expand=True)


def rate_of(text: str) -> Quantity:
    """A rate above zero: mL in a time, or an amount in a time, per kg of body weight or not."""
    read = Quantity.parse(text)
    above, below = ucum.unit(read.unit).dimension
    if not read.magnitude > 0 or below not in (("time",), ("mass", "time")):
        raise NotAsWritten(f"The rate {quoted(text)} is not so much in a time. Have it written so.")
    if above != "volume" and above not in _AMOUNTS:
        raise NotAsWritten(f"The rate {quoted(text)} is not in mL or in drug. Have it written so.")
    if above == "volume" and below != ("time",):
        raise NotAsWritten(f"The rate {quoted(text)} is mL for each kg. Have it written in mL/h.")
    return read


def _volume(text: str) -> Quantity:
    return _above_zero(text, "mL", "500 mL")


def _duration(text: str) -> Quantity:
    return _above_zero(text, "h", "4 hours")


def _above_zero(text: str, unit: str, example: str) -> Quantity:
    read = Quantity.parse(text)
    if not read.alike(Quantity.of(1, unit)) or not read.magnitude > 0:
        raise NotAsWritten(f"{quoted(text)} does not fit here. Write it like {example}.")
    return read
