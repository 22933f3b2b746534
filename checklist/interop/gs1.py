"""Scanned and typed GS1 codes: product numbers with lot and expiry, wristbands, staff badges.

Rules and their sources: application identifiers and which of them need a separator, GS1 Barcode
Syntax Dictionary (2026-07-27); check digit, GS1 check digit calculation; century and day 00 of a
date, GS1 General Specifications, section 7.12; patient and staff numbers, GS1 Global Service
Relation Number, with ISO/TS 18530:2021 for the wristband.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, time
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from checklist.interop.gtin import GTIN_LENGTHS, CodeFault, checks_out, gtin14
from checklist.number import quoted
from checklist.observation import ProductRead

if TYPE_CHECKING:
    from biip import ParseConfig
    from biip.gs1_element_strings import GS1ElementString

__all__ = ["CodeFault", "PersonKind", "PersonRead", "Scan", "cleaned", "scan", "split"]

GS = "\x1d"
"""The separator (FNC1 as a scanner sends it) that ends a field without a fixed length."""
MAX_LENGTH = 256
"""The longest code that is read; GS1-128 ends at 48 characters, a small DataMatrix near 100."""


class Carrier(StrEnum):
    """What a kind of barcode carries."""

    ELEMENTS = "element strings"
    NUMBER = "one item number"
    PLAIN = "text without GS1 meaning"


# Symbology identifiers: ISO/IEC 15424 (from memory), the GS1 ones as in GS1 General Specifications.
CARRIERS: Mapping[str, Carrier] = MappingProxyType(
    {
        "]d2": Carrier.ELEMENTS,  # GS1 DataMatrix
        "]C1": Carrier.ELEMENTS,  # GS1-128
        "]Q3": Carrier.ELEMENTS,  # GS1 QR code
        "]e0": Carrier.ELEMENTS,  # GS1 DataBar
        "]J1": Carrier.ELEMENTS,  # GS1 DotCode
        "]E0": Carrier.NUMBER,  # EAN-13, UPC-A, UPC-E
        "]E4": Carrier.NUMBER,  # EAN-8
        "]I1": Carrier.NUMBER,  # ITF-14
        "]A0": Carrier.PLAIN,  # Code 39
        "]C0": Carrier.PLAIN,  # Code 128
        "]d1": Carrier.PLAIN,  # DataMatrix
        "]Q1": Carrier.PLAIN,  # QR code
    }
)

_DATED = ("11", "15", "17")
_FREE = ("10", "21", "710", "711", "712", "713", "714", "715", "716")
_SCARCE = _FREE[2:]
"""National numbers: three figures that turn up by chance in long serial numbers."""


class PersonKind(StrEnum):
    """Whose number a service relation number is."""

    PATIENT = "patient"
    STAFF = "staff"


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRead:
    """The 18-figure service relation number (GSRN) of a wristband or a staff badge."""

    number: str
    kind: PersonKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One code as it was read: exactly one of `product` and `person` is there.

    `raw` is the text as it came, `symbology` its three-character prefix or empty. `typed` marks
    bracketed text, (01)...(17)..., which a person copied from the label. `expires_at` is the local
    time on the day `product.expiry` from which the item may no longer be used; None for the end of
    that day.
    """

    raw: str
    symbology: str
    product: ProductRead | None = None
    person: PersonRead | None = None
    typed: bool = False
    expires_at: time | None = None


def cleaned(raw: str) -> str:
    """The code without the line end or spaces that a scanner adds around it.

    CodeFault for nothing, for too much, and for characters that no such code holds.
    """
    if len(raw) > MAX_LENGTH:
        raise CodeFault(
            f"The code has {len(raw)} characters; {MAX_LENGTH} is the most that is read."
            " Scan one code at a time."
        )
    content = raw.strip(" \t\r\n")
    if not content:
        raise CodeFault("Nothing was read. Scan the code again, or type it from the label.")
    if "\r" in content or "\n" in content:
        raise CodeFault("Two codes came in together. Scan one code at a time.")
    for char in content:
        if char != GS and not " " <= char <= "~":
            raise CodeFault(
                f"The code holds {quoted(char)}, which has no place in it. Scan it again; if it"
                " comes back, have the scanner's settings looked at."
            )
    return content


def split(raw: str) -> tuple[str, Carrier | None, str]:
    """The symbology prefix, what it carries, and the content after it.

    Without a prefix the first is empty and the second None. CodeFault for a prefix of a kind of
    barcode that is not read here.
    """
    content = cleaned(raw)
    if not content.startswith("]"):
        return "", None, content
    prefix = content[:3]
    if prefix not in CARRIERS:
        raise CodeFault(
            f"This kind of barcode ({quoted(prefix)}) is not read here. Look for another code on"
            " the label, or type the number."
        )
    return prefix, CARRIERS[prefix], content[3:]


