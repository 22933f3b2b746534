"""Text for a terminal: made harmless, and broken into lines that keep a number with its unit."""

from __future__ import annotations

import re
import textwrap
import unicodedata

WIDEST = 100
"""Longer lines are hard to follow, however wide the window."""
_NARROWEST = 20
_STAYS = "\x00"  # stands in for a space at which no line may break; no text holds it
_NUMBER_AND_UNIT = re.compile(r"(?<=[0-9]) (?=[A-Za-z%µμ])")
_MONTH_AND_YEAR = re.compile(r"\b([A-Z][a-z]{2}) (?=[0-9]{4}\b)")
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")


def harmless(text: str) -> str:
    """The text with every character that could steer a terminal, or hide, shown as an escape."""
    return "".join(
        char.encode("unicode_escape").decode("ascii")
        if unicodedata.category(char) in _HIDDEN and char != "\n"
        else char
        for char in text
    )


def lines(text: str, width: int, *, first: str = "", rest: str | None = None) -> list[str]:
    """The text as lines of at most `width` characters.

    `first` stands before the first line and `rest` before each other one (as many spaces, when
    left out). A number is never parted from the unit that follows it, a month never from its year.
    """
    after = " " * len(first) if rest is None else rest
    kept = together(harmless(text), _STAYS)
    broken = textwrap.wrap(
        kept,
        max(width, _NARROWEST),
        initial_indent=first,
        subsequent_indent=after,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_STAYS, " ").rstrip() for line in broken] or [first.rstrip()]


def together(text: str, stays: str) -> str:
    """The text with `stays` for each space between a number and its unit, a month and its year."""
    return _MONTH_AND_YEAR.sub(rf"\1{stays}", _NUMBER_AND_UNIT.sub(stays, text))


def apart(left: str, right: str, width: int) -> list[str]:
    """Two texts at the two ends of a line, or on two lines where they do not fit on one."""
    left, right = harmless(left), harmless(right)
    gap = width - len(left) - len(right)
    if gap >= 2:
        return [f"{left}{' ' * gap}{right}"]
    return [*lines(left, width), *lines(right, width)]
