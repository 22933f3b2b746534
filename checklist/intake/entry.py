"""One raw answer at a step, typed or scanned, turned into the value it stands for."""

from __future__ import annotations

import calendar
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from checklist.intake.codes import CodeBook
from checklist.interop import gs1
from checklist.interop.gtin import checks_out, gtin14
from checklist.letters import unseen
from checklist.number import NumberFault, number, quoted
from checklist.observation import Identifier, IdentifierKind, Kind, ProductRead, Value
from checklist.quantity import Concentration, DimensionMismatch, Quantity, UnitFault
from checklist.unit import Unit

MAX_TEXT = 200
"""The longest free text, in characters."""
MAX_SHORT = 80
"""The longest name, number, date or choice, in characters."""
PHARMACY_CODE = r"[A-Za-z][A-Za-z0-9-]{1,31}"
"""A pharmacy's own code begins with a letter, so that it never passes for an item number."""

NO_BOOK = CodeBook()
"""Nothing is known of the scanner, nor of any national number."""

_MONTHS = tuple(name.lower() for name in calendar.month_name)
_YES = ("y", "yes", "seen", "so")
_NO = ("n", "no", "not so", "not seen")
_DATE_HELP = "Type it like 31 Aug 2027, or like Aug 2027 when the label shows no day."
_DAY_LIKE = r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{1,2}[-./ ][0-9A-Za-z]+[-./ ][0-9]{2,4}"
_FIRST_YEAR, _LAST_YEAR = 1880, 2199


class EntryFault(ValueError):
    """An answer cannot be taken; the message says what was seen, what is expected, what to do."""


def read(
    kind: Kind,
    raw: str,
    *,
    unit: str = "",
    answers: Sequence[str] = (),
    today: date,
    zone: str,
    settings: Unit,
    codes: CodeBook = NO_BOOK,
) -> Value:
    """What the answer means, for a field of this kind. Raises EntryFault with a sentence.

    `unit` is the field's UCUM code: a bare number takes it, another unit is kept as typed for the
    checks to compare. `answers` are the names that a choice offers. `today` is the ward's local
    day; a time of day is taken on it, in the time zone `zone`. A count comes back as a Quantity
    of that unit or of "1"; a time as aware UTC; a birth date inside an Identifier as 2027-08-31.
    `codes` says what is known of the scanner here and of national numbers.

    >>> read(Kind.QUANTITY, "0.75", unit="mL", today=date(2026, 11, 25), zone="UTC",
    ...      settings=Unit(code="W", name="W"))
    Quantity.from_code('0.75 mL')
    """
    try:
        match kind:
            case Kind.PRODUCT:
                return _product(raw, today, codes)
            case Kind.IDENTIFIER:
                return _identifier(codes.scanner.meant(raw), today, settings)
            case Kind.QUANTITY:
                return _quantity(plain_text(raw, MAX_SHORT), unit)
            case Kind.CONCENTRATION:
                return Concentration.parse(plain_text(raw, MAX_SHORT), expand=True)
            case Kind.COUNT:
                return _count(plain_text(raw, MAX_SHORT), unit)
            case Kind.DATE:
                return day_of(plain_text(raw, MAX_SHORT))
            case Kind.TIME:
                return _time(plain_text(raw, MAX_SHORT), today, zone)
            case Kind.CHOICE:
                return _choice(plain_text(raw, MAX_SHORT), answers)
            case Kind.SEEN:
                return _seen(plain_text(raw, MAX_SHORT))
            case Kind.TEXT:
                return plain_text(raw, MAX_TEXT)
    except (NumberFault, UnitFault, DimensionMismatch, gs1.CodeFault) as fault:
        raise EntryFault(str(fault)) from fault


def plain_text(raw: str, longest: int) -> str:
    """The text in its composed form (NFC), without spaces at its ends.

    Raises EntryFault for nothing, for more than `longest` characters, and for a character that
    cannot be seen: one that hides or turns text round makes two different texts look alike.
    """
    text = raw.strip(" \t\r\n")
    if not text:
        raise EntryFault("Nothing was entered. Look, then type or scan the answer.")
    if len(text) > longest:
        raise EntryFault(
            f"The answer has {len(text)} characters; {longest} is the most. Shorten it."
        )
    if hidden := unseen(text):
        raise EntryFault(
            f"The answer holds a character that cannot be seen ({quoted(hidden)})."
            " Clear the field and type it again."
        )
    return unicodedata.normalize("NFC", text)


