"""Amounts in running text, marked so that a number and its unit never stand on two lines."""

from __future__ import annotations

import re
from functools import cache

from markupsafe import Markup, escape

from checklist.ucum import ATOMS

_NUMBER = r"(?<![\w.,])[0-9][0-9,]*(?:\.[0-9]+)?"


@cache
def _amount() -> re.Pattern[str]:
    words = {word for atom in ATOMS.values() for word in (atom.shown, atom.shown_many) if word}
    unit = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    return re.compile(rf"{_NUMBER} (?:(?:{unit})(?:/(?:{unit}))*(?![\w/])|%)")


def measured(text: object) -> Markup:
    """The text with each amount in an element of class `q`; everything else is escaped.

    An amount is a number, a space and a unit of the table of units, or a percentage.
    """
    said, parts, at = str(text), [], 0
    for found in _amount().finditer(said):
        parts += [escape(said[at : found.start()]), Markup('<span class="q">%s</span>') % found[0]]
        at = found.end()
    return Markup("").join([*parts, escape(said[at:])])
