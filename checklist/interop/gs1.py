"""Scanned and typed GS1 codes: product numbers with lot and expiry, wristbands, staff badges.

Rules and their sources: application identifiers and which of them need a separator, GS1 Barcode
Syntax Dictionary (2026-07-27); check digit, GS1 check digit calculation; century and day 00 of a
date, GS1 General Specifications, section 7.12; patient and staff numbers, GS1 Global Service
Relation Number, with ISO/TS 18530:2021 for the wristband.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from enum import StrEnum
from types import MappingProxyType

from checklist.interop.gs1_date import clock_of, day_of
from checklist.interop.gtin import GTIN_LENGTHS, CodeFault, checks_out, gtin14
from checklist.interop.scanner import GS, UNTRIED, Prefix, Scanner
from checklist.interop.separator import all_ended, config, holds_more, none_swallowed
from checklist.number import quoted
from checklist.observation import ProductRead

__all__ = ["GS", "CodeFault", "PersonKind", "PersonRead", "Scan", "cleaned", "scan", "split"]

MAX_LENGTH = 256
"""The longest code that is read; GS1-128 ends at 48 characters, a small DataMatrix near 100."""
OWN_LABEL = "91"
"""GS1 application identifier for information of the firm's own (91 to 99, up to 90 characters).
Labels that are printed here carry it."""


class Carrier(StrEnum):
    """What a kind of barcode carries."""

    ELEMENTS = "element strings"
    NUMBER = "one item number"
    PLAIN = "text without GS1 meaning"


# Symbology identifiers: ISO/IEC 15424 (from memory), the GS1 ones as in GS1 General Specifications.
CARRIERS: Mapping[str, Carrier] = MappingProxyType(
    {
        "]d2": Carrier.ELEMENTS,  # GS1 DataMatrix
        "]d8": Carrier.ELEMENTS,  # the same in long rectangles (ISO/IEC 21471, from memory)
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
        "]d7": Carrier.PLAIN,  # the same in long rectangles
        "]Q1": Carrier.PLAIN,  # QR code
    }
)


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
    that day. `unsure` is a sentence where lot and serial number cannot be told for sure: they are
    then left out, and read from the label. `fields` are all fields by application identifier.
    """

    raw: str
    symbology: str
    product: ProductRead | None = None
    person: PersonRead | None = None
    typed: bool = False
    expires_at: time | None = None
    unsure: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)


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
    if prefix not in CARRIERS and prefix.swapcase() in CARRIERS:
        raise CodeFault(
            f"The scanner turns capitals and small letters round ({quoted(prefix)}). Press Caps"
            " Lock once and scan again; if that does not help, have its settings looked at."
        )
    if prefix not in CARRIERS:
        raise CodeFault(
            f"This kind of barcode ({quoted(prefix)}) is not read here. Look for another code on"
            " the label, or type the number."
        )
    return prefix, CARRIERS[prefix], content[3:]


def scan(raw: str, *, today: date, scanner: Scanner = UNTRIED) -> Scan:
    """Read one code.

    `today` fixes the century of two-figure years; `scanner` is what is known of the scanner that
    it came from. Accepted: GS1 element strings, with or without a symbology prefix; a bare item
    number of 8, 12, 13 or 14 figures; and bracketed text, marked as typed. Letters keep their case,
    since lots differ by it. Raises CodeFault, also when a lot or serial number looks as if it had
    swallowed a date, a lot or a serial number. Where it may have swallowed anything else, because
    nobody knows whether separators come through, both are left out and `unsure` says so.
    """
    symbology, carrier, content = split(scanner.meant(raw))
    if carrier is Carrier.PLAIN:
        raise CodeFault(
            f"This barcode reads {quoted(content)} ({symbology}) and is not a GS1 code. Look for"
            " another code on the label, or type the number."
        )
    if carrier is Carrier.NUMBER or (carrier is None and _bare(content)):
        code = gtin14(content)
        found = MappingProxyType({"01": code})
        return Scan(raw=raw, symbology=symbology, product=ProductRead(code=code), fields=found)
    typed = carrier is None and content.startswith("(")
    if content.lower().startswith("http"):
        raise CodeFault("This code is a web link. Scan the other code, or type the number.")
    if typed:
        return _read(raw, symbology, _once(_typed_fields(content)), today, typed=True)
    fields = _once(_scanned_fields(content, today))
    # A code without the prefix that this scanner always sends came in by another way.
    known = scanner.keeps_separators and (symbology or scanner.prefix is not Prefix.SENT)
    unsure = ""
    if not known and GS not in content and any(map(holds_more, _free(fields))):
        unsure = _MAY_HOLD_MORE
    elif scanner.changes_letters and any(map(_has_letters, _free(fields))):
        unsure = _LETTERS_CHANGED.format(scanner.letters.value)
    return _read(raw, symbology, fields, today, unsure=unsure)


