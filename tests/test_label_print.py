"""Finished labels, rendered: nothing cut or covered, letters large enough, the code read back."""

from __future__ import annotations

import os
import re
import unicodedata

import pytest
import zxingcpp

from checklist.label import label
from checklist.printing import press
from checklist.printing.class_colour import colours
from checklist.printing.face import Bit, Face, pieces
from checklist.printing.press import DoesNotFit, Unprintable
from checklist.printing.symbol import DOT, DOTS, drawn
from checklist.stock import SIZES, Form, Kind, Size, Stock, Symbol
from checklist.timing import said_date
from tests.paper import (
    CODE,
    LONG_NAME,
    ORDERS,
    apart,
    at_the_label,
    contrast,
    decoded,
    face_of,
    inside,
    kind_for,
    laid,
    pages,
    picture,
    whole,
)

FULL = bool(os.environ.get("CHECKLIST_FULL"))
NAMES = {"short": "Bo Li", "usual": "", "long": LONG_NAME}
# In quick runs two or three orders for each size, in full ones all of them.
CASES = [
    (order, str(size), name)
    for i, order in enumerate(ORDERS)
    for j, size in enumerate(SIZES)
    for name in NAMES
    if FULL or (i + j) % 5 == 0
]


@pytest.mark.parametrize(("order", "size", "name"), CASES)
def test_a_label_holds_all_of_its_text_or_is_not_printed(order: str, size: str, name: str) -> None:
    face = face_of(order, name=NAMES[name])
    try:
        made = laid(face, size)
    except DoesNotFit as fault:
        assert fault.items and set(fault.items) <= {item for item, _ in face.texts}
        assert "Nothing was cut" in str(fault)
        return
    whole(made)


@pytest.mark.parametrize("order", ORDERS)
def test_a_number_and_its_unit_stand_on_one_line(order: str) -> None:
    for size in (Stock().sizes[kind_for(order)], SIZES[-1]):
        whole(laid(face_of(order), str(size)))


@pytest.mark.parametrize("order", ["ORD-411", "ORD-412"])
@pytest.mark.parametrize("size", SIZES[1:], ids=str)
def test_a_name_stays_beside_its_strength(order: str, size: Size) -> None:
    """Of two drugs in one syringe, no name ends a line whose next begins with its strength."""
    face = face_of(order)
    (page,) = pages(press.made(laid(face, str(size)), "pdf"))
    strengths = [text for item, text in face.texts if item == "concentration"]
    assert len(strengths) == 2
    for text in strengths:
        letters = page.place_of(text)
        assert max(one.top for one in letters) < min(one.bottom for one in letters), text


@pytest.mark.parametrize("symbol", Symbol)
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_code_is_read_back_from_the_finished_label(symbol: Symbol, size: Size) -> None:
    """At 203 dots to the inch, the coarsest label printer, and again in black and white alone."""
    made = laid(face_of("ORD-103", name="Bo Li"), str(size), symbol=symbol)
    png = press.made(made, "png", dpi=203)
    (found,) = decoded(png)
    assert found.text == CODE.bracketed
    assert found.content_type == zxingcpp.ContentType.GS1
    assert found.symbology_identifier == {"datamatrix": "]d2", "qr": "]Q3"}[symbol]
    burnt = picture(png).convert("L").point(lambda v: 255 if v > 127 else 0)
    (again,) = zxingcpp.read_barcodes(burnt)
    assert again.text == CODE.bracketed


def test_the_symbol_stands_on_whole_dots_and_holds_no_word_about_the_patient() -> None:
    made = laid(face_of("ORD-101"))
    image = picture(press.made(made, "png", dpi=203)).convert("L")
    side = len(drawn(CODE, Symbol.DATAMATRIX).rows) * DOTS
    right = int((60 - press.MARGIN) / float(DOT))
    corner = image.crop((right - side - 1, image.height - side - 14, right + 1, image.height - 8))
    greys = sum(corner.histogram()[40:215])
    assert greys < corner.width * corner.height // 50
    text = decoded(press.made(made, "png"))[0].text
    assert re.fullmatch(r"\(91\)[0-9]{16}", text)
    assert "30011742" not in text and "58" not in text.replace(CODE.figures, "")


def test_a_printer_of_finer_dots_gets_the_same_label() -> None:
    made = laid(face_of("ORD-103"))
    for dpi in press.DPI:
        image = picture(press.made(made, "png", dpi=dpi))
        assert abs(image.width / dpi * 25.4 - 60) < 0.5
        assert abs(image.height / dpi * 25.4 - 30) < 0.5
        stated = image.info["dpi"]
        assert abs(stated[0] - dpi) < 0.1 and stated[0] == stated[1]
        assert decoded(press.made(made, "png", dpi=dpi))[0].text == CODE.bracketed


def test_the_same_label_gives_the_same_bytes() -> None:
    made = laid(face_of("ORD-103"))
    for form in press.FORMATS:
        assert press.made(made, form) == press.made(laid(face_of("ORD-103")), form)


