"""Separators that are lost, replaced or kept: never a wrong lot without a word."""

from __future__ import annotations

import re
from datetime import date

import pytest
from biip import ParseError
from biip.gs1_application_identifiers import _GS1_APPLICATION_IDENTIFIERS as KNOWN
from biip.gs1_element_strings import GS1ElementString
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from checklist.interop.gs1 import GS, CodeFault, scan
from checklist.interop.gtin import check_digit
from checklist.interop.scanner import (
    CSET_82,
    SOUND,
    UNTRIED,
    Letters,
    Prefix,
    Scanner,
    tells_apart,
)
from checklist.interop.separator import config

TODAY = date(2026, 11, 25)
GTIN = "09520007300114"
LOSES = Scanner(separator="", letters=Letters.AS_PRINTED)
BARS = Scanner(separator="|", letters=Letters.AS_PRINTED, prefix=Prefix.NOT_SENT)

# Published examples, with the fields they give.
PUBLISHED = [
    # GS1 General Specifications, figure 2.6.14-3: a healthcare DataMatrix.
    (
        "]d2010950110153000317150119" + "10AB-123",
        {"01": "09501101530003", "17": "150119", "10": "AB-123"},
    ),
    # GS1 Barcode Syntax Engine, description of the data that a scanner sends, by symbology.
    (
        f"]C1011231231231233310ABC123{GS}99TESTING",
        {"01": "12312312312333", "10": "ABC123", "99": "TESTING"},
    ),
    (
        f"]Q3011231231231233310ABC123{GS}99TESTING{GS}",
        {"01": "12312312312333", "10": "ABC123", "99": "TESTING"},
    ),
    (
        f"]d2011231231231233310ABC123{GS}99TESTING",
        {"01": "12312312312333", "10": "ABC123", "99": "TESTING"},
    ),
    ("]E02112345678900", {"01": "02112345678900"}),
    ("]E00416000336108", {"01": "00416000336108"}),
    ("]E402345673", {"01": "00000002345673"}),
]


@pytest.mark.parametrize(("raw", "fields"), PUBLISHED)
def test_a_published_example_gives_its_fields(raw: str, fields: dict[str, str]) -> None:
    assert dict(scan(raw, today=TODAY, scanner=SOUND).fields) == fields


@pytest.mark.parametrize(
    ("raw", "scanner", "lot", "words"),
    [
        # The same example with its separator lost: company information runs into the lot.
        ("]C1011231231231233310ABC12399TESTING", UNTRIED, "", "nobody knows whether"),
        ("]C1011231231231233310ABC12399TESTING", LOSES, "", "nobody knows whether"),
        (f"]C1011231231231233310ABC123{GS}99TESTING", UNTRIED, "ABC123", ""),
        (f"]C1011231231231233310ABC123{GS}99TESTING", LOSES, "ABC123", ""),
        ("011231231231233310ABC123|99TESTING", BARS, "ABC123", ""),
        ("]d2010952000730011410MC2204", UNTRIED, "", "nobody knows whether"),
        ("]d2010952000730011410MC2204", LOSES, "", "nobody knows whether"),
        ("]d2010952000730011410MC2204", SOUND, "MC2204", ""),
        ("010952000730011410MC2204", BARS, "MC2204", ""),
        # This scanner always sends a prefix, so a code without one came by another way.
        ("010952000730011410MC2204", SOUND, "", "nobody knows whether"),
        ("]d2010952000730011410MC-ABX", UNTRIED, "MC-ABX", ""),
        ("(01)09520007300114(10)MC2204", LOSES, "MC2204", ""),
    ],
)
def test_a_lot_is_taken_where_nothing_can_have_run_into_it(
    raw: str, scanner: Scanner, lot: str, words: str
) -> None:
    read = scan(raw, today=TODAY, scanner=scanner)
    assert read.product is not None
    assert read.product.lot == lot
    assert words in read.unsure and bool(words) is bool(read.unsure)


@pytest.mark.parametrize("letters", [Letters.TURNED, Letters.CAPITALS, Letters.CHANGED])
def test_a_lot_with_letters_is_not_taken_from_a_scanner_that_changes_them(letters: Letters) -> None:
    changes = Scanner(separator=GS, letters=letters)
    told = scan(f"01{GTIN}10aB12", today=TODAY, scanner=changes)
    assert told.product is not None and told.product.lot == ""
    assert letters.value in told.unsure and "Type the lot from the label" in told.unsure
    plain = scan(f"01{GTIN}10445566", today=TODAY, scanner=changes)
    assert plain.product is not None and plain.product.lot == "445566"


@pytest.mark.parametrize("prefix", ["]D2", "]c1", "]q3", "]i1"])
def test_a_prefix_turned_round_says_that_caps_lock_may_be_on(prefix: str) -> None:
    with pytest.raises(CodeFault, match="Caps Lock"):
        scan(f"{prefix}01{GTIN}10aB", today=TODAY)


