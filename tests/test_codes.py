"""What a ward knows of codes: national numbers, its own wristbands, badges, pictures of labels."""

from __future__ import annotations

import io
import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from checklist.extra import NeedsExtra
from checklist.faces.answering import staff_code
from checklist.formulary import Formulary, Product
from checklist.intake.codes import CodeBook, codes_of, full_ndc, readings
from checklist.intake.entry import EntryFault, read
from checklist.interop.gtin import CodeFault, check_digit
from checklist.interop.picture import MAX_BYTES, PictureFault, codes_in
from checklist.interop.scanner import Scanner
from checklist.observation import Identifier, IdentifierKind, Kind, ProductRead
from checklist.quantity import Concentration, Quantity
from checklist.unit import CheckFigure, NumberForm, Unit
from tests.faces import run
from tests.wards import FORMULARY, ORDERS, UNIT, copied, edit, faults_of, load

TODAY = date(2026, 11, 25)
PZN = NumberForm(pattern="-?([0-9]{8})", check=CheckFigure.MOD_11)
WARD = Unit(code="W", name="W", wristband="LG[0-9]{7}", numbers={"pzn": PZN})


def product(code: str, *numbers: str) -> Product:
    return Product(
        code=code,
        drug="morphine",
        container="glass_ampoule",
        strength=Concentration.parse("10 mg/mL"),
        content=Quantity.of("1", "mL"),
        numbers=numbers,
    )


def book(*products: Product) -> CodeBook:
    return codes_of(WARD, Formulary(products={one.code: one for one in products}))


SHELF = book(
    product("PH-1", "ndc 0123-4567-89"),
    product("PH-2", "ndc 54321-678-90"),
    product("PH-3", "ndc 54321-6789-0"),
    product("PH-4", "pzn 27580899"),
)


def taken(raw: str, codes: CodeBook = SHELF) -> str:
    value = read(Kind.PRODUCT, raw, today=TODAY, zone="UTC", settings=WARD, codes=codes)
    assert isinstance(value, ProductRead)
    return value.code


# NDC conversion tables (10 to 11 figures) and FDA, 91 FR 10749, for twelve figures, 6-4-2.
@pytest.mark.parametrize(
    ("text", "full"),
    [
        ("0123-4567-89", "000123-4567-89"),
        ("01234-567-89", "001234-0567-89"),
        ("01234-5678-9", "001234-5678-09"),
        ("00123-4567-89", "000123-4567-89"),
        ("000123-4567-89", "000123-4567-89"),
    ],
)
def test_each_form_of_an_ndc_comes_to_the_same_twelve_figures(text: str, full: str) -> None:
    assert full_ndc(text) == full


@pytest.mark.parametrize("text", ["", "0123456789", "012-4567-89", "01234-5678-90-1", "1-2-3",
                                  "٠123-4567-89", "0123-45678-9", "0123-4567-"])  # fmt: skip
def test_what_is_no_ndc_is_a_fault(text: str) -> None:
    with pytest.raises(CodeFault, match="not written like an NDC"):
        full_ndc(text)


@pytest.mark.parametrize("raw", ["0123-4567-89", "00123-4567-89", "]C00123-4567-89",
                                 "000123-4567-89", "0123-4567-89\r"])  # fmt: skip
def test_an_ndc_with_its_hyphens_leads_to_its_product(raw: str) -> None:
    assert taken(raw) == "PH-1"


@pytest.mark.parametrize(
    ("raw", "ways"),
    [
        ("0123456789", ["0123-4567-89", "01234-567-89", "01234-5678-9"]),
        ("5432167890", ["5432-1678-90", "54321-678-90", "54321-6789-0"]),
        ("00123456789", ["00123-4567-89"]),
    ],
)
def test_ten_figures_without_hyphens_are_never_guessed(raw: str, ways: list[str]) -> None:
    assert list(readings(raw)) == ways
    with pytest.raises(EntryFault, match="no guess is made") as told:
        taken(raw)
    assert all(way in str(told.value) for way in ways)