_MAY_HOLD_MORE = (
    "The lot in this code may hold more than the lot: nobody knows whether this scanner sends"
    " separators. Type the lot from the label, and try the scanner: checklist scanner try."
)
_LETTERS_CHANGED = (
    "This scanner changes letters ({}). Type the lot from the label, have the scanner mended and"
    " try it again: checklist scanner try."
)


def _free(fields: Mapping[str, str]) -> list[str]:
    """The lot and serial number, those that are there."""
    return [fields[ai] for ai in ("10", "21") if ai in fields]


def _has_letters(value: str) -> bool:
    return not value.isdecimal()


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
            read = GS1ElementString.parse(f"{ai}{value}", config=config())
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
        elements = GS1Message.parse(content, config=config()).element_strings
    except ParseError:
        raise _unreadable(content) from None
    all_ended(content, elements)
    if any(element.ai.ai == "01" for element in elements):
        none_swallowed(content, elements, today)
    return [(element.ai.ai, element.value) for element in elements]


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


def _read(
    raw: str,
    symbology: str,
    fields: dict[str, str],
    today: date,
    *,
    typed: bool = False,
    unsure: str = "",
) -> Scan:
    """What the fields say about an item or a person."""
    kinds = [ai for ai in ("01", "8017", "8018") if ai in fields]
    if not kinds and OWN_LABEL in fields:
        raise CodeFault(
            f"This is the code of a printed label ({fields[OWN_LABEL]}), not that of an item or a"
            " person. Scan the maker's code on the item itself. What a label belongs to:"
            " checklist show and its figures."
        )
    if not kinds:
        raise CodeFault(
            "This code has no item number and no person's number. Look for another code on the"
            " label, or type the number."
        )
    if len(kinds) > 1:
        raise CodeFault("This code names two things at once. Scan the code of one of them.")
    if kinds == ["01"]:
        sure = {ai: v for ai, v in fields.items() if not unsure or ai not in ("10", "21")}
        product, expires_at = _product(sure, today)
        return Scan(
            raw=raw,
            symbology=symbology,
            product=product,
            typed=typed,
            expires_at=expires_at,
            unsure=unsure,
            fields=MappingProxyType(fields),
        )
    kind = PersonKind.STAFF if kinds == ["8017"] else PersonKind.PATIENT
    number = fields[kinds[0]]
    if not checks_out(number):
        raise CodeFault(
            f"The last figure of {number} does not fit the others, so one figure was misread."
            " Scan it again; if that does not help, have a new band or badge printed."
        )
    person = PersonRead(number=number, kind=kind)
    found = MappingProxyType(fields)
    return Scan(raw=raw, symbology=symbology, person=person, typed=typed, fields=found)


def _product(fields: dict[str, str], today: date) -> tuple[ProductRead, time | None]:
    """The item, and the time on its last day from which it may not be used."""
    expiry = _expiry(fields["17"], today) if "17" in fields else None
    expires_at = None
    if "7003" in fields:
        stamp = fields["7003"]
        day, clock = day_of(stamp[:6], today), clock_of(stamp[6:])
        if day is None or stamp[4:6] == "00" or clock is None:
            raise _noday_of(stamp)
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
    day = day_of(text, today)
    if day is None:
        raise _noday_of(text)
    return day


def _noday_of(text: str) -> CodeFault:
    return CodeFault(
        f"The expiry in this code is {quoted(text)}, which is no day. Read the expiry from the"
        " label; if the label has none, take another item."
    )


def _unreadable(text: str) -> CodeFault:
    return CodeFault(
        f"{quoted(text)} cannot be read as a GS1 code. Scan it again, or type the number from the"
        " label."
    )