def test_a_drawing_holds_shapes_and_no_picture() -> None:
    svg = press.made(laid(face_of("ORD-103")), "svg").decode()
    assert 'width="170.0' in svg and "<path" in svg
    assert "data:image/png" not in svg and "data:image/jpeg" not in svg


@pytest.mark.parametrize(
    ("item", "text"),
    [
        ("patient_name", "Wolfeschlegelsteinhausenbergerdorff" * 2),
        ("drug", "hydroxychlorodiethylbenzylamide" * 2),
        ("identifiers", "born 14 Mar 1958, record 30011742 " * 9),
        ("use_before", "use before 25 Nov 2026 15:04 " * 9),
    ],
)
def test_what_does_not_fit_is_named_and_nothing_is_cut(item: str, text: str) -> None:
    face = _with(face_of("ORD-103"), item, text)
    with pytest.raises(DoesNotFit) as caught:
        laid(face, "50 x 25 mm")
    assert item in caught.value.items
    assert press.WORDS[item] in str(caught.value) and "50 x 25 mm" in str(caught.value)
    assert press.FORMATS  # no file is made: laying out comes before, and it refused


def test_a_size_on_which_it_fits_is_offered() -> None:
    with pytest.raises(DoesNotFit, match=r"a larger label \(80 x 40 mm\)"):
        laid(face_of("ORD-411", name=LONG_NAME))
    with pytest.raises(DoesNotFit, match="Write the label by hand"):
        laid(_with(face_of("ORD-103"), "patient_name", "n" * 400))


@pytest.mark.parametrize(
    "text", ["李 伟", "Bo \u202eiL", "Bo\u00adLi", "Bo 🙂", "Bo\u0331\u0331 Li"]
)
def test_a_letter_that_would_come_out_as_a_box_is_refused(text: str) -> None:
    with pytest.raises(Unprintable, match="patient name: the letters"):
        laid(_with(face_of("ORD-103"), "patient_name", text))


@pytest.mark.parametrize("text", ["#text(1pt)[x]", '"; $y$ @z', "*bold* _x_ `raw` <a>", "\\u{41}"])
def test_a_name_is_printed_as_it_is_whatever_it_looks_like(text: str) -> None:
    face = _with(face_of("ORD-103"), "patient_name", text)
    (page,) = pages(press.made(laid(face), "pdf"))
    assert page.place_of(text)


def test_letters_of_other_alphabets_are_printed() -> None:
    names = (
        "Žofia Łęcka-Đorđević", "Анна Петрова", "Ελένη Παππά", "Åse Þórsdóttir", "Ồ Nguyễn Thị Ấm",
    )  # fmt: skip
    for name in names:
        made = laid(face_of("ORD-103", name=name))
        (page,) = pages(press.made(made, "pdf"))
        assert page.place_of(name)
        inside(page)
        apart(page)
    in_parts = unicodedata.normalize("NFD", names[-1])
    assert list(face_of("ORD-103", name=in_parts).texts) == list(
        face_of("ORD-103", name=names[-1]).texts
    )


def test_a_flag_carries_both_faces_and_leaves_its_strip_blank() -> None:
    made = laid(face_of("ORD-103"), form=Form.FLAG)
    (page,) = pages(press.made(made, "pdf"))
    assert abs(page.height - 68) < 0.01 and abs(page.width - 60) < 0.01
    png = press.made(made, "png", dpi=203)
    assert [one.text for one in decoded(png)] == [CODE.bracketed] * 2
    image = picture(png).convert("L")
    dot = float(DOT)
    strip = image.crop((round(3 / dot), round(30 / dot), round(57 / dot), round(38 / dot)))
    assert strip.getextrema() == (255, 255)
    turned = image.rotate(180)
    above, below = image.crop((0, 0, 480, 236)), turned.crop((0, 0, 480, 236))
    ink = [sum(part.histogram()[:128]) for part in (above, below)]
    assert abs(ink[0] - ink[1]) < ink[0] // 20


def test_the_strip_is_as_wide_as_the_unit_sets_it() -> None:
    from fractions import Fraction

    made = laid(face_of("ORD-103"), form=Form.FLAG, stock=Stock(strip=Fraction(12)))
    (page,) = pages(press.made(made, "pdf"))
    assert abs(page.height - 72) < 0.01


# -- class colours --------------------------------------------------------------------------------


def test_colours_are_printed_only_where_the_unit_asks() -> None:
    plain, asked = (
        picture(press.made(laid(face_of("ORD-101", coloured=on)), "png")).convert("RGB")
        for on in (False, True)
    )
    fill = (0x71, 0xC5, 0xE8)
    assert fill not in {colour for _, colour in plain.getcolors(1 << 20)}  # type: ignore[union-attr]
    assert asked.getpixel((240, 4)) == fill


def test_every_class_colour_leaves_black_letters_readable() -> None:
    """WCAG 2.2, 1.4.3 asks 4.5:1, 1.4.6 asks 7:1; names of the colours: ISO 26825:2020, Table 1."""
    names = {one.colour for one in colours().values()}
    assert {"salmon", "green", "orange", "yellow", "grey", "blue", "warm red", "violet"} <= names
    for one in colours().values():
        fill = tuple(int(one.fill[i : i + 2], 16) for i in (1, 3, 5))
        assert contrast(fill, (0, 0, 0)) >= 4.5, one
        assert one.striped == ("white stripes" in one.colour)


