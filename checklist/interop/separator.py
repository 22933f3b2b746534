"""Signs that a code has lost its separators on the way, so that one field holds the next ones.

Which fields need one: GS1 Barcode Syntax Dictionary (2026-07-27). No syntax tells a lost separator
from a long lot, so a doubtful value is never taken.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import date
from functools import cache
from typing import TYPE_CHECKING

from checklist.interop.gs1_date import day_of
from checklist.interop.gtin import CodeFault
from checklist.interop.scanner import GS
from checklist.number import quoted

if TYPE_CHECKING:
    from biip import ParseConfig
    from biip.gs1_element_strings import GS1ElementString

_DATED = ("11", "15", "17")
_FREE = ("10", "21", "710", "711", "712", "713", "714", "715", "716")
_SCARCE = _FREE[2:]
"""National numbers: three figures that turn up by chance in long serial numbers."""


def all_ended(content: str, elements: Collection[GS1ElementString]) -> None:
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


def none_swallowed(content: str, elements: Collection[GS1ElementString], today: date) -> None:
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
        if day_of(rest[:6], today) and re.fullmatch(r"[0-9]+", rest[:length]):
            behind = rest[length:]
            if len(rest) >= length and (not behind or _fields(behind, absent, today)):
                return True
    return False


def holds_more(value: str) -> bool:
    """Whether the tail of a value reads as fields of any kind.

    Complete: a value that swallowed fields ends with the last one of them, which reads by itself.
    """
    from biip import ParseError
    from biip.gs1_messages import GS1Message

    for start in range(1, len(value)):
        try:
            GS1Message.parse(value[start:], config=config())
        except ParseError:
            continue
        return True
    return False


@cache
def config() -> ParseConfig:
    """How the library reads: dates are ours to judge, since it asks the machine for the year."""
    from biip import ParseConfig

    return ParseConfig(gs1_element_strings_verify_date=False, separator_chars=(GS,))
