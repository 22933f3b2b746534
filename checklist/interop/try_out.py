"""The try-out of a scanner: a page of symbols whose content is known, and what came of each.

Everything is pure: the face prints and reads, this says what it means. What scanners do besides
what they should: common practice, no source.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from checklist.interop.scanner import (
    CSET_82,
    GS,
    LONGEST_STAND_IN,
    Ending,
    Letters,
    Prefix,
    Scanner,
    tells_apart,
)

NUMBER = "09520007399996"
"""An item number with the company prefix 952, which GS1 keeps for examples (from memory)."""
MOST_PAIRS = 6
"""The most changed characters that are told."""


class Shape(StrEnum):
    """The kind of a symbol on the page."""

    DATAMATRIX = "GS1 DataMatrix"
    LINEAR = "GS1-128"
    NUMBER = "EAN-13"
    QR = "GS1 QR code"


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """One symbol of the page: its number, what it is, and its content.

    `parts` are the stretches between separators, `bracketed` the whole as people write it, `prefix`
    what a scanner that sends prefixes puts in front.
    """

    number: int
    shape: Shape
    prefix: str
    bracketed: str
    parts: tuple[str, ...]
    shows: str


PAGE = (
    Printed(
        number=1,
        shape=Shape.DATAMATRIX,
        prefix="]d2",
        bracketed=f"(01){NUMBER}(10)aB-12(21)Zy9",
        parts=(f"01{NUMBER}10aB-12", "21Zy9"),
        shows="separator and prefix",
    ),
    Printed(
        number=2,
        shape=Shape.DATAMATRIX,
        prefix="]d2",
        bracketed="(91)" + CSET_82.replace("(", "").replace(")", ""),
        parts=("91" + CSET_82.replace("(", "").replace(")", ""),),
        shows="every letter, figure and sign",
    ),
    Printed(
        number=3,
        shape=Shape.LINEAR,
        prefix="]C1",
        bracketed=f"(01){NUMBER}(10)cD-34(21)Xw7",
        parts=(f"01{NUMBER}10cD-34", "21Xw7"),
        shows="separator and prefix of a linear code",
    ),
    Printed(
        number=4,
        shape=Shape.NUMBER,
        prefix="]E0",
        bracketed=NUMBER[1:],
        parts=(NUMBER[1:],),
        shows="a bare item number",
    ),
    Printed(
        number=5,
        shape=Shape.QR,
        prefix="]Q3",
        bracketed=f"(01){NUMBER}(10)eF-56(21)Vu5",
        parts=(f"01{NUMBER}10eF-56", "21Vu5"),
        shows="separator and prefix of a QR code",
    ),
)
"""The symbols of the page, in the order in which they are scanned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """What came of one symbol. `separator` is None where the symbol has none, or it is not told."""

    prefix: Prefix
    separator: str | None
    letters: Letters
    pairs: tuple[tuple[str, str], ...] = ()
    extra: str = ""


_CHANGES: Mapping[Letters, Callable[[str], str]] = MappingProxyType(
    {
        Letters.AS_PRINTED: str,
        Letters.TURNED: str.swapcase,
        Letters.CAPITALS: str.upper,
        Letters.SMALL: str.lower,
    }
)


def came(symbol: Printed, raw: str) -> Came | None:
    """What a line says about the scanner, where `symbol` was scanned; None for another code."""
    line = raw.strip(" \t\r\n")
    for letters, change in _CHANGES.items():
        found = re.fullmatch(_form(symbol, change), line, re.DOTALL)
        if found is None:
            continue
        lead = found["lead"]
        sent = lead.casefold() == symbol.prefix.casefold()
        return Came(
            prefix=Prefix.SENT if sent else Prefix.NOT_SENT,
            separator=found["gap"] if len(symbol.parts) > 1 else None,
            letters=letters if _has_letters(symbol) else Letters.UNKNOWN,
            extra="" if sent else lead,
        )
    return _changed(symbol, line)


def _form(symbol: Printed, change: Callable[[str], str]) -> str:
    """The pattern of a symbol's line, with whatever stands in front and for the separator."""
    first, *others = (re.escape(change(part)) for part in symbol.parts)
    gap = "".join(f"(?P<gap>.{{0,{LONGEST_STAND_IN}}}?){part}" for part in others)
    return f"(?P<lead>.{{0,4}}?){first}{gap}"


def _changed(symbol: Printed, line: str) -> Came | None:
    """A line in which characters are others than printed, or None where it is another code.

    The symbol with all characters shows which; the others only that some are.
    """
    whole = "".join(symbol.parts)
    bodies = [line.removeprefix(symbol.prefix), line[len(symbol.prefix) :]]
    same_length = [body for body in bodies if len(body) == len(whole)]
    if not _has_letters(symbol) and any(body.isdecimal() for body in bodies):
        return None  # figures that are others than printed are another code
    if any(_other(symbol, line)) or (not same_length and not _near(whole, line)):
        return None
    pairs = []
    for body in same_length[:1]:
        pairs = [(a, b) for a, b in zip(whole, body, strict=True) if a != b]
    return Came(
        prefix=Prefix.SENT if line.startswith(symbol.prefix) else Prefix.UNKNOWN,
        separator=None,
        letters=Letters.CHANGED,
        pairs=tuple(dict.fromkeys(pairs))[:MOST_PAIRS],
    )