@pytest.mark.parametrize(
    ("stand_in", "clear"),
    [
        ("|", True), ("~", True), ("^", True), ("{GS}", True), ("\x1b[19~", True), ("]", True),
        ("", False), ("/", False), ("-", False), ("#", False), ("<GS>", False), ("029", False),
        ("|" * 13, False),
    ],
)  # fmt: skip
def test_a_stand_in_is_taken_only_where_no_lot_can_hold_it(stand_in: str, clear: bool) -> None:
    assert tells_apart(stand_in) is clear


_FIGURES, _LETTERS = "0123456789", CSET_82


@st.composite
def _value(draw: st.DrawFn, form: str) -> str:
    """A value of the form that the syntax dictionary gives, such as N6+X..20."""
    made = ""
    for part in form.split("+")[1:]:
        optional = part.startswith("[")
        if optional and draw(st.booleans()):
            continue
        found = re.match(r"([NXYZ])(\.\.)?([0-9]+)", part.strip("[]"))
        if found is None:
            continue
        most = int(found[3])
        letters = _FIGURES if found[1] == "N" else _LETTERS
        made += draw(st.text(letters, min_size=1 if found[2] else most, max_size=most))
    return made


_AIS = [ai for code, ai in KNOWN.items() if code not in ("01", "10", "8017", "8018")]
# What the trade meets comes as often as all the rest.
_MET = [ai for ai in _AIS if ai.ai in ("11", "17", "20", "21", "22", "30", "37", "90", "91", "99",
        "235", "240", "241", "250", "710", "712", "715", "7003", "8008")]  # fmt: skip
_LOTS = st.text(CSET_82, min_size=1, max_size=20) | st.text(_FIGURES, min_size=1, max_size=12)


@st.composite
def _element_strings(draw: st.DrawFn) -> tuple[list[str], list[bool], str]:
    """Element strings of any known kind in any order, whether each needs a separator, the lot."""
    lot = draw(_LOTS)
    body = draw(st.text(_FIGURES, min_size=13, max_size=13))
    parts = [(f"01{body}{check_digit(body)}", False), (f"10{lot}", True)]
    for ai in draw(st.lists(st.sampled_from(_MET) | st.sampled_from(_AIS), max_size=3)):
        text = ai.ai + draw(_value(ai.format))
        try:
            read = GS1ElementString.parse(text, config=config())
        except ParseError:
            continue
        if len(read) == len(text) and ai.ai not in {part[: len(ai.ai)] for part, _ in parts}:
            parts.append((text, ai.separator_required))
    placed = draw(st.permutations(parts))
    return [text for text, _ in placed], [needs for _, needs in placed], lot


def _joined(texts: list[str], needs: list[bool], gap: str) -> str:
    last = len(texts) - 1
    return "".join(
        text + (gap if need and n < last else "")
        for n, (text, need) in enumerate(zip(texts, needs, strict=True))
    )


@settings(max_examples=400, deadline=None)
@given(_element_strings(), st.sampled_from([UNTRIED, LOSES]), st.sampled_from(["", "]d2", "]C1"]))
def test_separators_dropped_never_give_a_wrong_lot_without_a_word(
    made: tuple[list[str], list[bool], str], scanner: Scanner, prefix: str
) -> None:
    texts, needs, lot = made
    try:
        read = scan(prefix + _joined(texts, needs, ""), today=TODAY, scanner=scanner)
    except CodeFault:
        return
    assert read.product is not None
    assert read.product.lot == ("" if read.unsure else lot)


@settings(max_examples=200, deadline=None)
@given(_element_strings(), st.sampled_from(["|", "~", "{GS}", GS]))
def test_separators_that_come_through_give_the_right_lot_or_a_fault(
    made: tuple[list[str], list[bool], str], gap: str
) -> None:
    texts, needs, lot = made
    knows = Scanner(separator=gap, letters=Letters.AS_PRINTED)
    raw = _joined(texts, needs, gap)
    assume(len(raw) <= 200)
    try:
        read = scan(raw, today=TODAY, scanner=knows)
    except CodeFault:
        return
    assert read.product is not None and read.unsure == ""
    assert read.product.lot == lot


@settings(max_examples=100, deadline=None)
@given(st.from_regex(r"[A-FH-Z]{2}[3-8]{4}", fullmatch=True), st.sampled_from(["|", "\x1d"]))
def test_a_scanner_that_was_tried_reads_plain_lots(lot: str, gap: str) -> None:
    """Guards the tests above against a reader that refuses everything."""
    knows = Scanner(separator=gap, letters=Letters.AS_PRINTED)
    product = scan(f"01{GTIN}10{lot}{gap}21SER-A{gap}91x", today=TODAY, scanner=knows).product
    assert product is not None
    assert (product.lot, product.serial) == (lot, "SER-A")


@settings(max_examples=200, deadline=None)
@given(
    st.text("0123456789]dC2QeE0|~(){}\x1b\x1dABab-/\t\r\n ", max_size=80) | st.text(max_size=40),
    st.sampled_from([UNTRIED, LOSES, BARS, SOUND]),
)
def test_no_text_of_any_scanner_gives_anything_but_a_scan_or_a_fault(
    raw: str, scanner: Scanner
) -> None:
    try:
        read = scan(raw, today=TODAY, scanner=scanner)
    except CodeFault as fault:
        assert str(fault)
        return
    assert (read.product is None) != (read.person is None)
