"""Raw answers: what each kind of field takes, and the sentence for what it does not take."""

from __future__ import annotations

from datetime import UTC, date, datetime
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from checklist.intake.entry import MAX_SHORT, MAX_TEXT, EntryFault, day_of, read
from checklist.observation import Identifier, IdentifierKind, Kind, ProductRead, Value
from checklist.quantity import Concentration, Quantity
from checklist.unit import Unit

TODAY = date(2026, 11, 25)
WARD = Unit(code="W7E", name="Ward 7 East")
GTIN = "09520007300114"
GSRN = "952000000000000019"
ANSWERS = ("deltoid", "ventrogluteal", "not given")


def take(kind: Kind, raw: str, **how: Any) -> Value:
    usual: dict[str, Any] = {"today": TODAY, "zone": "Europe/London", "settings": WARD}
    return read(kind, raw, **usual | how)


TAKEN: list[tuple[Kind, str, dict[str, Any], Value]] = [
    (Kind.QUANTITY, "0.75", {"unit": "mL"}, Quantity.of("0.75", "mL")),
    (Kind.QUANTITY, " 0.75 mL\r\n", {"unit": "mL"}, Quantity.of("0.75", "mL")),
    (Kind.QUANTITY, "300 microgram", {"unit": "mg"}, Quantity.of("300", "ug")),
    (Kind.QUANTITY, "7.5 mg", {}, Quantity.of("7.5", "mg")),
    (Kind.QUANTITY, "12 units", {}, Quantity.of("12", "{unit}")),
    (Kind.QUANTITY, "14", {"unit": "1/min"}, Quantity.of("14", "1/min")),
    (Kind.COUNT, "2", {}, Quantity.of("2", "1")),
    (Kind.COUNT, "12", {"unit": "{ampoule}"}, Quantity.of("12", "{ampoule}")),
    (Kind.COUNT, "0", {}, Quantity.of("0", "1")),
    (Kind.CONCENTRATION, "10 mg/mL", {}, Concentration.parse("10 mg/mL")),
    (Kind.CONCENTRATION, "20 mg in 2 mL", {}, Concentration.parse("10 mg/mL")),
    (Kind.CONCENTRATION, "0.9 %", {}, Concentration.parse("9 mg/mL")),
    (Kind.CONCENTRATION, "1:1000", {}, Concentration.parse("1 mg/mL")),
    (Kind.DATE, "2027-08-31", {}, date(2027, 8, 31)),
    (Kind.DATE, "31 Aug 2027", {}, date(2027, 8, 31)),
    (Kind.DATE, "1 august 2027", {}, date(2027, 8, 1)),
    # A month alone ends on its last day: GS1 General Specifications, day 00 (from memory).
    (Kind.DATE, "02/2028", {}, date(2028, 2, 29)),
    (Kind.DATE, "2027-02", {}, date(2027, 2, 28)),
    (Kind.DATE, "AUG 2027", {}, date(2027, 8, 31)),
    (Kind.DATE, "May 2027", {}, date(2027, 5, 31)),
    (Kind.TIME, "09:05", {}, datetime(2026, 11, 25, 9, 5, tzinfo=UTC)),
    (Kind.TIME, "00:30", {"zone": "Asia/Tokyo"}, datetime(2026, 11, 24, 15, 30, tzinfo=UTC)),
    (Kind.CHOICE, "deltoid", {"answers": ANSWERS}, "deltoid"),
    (Kind.CHOICE, "Ventrogluteal", {"answers": ANSWERS}, "ventrogluteal"),
    (Kind.CHOICE, "2", {"answers": ANSWERS}, "ventrogluteal"),
    (Kind.CHOICE, "Not  given", {"answers": ANSWERS}, "not given"),
    (Kind.CHOICE, "2", {"answers": ("3", "2")}, "2"),
    (Kind.SEEN, "y", {}, True),
    (Kind.SEEN, "Seen", {}, True),
    (Kind.SEEN, "not so", {}, False),
    (Kind.SEEN, "n", {}, False),
    (Kind.TEXT, "  call light on \n", {}, "call light on"),
    (Kind.TEXT, "cafe\u0301", {}, "café"),
    (Kind.TEXT, "K\u00e4the \U0001f642 <b>", {}, "Käthe 🙂 <b>"),
    (Kind.PRODUCT, "9520007300114", {}, ProductRead(code=GTIN)),
    (Kind.PRODUCT, "PH-104", {}, ProductRead(code="PH-104")),
    (Kind.PRODUCT, "]C0PH-104\r", {}, ProductRead(code="PH-104")),
    (
        Kind.PRODUCT,
        f"]d201{GTIN}1727083110Lm-44a",
        {},
        ProductRead(code=GTIN, lot="Lm-44a", expiry=date(2027, 8, 31)),
    ),
    (Kind.PRODUCT, f"(01){GTIN}(10)B21", {}, ProductRead(code=GTIN, lot="B21")),
    (Kind.IDENTIFIER, f"]d28018{GSRN}", {}, Identifier(IdentifierKind.BAND_NUMBER, GSRN)),
    (Kind.IDENTIFIER, f"8018{GSRN}\r", {}, Identifier(IdentifierKind.BAND_NUMBER, GSRN)),
    (Kind.IDENTIFIER, GSRN, {}, Identifier(IdentifierKind.BAND_NUMBER, GSRN)),
    (Kind.IDENTIFIER, "30011742", {}, Identifier(IdentifierKind.RECORD_NUMBER, "30011742")),
    (Kind.IDENTIFIER, "1958-03-14", {}, Identifier(IdentifierKind.BIRTH_DATE, "1958-03-14")),
    (Kind.IDENTIFIER, "14 Mar 1958", {}, Identifier(IdentifierKind.BIRTH_DATE, "1958-03-14")),
    (Kind.IDENTIFIER, "Room 12", {}, Identifier(IdentifierKind.LOCATION, "Room 12")),
    (Kind.IDENTIFIER, "bed 4", {}, Identifier(IdentifierKind.LOCATION, "bed 4")),
    (Kind.IDENTIFIER, "12B", {}, Identifier(IdentifierKind.LOCATION, "12B")),
    (Kind.IDENTIFIER, "Ada  O'Reen", {}, Identifier(IdentifierKind.NAME, "Ada O'Reen")),
    (Kind.IDENTIFIER, "Zoe\u0308 Tarn", {}, Identifier(IdentifierKind.NAME, "Zoë Tarn")),
    (Kind.IDENTIFIER, "Тарн, Зоя", {}, Identifier(IdentifierKind.NAME, "Тарн, Зоя")),
    (
        Kind.IDENTIFIER,
        "H-77",
        {"settings": Unit(code="W", name="W", record_number="H-[0-9]+")},
        Identifier(IdentifierKind.RECORD_NUMBER, "H-77"),
    ),
]