def _has_letters(symbol: Printed) -> bool:
    return not "".join(symbol.parts).isdecimal()


def _near(whole: str, line: str) -> bool:
    """Whether a line is like what was printed, although characters are changed or gone."""
    return difflib.SequenceMatcher(None, whole, line, autojunk=False).ratio() >= 0.6


def _other(symbol: Printed, line: str) -> list[bool]:
    """For each other symbol of the page, whether the line is rather that one's."""
    return [
        re.fullmatch(_form(one, change), line, re.DOTALL) is not None
        for one in PAGE
        if one.parts != symbol.parts
        for change in _CHANGES.values()
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a whole try-out found: the scanner, what to mend, and what was left out."""

    scanner: Scanner
    mend: tuple[str, ...]
    unread: tuple[int, ...]

    @property
    def fit(self) -> bool:
        """Whether lots may be taken from scanned codes without a second look."""
        return self.scanner.keeps_separators and not self.scanner.changes_letters


def finding(found: Mapping[int, Came], ending: Ending, *, tried_at: str, by: str) -> Finding:
    """What all symbols say together; where they differ, the worse counts.

    `found` holds what came of each symbol that was read, by its number.
    """
    gaps = [one.separator for one in found.values() if one.separator is not None]
    gap = gaps[0] if gaps and len(set(gaps)) == 1 else ("" if gaps else None)
    worst = max((one.letters for one in found.values()), key=_WORSE.index, default=Letters.UNKNOWN)
    sent = {one.prefix for one in found.values()} - {Prefix.UNKNOWN}
    every = sent.pop() if len(sent) == 1 else Prefix.UNKNOWN
    clear = gap is None or gap in ("", GS) or tells_apart(gap)
    scanner = Scanner(
        prefix=every,
        separator=gap if clear else "",
        letters=worst,
        ending=ending,
        tried_at=tried_at,
        by=by,
    )
    return Finding(
        scanner=scanner,
        mend=tuple(_mend(found, scanner, gaps)),
        unread=tuple(one.number for one in PAGE if one.number not in found),
    )


_WORSE = (
    Letters.UNKNOWN, Letters.AS_PRINTED, Letters.SMALL, Letters.CAPITALS, Letters.TURNED,
    Letters.CHANGED,
)  # fmt: skip


def _mend(found: Mapping[int, Came], scanner: Scanner, gaps: Sequence[str]) -> list[str]:
    """What somebody has to see to, as sentences."""
    said = []
    if len(set(gaps)) > 1:
        said.append(
            "The separator comes in different ways from different symbols. Have it set to one for"
            " all: send FNC1 as GS (hexadecimal 1D)."
        )
    elif gaps and scanner.separator == "":
        what = f"is sent as {gaps[0]}, which a lot may hold itself" if gaps[0] else "is lost"
        said.append(f"The separator {what}. Have it set: send FNC1 as GS (hexadecimal 1D).")
    match scanner.letters:
        case Letters.TURNED:
            said.append(
                "Capitals and small letters are turned round. Press Caps Lock once and try again;"
                " if that does not help, have the scanner set to ignore Caps Lock."
            )
        case Letters.CAPITALS | Letters.SMALL:
            said.append(
                f"Letters come as {scanner.letters.value}. Have the scanner set to keep them as"
                " printed."
            )
        case Letters.CHANGED:
            pairs = {pair for one in found.values() for pair in one.pairs}
            shown = ", ".join(f"{a} as {b}" for a, b in sorted(pairs)[:MOST_PAIRS])
            told = f" ({shown})" if shown else ""
            said.append(
                f"Other characters come than are printed{told}. Have the keyboard country of the"
                " scanner set to that of this computer."
            )
        case _:
            pass
    extra = {one.extra for one in found.values()} - {""}
    if extra:
        said.append(
            f"The scanner puts {', '.join(map(repr, sorted(extra)))} in front of a code. Have that"
            " taken out of its settings."
        )
    match scanner.ending:
        case Ending.TWICE:
            said.append(
                "The scanner sends two line ends. The second one is dropped here; better have it"
                " set to one Enter."
            )
        case Ending.TAB | Ending.NOTHING:
            said.append(
                "The scanner does not press Enter. Press it yourself after each code, or have it"
                " set to send Enter."
            )
        case _:
            pass
    if scanner.prefix is Prefix.UNKNOWN and found:
        said.append("The prefix of the symbology comes with some symbols only. Have it set alike.")
    return said
