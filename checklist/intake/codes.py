"""What a ward knows of codes: its scanner, its wristbands, and national product numbers.

In unit.toml:

    wristband = "LG[0-9]{7}"            # what the hospital's own wristband carries

    [numbers.pzn]                       # a national product number, under a name of the unit's own
    pattern = "-?([0-9]{8})"            # what its code carries; the group is the number itself
    check = "mod 11"                    # may be left out

and in the formulary, for each product that has any: numbers = ["pzn 12345678", "ndc 01234-567-89"].
NDC is known without a pattern. Its three forms of ten figures and the billing form of eleven: NDC
conversion tables; the form of twelve: FDA, 91 FR 10749, 2026-03-05, effective 2033-03-07. That a
GTIN with the prefix 03 holds the ten figures of an NDC: GS1 US (from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from checklist.formulary import Formulary
from checklist.interop.gtin import CodeFault
from checklist.interop.scanner import UNTRIED, Scanner
from checklist.number import quoted
from checklist.unit import NDC, NumberForm, Unit

_NDC_TEN = ((4, 4, 2), (5, 3, 2), (5, 4, 1))
_NDC_FORMS = (*_NDC_TEN, (5, 4, 2), (6, 4, 2))
_NDC_FULL = (6, 4, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeBook:
    """What codes mean here. `items` maps (name of the number, number) to the product's code,
    `embedded` the ten figures of an NDC, as a GTIN holds them, to that of the only product that has
    them; `forms` are the unit's own numbers. `ndc` says that products here have NDCs."""

    scanner: Scanner = UNTRIED
    items: Mapping[tuple[str, str], str] = field(default_factory=dict)
    embedded: Mapping[str, str] = field(default_factory=dict)
    forms: Mapping[str, NumberForm] = field(default_factory=dict)
    ndc: bool = False

    def national(self, text: str) -> str | None:
        """The code of the product with this national number; None for a text that is none.

        Raises CodeFault for a number that no product has, or that is misread, or that can be read
        in several ways.
        """
        for name, form in self.forms.items():
            number = form.number(text)
            if number is not None:
                return self._item(name, number, text)
        if re.fullmatch(r"[0-9]{4,6}-[0-9]{3,4}-[0-9]{1,2}", text):
            return self._item(NDC, full_ndc(text), text)
        if self.ndc and re.fullmatch(r"[0-9]{10}|[0-9]{11}", text):
            raise CodeFault(
                f"{text} has {len(text)} figures. As an NDC it can be {_listed(readings(text))},"
                " and no guess is made. Type it with its hyphens, as the label has it."
            )
        return None

    def of_gtin(self, gtin: str) -> str:
        """The code of the product that a GTIN with an NDC in it stands for, else the GTIN."""
        if gtin.startswith("003"):
            return self.embedded.get(gtin[3:13], gtin)
        return gtin

    def _item(self, name: str, number: str, text: str) -> str:
        form = self.forms.get(name)
        if form is not None and not form.checks_out(number):
            raise CodeFault(
                f"{quoted(text)} reads as {name}, and its check figure does not fit the others."
                " Scan it again, or type the item number from the label."
            )
        code = self.items.get((name, number))
        if code is None:
            raise CodeFault(
                f"{quoted(text)} reads as {name} {number}, and no product of the formulary has it."
                " Look for another code on the label, type the item number, or call the pharmacist."
            )
        return code


def codes_of(unit: Unit, formulary: Formulary, scanner: Scanner = UNTRIED) -> CodeBook:
    """The code book of a ward; its files were looked over, so that every number can be read."""
    items: dict[tuple[str, str], str] = {}
    ten: dict[str, set[str]] = {}
    for code, product in formulary.products.items():
        for told in product.numbers:
            name, _, number = told.partition(" ")
            if name == NDC:
                if len(number.replace("-", "")) == 10:
                    ten.setdefault(number.replace("-", ""), set()).add(code)
                number = full_ndc(number)
            items[name, number] = code
    return CodeBook(
        scanner=scanner,
        items=items,
        embedded={figures: codes.pop() for figures, codes in ten.items() if len(codes) == 1},
        forms=unit.numbers,
        ndc=any(name == NDC for name, _ in items)
        or any(code.startswith("003") for code in formulary.products),
    )


def amiss(unit: Unit, formulary: Formulary) -> Iterator[tuple[str, str]]:
    """Each national number of the formulary that could not be read, with its place and why."""
    first: dict[tuple[str, str], str] = {}
    for code, product in formulary.products.items():
        place = f"product ({code}), numbers"
        for told in product.numbers:
            name, _, number = told.partition(" ")
            form = unit.numbers.get(name)
            if name == NDC:
                try:
                    number = full_ndc(number)
                except CodeFault as fault:
                    yield place, str(fault)
                    continue
            elif form is None:
                known = ", ".join((NDC, *unit.numbers))
                yield place, f"{quoted(told)} begins with no name of a number. Names: {known}."
                continue
            elif form.number(number) != number or not form.checks_out(number):
                yield place, f"{quoted(told)} is not as unit.toml says {name} is. Read it again."
            if first.setdefault((name, number), code) != code:
                yield place, f"{quoted(told)} stands at {first[name, number]} as well. Keep one."


def full_ndc(text: str) -> str:
    """An NDC with hyphens in its form of twelve figures, 6-4-2, zeros put in front of each part.

    Raises CodeFault for parts of other lengths.

    >>> full_ndc("0123-4567-89")
    '000123-4567-89'
    """
    parts = text.split("-")
    if tuple(map(len, parts)) not in _NDC_FORMS or not all(
        part.isascii() and part.isdecimal() for part in parts
    ):
        raise CodeFault(
            f"{quoted(text)} is not written like an NDC: 4-4-2, 5-3-2, 5-4-1, 5-4-2 or 6-4-2"
            " figures. Read it from the label again."
        )
    return "-".join(part.zfill(length) for part, length in zip(parts, _NDC_FULL, strict=True))


def readings(figures: str) -> tuple[str, ...]:
    """Each way to read the figures of an NDC of ten or eleven figures without its hyphens."""
    forms = _NDC_TEN if len(figures) == 10 else ((5, 4, 2),)
    return tuple(f"{figures[:a]}-{figures[a : a + b]}-{figures[a + b :]}" for a, b, _ in forms)


def _listed(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}" if len(words) > 1 else words[0]