@pytest.mark.parametrize(("kind", "raw", "how", "value"), TAKEN)
def test_an_answer_means_what_it_says(
    kind: Kind, raw: str, how: dict[str, Any], value: Value
) -> None:
    taken = take(kind, raw, **how)
    assert type(taken) is type(value)
    assert taken == value


REFUSED: list[tuple[Kind, str, dict[str, Any], str]] = [
    *[(kind, "", {"answers": ANSWERS}, "Nothing was") for kind in Kind],
    *[(kind, " \r\n", {"answers": ANSWERS}, "Nothing was") for kind in Kind],
    (Kind.QUANTITY, "0,5", {"unit": "mL"}, "comma"),
    (Kind.QUANTITY, ".5", {"unit": "mL"}, "zero before"),
    (Kind.QUANTITY, "5.0", {"unit": "mL"}, "zero after"),
    (Kind.QUANTITY, "1e3", {"unit": "mL"}, "1e3"),
    (Kind.QUANTITY, "٥", {"unit": "mL"}, "another script"),
    (Kind.QUANTITY, "５", {"unit": "mL"}, "another script"),
    (Kind.QUANTITY, "-2", {"unit": "mL"}, "sign"),
    (Kind.QUANTITY, "NaN", {"unit": "mL"}, "NaN"),
    (Kind.QUANTITY, "inf", {"unit": "mL"}, "inf"),
    (Kind.QUANTITY, "1 000", {"unit": "mL"}, "space"),
    (Kind.QUANTITY, "5\u00a0mL", {"unit": "mL"}, "cannot be seen"),
    (Kind.QUANTITY, "5 U", {"unit": "mL"}, "misread"),
    (Kind.QUANTITY, "7.5mg", {"unit": "mL"}, "no space before"),
    (Kind.QUANTITY, "5", {}, "no unit"),
    (Kind.QUANTITY, "5" * (MAX_SHORT + 1), {"unit": "mL"}, f"{MAX_SHORT} is the most"),
    (Kind.COUNT, "1.5", {}, "whole number"),
    (Kind.COUNT, "two", {}, "figures"),
    (Kind.CONCENTRATION, "10 mg", {}, "strength"),
    (Kind.CONCENTRATION, "10mg/mL", {}, "no space before"),
    (Kind.CONCENTRATION, "2 mL in 10 mL", {}, "strength"),
    (Kind.CONCENTRATION, "5 mg/kg", {}, "strength"),
    (Kind.DATE, "03/04/2027", {}, "two different days"),
    (Kind.DATE, "31.08.2027", {}, "two different days"),
    (Kind.DATE, "3-4-27", {}, "two different days"),
    (Kind.DATE, "30 Feb 2027", {}, "not a day"),
    (Kind.DATE, "29 Feb 2027", {}, "not a day"),
    (Kind.DATE, "13/2027", {}, "not a day"),
    (Kind.DATE, "2027-02-29", {}, "not a day"),
    (Kind.DATE, "0027-02-28", {}, "not a day"),
    (Kind.DATE, "31 Aug 27", {}, "not a date"),
    (Kind.DATE, "31 Agosto 2027", {}, "not a date"),
    (Kind.DATE, "2027-8-31", {}, "not a date"),
    (Kind.DATE, "٢٠٢٧-٠٨-٣١", {}, "not a date"),
    (Kind.DATE, "today", {}, "not a date"),
    (Kind.TIME, "9:05", {}, "like 09:05"),
    (Kind.TIME, "24:00", {}, "not a time"),
    (Kind.TIME, "0905", {}, "not a time"),
    (Kind.TIME, "09:05 first", {}, "comes once"),
    (Kind.CHOICE, "4", {"answers": ANSWERS}, "1 deltoid, 2 ventrogluteal, 3 not given"),
    (Kind.CHOICE, "0", {"answers": ANSWERS}, "one of the answers"),
    (Kind.CHOICE, "delt", {"answers": ANSWERS}, "one of the answers"),
    (Kind.CHOICE, "²", {"answers": ANSWERS}, "one of the answers"),
    (Kind.SEEN, "maybe", {}, "neither yes nor no"),
    (Kind.SEEN, "1", {}, "neither yes nor no"),
    (Kind.TEXT, "a\x00b", {}, "cannot be seen"),
    (Kind.TEXT, "a\nb", {}, "cannot be seen"),
    (Kind.TEXT, "a\u202eb", {}, "cannot be seen"),
    (Kind.TEXT, "a\u200bb", {}, "cannot be seen"),
    (Kind.TEXT, "a\ufeffb", {}, "cannot be seen"),
    (Kind.TEXT, "a\u2028b", {}, "cannot be seen"),
    (Kind.TEXT, "\ud800", {}, "cannot be seen"),
    (Kind.TEXT, "x" * (MAX_TEXT + 1), {}, f"{MAX_TEXT} is the most"),
    (Kind.PRODUCT, "9520007300113", {}, "does not fit"),
    (Kind.PRODUCT, "12345", {}, "8, 12, 13 or 14 figures"),
    (Kind.PRODUCT, "PH 104", {}, "cannot be read"),
    (Kind.PRODUCT, f"]d28018{GSRN}", {}, "person's number"),
    (Kind.PRODUCT, f"01{GTIN}70032611251545", {}, "until 15:45 today"),
    (Kind.PRODUCT, "P" * 300, {}, "300 characters"),
    (Kind.IDENTIFIER, f"]d28017{GSRN}", {}, "not a patient's code"),
    (Kind.IDENTIFIER, f"8017{GSRN}", {}, "not a patient's code"),
    (Kind.IDENTIFIER, f"]d201{GTIN}", {}, "not a patient's code"),
    (Kind.IDENTIFIER, "8018952000000000000018", {}, "does not fit"),
    (Kind.IDENTIFIER, "14/03/1958", {}, "two different days"),
    (Kind.IDENTIFIER, "03/04/1958", {}, "two different days"),
    (Kind.IDENTIFIER, "12345678901234567", {}, "reads as no name"),
    (Kind.IDENTIFIER, "952000000000000018", {}, "reads as no name"),
    (Kind.IDENTIFIER, "Ada\u200b Reen", {}, "cannot be seen"),
    (Kind.IDENTIFIER, "Ada_Reen;--", {}, "reads as no name"),
]