def test_a_gtin_with_an_ndc_in_it_leads_to_the_only_product_that_has_it() -> None:
    # GS1 US (from memory): a zero, 03, the ten figures and the check digit.
    gtin = "0030123456789"
    assert taken(f"]d201{gtin}{check_digit(gtin)}17280831") == "PH-1"
    # Two products with the same ten figures, told apart by their hyphens only: not guessed.
    two = "0035432167890"
    whole = two + check_digit(two)
    assert taken(f"01{whole}17280831") == whole
    # Another packaging level is another item.
    case = "5030123456789"
    assert taken(f"01{case}{check_digit(case)}17280831") == case + check_digit(case)


def test_a_national_number_is_read_by_its_pattern_and_its_check_figure() -> None:
    # 12345678 and 27580899 are right (IFA's examples, from memory); 1*1+2*2+...+7*7 = 140, mod 11.
    assert PZN.checks_out("12345678") and PZN.checks_out("27580899")
    for raw in ("]A0-27580899", "-27580899", "27580899"):
        assert taken(raw) == "PH-4"
    with pytest.raises(EntryFault, match="check figure does not fit"):
        taken("-27580898")
    with pytest.raises(EntryFault, match="no product of the formulary has it"):
        taken("]A0-12345678")


@given(st.from_regex(r"[0-9]{8}", fullmatch=True), st.integers(0, 7), st.integers(1, 9))
def test_one_misread_figure_of_a_pzn_is_seen(number: str, place: int, more: int) -> None:
    wrong = f"{number[:place]}{(int(number[place]) + more) % 10}{number[place + 1 :]}"
    assert not (PZN.checks_out(number) and PZN.checks_out(wrong))


@settings(max_examples=200, deadline=None)
@given(st.text("0123456789-]C0A|.", max_size=16) | st.text(max_size=20))
def test_no_text_gives_anything_but_a_product_or_a_fault(raw: str) -> None:
    try:
        assert taken(raw)
    except EntryFault as fault:
        assert str(fault)


@pytest.mark.parametrize("raw", ["]C0hello world", "]Q1https://example.org/x", "]A0123", "]L2x"])
def test_an_unknown_code_says_what_was_read_and_how_to_go_on(raw: str) -> None:
    with pytest.raises(EntryFault) as told:
        taken(raw)
    said = str(told.value)
    assert ("type the number" in said or "Scan" in said) and (raw[3:] in said or raw[:3] in said)


# -- wristband and badge -------------------------------------------------------------------------


def banded(raw: str, settings: Unit = WARD) -> Identifier:
    value = read(Kind.IDENTIFIER, raw, today=TODAY, zone="UTC", settings=settings)
    assert isinstance(value, Identifier)
    return value


BAND = IdentifierKind.BAND_NUMBER


@pytest.mark.parametrize(
    ("raw", "kind", "text"),
    [
        ("]d28018952000000000003034", BAND, "952000000000003034"),
        ("]C1801895200000000000303480193", BAND, ""),
        ("]C0LG0012345", BAND, "LG0012345"),
        ("]Q1LG0012345", BAND, "LG0012345"),
        ("LG0012345", BAND, "LG0012345"),
        ("]C030012415", IdentifierKind.RECORD_NUMBER, "30012415"),
        ("]d1952000000000003034", BAND, "952000000000003034"),
    ],
)
def test_a_wristband_is_read_by_its_gsrn_or_the_units_own_pattern(
    raw: str, kind: IdentifierKind, text: str
) -> None:
    if not text:  # a separator is missing behind the number: what follows is not guessed
        with pytest.raises(EntryFault, match="separator"):
            banded(raw)
        return
    assert banded(raw) == Identifier(kind, text)


@pytest.mark.parametrize("raw", ["]C0LG001234", "]C0Ada Reen", "]C0Room 4", "]C019 Dec 1987",
                                 "]E09520007300114", "]d28017952000000000001122"])  # fmt: skip
def test_a_scan_that_is_no_wristband_is_never_taken_for_a_person(raw: str) -> None:
    with pytest.raises(EntryFault):
        banded(raw)


def test_a_misread_band_is_refused_by_its_check_digit() -> None:
    with pytest.raises(EntryFault, match="does not fit the others"):
        banded("]d28018952000000000003035")


@pytest.mark.parametrize(
    ("raw", "code"),
    [
        ("]d28017952000000000001122", "952000000000001122"),
        ("]C0RN-12", "RN-12"),
        ("]A0RN-12\r", "RN-12"),
        ("]Q1HB 77/3", "HB 77/3"),
        ("RN-12", "RN-12"),
        ("]d28018952000000000003034", "]d28018952000000000003034"),
        ("8017952000000000001122|91X", "952000000000001122"),
    ],
)
def test_a_badge_gives_its_number_or_text(raw: str, code: str) -> None:
    assert staff_code(raw, today=TODAY, scanner=Scanner(separator="|")) == code


