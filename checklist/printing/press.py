"""From the face of a label to a file at its real size; what does not fit is told, never cut."""

from __future__ import annotations

import json
import struct
import unicodedata
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from checklist import notation
from checklist.extra import wanted
from checklist.printing.face import Bit, Face, Row
from checklist.printing.symbol import EXTRA, Drawn
from checklist.stock import SIZES, Form, Size, Stock

HERE = Path(__file__).resolve().parent
TEMPLATE = HERE / "label.typ"
USUAL_W, USUAL_H = 60, 30
"""The size, in mm, for which the greatest letters of each row are meant."""
FORMATS = ("pdf", "svg", "png")
DPI = (203, 300, 600)
"""Dots to the inch of the label printers in use."""
MARGIN = 1.5
"""What stays free round the text, in mm: label printers do not print to the edge."""
STRIPED = 2
"""How high the striped band of an opposite-action drug is, in mm."""


class Unprintable(ValueError):
    """A label that is not printed as it is. The message says why and what to do."""


class ReasonWanted(Unprintable):
    """One more label for what has one already, and no listed reason for it."""


class Incomplete(Unprintable):
    """A label that lacks items; `lacking` names them in words, of `due` that it must carry."""

    def __init__(self, lacking: Sequence[str], due: int) -> None:
        self.lacking, self.due = tuple(lacking), due
        super().__init__(f"The label lacks: {', '.join(lacking)}. Nothing was printed.")