@pytest.mark.parametrize(("kind", "raw", "how", "words"), REFUSED)
def test_what_cannot_be_read_in_one_way_is_refused_in_words(
    kind: Kind, raw: str, how: dict[str, Any], words: str
) -> None:
    with pytest.raises(EntryFault) as told:
        take(kind, raw, **how)
    sentence = str(told.value)
    assert words in sentence
    assert sentence.endswith(".")
    for word in ("invalid", "wrong", "failed", "error", "illegal", "you forgot", "must"):
        assert word not in sentence.lower()


def test_an_hour_that_comes_twice_is_asked_for_by_name() -> None:
    # IANA time zone database, Europe/London: back from 02:00 to 01:00 on 25 Oct 2026.
    night = date(2026, 10, 25)
    with pytest.raises(EntryFault, match="01:30 first or 01:30 second"):
        take(Kind.TIME, "01:30", today=night)
    first = take(Kind.TIME, "01:30 first", today=night)
    second = take(Kind.TIME, "01:30 second", today=night)
    assert (first, second) == (
        datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
        datetime(2026, 10, 25, 1, 30, tzinfo=UTC),
    )


def test_an_hour_that_is_left_out_is_refused() -> None:
    # IANA time zone database, Europe/London: forward from 01:00 to 02:00 on 29 Mar 2026.
    with pytest.raises(EntryFault, match="went forward"):
        take(Kind.TIME, "01:30", today=date(2026, 3, 29))


