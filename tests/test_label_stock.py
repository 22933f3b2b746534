"""Label sizes, the unit's own labels, tall-man letters and the letters of the font."""

from __future__ import annotations

import csv
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

from checklist import library
from checklist.intake.fault import Faults
from checklist.intake.ward import load_ward
from checklist.printing import press
from checklist.printing.tall_man import FILE, listed, tall
from checklist.quantity import Quantity
from checklist.stock import SIZES, USUAL, Form, Kind, NoSuchStock, Size, Stock, Symbol


@pytest.mark.parametrize("text", ["60 x 30 mm", "60x30", "60 x 30", " 60 x 30 mm "])
def test_a_size_is_read_as_people_write_it(text: str) -> None:
    assert Size.parse(text) == Size(width=Fraction(60), height=Fraction(30)) == SIZES[1]
    assert str(Size.parse(text)) == "60 x 30 mm"


@pytest.mark.parametrize(
    "text", ["", "60", "60 x 30 cm", "60 x 30 x 2", "-60 x 30", "60,5 x 30", "19 x 30", "60 x 201"]
)
def test_any_other_size_is_refused_in_words(text: str) -> None:
    with pytest.raises(NoSuchStock, match="is no label size"):
        Size.parse(text)


def test_the_usual_size_is_sixty_by_thirty_and_larger_ones_are_offered() -> None:
    assert str(USUAL[Kind.SYRINGE]) == "60 x 30 mm"
    assert set(USUAL.values()) <= set(SIZES) and len(SIZES) == 4
    assert list(SIZES) == sorted(SIZES, key=lambda one: one.width * one.height)


def test_what_is_in_no_syringe_gets_no_flag() -> None:
    assert Stock().form_for(None) is Form.FLAT
    assert Stock().form_for(Quantity.of("3", "mL")) is Form.FLAG
    assert Stock().form_for(Quantity.of("3.1", "mL")) is Form.FLAT


def ward(folder: Path, labels: str) -> Path:
    """The demonstration ward with a table of labels of its own."""
    place = folder / "ward"
    shutil.copytree(library.folder("demo_db"), place)
    file = place / "unit.toml"
    file.write_text(f"{file.read_text(encoding='utf-8')}\n[labels]\n{labels}", encoding="utf-8")
    return place


def test_a_unit_chooses_its_labels(tmp_path: Path) -> None:
    chosen = """syringe = "75 x 35 mm"
symbol = "qr"
flag_up_to = "5 mL"
strip = "1 cm"
class_colours = true
"""
    stock = load_ward(ward(tmp_path, chosen)).unit.stock
    assert str(stock.sizes[Kind.SYRINGE]) == "75 x 35 mm"
    assert stock.sizes[Kind.BAG] == USUAL[Kind.BAG]
    assert (stock.symbol, stock.strip, stock.class_colours) == (Symbol.QR, Fraction(10), True)
    assert stock.form_for(Quantity.of("5", "mL")) is Form.FLAG
    assert load_ward(library.folder("demo_db")).unit.stock == Stock()


def test_every_fault_in_the_labels_of_a_unit_is_told_with_its_place(tmp_path: Path) -> None:
    amiss = """syringe = "large"
bag = "5 x 5 mm"
symbol = "ean"
flag_up_to = "3 mg"
strip = "90 mm"
colour = "blue"
"""
    with pytest.raises(Faults) as caught:
        load_ward(ward(tmp_path, amiss))
    assert "labels, colour" in str(caught.value)
    shutil.rmtree(tmp_path / "ward")
    with pytest.raises(Faults) as caught:
        load_ward(ward(tmp_path, amiss.replace('colour = "blue"\n', "")))
    said = str(caught.value)
    for place in ("syringe", "bag", "symbol", "flag_up_to", "strip"):
        assert f"labels, {place}" in said, said


# -- tall-man letters -----------------------------------------------------------------------------


def test_listed_names_are_written_as_the_lists_write_them() -> None:
    """FDA list (2001 on) and ISMP list (2008, 2023), as far as their pages were seen."""
    pairs = {
        "hydralazine": "hydrALAZINE", "hydroxyzine": "hydrOXYzine", "vinblastine": "vinBLAStine",
        "vincristine": "vinCRIStine", "dobutamine": "DOBUTamine", "dopamine": "DOPamine",
        "prednisolone": "prednisoLONE", "cefazolin": "ceFAZolin", "ceftriaxone": "cefTRIAXone",
    }  # fmt: skip
    for name, written in pairs.items():
        assert tall(name) == tall(name.upper()) == written
    assert tall("dopamine in glucose 50 mg/mL") == "DOPamine in glucose 50 mg/mL"
    assert tall("furosemide") == "furosemide"


def test_every_row_of_the_table_says_its_list_and_whether_a_page_was_seen() -> None:
    text = (library.folder("workflows") / FILE).read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert len(rows) == len(listed()) > 100, "no name stands twice, whatever its letters"
    for row in rows:
        assert row["list"] in ("FDA", "ISMP") and row["source"]
        assert row["status"] in ("confirmed", "from memory")
        assert row["name"].isalpha()


# -- letters --------------------------------------------------------------------------------------


def test_the_list_of_letters_is_that_of_both_cuts_of_the_font() -> None:
    fonts = sorted((press.HERE / "font").glob("*.ttf"))
    held = [set(map(chr, TTFont(font).getBestCmap())) for font in fonts]
    assert len(held) == 2
    assert press.letters() <= held[0] & held[1]
    for letter in "ABCabc0123456789.,:/-()%µÀÉßñøłŽ\u00a0":
        assert letter in press.letters()
    for hidden in "\u00ad\u202e\u200b\n\x00":
        assert hidden not in press.letters()


def test_letters_that_are_easily_mixed_up_are_drawn_apart() -> None:
    """A zero has no stroke (it would be read as 4, 6, 8 or 9: ISMP list, from memory)."""
    font = TTFont(sorted((press.HERE / "font").glob("*Regular.ttf"))[0])
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.pens.recordingPen import RecordingPen

    def contours(letter: str) -> int:
        pen = RecordingPen()
        glyphs[names[ord(letter)]].draw(pen)
        return sum(name == "closePath" for name, _ in pen.value)

    def width(letter: str) -> float:
        pen = BoundsPen(glyphs)
        glyphs[names[ord(letter)]].draw(pen)
        assert pen.bounds is not None
        return float(pen.bounds[2] - pen.bounds[0])

    assert contours("0") == 2 == contours("O")
    assert width("0") < width("O")
    assert width("l") > 1.3 * width("I"), "the small l has a tail"
