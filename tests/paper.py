"""Finished labels, taken apart again for the tests: letters with their places, picture, symbol."""

from __future__ import annotations

import io
import itertools
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pypdfium2
import zxingcpp
from PIL import Image

from checklist.label import label
from checklist.preparation import Preparation, Surroundings
from checklist.printing import press
from checklist.printing.face import (
    NAME_LEAST,
    REST_LEAST,
    Face,
    dose_face,
    kind_of,
    vial_face,
)
from checklist.printing.label_code import LabelCode
from checklist.printing.press import Laid
from checklist.printing.symbol import drawn
from checklist.stock import Form, Kind, Size, Stock, Symbol
from tests import way_answers  # noqa: F401  (the right answers for bags, mixtures and bottles)
from tests.scene import NURSE, Scene

CODE = LabelCode.of("T-1", 1_204, 1)
POINTS_IN_MM = 72 / 25.4
# One order for each way that a label differs: ampoule, second person, vial, powder, nebule, bag,
# pump syringe, ready bag with a rate, two drugs, by mouth, by tube.
ORDERS = (
    "ORD-103", "ORD-101", "ORD-203", "ORD-206", "ORD-208", "ORD-401", "ORD-406", "ORD-402",
    "ORD-411", "ORD-421", "ORD-422",
)  # fmt: skip
LONG_NAME = "Bartholomew-Alexandros Wolfeschlegelsteinhausen Featherstonehaugh-Cholmondeley"


@cache
def at_the_label(order: str) -> tuple[Preparation, Surroundings]:
    """A preparation of the demonstration ward at the step that asks for its label."""
    scene = Scene(Path(tempfile.mkdtemp()), order_id=order)
    scene.open()
    while "label_says_everything" not in _checks(scene):
        scene.on()
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.spots[scene.place]
    around = scene.station.surroundings(prep, scene.station.person(NURSE), spot)
    scene.trail.close()
    return prep, around


def _checks(scene: Scene) -> tuple[str, ...]:
    spot = scene.station.screen(scene.id).spot
    assert spot is not None
    return spot.step.checks


def named(around: Surroundings, name: str) -> Surroundings:
    """The same surroundings with another name for the patient."""
    assert around.patient is not None
    return replace(around, patient=replace(around.patient, name=name))


def face_of(order: str, *, name: str = "", vial: bool = False, coloured: bool = False) -> Face:
    """The face of an order's label, or of its vial's."""
    prep, around = at_the_label(order)
    around = named(around, name) if name else around
    if vial:
        return vial_face(prep, around, CODE)
    return dose_face(label(prep, around), prep, around, CODE, coloured=coloured)


def kind_for(order: str) -> Kind:
    return kind_of(at_the_label(order)[0])


