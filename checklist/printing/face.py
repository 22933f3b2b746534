"""The face of a label: which rows stand on it, in which order, in which letters."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from checklist.label import Label
from checklist.label_parts import ENTERAL, both
from checklist.preparation import Preparation, Surroundings
from checklist.printing.class_colour import ClassColour, colours
from checklist.printing.label_code import LabelCode
from checklist.printing.tall_man import tall
from checklist.stock import Kind
from checklist.target import product_of
from checklist.vial import VIAL_WORDS, vial_items

NAME_LEAST, REST_LEAST = 8, 6
"""The least letters in points for names, drug and dose, and for all else. Common practice: 8 points
in bold are 20 minutes of arc at 35 cm."""

# What stands before an item on the label; the others speak for themselves.
BEFORE: Mapping[str, str] = {
    "diluent": "mixed with",
    "added": "drug added",
    "carrier": "in",
    "rate": "rate",
    "prepared": "prepared",
    "use_before": "use before",
    "prepared_by": "by",
    "checked_by": "checked by",
}
ONLY_BY = {
    "IT": "for intrathecal use only",
    "EPI": "for epidural use only",
    "INH": "not for injection",
}
SHORT = 17
"""An item of no more characters stays on one line."""
_STAYS = "\u00a0"
_GLUED = re.compile(r"(?<=[0-9]) (?=[A-Za-z%])|(?<=[0-9]{4}) (?=[0-9]{2}:)")
_MONTH = re.compile(r"(?<=\b[A-Z][a-z]{2}) (?=[0-9]{4}\b)")
_RECORD = re.compile(r"(?<=\brecord) (?=\S)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bit:
    """One item of a row: its name, its words, and whether they are bold."""

    item: str
    text: str
    bold: bool = False

    def __post_init__(self) -> None:
        # A letter and its accent may come as two; the font has them as one.
        object.__setattr__(self, "text", unicodedata.normalize("NFC", self.text))

    @property
    def said(self) -> str:
        """The text with plain spaces."""
        return self.text.replace(_STAYS, " ")

    @property
    def words(self) -> tuple[str, ...]:
        """The pieces between which a line may break: never within an amount or a date."""
        return pieces(self.text if len(self.text) > SHORT else self.text.replace(" ", _STAYS))


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Items side by side, in letters of `least` to `most` points.

    `spread` puts the last item at the right end, `boxed` draws a frame round a caution.
    """

    bits: tuple[Bit, ...]
    most: float
    least: float = REST_LEAST
    spread: bool = False
    boxed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """Everything that stands on a label but its code."""

    title: str
    rows: tuple[Row, ...]
    colour: ClassColour | None = None

    @property
    def texts(self) -> Iterator[tuple[str, str]]:
        """Each item with its text, as printed."""
        return ((bit.item, bit.text) for row in self.rows for bit in row.bits)


def pieces(text: str) -> tuple[str, ...]:
    """A text cut where a line may break: never within an amount, a date or a record number."""
    for stays in (_GLUED, _MONTH, _RECORD):
        text = stays.sub(_STAYS, text)
    return tuple(text.split(" "))


def kind_of(prep: Preparation) -> Kind:
    """What the dose is in, and so which label it gets."""
    run = prep.order.infusion
    if run is not None and run.into != "pump syringe":
        return Kind.BAG
    return Kind.ENTERAL if prep.order.route in ENTERAL else Kind.SYRINGE


def dose_face(
    made: Label, prep: Preparation, around: Surroundings, code: LabelCode, *, coloured: bool = False
) -> Face:
    """The face for the dose as drawn; `coloured` asks for the colour of the drug's class."""
    of = made.items
    rows = [
        *_heads(made, prep, around),
        Row(bits=_strengths(made, prep, around), most=9.5, least=6.5),
        _boxed(_cautions(made, prep, around)),
        Row(bits=_bits(made, "added", "carrier"), most=8.5),
        Row(bits=_bits(made, "rate", bold=True), most=9.5, least=7),
        Row(bits=_bits(made, "diluent"), most=8),
        Row(bits=_bits(made, "patient_name", bold=True), most=11, least=NAME_LEAST),
        Row(bits=_bits(made, "identifiers"), most=8.5),
        Row(bits=_bits(made, "use_before", bold=True), most=9.5, least=7),
        Row(bits=_bits(made, "prepared", "prepared_by", "checked_by"), most=8),
        _coded(code),
    ]
    return Face(
        title=f"Label: {of['drug']} {of['dose']}",
        rows=tuple(row for row in rows if row.bits),
        colour=_colour(prep, around) if coloured else None,
    )