# -- the files -----------------------------------------------------------------------------------

NUMBERS = '\n[numbers.pzn]\npattern = "-?([0-9]{8})"\ncheck = "mod 11"\n'


def test_numbers_and_bands_of_a_ward_are_read_from_its_files(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    edit(folder / UNIT, "sign_in_with", 'wristband = "LG[0-9]{7}"\nsign_in_with')
    edit(folder / UNIT, "[settings]", f"{NUMBERS}\n[settings]")
    edit(folder / FORMULARY, 'code = "09520007300114"',
         'code = "09520007300114"\nnumbers = ["pzn 27580899", "ndc 0123-4567-89"]')  # fmt: skip
    edit(folder / ORDERS, '"952000000000003010"', '"LG0012345"')
    ward = load(folder)
    codes = codes_of(ward.unit, ward.formulary)
    for raw in ("]A0-27580899", "0123-4567-89"):
        value = read(Kind.PRODUCT, raw, today=TODAY, zone="UTC", settings=ward.unit, codes=codes)
        assert value == ProductRead(code="09520007300114")


FILES = [
    (UNIT, "sign_in_with", 'wristband = "(a+)+"\nsign_in_with', "repeats a group"),
    (UNIT, "sign_in_with", 'wristband = ".*"\nsign_in_with', "fits a name or nothing"),
    (UNIT, "[settings]", '[numbers.ndc]\npattern = "[0-9]{9}"\n[settings]', "cannot be its name"),
    (UNIT, "[settings]", '[numbers.PZN]\npattern = "[0-9]{9}"\n[settings]', "cannot be its name"),
    (UNIT, "[settings]", '[numbers.pzn]\npattern = "([0-9])([0-9])"\n[settings]', "several groups"),
    (UNIT, "[settings]", '[numbers.pzn]\npattern = "[0-9]{14}"\n[settings]', "fits an item number"),
    (UNIT, "[settings]", '[numbers.pzn]\npattern = "[0-9]{8}"\ncheck = "luhn"\n[settings]', "list"),
    (UNIT, "[settings]", '[numbers.pzn]\nform = "x"\n[settings]', ""),
    (FORMULARY, "[[product]]", '[[product]]\nnumbers = ["ndc 0123456789"]', "like an NDC"),
    (FORMULARY, "[[product]]", '[[product]]\nnumbers = ["pzn 27580899"]', "no name of a number"),
    (FORMULARY, "[[product]]", '[[product]]\nnumbers = ["27580899"]', "no name of a number"),
    (FORMULARY, "[[product]]",
     '[[product]]\nnumbers = ["ndc 0123-4567-89", "ndc 00123-4567-89"]', ""),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "words"), FILES)
def test_a_fault_in_the_files_is_told(
    file: str, old: str, new: str, words: str, tmp_path: Path
) -> None:
    folder = copied(tmp_path)
    edit(folder / file, old, new)
    if words or file == UNIT:
        assert words in " ".join(one.sentence for one in faults_of(folder))
    else:
        assert load(folder)