def _quantity(text: str, unit: str) -> Quantity:
    """A number in the field's unit, or a number with the unit that was typed."""
    has_unit = " " in text or any(char.isalpha() and char.isascii() for char in text)
    return Quantity.of(number(text), unit) if unit and not has_unit else Quantity.parse(text)


def _count(text: str, unit: str) -> Quantity:
    many = number(text)
    if many.denominator != 1:
        raise EntryFault(f"{quoted(text)} is not a whole number. Count again and type how many.")
    return Quantity.of(many, unit or "1")


def day_of(text: str) -> date:
    """The day that a written date means; for a month alone, its last day. EntryFault otherwise.

    Read: 2027-08-31, 31 Aug 2027, 31 August 2027; and 2027-08, 08/2027, Aug 2027 for a month.
    Figures alone with the day and the month first or second are refused, whichever they are.
    """
    day, month, year = "", "", ""
    if form := re.fullmatch(r"([0-9]{4})-([0-9]{2})(?:-([0-9]{2}))?", text):
        year, month, day = form[1], form[2], form[3] or ""
    elif form := re.fullmatch(r"([0-9]{2})/([0-9]{4})", text):
        month, year = form[1], form[2]
    elif form := re.fullmatch(r"(?:([0-9]{1,2}) )?([A-Za-z]{3,9}) ([0-9]{4})", text):
        day, month, year = form[1] or "", _month(form[2]), form[3]
    elif re.fullmatch(r"[0-9]{1,2}[-./ ][0-9]{1,2}[-./ ][0-9]{2,4}", text):
        raise EntryFault(
            f"{quoted(text)} can be read as two different days. Type the month as a word, like"
            " 31 Aug 2027."
        )
    if not year or not month:
        raise EntryFault(f"{quoted(text)} is not a date that can be read. {_DATE_HELP}")
    if not _FIRST_YEAR <= int(year) <= _LAST_YEAR or not 1 <= int(month) <= 12:
        raise EntryFault(f"{quoted(text)} is not a day of the calendar. {_DATE_HELP}")
    last = calendar.monthrange(int(year), int(month))[1]
    if day and not 1 <= int(day) <= last:
        raise EntryFault(f"{quoted(text)} is not a day of the calendar. {_DATE_HELP}")
    return date(int(year), int(month), int(day) if day else last)


def _month(word: str) -> str:
    """The number of an English month, in full or as its first three letters; "" for another."""
    found = [n for n, name in enumerate(_MONTHS) if name and word.lower() in (name, name[:3])]
    return str(found[0]) if found else ""


def _time(text: str, today: date, zone: str) -> datetime:
    """A local time of day on `today`, as UTC.

    On the night the clocks go back one hour comes twice: "01:30 first" or "01:30 second".
    """
    form = re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])(?: (first|second))?", text)
    if form is None:
        raise EntryFault(
            f"{quoted(text)} is not a time of day. Type hours and minutes, like 09:05 or 21:40."
        )
    clock = time(int(form[1]), int(form[2]))
    once, again = (
        datetime.combine(today, clock, ZoneInfo(zone)).replace(fold=fold).astimezone(UTC)
        for fold in (0, 1)
    )
    if once > again:
        raise EntryFault(
            f"{text} does not come on this day: the clocks went forward. Look at the clock again."
        )
    if once == again:
        if form[3]:
            raise EntryFault(f"{form[1]}:{form[2]} comes once on this day. Type it alone.")
        return once
    if not form[3]:
        raise EntryFault(
            f"{text} comes twice on this day, as the clocks go back. Type {text} first or"
            f" {text} second."
        )
    return once if form[3] == "first" else again


def _choice(text: str, answers: Sequence[str]) -> str:
    """The answer of that name, whatever its capitals, or of that number counted from 1."""
    word = " ".join(text.casefold().split())
    for answer in answers:
        if word == answer.casefold():
            return answer
    if re.fullmatch(r"[1-9][0-9]{0,2}", text) and int(text) <= len(answers):
        return answers[int(text) - 1]
    offered = ", ".join(f"{n} {a}" for n, a in enumerate(answers, start=1))
    raise EntryFault(f"{quoted(text)} is not one of the answers. Type one of: {offered}.")


