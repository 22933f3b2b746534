"""What a person or a scanner reports at a step: raw text, what it means, and how it came in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from types import MappingProxyType

from checklist.quantity import Concentration, Quantity


class Channel(StrEnum):
    """How an entry reached the station; keyed entry in place of a scan stays visible."""

    SCANNED = "scanned"
    TYPED = "typed"
    CHOSEN = "chosen"
    LINES = "lines"
    ENGINE = "engine"


KEYED: Mapping[str, str] = MappingProxyType(
    {
        "no_code": "there is no code on it",
        "unreadable": "the code is torn, wet or smudged",
        "not_read": "the scanner does not read this kind of code",
        "doubted": "what was scanned was refused",
        "no_scanner": "there is no scanner here that works",
    }
)
"""Why a code was typed in place of a scan. Common practice, no source."""
_KEYED_NOTE = "code_keyed: "


def keyed_note(field: str, why: str) -> str:
    """The note that keeps why the code of a field was typed: `code_keyed: product: no_code`."""
    return f"{_KEYED_NOTE}{field}: {why}"


def keyed_of(note: str) -> tuple[str, str] | None:
    """The field and the reason that such a note keeps; None for every other note.

    A person's own words never begin so in an entry: they are kept apart from it.
    """
    field, parted, why = note.removeprefix(_KEYED_NOTE).partition(": ")
    kept = note.startswith(_KEYED_NOTE) and bool(parted) and why in KEYED
    return (field, why) if kept else None


class Kind(StrEnum):
    """What sort of answer a field takes."""

    PRODUCT = "product"
    IDENTIFIER = "identifier"
    QUANTITY = "quantity"
    CONCENTRATION = "concentration"
    COUNT = "count"
    TEXT = "text"
    DATE = "date"
    TIME = "time"
    CHOICE = "choice"
    SEEN = "seen"


class IdentifierKind(StrEnum):
    """What sort of datum was offered to say who the patient is."""

    NAME = "name"
    BIRTH_DATE = "date of birth"
    RECORD_NUMBER = "record number"
    BAND_NUMBER = "wristband number"
    LOCATION = "room or bed"


@dataclass(frozen=True, slots=True)
class Identifier:
    """A datum that is meant to identify a person, with the kind it was recognised as."""

    kind: IdentifierKind
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductRead:
    """What a product's code or label gave: its code (GTIN-14 or the formulary's own), lot, expiry.

    `expiry` is the last day on which the item may be used; None when the code did not carry it.
    """

    code: str
    lot: str = ""
    expiry: date | None = None
    serial: str = ""


@dataclass(frozen=True, slots=True)
class Sealed:
    """The place in the erasable table where an identifying entry is kept, instead of its text."""

    reference: str


@dataclass(frozen=True, slots=True)
class Unread:
    """An entry that could not be understood, with the sentence that says why."""

    sentence: str


Value = (
    Quantity
    | Concentration
    | ProductRead
    | Identifier
    | Sealed
    | Unread
    | bool
    | str
    | date
    | datetime
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One answer: the raw text as it came, what it was taken to mean, and its channel."""

    raw: str
    value: Value
    channel: Channel


Observation = Mapping[str, Reading]