def vial_face(prep: Preparation, around: Surroundings, code: LabelCode) -> Face:
    """The face for a vial that stays in use; without rows where it does not."""
    items, product = vial_items(prep, around), product_of(prep, around)
    if not items or product is None:
        return Face(title="", rows=())
    name = items.get("mixed_drug") or product.said
    bits = {
        item: Bit(item=item, text=f"{VIAL_WORDS[item]}{text}", bold=item in ENDS)
        for item, text in items.items()
    }
    rest = tuple(bit for item, bit in bits.items() if item not in ("mixed_drug", *ENDS))
    rows = [
        Row(bits=(Bit(item="drug", text=tall(name), bold=True),), most=13, least=NAME_LEAST),
        *(Row(bits=(bits[item],), most=12, least=NAME_LEAST) for item in ENDS if item in bits),
        *(Row(bits=(bit,), most=9) for bit in rest),
        _coded(code),
    ]
    return Face(title=f"Vial label: {name}", rows=tuple(rows))


ENDS = ("discard_after", "use_before")


def _coded(code: LabelCode) -> Row:
    """The figures of the code, and from the second label on which one it is."""
    bits = [Bit(item="code", text=code.grouped.replace(" ", _STAYS))]
    if code.number > 1:
        bits.append(Bit(item="number", text=f"label{_STAYS}{code.number}"))
    return Row(bits=tuple(bits), most=7)


def _bits(made: Label, *items: str, bold: bool = False) -> tuple[Bit, ...]:
    return tuple(
        Bit(
            item=item,
            text=f"{BEFORE[item]} {text}" if item in BEFORE else text,
            bold=bold,
        )
        for item in items
        if (text := _said(made, item))
    )


def _said(made: Label, item: str) -> str:
    text = made.items.get(item, "")
    return tall(text) if item == "drug" else text


def _heads(made: Label, prep: Preparation, around: Surroundings) -> Iterator[Row]:
    """The drug with its amount; of two in one syringe each on a row of its own."""
    for bits in [
        (Bit(item="drug", text=tall(drug), bold=True), Bit(item="dose", text=str(dose), bold=True))
        for drug, dose, _ in both(prep, around)
    ] or (_bits(made, "drug", "dose", bold=True),):
        yield Row(bits=bits, most=13, least=NAME_LEAST, spread=True)


def _strengths(made: Label, prep: Preparation, around: Surroundings) -> tuple[Bit, ...]:
    """The whole volume, the concentration, of two drugs each with its name, and the route."""
    two = tuple(
        Bit(item="concentration", text=f"{tall(drug)} {strength}", bold=True)
        for drug, _, strength in both(prep, around)
    )
    each = two or _bits(made, "concentration", bold=True)
    return (*_bits(made, "volume", bold=True), *each, *_bits(made, "route", bold=True))


def _boxed(cautions: Iterable[str]) -> Row:
    bits = tuple(Bit(item="only", text=text, bold=True) for text in cautions)
    return Row(bits=bits, most=9, least=7, boxed=True)


def _cautions(made: Label, prep: Preparation, around: Surroundings) -> Iterator[str]:
    """What the next reader has to take care of."""
    if only := made.items.get("only", ""):
        yield only
    if prep.order.route in ONLY_BY:
        yield ONLY_BY[prep.order.route]
    drug, product = around.formulary.drug(prep.order.drug), product_of(prep, around)
    if drug is not None and drug.hazardous:
        yield "hazardous drug"
    if product is not None and product.suspension:
        yield "settles: even it out before use"


def _colour(prep: Preparation, around: Surroundings) -> ClassColour | None:
    """The colour of the drug's class; none for two drugs in one, or for a class without one."""
    drug = around.formulary.drug(prep.order.drug)
    if drug is None or prep.order.second is not None:
        return None
    return colours().get(drug.drug_class)