class DoesNotFit(Unprintable):
    """A label whose text is too much for its size; `items` names what does not go on.

    `larger` is a size that is kept here and on which it fits, None where there is none.
    """

    def __init__(self, items: Sequence[str], size: Size, larger: Size | None) -> None:
        self.items, self.larger = tuple(items), larger
        way = (
            f"Take a larger label ({larger}), or write it by hand."
            if larger is not None
            else "No size that is kept here holds it. Write the label by hand."
        )
        super().__init__(
            f"This label does not fit on {size}: no room for {', '.join(self.words)}."
            f" Nothing was cut and nothing was printed. {way}"
        )

    @property
    def words(self) -> tuple[str, ...]:
        """The words for what does not go on."""
        return tuple(_named(self.items))


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A label laid out: its data for the template and the smallest letters on it, in points.

    `size` is that of its face, `sheet` that of the paper: for a flag both faces and the strip.
    """

    face: Face
    size: Size
    form: Form
    sheet: Size
    data: str
    smallest: float


# The words for an item in a sentence about it.
WORDS: Mapping[str, str] = {
    "drug": "medicine name",
    "dose": "amount of drug",
    "volume": "volume",
    "concentration": "concentration",
    "route": "route",
    "added": "volume of drug added",
    "carrier": "fluid",
    "rate": "rate",
    "diluent": "mixed with",
    "patient_name": "patient name",
    "identifiers": "second patient identifier",
    "use_before": "use before",
    "prepared": "date and time prepared",
    "prepared_by": "prepared by",
    "checked_by": "checked by",
    "only": "caution",
    "code": "figures of the code",
    "number": "number of the label",
    "opened": "opened",
    "discard_after": "discard after",
    "mixed_with": "mixed with",
    "mixed": "mixed",
    "initials": "initials",
}


DOSES = (
    "drug", "dose", "volume", "concentration", "added", "carrier", "rate", "diluent", "mixed_with",
)  # fmt: skip
"""The items for which the writing rules for doses hold; a date has its own form."""


def _named(items: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(WORDS[item] for item in items))


def lay(face: Face, symbol: Drawn, *, size: Size, form: Form, stock: Stock, alt: str) -> Laid:
    """Lay a label out at the largest letters that fit.

    `alt` says in words what the symbol holds. Raises DoesNotFit, Unprintable for a letter that the
    font does not hold, NeedsExtra.
    """
    _spelt(face)
    data = _data(face, symbol, size=size, form=form, stock=stock, alt=alt)
    found = _fit(data)
    if found["over"]:
        bigger = (s for s in SIZES if s.width >= size.width and s.height > size.height)
        fits = (
            s
            for s in bigger
            if not _fit(_data(face, symbol, size=s, form=form, stock=stock, alt=alt))["over"]
        )
        raise DoesNotFit(found["over"], size, next(fits, None))
    return Laid(
        face=face,
        size=size,
        form=form,
        sheet=_sheet(size, form, stock),
        data=data,
        smallest=found["least"],
    )


def made(laid: Laid, form: str, *, dpi: int = DPI[0]) -> bytes:
    """The label as a file: "pdf" (vector, tagged), "svg", or "png" with `dpi` dots to the inch."""
    assert form in FORMATS, form
    more: dict[str, Any] = {"ppi": float(dpi)} if form == "png" else {}
    if form == "pdf":
        more["pdf_standards"] = ["ua-1"]
    file = wanted("typst", EXTRA).compile(
        TEMPLATE.read_bytes(),
        format=form,
        sys_inputs={"d": laid.data},
        font_paths=fonts(),
        timestamp=0,
        **more,
    )
    assert isinstance(file, bytes), "a label has one page"
    return _sized(file, dpi) if form == "png" else file


def sheet(data: Mapping[str, Any]) -> tuple[bytes, int]:
    """The record of a preparation as a tagged PDF of A4 pages, and how many it has."""
    typst, source = wanted("typst", EXTRA), (HERE / "record.typ").read_bytes()
    inputs = {"d": json.dumps(_escaped(data), ensure_ascii=True)}
    pages = typst.query(
        source, "<pages>", field="value", one=True, sys_inputs=inputs, font_paths=fonts()
    )
    file = typst.compile(
        source,
        format="pdf",
        sys_inputs=inputs,
        font_paths=fonts(),
        timestamp=0,
        pdf_standards=["ua-1"],
    )
    assert isinstance(file, bytes)
    return file, int(json.loads(pages))


def _escaped(data: Any) -> Any:
    """The same data with each letter that the font does not hold told by its number."""
    if isinstance(data, str):
        return "".join(
            one if one in letters() else one.encode("unicode_escape").decode() for one in data
        )
    if isinstance(data, Mapping):
        return {key: _escaped(value) for key, value in data.items()}
    return [_escaped(value) for value in data] if isinstance(data, (list, tuple)) else data


@cache
def fonts() -> Any:
    """The fonts that come with the project, and no others: the same label on every machine."""
    return wanted("typst", EXTRA).Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(HERE / "font")]
    )


@cache
def letters() -> frozenset[str]:
    """Every letter that the font holds and that can be seen; an accent only as part of one."""
    lines = (HERE / "font" / "letters.txt").read_text(encoding="ascii").split()
    ends = (tuple(int(end, 16) for end in line.split("-")) for line in lines)
    every = (chr(point) for first, last in ends for point in range(first, last + 1))
    return frozenset(one for one in every if unicodedata.category(one) not in _UNSEEN)


# What cannot be seen, and marks that stack on the letter before them without end.
_UNSEEN = ("Cc", "Cf", "Mn", "Zl", "Zp")


def _spelt(face: Face) -> None:
    """Raise Unprintable for the first letter that would come out as an empty box."""
    for item, text in face.texts:
        for letter in text:
            if letter not in letters():
                raise Unprintable(
                    f"{_named([item])[0]}: the letters of the label do not hold"
                    f" {letter.encode('unicode_escape').decode()} ({letter!r}). Nothing was"
                    " printed. Write this label by hand."
                )


def _fit(data: str) -> Mapping[str, Any]:
    """What the template says about the layout: what is over, the smallest letters in points."""
    found = wanted("typst", EXTRA).query(
        TEMPLATE.read_bytes(),
        "<fit>",
        field="value",
        one=True,
        sys_inputs={"d": data},
        font_paths=fonts(),
    )
    read = json.loads(found)
    assert isinstance(read, dict), read
    return read


def _sheet(size: Size, form: Form, stock: Stock) -> Size:
    """The paper of a label: a flag has two faces with its strip between them."""
    if form is Form.FLAT:
        return size
    return Size(width=size.width, height=2 * size.height + stock.strip)


def _data(face: Face, symbol: Drawn, *, size: Size, form: Form, stock: Stock, alt: str) -> str:
    """What the template is given: plain data, lengths in mm."""
    w, h = float(size.width), float(size.height)
    paper = float(_sheet(size, form, stock).height)
    grow = max(1.0, min(w / USUAL_W, h / USUAL_H))
    striped = face.colour is not None and face.colour.striped
    return json.dumps(
        {
            "title": face.title,
            "page": {"width": w, "height": paper},
            "faces": [
                {"y": 0, "turned": False},
                *([{"y": paper - h, "turned": True}] if form is Form.FLAG else []),
            ],
            "face": {
                "width": w,
                "height": h,
                "margin": MARGIN,
                "top": STRIPED if striped else 0,
            },
            "rows": [_row(row, grow) for row in face.rows],
            "colour": None
            if face.colour is None
            else {"fill": face.colour.fill, "striped": striped},
            "symbol": {"svg": symbol.svg, "side": float(symbol.side), "alt": alt},
        },
        ensure_ascii=True,
    )


def _row(row: Row, grow: float) -> Mapping[str, Any]:
    """A row for the template; on a larger label than usual its letters may be larger."""
    return {
        "most": row.most * grow,
        "least": row.least,
        "spread": row.spread,
        "boxed": row.boxed,
        "tall": any(_is_tall(one) for bit in row.bits for one in bit.text),
        "bits": [_bit(bit) for bit in row.bits],
    }


def _is_tall(letter: str) -> bool:
    """Whether a letter with its accents stands out of the room of a usual line."""
    parts = len(unicodedata.normalize("NFD", letter))
    return parts > 2 or (parts == 2 and letter.isupper())


def _bit(bit: Bit) -> Mapping[str, Any]:
    return {"item": bit.item, "words": bit.words, "bold": bit.bold}


def _sized(png: bytes, dpi: int) -> bytes:
    """The picture with its dots to the metre in it, so that it is printed at its real size."""
    body = struct.pack(">IIB", *[round(dpi / 0.0254)] * 2, 1)
    chunk = b"pHYs" + body
    after = 8 + 25  # the signature, and the header chunk that always comes first
    return (
        png[:after]
        + struct.pack(">I", 9)
        + chunk
        + struct.pack(">I", zlib.crc32(chunk))
        + png[after:]
    )


def misread(face: Face) -> Iterator[str]:
    """What on the face breaks a writing rule, as sentences."""
    for item, text in face.texts:
        if item in DOSES:
            scopes = ("drug_name", "dose_text") if item == "drug" else ("dose_text",)
            for fault in notation.faults(text, scopes):
                yield f"{_named([item])[0]}: {fault}"
