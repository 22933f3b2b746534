"""What the scanner of a station does to a code on its way in, as its try-out found it.

A scanner is a keyboard to the computer: it may leave the separator out, type something else for it,
put the symbology prefix in front or not, and follow the keyboard's own layout and Caps Lock.
Separator (FNC1 sent as GS) and prefixes: GS1 General Specifications, section 7.8 (from memory);
what scanners do besides: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

GS = "\x1d"
"""The separator (FNC1 as a scanner sends it) that ends a field without a fixed length."""
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"
"""What a lot or serial number may hold; GS1 Barcode Syntax Dictionary (2026-07-27)."""
CSET_39 = "#-/0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
"""The letters of a component number, the only set with one more: #. Same source."""
LONGEST_STAND_IN = 12
"""Characters that a scanner may send in place of the separator."""


class Prefix(StrEnum):
    """Whether the symbology prefix, such as ]d2, comes with a code."""

    UNKNOWN = "unknown"
    SENT = "sent"
    NOT_SENT = "not sent"


class Letters(StrEnum):
    """What becomes of the letters of a code."""

    UNKNOWN = "unknown"
    AS_PRINTED = "as printed"
    TURNED = "capitals and small letters turned round"
    CAPITALS = "all capitals"
    SMALL = "all small letters"
    CHANGED = "other characters"


class Ending(StrEnum):
    """What the scanner types behind a code."""

    UNKNOWN = "unknown"
    ENTER = "enter"
    TWICE = "enter twice"
    TAB = "tab"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanner:
    """What is known of a scanner.

    `separator` is what arrives for the separator: GS, a stand-in, "" where it is lost, None where
    nobody has tried. `tried_at` is the UTC time of the try-out as text, "" for none; `by` the staff
    code of who made it.
    """

    prefix: Prefix = Prefix.UNKNOWN
    separator: str | None = None
    letters: Letters = Letters.UNKNOWN
    ending: Ending = Ending.UNKNOWN
    tried_at: str = ""
    by: str = ""

    @property
    def keeps_separators(self) -> bool:
        """Whether it is known that separators arrive, as themselves or as a stand-in."""
        return bool(self.separator)

    @property
    def changes_letters(self) -> bool:
        """Whether letters are known to arrive otherwise than printed."""
        return self.letters not in (Letters.UNKNOWN, Letters.AS_PRINTED)

    @property
    def tried(self) -> bool:
        """Whether anybody has tried it."""
        return self.separator is not None or self.letters is not Letters.UNKNOWN

    def meant(self, raw: str) -> str:
        """The code with GS wherever the scanner typed its stand-in; bracketed text as it is."""
        if not self.separator or self.separator == GS or raw.lstrip().startswith("("):
            return raw
        return raw.replace(self.separator, GS)


UNTRIED = Scanner()
"""A scanner of which nothing is known."""
SOUND = Scanner(prefix=Prefix.SENT, separator=GS, letters=Letters.AS_PRINTED, ending=Ending.ENTER)
"""A scanner that sends all as it should."""


def tells_apart(stand_in: str) -> bool:
    """Whether a text can stand for the separator without being a part of a lot: one of its
    characters can be in no field of a code."""
    known = set(CSET_82) | set(CSET_39)
    return 0 < len(stand_in) <= LONGEST_STAND_IN and not set(stand_in) <= known