def test_the_same_number_at_two_products_is_a_fault(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    text = (folder / FORMULARY).read_text(encoding="utf-8")
    both = text.replace("[[product]]", '[[product]]\nnumbers = ["ndc 0123-4567-89"]', 2)
    (folder / FORMULARY).write_text(both, encoding="utf-8")
    assert "as well. Keep one" in " ".join(one.sentence for one in faults_of(folder))


def test_a_band_that_the_pattern_would_never_read_is_a_fault(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    edit(folder / UNIT, "sign_in_with", 'wristband = "LG[0-9]{7}"\nsign_in_with')
    edit(folder / ORDERS, '"952000000000003010"', '"XY0012345"')
    assert "no service relation number" in " ".join(one.sentence for one in faults_of(folder))


# -- pictures ------------------------------------------------------------------------------------

CODES = [
    ("DataMatrix", "(01)09520007300114(17)280831(10)LM-44(21)S-1", True),
    ("Code128", "(01)09520007300121(17)280531(10)LN-80", True),
    ("EAN13", "9520007302132", False),
    ("Code39", "-27580899", False),
]


def sheet(path: Path, codes: list[tuple[str, str, bool]], mode: str = "L") -> Path:
    """A picture of several codes, one below the other."""
    page = Image.new("L", (1_300, 20 + 330 * len(codes)), 255)
    for number, (form, text, gs1) in enumerate(codes):
        kind = getattr(zxingcpp.BarcodeFormat, form)
        more = {"gs1": True} if gs1 else {}
        view: Any = zxingcpp.create_barcode(text, kind, **more).to_image(scale=3)
        shape = memoryview(view).shape
        assert shape is not None
        one = Image.frombytes("L", (shape[1], shape[0]), memoryview(view).tobytes())
        page.paste(one, (40, 20 + 330 * number))
    page.convert(mode).save(path)
    return path


@pytest.mark.parametrize(
    ("name", "mode"),
    [
        ("a.png", "L"),
        ("a.png", "RGBA"),
        ("a.png", "1"),
        ("a.jpg", "RGB"),
        ("a.tiff", "L"),
        ("a.gif", "P"),
    ],
)
def test_every_code_of_a_picture_is_read_by_itself(name: str, mode: str, tmp_path: Path) -> None:
    read = codes_in(sheet(tmp_path / name, CODES, mode))
    assert [one.raw for one in read] == [
        "]d80109520007300114" + "17280831" + "10LM-44\x1d21S-1",
        "]C10109520007300121" + "17280531" + "10LN-80",
        "]E09520007302132",
        "]A0-27580899",
    ]


def test_what_was_read_is_shown_field_by_field(tmp_path: Path) -> None:
    sheet(tmp_path / "a.png", CODES[:3])
    told = run("scanner", "read", "a.png", home=tmp_path)
    assert told.returncode == 0, told.stderr
    for words in (
        "(10) lot: LM-44",
        "(21) serial number: S-1",
        "(17) expiry: 280831, 31 Aug 2028",
        "(01) item number (GTIN): 09520007302132",
        "Each code stands for itself",
    ):
        assert words in told.stdout  # fmt: skip
    (one,) = json.loads(run("scanner", "read", "a.png", "--json", home=tmp_path).stdout)["files"]
    assert [code["fields"].get("10") for code in one["codes"]] == ["LM-44", "LN-80", None]
    Image.new("L", (50, 50), 255).save(tmp_path / "empty.png")
    nothing = run("scanner", "read", "a.png", "empty.png", "none.png", home=tmp_path)
    assert nothing.returncode == 1
    assert "No code was found" in nothing.stdout and "cannot be read" in nothing.stdout


@pytest.mark.parametrize(
    "content", [b"", b"%PDF-1.7", b"\x89PNG\r\n\x1a\n" + b"\0" * 40, b"GIF89a"]
)
def test_a_file_that_is_no_picture_is_refused_in_words(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "x.png").write_bytes(content)
    with pytest.raises(PictureFault, match="cannot be read as a picture"):
        codes_in(tmp_path / "x.png")


@pytest.mark.parametrize("module", ["zxingcpp", "PIL.Image"])
def test_without_the_library_the_extra_is_named(
    module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(NeedsExtra, match=r"checklist\[scan\]"):
        codes_in(tmp_path / "any.png")


def test_a_picture_beyond_bounds_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    big = tmp_path / "big.png"
    Image.new("1", (9_000, 9_000)).save(big)
    with pytest.raises(PictureFault, match="Take a smaller picture"):
        codes_in(big)
    big.write_bytes(b"\0" * (MAX_BYTES + 1))
    with pytest.raises(PictureFault, match="over 32 MiB"):
        codes_in(big)
    with pytest.raises(PictureFault, match="no plain file"):
        codes_in(tmp_path)


def test_a_picture_cut_short_is_a_fault_or_is_read(tmp_path: Path) -> None:
    whole = sheet(tmp_path / "a.png", CODES[:1]).read_bytes()
    for length in range(0, len(whole), max(1, len(whole) // 20)):
        (tmp_path / "cut.png").write_bytes(whole[:length])
        try:
            read = codes_in(tmp_path / "cut.png")
        except PictureFault:
            continue
        assert [one.raw[:3] for one in read] in ([], ["]d8"])
    assert io.BytesIO(whole).read(4) == b"\x89PNG"
