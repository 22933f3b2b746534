"""Amounts as a ward's files write them: a dose, a volume, a strength, a length of time."""

from __future__ import annotations

from checklist.intake.fault import NotAsWritten
from checklist.number import quoted
from checklist.quantity import Concentration, Quantity, UnitFault


def strength_of(text: str) -> Concentration:
    """A strength written as an amount in a volume."""
    if not any(link in text for link in (" in ", "/", " per ", "%", ":")):
        raise UnitFault(f"{quoted(text)} has no volume. Write it like 10 mg in 1 mL.")
    return Concentration.parse(text)


def dose_of(text: str) -> Quantity:
    """An amount above zero."""
    read = Quantity.parse(text)
    if not read.magnitude > 0:
        raise NotAsWritten(f"{quoted(text)} is no amount. Write one above zero.")
    return read


def volume_of(text: str) -> Quantity:
    """A volume above zero."""
    read = dose_of(text)
    if not read.alike(Quantity.of(1, "mL")):
        raise NotAsWritten(f"{quoted(text)} is not a volume. Write it like 2 mL.")
    return read


def time_of(text: str) -> Quantity:
    """A length of time above zero."""
    read = dose_of(text)
    if not read.alike(Quantity.of(1, "h")):
        raise NotAsWritten(f"{quoted(text)} is not a length of time. Write it like 6 h.")
    return read