def test_another_unit_than_the_fields_is_kept_for_the_check_to_compare() -> None:
    taken = take(Kind.QUANTITY, "7.5 mg", unit="mL")
    assert isinstance(taken, Quantity)
    assert (taken.magnitude, taken.unit) == (Fraction(15, 2), "mg")


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_a_day_written_with_its_month_as_a_word_is_that_day(day: date) -> None:
    assert day_of(f"{day.day} {day:%b %Y}") == day_of(f"{day:%d %B %Y}") == day
    assert day_of(day.isoformat()) == day
    assert day_of(f"{day:%m/%Y}").month == day.month


_RAW = (
    st.text(max_size=40)
    | st.text("0123456789.,-/: mgLU%eE()]d\x1d\u00a0\u202e\ud800", max_size=30)
    | st.sampled_from([case[1] for case in TAKEN])
)


@settings(max_examples=200)
@given(st.sampled_from(Kind), _RAW, st.sampled_from(["", "mL", "ug", "[iU]/kg/h"]))
@example(Kind.CONCENTRATION, "1:0", "")
@example(Kind.CONCENTRATION, "0 %", "")
@example(Kind.IDENTIFIER, "]", "")
def test_no_answer_gives_anything_but_a_value_or_a_fault(kind: Kind, raw: str, unit: str) -> None:
    try:
        value = take(kind, raw, unit=unit, answers=ANSWERS)
    except EntryFault as fault:
        assert str(fault)
    else:
        assert isinstance(value, Value)
        assert not isinstance(value, float)