def scan(raw: str, *, today: date) -> Scan:
    """Read one code.

    `today` fixes the century of two-figure years. Accepted: GS1 element strings, with or without
    a symbology prefix; a bare item number of 8, 12, 13 or 14 figures; and bracketed text, marked
    as typed. Letters keep their case, since lots differ by it. Raises CodeFault, also when a lot
    or serial number looks as if it had swallowed the next field.
    """
    symbology, carrier, content = split(raw)
    if carrier is Carrier.PLAIN:
        raise CodeFault(
            f"This barcode ({symbology}) is not a GS1 code. Look for another code on the label,"
            " or type the number."
        )
    if carrier is Carrier.NUMBER or (carrier is None and _bare(content)):
        return Scan(raw=raw, symbology=symbology, product=ProductRead(code=gtin14(content)))
    typed = carrier is None and content.startswith("(")
    if content.lower().startswith("http"):
        raise CodeFault("This code is a web link. Scan the other code, or type the number.")
    fields = _typed_fields(content) if typed else _scanned_fields(content, today)
    return _read(raw, symbology, _once(fields), today, typed)


def _bare(content: str) -> bool:
    """Whether it can only be an item number: without this, an EAN-13 would pass for AI 95."""
    return content.isdecimal() and len(content) in GTIN_LENGTHS


def _typed_fields(content: str) -> list[tuple[str, str]]:
    """The fields of bracketed text, each checked alone."""
    from biip import ParseError
    from biip.gs1_element_strings import GS1ElementString

    if not re.fullmatch(r"(?:\([0-9]{2,4}\)[^() ]+)+", content):
        raise CodeFault(
            f"{quoted(content)} is not written as on a label. Type it like"
            " (01)...(17)...(10)..., with no spaces and no other brackets."
        )
    fields = []
    for ai, value in re.findall(r"\(([0-9]{2,4})\)([^()]+)", content):
        try:
            read = GS1ElementString.parse(f"{ai}{value}", config=_config())
        except ParseError:
            raise _unreadable(f"({ai}){value}") from None
        if read.ai.ai != ai:
            raise _unreadable(f"({ai}){value}")
        fields.append((ai, value))
    return fields


def _scanned_fields(content: str, today: date) -> list[tuple[str, str]]:
    """The fields of element strings, with the separators between them looked at."""
    from biip import ParseError
    from biip.gs1_messages import GS1Message

    content = content.strip(GS)
    try:
        elements = GS1Message.parse(content, config=_config()).element_strings
    except ParseError:
        raise _unreadable(content) from None
    _all_ended(content, elements)
    if any(element.ai.ai == "01" for element in elements):
        _none_swallowed(content, elements, today)
    return [(element.ai.ai, element.value) for element in elements]


def _all_ended(content: str, elements: Collection[GS1ElementString]) -> None:
    """CodeFault when a field that needs a separator is followed by something else."""
    place = 0
    for element in elements:
        place += len(element)
        following = content[place : place + 1]
        if element.ai.separator_required and following not in ("", GS):
            raise CodeFault(
                f"A separator may be missing after {quoted(element.value)}. Type the code from the"
                " label like (01)...(17)...(10)..., and have the scanner's settings looked at."
            )
        while content[place : place + 1] == GS:
            place += 1


def _none_swallowed(content: str, elements: Collection[GS1ElementString], today: date) -> None:
    """CodeFault when the tail of a field reads as fields that this code does not have otherwise.

    A scanner that drops separators runs a lot into the serial number behind it, and no syntax
    tells. So a doubtful value is refused, though a whole lot may look doubtful by chance. When
    a separator did come through, the national numbers are left out of the doubt.
    """
    present = {element.ai.ai for element in elements}
    absent = {"7003", *_DATED, *_FREE} - present
    if GS in content:
        absent -= set(_SCARCE)
    for element in elements:
        value = element.value if ".." in element.ai.format else ""
        for start in range(1, len(value)):
            if _fields(value[start:], absent, today):
                raise CodeFault(
                    f"A separator may be missing: {quoted(value)} can be read as one field or as"
                    f" two, {quoted(value[:start])} and {quoted(value[start:])}. Type the code"
                    " from the label like (01)...(17)...(10)..., or scan another one."
                )


