"""The table [labels] of unit.toml: the sizes, the code and the forms of the unit's labels."""

from __future__ import annotations

from fractions import Fraction
from types import MappingProxyType
from typing import Annotated

from pydantic import Field

from checklist.intake.fault import Findings, NotAsWritten, Record
from checklist.number import quoted
from checklist.quantity import Quantity
from checklist.stock import USUAL, Kind, NoSuchStock, Size, Stock, Symbol

Words = Annotated[str, Field(min_length=1, max_length=40)]
WIDEST_STRIP = 30
"""In mm: more than half way round a 20 mL syringe. Common practice, no source."""


class Labels(Record):
    """The table as the file writes it."""

    syringe: Words | None = None
    bag: Words | None = None
    vial: Words | None = None
    enteral: Words | None = None
    symbol: Words | None = None
    flag_up_to: Words | None = None
    strip: Words | None = None
    class_colours: bool | None = None


def stock_of(given: Labels, findings: Findings) -> Stock:
    """The unit's labels; what cannot be read is a fault, and what is left out as shipped."""
    usual = Stock()
    sizes = {
        kind: findings.read(f"labels, {kind}", _size, text)
        for kind in Kind
        if (text := getattr(given, kind.value)) is not None
    }
    symbol = usual.symbol
    if given.symbol is not None and findings.listed("labels, symbol", given.symbol, list(Symbol)):
        symbol = Symbol(given.symbol)
    flag = findings.read("labels, flag_up_to", _volume, given.flag_up_to or "")
    strip = findings.read("labels, strip", _strip, given.strip or "")
    return Stock(
        sizes=MappingProxyType({**USUAL, **{k: s for k, s in sizes.items() if s is not None}}),
        symbol=symbol,
        flag_up_to=usual.flag_up_to if flag is None else flag,
        strip=usual.strip if strip is None else strip,
        class_colours=bool(given.class_colours),
    )


def _size(text: str) -> Size:
    try:
        return Size.parse(text)
    except NoSuchStock as fault:
        raise NotAsWritten(str(fault)) from None


def _volume(text: str) -> Quantity:
    read = Quantity.parse(text)
    if not read.alike(Quantity.of(1, "mL")):
        raise NotAsWritten(f'{quoted(text)} is no volume. Write it like "3 mL".')
    return read


def _strip(text: str) -> Fraction:
    read = Quantity.parse(text)
    if not read.alike(Quantity.of(1, "mm")) or not 4 <= read.to("mm").magnitude <= WIDEST_STRIP:
        raise NotAsWritten(
            f'{quoted(text)} is no width from 4 mm to {WIDEST_STRIP} mm. Write it like "8 mm".'
        )
    return read.to("mm").magnitude
