"""The label stock of a ward: sizes, forms, and what the unit wants printed on it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from checklist.number import NumberFault, number, plain, quoted
from checklist.quantity import Quantity

LEAST, MOST = Fraction(20), Fraction(200)
"""The shortest and the longest side of a label, in mm. Common practice, no source."""
_FORM = re.compile(r"([0-9.]+) ?x ?([0-9.]+)(?: ?mm)?")


class NoSuchStock(ValueError):
    """A size, form or kind of label that cannot be used. The message is a sentence for a person."""


class Kind(StrEnum):
    """What a label is stuck on."""

    SYRINGE = "syringe"
    BAG = "bag"
    VIAL = "vial"
    ENTERAL = "enteral"

    @property
    def shared(self) -> bool:
        """Whether it may serve several patients, so that none is named on it."""
        return self is Kind.VIAL


class Form(StrEnum):
    """How a label is stuck on: flat, or folded round a narrow strip so that it stands off."""

    FLAT = "flat"
    FLAG = "flag"


class Symbol(StrEnum):
    """The kind of code on a label."""

    DATAMATRIX = "datamatrix"
    QR = "qr"


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Width and height of the face of a label in mm, as the text stands on it."""

    width: Fraction
    height: Fraction

    @classmethod
    def parse(cls, text: str) -> Size:
        """A size such as "60 x 30 mm"; the unit may be left out. Raises NoSuchStock."""
        found = _FORM.fullmatch(text.strip())
        try:
            sides = [number(side) for side in found.groups()] if found else []
        except NumberFault:
            sides = []
        if len(sides) != 2:
            raise NoSuchStock(
                f'{quoted(text)} is no label size. Write width and height like "60 x 30 mm".'
            )
        if not all(LEAST <= side <= MOST for side in sides):
            raise NoSuchStock(
                f"{quoted(text)} is no label size: each side is from {LEAST} mm to {MOST} mm."
            )
        return cls(width=sides[0], height=sides[1])

    def __str__(self) -> str:
        return f"{plain(self.width)} x {plain(self.height)} mm"


def _of(width: int, height: int) -> Size:
    return Size(width=Fraction(width), height=Fraction(height))


SIZES = (_of(50, 25), _of(60, 30), _of(80, 40), _of(100, 60))
"""The sizes that are offered when a label does not fit, the smallest first."""
USUAL: Mapping[Kind, Size] = MappingProxyType(
    {
        Kind.SYRINGE: _of(60, 30),
        Kind.BAG: _of(80, 40),
        Kind.VIAL: _of(60, 30),
        Kind.ENTERAL: _of(60, 30),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """The labels of a unit.

    `sizes` is the face for each kind. `symbol` is the kind of code. A syringe of `flag_up_to` or
    less gets a flag, whose blank strip of `strip` mm is stuck on the back of the barrel.
    `class_colours` asks for the background colours of anaesthesia labels.
    """

    sizes: Mapping[Kind, Size] = field(default_factory=lambda: USUAL)
    symbol: Symbol = Symbol.DATAMATRIX
    flag_up_to: Quantity = Quantity.of("3", "mL")
    strip: Fraction = Fraction(8)
    class_colours: bool = False

    def form_for(self, syringe: Quantity | None) -> Form:
        """The form for a dose in a syringe of this size; flat where there is no syringe."""
        small = syringe is not None and syringe <= self.flag_up_to
        return Form.FLAG if small else Form.FLAT