def _seen(text: str) -> bool:
    word = text.casefold()
    if word in _YES or word in _NO:
        return word in _YES
    raise EntryFault(f"{quoted(text)} is neither yes nor no. Type y for yes or n for not so.")


def _product(raw: str, today: date, codes: CodeBook) -> ProductRead:
    """A scan, an item number with its check digit, bracketed text, a national number, or the
    pharmacy's own code."""
    scanner = codes.scanner
    _, carrier, content = gs1.split(scanner.meant(raw))
    if carrier in (None, gs1.Carrier.PLAIN):
        if (found := codes.national(content)) is not None:
            return ProductRead(code=found)
        if re.fullmatch(PHARMACY_CODE, content):
            return ProductRead(code=content)
    if carrier is None and re.fullmatch(r"[0-9]{1,14}", content):
        return ProductRead(code=codes.of_gtin(gtin14(content)))
    scan = gs1.scan(raw, today=today, scanner=scanner)
    if scan.product is None:
        raise EntryFault("This is a person's number. Scan the code of the item.")
    if scan.expires_at is not None and scan.product.expiry == today:
        raise EntryFault(
            f"This item is in date until {scan.expires_at:%H:%M} today, and only whole days are"
            " compared here. Take another item, or ask the pharmacist."
        )
    return replace(scan.product, code=codes.of_gtin(scan.product.code))


def unsure(raw: str, *, today: date, codes: CodeBook) -> str:
    """Why the lot in a product's code is not taken from it; "" where there is no doubt."""
    try:
        return gs1.scan(raw, today=today, scanner=codes.scanner).unsure
    except gs1.CodeFault:
        return ""


def _identifier(raw: str, today: date, settings: Unit) -> Identifier:
    """A datum that is meant to say who the patient is, with the kind that its form shows.

    A scan is never taken for anything but a wristband: a patient's GSRN, or, in a plain barcode,
    the unit's own wristband or its record number. A typed text is tried as a wristband number of 18
    figures, the unit's record number, its own wristband, a date, a room or bed, and a name, in this
    order: whatever may be a place counts as a place.
    """
    _, carrier, content = gs1.split(raw) if raw.strip().startswith("]") else ("", None, raw)
    if carrier is gs1.Carrier.PLAIN:
        return _plain_band(content, settings)
    if carrier is not None or gs1.GS in raw or re.fullmatch(r"80(?:17|18)[0-9]{18,}", raw.strip()):
        person = gs1.scan(raw, today=today).person
        if person is None or person.kind is not gs1.PersonKind.PATIENT:
            raise EntryFault("This is not a patient's code. Scan the code on the wristband.")
        return Identifier(IdentifierKind.BAND_NUMBER, person.number)
    text = " ".join(plain_text(raw, MAX_SHORT).split())
    if re.fullmatch(r"[0-9]{18}", text) and checks_out(text):
        return Identifier(IdentifierKind.BAND_NUMBER, text)
    if re.fullmatch(settings.record_number, text):
        return Identifier(IdentifierKind.RECORD_NUMBER, text)
    if settings.wristband and re.fullmatch(settings.wristband, text):
        return Identifier(IdentifierKind.BAND_NUMBER, text)
    if re.fullmatch(_DAY_LIKE, text):
        return Identifier(IdentifierKind.BIRTH_DATE, day_of(text).isoformat())
    if re.fullmatch(settings.location, text):
        return Identifier(IdentifierKind.LOCATION, text)
    if all(char.isalpha() or char in " -'’.," or unicodedata.combining(char) for char in text):
        return Identifier(IdentifierKind.NAME, text)
    raise EntryFault(
        f"{quoted(text)} reads as no name, date of birth, record number or wristband number."
        " Read it from the band again."
    )


def _plain_band(content: str, settings: Unit) -> Identifier:
    """What a wristband with a plain barcode carries."""
    if re.fullmatch(r"[0-9]{18}", content) and checks_out(content):
        return Identifier(IdentifierKind.BAND_NUMBER, content)
    if re.fullmatch(settings.record_number, content):
        return Identifier(IdentifierKind.RECORD_NUMBER, content)
    if settings.wristband and re.fullmatch(settings.wristband, content):
        return Identifier(IdentifierKind.BAND_NUMBER, content)
    raise EntryFault(
        "This barcode holds neither a record number nor a wristband number of this unit. Scan the"
        " code on the wristband, or read name and date of birth from it and type them."
    )