def laid(
    face: Face,
    size: str = "60 x 30 mm",
    *,
    form: Form = Form.FLAT,
    symbol: Symbol = Symbol.DATAMATRIX,
    stock: Stock | None = None,
) -> Laid:
    """The face laid out on a size; DoesNotFit where it does not go on."""
    return press.lay(
        face,
        drawn(CODE, symbol),
        size=Size.parse(size),
        form=form,
        stock=stock or Stock(),
        alt=f"Code of this label: {CODE.grouped}",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """One letter of a finished label: where it stands, in mm from the upper left, and how large."""

    char: str
    left: float
    top: float
    right: float
    bottom: float
    points: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page of a PDF: its size in mm, its letters in the order of the text, its pictures."""

    width: float
    height: float
    letters: tuple[Letter, ...]
    pictures: int

    @property
    def text(self) -> str:
        return "".join(one.char for one in self.letters)

    def place_of(self, text: str) -> tuple[Letter, ...]:
        """The letters of a piece of text, found without regard to spaces and line ends."""
        solid = [one for one in self.letters if not one.char.isspace()]
        wanted = "".join(text.split())
        at = "".join(one.char for one in solid).find(wanted)
        assert at >= 0, f"{text!r} is not on the page: {self.text!r}"
        return tuple(solid[at : at + len(wanted)])


def pages(pdf: bytes) -> list[Page]:
    """The pages of a PDF."""
    document = pypdfium2.PdfDocument(pdf)
    return [_page(page) for page in document]


def _page(page: Any) -> Page:
    width, height = page.get_size()
    text = page.get_textpage()
    kinds = [one.type for one in page.get_objects()]
    return Page(
        width=width / POINTS_IN_MM,
        height=height / POINTS_IN_MM,
        letters=tuple(_letters(text, height)),
        pictures=kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE),
    )


def _letters(text: Any, height: float) -> Iterator[Letter]:
    for i in range(text.count_chars()):
        left, bottom, right, top = text.get_charbox(i)
        yield Letter(
            char=text.get_text_range(i, 1).replace("\u00a0", " "),
            left=left / POINTS_IN_MM,
            right=right / POINTS_IN_MM,
            top=(height - top) / POINTS_IN_MM,
            bottom=(height - bottom) / POINTS_IN_MM,
            points=pypdfium2.raw.FPDFText_GetFontSize(text.raw, i),
        )


def picture(png: bytes) -> Image.Image:
    """A PNG as grey values, on white."""
    return Image.open(io.BytesIO(png)).convert("RGBA")


def decoded(png: bytes) -> list[Any]:
    """Every symbol in a picture."""
    return list(zxingcpp.read_barcodes(picture(png).convert("L")))


def luminance(colour: tuple[int, ...]) -> float:
    """Relative luminance of an sRGB colour: W3C, WCAG 2.2."""
    parts = [c / 255 for c in colour[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """Contrast ratio of two colours: W3C, WCAG 2.2."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# -- a label as a whole ---------------------------------------------------------------------------

NEVER_SMALLER = {"drug": NAME_LEAST, "dose": NAME_LEAST, "patient_name": NAME_LEAST}
AMOUNT = re.compile(r"[0-9][0-9.,]* (?:mg|microgram|mmol|mL|units|g|%)(?:/[A-Za-z/]+)?")
READABLE = 7
"""Least contrast of letters and ground: WCAG 2.2, 1.4.6."""


def whole(made: Laid, *, code: LabelCode = CODE, kind: Symbol = Symbol.DATAMATRIX) -> None:
    """Assert of a finished label that nothing is cut, covered, parted, too small or too pale.

    And that its symbol, read from the picture of the coarsest printer, is what was meant.
    """
    (page,) = pages(press.made(made, "pdf"))
    assert abs(page.width - float(made.sheet.width)) < 0.01
    assert abs(page.height - float(made.sheet.height)) < 0.01
    assert page.pictures == 0, "a label is drawn in lines, never in dots"
    for item, text in made.face.texts:
        letters = page.place_of(text)
        least = min(one.points for one in letters)
        assert least >= NEVER_SMALLER.get(item, REST_LEAST) - 0.01, (item, least)
        assert least >= made.smallest - 0.01
        for amount in AMOUNT.findall(text):
            _on_one_line(page.place_of(amount))
    if made.form is Form.FLAT:
        inside(page, kind)
        apart(page)
    png = press.made(made, "png")
    faces = 1 if made.form is Form.FLAT else 2
    assert [one.text for one in decoded(png)] == [code.bracketed] * faces
    # One ground, or with a colour two: grey or pale letters would come out as one more.
    found = grounds(png)
    assert len(found) == 1 + (made.face.colour is not None), found
    assert all(contrast(one, (0, 0, 0)) >= READABLE for one in found), found


def _on_one_line(letters: tuple[Letter, ...]) -> None:
    text = "".join(one.char for one in letters)
    assert max(one.top for one in letters) < min(one.bottom for one in letters), text
    assert [one.left for one in letters] == sorted(one.left for one in letters), text


def grounds(png: bytes) -> list[tuple[int, ...]]:
    """The colours that letters stand on: each that covers a hundredth or more and is not ink."""
    image = picture(png).convert("RGB")
    counts = image.getcolors(1 << 20)
    assert counts is not None
    few = image.width * image.height // 100
    wide = [colour for n, colour in counts if n > few and isinstance(colour, tuple)]
    others = [colour for colour in wide if max(colour) > 4]
    assert len(others) < len(wide), "no black letters"
    return others


def inside(page: Page, kind: Symbol = Symbol.DATAMATRIX) -> None:
    """Assert that no letter stands in the margin, and none on the symbol with its quiet zone."""
    side = float(drawn(CODE, kind).side)
    left, top = page.width - press.MARGIN - side, page.height - press.MARGIN - side
    for one in page.letters:
        if one.char.isspace():
            continue
        assert one.left >= 1 and one.top >= 1, one
        assert one.right <= page.width - 1 and one.bottom <= page.height - 1, one
        assert one.right <= left + 0.05 or one.bottom <= top + 0.05, (one, left, top)


def apart(page: Page) -> None:
    """Assert that no letter covers another one; a letter's hook may reach over the next one."""
    solid = [one for one in page.letters if not one.char.isspace()]
    for i, one in enumerate(solid):
        for other in solid[i + 2 :]:
            across = min(one.right, other.right) - max(one.left, other.left)
            down = min(one.bottom, other.bottom) - max(one.top, other.top)
            assert not (across > 0.01 and down > 0.15), (one, other)
    for one, other in itertools.pairwise(solid):
        if one.bottom > other.top and other.bottom > one.top:
            assert one.right - other.left < 0.2 * one.points / POINTS_IN_MM, (one, other)
