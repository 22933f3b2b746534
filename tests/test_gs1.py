"""Scanned codes: accepted, refused, and never a lot that differs from the one in the code."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date, time
from pathlib import Path
from typing import Any

import pytest
from biip.checksums import gs1_standard_check_digit
from hypothesis import example, given, settings
from hypothesis import strategies as st
from stdnum import ean

from checklist.interop.gs1 import GS, MAX_LENGTH, CodeFault, PersonKind, scan, split
from checklist.interop.gtin import check_digit, checks_out, gtin14

TODAY = date(2026, 11, 25)
GTIN = "09520007300114"
CASES: list[dict[str, Any]] = json.loads(
    Path(__file__).with_name("data").joinpath("gs1_examples.json").read_text()
)["examples"]

# GS1 Barcode Syntax Dictionary (2026-07-27): the 82 characters of a lot or serial number.
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"


def test_the_check_digit_is_that_of_the_published_worked_examples() -> None:
    # GS1 Sweden, how the check digit is computed (worked examples).
    published = {"730001100001": "7", "890400021003": "7", "629104150021": "3"}
    assert {body: check_digit(body) for body in published} == published


@given(st.from_regex(r"[0-9]{7}|[0-9]{11,13}|[0-9]{17}", fullmatch=True))
def test_the_check_digit_agrees_with_two_general_purpose_libraries(body: str) -> None:
    assert check_digit(body) == ean.calc_check_digit(body) == str(gs1_standard_check_digit(body))
    assert checks_out(body + check_digit(body))


@given(st.from_regex(r"[0-9]{13}", fullmatch=True), st.integers(0, 13), st.integers(1, 9))
def test_any_single_misread_figure_is_noticed(body: str, place: int, shift: int) -> None:
    number = body + check_digit(body)
    misread = str((int(number[place]) + shift) % 10)
    assert not checks_out(number[:place] + misread + number[place + 1 :])


@pytest.mark.parametrize("text", ["", "7", "12a4", "１２３４", "12 4", "-12"])
def test_what_is_not_figures_has_no_check_digit(text: str) -> None:
    assert not checks_out(text)


def test_a_shorter_item_number_is_padded_to_fourteen_figures() -> None:
    # GS1 General Specifications, section 3 (from memory): zeros on the left before comparison.
    assert gtin14("95200071") == "00000095200071"
    assert gtin14("952000730015") == "00952000730015"
    assert ean.is_valid(gtin14("9520007300114"))
    assert gtin14("9520007300114") == gtin14(GTIN) == GTIN


def _fields(code: str) -> dict[str, str]:
    """What a scan gave, by application identifier."""
    read = scan(code, today=TODAY)
    if read.person:
        ai = {PersonKind.PATIENT: "8018", PersonKind.STAFF: "8017"}[read.person.kind]
        return {ai: read.person.number}
    assert read.product is not None
    product, found = read.product, {"01": read.product.code}
    if product.expiry and read.expires_at:
        found["7003"] = f"{product.expiry}T{read.expires_at:%H:%M}"
    elif product.expiry:
        found["17"] = str(product.expiry)
    return found | {ai: v for ai, v in (("10", product.lot), ("21", product.serial)) if v}


@pytest.mark.parametrize(
    "case", [c for c in CASES if c["verdict"].startswith("accept")], ids=lambda c: str(c["id"])
)
def test_an_example_that_is_accepted_gives_its_fields(case: dict[str, Any]) -> None:
    expected = {ai: v for ai, v in case["expect"].items() if ai not in ("8019", "ndc10")}
    found = _fields(case["data"].replace("<GS>", GS))
    assert {ai: found.get(ai) for ai in expected} == expected


@pytest.mark.parametrize(
    "case", [c for c in CASES if not c["verdict"].startswith("accept")], ids=lambda c: str(c["id"])
)
def test_an_example_that_is_not_accepted_is_a_fault(case: dict[str, Any]) -> None:
    """The table says that a lost separator cannot be told by syntax; doubt is refused instead."""
    with pytest.raises(CodeFault):
        scan(case["data"].replace("<GS>", GS), today=TODAY)


REFUSED = [
    ("", "Nothing was read"),
    (" \r\n", "Nothing was read"),
    ("0" * (MAX_LENGTH + 1), "257 characters"),
    (f"01{GTIN}\r\n01{GTIN}", "Two codes"),
    (f"01{GTIN}10A\x00B", "no place in it"),
    (f"01{GTIN}10A\x1eB", "no place in it"),
    (f"01{GTIN}10LÖT", "no place in it"),
    (f"01{GTIN}10A\u202eB", "no place in it"),
    ("٠٩٥٢٠٠٠٧", "no place in it"),
    ("\ud800", "no place in it"),
    (f"]L2{GTIN}", "not read here"),
    ("]", "not read here"),
    (f"]C0{GTIN}", "not a GS1 code"),
    ("9520007300113", "does not fit the others"),
    ("]E09520007300113", "does not fit the others"),
    ("]E0952000730011A", "is not an item number"),
    ("0109520007300113", "does not fit the others"),
    ("8018952000000000000018", "does not fit the others"),
    ("8018952000000000000019" + GS + f"01{GTIN}", "two things at once"),
    ("]C19506000134352", "no item number and no person"),
    ("00395200000000000013", "no item number and no person"),
    ("10LOT7", "no item number and no person"),
    ("]d2917802000012040160", "code of a printed label.*7802000012040160"),
    (f"01{GTIN}10", "cannot be read"),
    (f"01{GTIN}17271330", "cannot be read"),
    (f"01{GTIN}17270010", "which is no day"),
    (f"01{GTIN}17270230", "which is no day"),
    (f"01{GTIN}70032711302445", "which is no day"),
    (f"01{GTIN}17271130" + "70032711291545", "two expiry dates"),
    (f"01{GTIN}10A{GS}10B", "comes twice"),
    (f"01{GTIN}7003271130154510BAG9", "separator may be missing after"),
    (f"01{GTIN}10AB17271130", "separator may be missing"),
    (f"01{GTIN}10AB7003271130", "separator may be missing"),
    (f"01{GTIN}1727113010AB21X", "separator may be missing"),
    (f"01{GTIN}21AB10X", "separator may be missing"),
    (f"01{GTIN}10AB7141234567", "separator may be missing"),
    (f"01{GTIN}10AB1126013121X", "separator may be missing"),
    (f"01{GTIN}10AB112601311727113021X", "cannot be read"),
    ("https://example.org/01/09520007300114", "web link"),
    (f"(01){GTIN} (10)AB", "not written as on a label"),
    (f"(01){GTIN}(10)A(B)C", "not written as on a label"),
    (f"(01){GTIN}(10)", "not written as on a label"),
    (f"(01){GTIN}(173)27113", "cannot be read"),
    (f"(01){GTIN}(05)1", "cannot be read"),
    ("(01)9520007300114", "cannot be read"),
    (f"]C1(01){GTIN}", "cannot be read"),
]


@pytest.mark.parametrize(("code", "words"), REFUSED)
def test_a_code_that_cannot_be_used_says_why_and_what_next(code: str, words: str) -> None:
    with pytest.raises(CodeFault, match=words) as told:
        scan(code, today=TODAY)
    assert any(
        remedy in str(told.value)
        for remedy in ("Scan", "scan", "Look", "type", "Type", "Take", "Read")
    )


@pytest.mark.parametrize("prefix", ["]d2", "]d8", "]C1", "]Q3", "]e0", "]J1", ""])
def test_element_strings_are_read_behind_every_prefix_that_carries_them(prefix: str) -> None:
    read = scan(f"{prefix}01{GTIN}1728083110Ab-7/x{GS}", today=TODAY)
    assert read.symbology == prefix
    assert read.product is not None
    assert read.product.lot == "Ab-7/x"
    assert read.product.expiry == date(2028, 8, 31)
    assert not read.typed


@pytest.mark.parametrize("code", ["9520007300114", "]E09520007300114", "]I109520007300114\r\n"])
def test_a_bare_item_number_is_never_taken_for_a_field(code: str) -> None:
    # A bare EAN-13 that begins with 95 would also parse as company information (AI 95).
    read = scan(code, today=TODAY)
    assert read.product is not None
    assert (read.product.code, read.product.lot, read.product.expiry) == (GTIN, "", None)


def test_bracketed_text_is_marked_as_typed_and_keeps_a_doubtful_lot() -> None:
    read = scan(f"(01){GTIN}(17)271130(10)B2104", today=TODAY)
    assert read.typed
    assert read.product is not None
    assert read.product.lot == "B2104"


def test_a_lot_is_not_doubted_for_fields_that_the_code_has_elsewhere() -> None:
    read = scan(f"01{GTIN}1727113010B2104-1710{GS}21S7141", today=TODAY)
    assert read.product is not None
    assert (read.product.lot, read.product.serial) == ("B2104-1710", "S7141")


@pytest.mark.parametrize(
    ("today", "figures", "year"),
    [
        # GS1 General Specifications, section 7.12: 49 years back, 50 ahead.
        (date(2026, 1, 1), "76", 2076),
        (date(2026, 1, 1), "77", 1977),
        (date(2026, 1, 1), "26", 2026),
        (date(2060, 1, 1), "10", 2110),
        (date(2060, 1, 1), "11", 2011),
        (date(1999, 12, 31), "49", 2049),
        (date(1999, 12, 31), "50", 1950),
    ],
)
def test_the_century_is_that_of_the_given_day(today: date, figures: str, year: int) -> None:
    product = scan(f"01{GTIN}17{figures}0200", today=today).product
    assert product is not None
    assert product.expiry is not None
    assert (product.expiry.year, product.expiry.month) == (year, 2)


def test_an_expiry_time_stands_beside_its_day() -> None:
    read = scan(f"01{GTIN}70032711301545{GS}10BAG9", today=TODAY)
    assert read.product is not None
    assert (read.product.expiry, read.expires_at) == (date(2027, 11, 30), time(15, 45))


def test_plain_barcodes_can_be_told_apart_from_gs1_ones() -> None:
    symbology, carrier, content = split("]C0PH-104\r")
    assert (symbology, str(carrier), content) == ("]C0", "text without GS1 meaning", "PH-104")


_LOTS = st.text(CSET_82, min_size=1, max_size=20)
_TRAPS = st.lists(
    st.sampled_from(["10", "21", "17", "271130", "714", "7003", "11", "A", "x", "0", "1"]),
    min_size=1,
    max_size=6,
).map(lambda parts: "".join(parts)[:20])
_LETTERS = st.text("ABCXYZabc-./", min_size=1, max_size=20)
_GTINS = st.from_regex(r"[0-9]{13}", fullmatch=True).map(lambda b: b + check_digit(b))
_DAYS = st.dates(date(2020, 1, 1), date(2040, 12, 31)).map(lambda d: f"{d:%y%m%d}")


@st.composite
def _codes(draw: st.DrawFn, texts: st.SearchStrategy[str]) -> tuple[str, dict[str, str]]:
    """A right element string with its fields; separators end the fields that need them."""
    fields = {"01": draw(_GTINS), "10": draw(texts)}
    other = {"17": _DAYS, "11": _DAYS, "21": texts, "714": texts}
    fields |= {ai: draw(values) for ai, values in other.items() if draw(st.booleans())}
    if "17" not in fields and draw(st.booleans()):
        fields["7003"] = draw(_DAYS) + "1545"
    order = draw(st.permutations(sorted(fields)))
    ends = {ai: "" if ai in ("01", "17", "11") else GS for ai in order}
    return "".join(f"{ai}{fields[ai]}{ends[ai]}" for ai in order).removesuffix(GS), fields


@settings(max_examples=200)
@example(("0100000000000000100100", {"01": "00000000000000", "10": "0100"}), False, "")
@given(_codes(_LOTS | _TRAPS), st.booleans(), st.sampled_from(["", "]d2", "]C1"]))
def test_a_lot_is_the_one_in_the_code_or_there_is_a_fault(
    made: tuple[str, dict[str, str]], lost: bool, prefix: str
) -> None:
    code, fields = made
    try:
        read = scan(prefix + (code.replace(GS, "") if lost else code), today=TODAY)
    except CodeFault:
        return
    assert read.product is not None
    # In doubt both are left out, and that is said.
    assert read.product.lot == ("" if read.unsure else fields["10"])
    assert read.product.serial == ("" if read.unsure else fields.get("21", ""))
    assert read.product.code == fields["01"]
    if read.product.expiry:
        expected = fields.get("17") or fields["7003"][:6]
        assert f"{read.product.expiry:%y%m%d}" == expected


@settings(max_examples=100)
@given(_codes(_LETTERS))
def test_a_code_with_its_separators_and_no_doubtful_tail_is_read(
    made: tuple[str, dict[str, str]],
) -> None:
    """Guards the test above against a reader that refuses everything."""
    code, fields = made
    read = scan(code, today=TODAY)
    assert read.product is not None
    assert read.product.lot == fields["10"]


@settings(max_examples=200)
@given(st.text() | st.text("01278)(]dCGS\x1d\r", max_size=60) | st.from_regex(r"[0-9]{0,60}"))
def test_no_text_gives_anything_but_a_scan_or_a_fault(raw: str) -> None:
    try:
        read = scan(raw, today=TODAY)
    except CodeFault:
        return
    assert (read.product is None) != (read.person is None)


def test_the_reading_library_is_loaded_only_when_a_code_is_read() -> None:
    check = "import sys, checklist.interop.gs1; sys.exit('biip' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", check], check=False).returncode == 0