def test_stripes_of_an_opposite_drug_stay_off_its_name() -> None:
    from dataclasses import replace

    face = replace(face_of("ORD-103"), colour=colours()["opioid antagonist"])
    image = picture(press.made(laid(face), "png", dpi=600)).convert("RGB")
    dots = 600 / 25.4
    band = [image.getpixel((x, round(1.2 * dots))) for x in range(image.width)]
    assert (255, 255, 255) in band and (0x71, 0xC5, 0xE8) in band
    head = image.crop((0, round(2.2 * dots), image.width, round(3.2 * dots)))
    assert {colour for _, colour in head.getcolors(1 << 20)} == {(0x71, 0xC5, 0xE8)}  # type: ignore[union-attr]


def test_letters_on_a_plain_label_are_black_on_white() -> None:
    image = picture(press.made(laid(face_of("ORD-101")), "png", dpi=600)).convert("RGB")
    counts = sorted(image.getcolors(1 << 20), reverse=True)  # type: ignore[arg-type]
    (_, paper), (_, ink) = counts[:2]
    assert contrast(paper, ink) > 20  # type: ignore[arg-type]


# -- what stands on which label -------------------------------------------------------------------


def test_each_kind_of_dose_gets_its_kind_of_label() -> None:
    kinds = {order: kind_for(order) for order in ORDERS}
    assert kinds["ORD-103"] is kinds["ORD-406"] is kinds["ORD-411"] is Kind.SYRINGE
    assert kinds["ORD-401"] is Kind.BAG and kinds["ORD-421"] is kinds["ORD-422"] is Kind.ENTERAL


@pytest.mark.parametrize("order", ORDERS)
def test_every_item_that_a_label_must_carry_stands_on_it(order: str) -> None:
    """Which items: tests/data/label_content.csv, by tests/test_label.py."""
    made, face = label(*at_the_label(order)), face_of(order)
    assert not made.missing
    assert set(made.due) <= {item for item, _ in face.texts}
    (page,) = pages(press.made(laid(face, str(Stock().sizes[kind_for(order)])), "pdf"))
    patient = at_the_label(order)[1].patient
    assert patient is not None
    for text in (patient.name, patient.record_number, said_date(patient.birth_date)):
        assert page.place_of(text)


def test_cautions_stand_in_a_frame() -> None:
    said = {order: dict(face_of(order).texts).get("only", "") for order in ORDERS}
    assert "not for injection" in said["ORD-208"]
    assert said["ORD-422"] == "for enteral use only"
    assert said["ORD-103"] == ""


def test_names_on_the_lists_are_in_tall_man_letters() -> None:
    drugs = {order: dict(face_of(order).texts)["drug"] for order in ORDERS}
    assert drugs["ORD-206"] == "cefTRIAXone"
    assert drugs["ORD-421"] == "paracetamol"


def test_two_drugs_stand_each_beside_its_own_amount() -> None:
    face = face_of("ORD-411")
    (page,) = pages(press.made(laid(face), "pdf"))
    for row in face.rows[:2]:
        drug, dose = (page.place_of(bit.text) for bit in row.bits)
        assert abs(drug[0].bottom - dose[0].bottom) < 1 and dose[0].left > drug[-1].right


def test_a_vial_that_stays_in_use_says_until_when() -> None:
    opened = dict(face_of("ORD-203", vial=True).texts)
    assert opened["discard_after"] == "discard after 18 Dec 2026"
    mixed = dict(face_of("ORD-206", vial=True).texts)
    assert mixed["use_before"].startswith("use before 25 Nov 2026") and "mixed_with" in mixed
    assert mixed["drug"] == "cefTRIAXone 100 mg/mL"
    assert face_of("ORD-103", vial=True).rows == ()
    for order in ("ORD-203", "ORD-206"):
        (page,) = pages(press.made(laid(face_of(order, vial=True)), "pdf"))
        assert not {"Ferris", "Halden"} & set(page.text.split()), "a shared vial names nobody"


def test_pieces_never_part_what_belongs_together() -> None:
    text = "in sodium chloride 0.9 %, 1,000 mL until 25 Nov 2026 14:05, record 30011742"
    assert [one.replace("\u00a0", " ") for one in pieces(text)] == [
        "in", "sodium", "chloride", "0.9 %,", "1,000 mL", "until", "25 Nov 2026 14:05,",
        "record 30011742",
    ]  # fmt: skip


def _with(face: Face, item: str, text: str) -> Face:
    """The face with another text for one item."""
    from dataclasses import replace

    def bit(one: Bit) -> Bit:
        return replace(one, text=text) if one.item == item else one

    rows = tuple(replace(row, bits=tuple(map(bit, row.bits))) for row in face.rows)
    return replace(face, rows=rows)
