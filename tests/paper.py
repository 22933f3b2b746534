"""Finished labels, taken apart again for the tests: letters with their places, picture, symbol."""

from __future__ import annotations

import io
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
from checklist.printing.face import Face, dose_face, kind_of, vial_face
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