def _fields(text: str, absent: Collection[str], today: date) -> bool:
    """Whether the whole text reads as one or more of the absent fields."""
    for ai in absent:
        rest = text.removeprefix(ai)
        if rest == text or not rest:
            continue
        if ai in _FREE:
            return True
        length = 10 if ai == "7003" else 6
        if _date(rest[:6], today) and re.fullmatch(r"[0-9]+", rest[:length]):
            behind = rest[length:]
            if len(rest) >= length and (not behind or _fields(behind, absent, today)):
                return True
    return False


def _once(fields: list[tuple[str, str]]) -> dict[str, str]:
    """The fields by identifier; CodeFault when one comes twice with different values."""
    read: dict[str, str] = {}
    for ai, value in fields:
        if read.setdefault(ai, value) != value:
            raise CodeFault(
                f"The field ({ai}) comes twice in this code, as {quoted(read[ai])} and as"
                f" {quoted(value)}. Take another item, or type what the label says."
            )
    return read


def _read(raw: str, symbology: str, fields: dict[str, str], today: date, typed: bool) -> Scan:
    """What the fields say about an item or a person."""
    kinds = [ai for ai in ("01", "8017", "8018") if ai in fields]
    if not kinds:
        raise CodeFault(
            "This code has no item number and no person's number. Look for another code on the"
            " label, or type the number."
        )
    if len(kinds) > 1:
        raise CodeFault("This code names two things at once. Scan the code of one of them.")
    if kinds == ["01"]:
        product, expires_at = _product(fields, today)
        return Scan(
            raw=raw, symbology=symbology, product=product, typed=typed, expires_at=expires_at
        )
    kind = PersonKind.STAFF if kinds == ["8017"] else PersonKind.PATIENT
    number = fields[kinds[0]]
    if not checks_out(number):
        raise CodeFault(
            f"The last figure of {number} does not fit the others, so one figure was misread."
            " Scan it again; if that does not help, have a new band or badge printed."
        )
    person = PersonRead(number=number, kind=kind)
    return Scan(raw=raw, symbology=symbology, person=person, typed=typed)


def _product(fields: dict[str, str], today: date) -> tuple[ProductRead, time | None]:
    """The item, and the time on its last day from which it may not be used."""
    expiry = _expiry(fields["17"], today) if "17" in fields else None
    expires_at = None
    if "7003" in fields:
        stamp = fields["7003"]
        day, clock = _date(stamp[:6], today), _clock(stamp[6:])
        if day is None or stamp[4:6] == "00" or clock is None:
            raise _no_date(stamp)
        if expiry not in (None, day):
            raise CodeFault(
                "This code gives two expiry dates that differ. Take another item, and give this"
                " one to the pharmacy."
            )
        expiry, expires_at = day, clock
    product = ProductRead(
        code=gtin14(fields["01"]),
        lot=fields.get("10", ""),
        expiry=expiry,
        serial=fields.get("21", ""),
    )
    return product, expires_at


def _expiry(text: str, today: date) -> date:
    day = _date(text, today)
    if day is None:
        raise _no_date(text)
    return day


def _date(text: str, today: date) -> date | None:
    """YYMMDD as a day, day 00 as the last of the month; None when there is no such day."""
    if not re.fullmatch(r"[0-9]{6}", text):
        return None
    year, month, day = _year(int(text[:2]), today), int(text[2:4]), int(text[4:])
    if not 1 <= month <= 12:
        return None
    last = calendar.monthrange(year, month)[1]
    return date(year, month, day or last) if day <= last else None


def _year(figures: int, today: date) -> int:
    """The year that two figures mean, from 49 years back to 50 years ahead of today."""
    century = today.year - today.year % 100
    ahead = figures - today.year % 100
    if ahead >= 51:
        return century - 100 + figures
    if ahead <= -50:
        return century + 100 + figures
    return century + figures


def _clock(text: str) -> time | None:
    """hhmm as a time of day; None when there is no such time."""
    if re.fullmatch(r"(?:[01][0-9]|2[0-3])[0-5][0-9]", text):
        return time(int(text[:2]), int(text[2:]))
    return None


def _no_date(text: str) -> CodeFault:
    return CodeFault(
        f"The expiry in this code is {quoted(text)}, which is no day. Read the expiry from the"
        " label; if the label has none, take another item."
    )


def _unreadable(text: str) -> CodeFault:
    return CodeFault(
        f"{quoted(text)} cannot be read as a GS1 code. Scan it again, or type the number from the"
        " label."
    )


@cache
def _config() -> ParseConfig:
    """How the library reads: dates are ours to judge, since it asks the machine for the year."""
    from biip import ParseConfig

    return ParseConfig(gs1_element_strings_verify_date=False, separator_chars=(GS,))
