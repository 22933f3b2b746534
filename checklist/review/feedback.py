"""The one-page feedback sheet of one person: what went well, what to change, the next step."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from datetime import date

NOTHING = "Nothing is written down yet."
"""Stands under a heading that has no line, so that an empty part is seen to be empty."""
READERS = "For this person and their educator only. It is not a ranking and holds no score."
WIDEST = 88
MOST = 5
"""Most lines under one heading: more than a few points cannot be worked on at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What is told to one person, in finished sentences and without a score.

    `person` is the staff code and `name` the name where names were asked for; `about` says what
    the sheet rests on, `made` is the local day it was made, `observer` the staff code of who
    watched ("" where nobody did). `learner` holds what the person wrote, which stands before what
    others say. `figures` are what the trail says, each with the number it rests on. `due` is the
    day by which the next step is to be done. `trail` is the result of the trail's verification.
    """

    person: str
    unit: str
    about: str
    made: date
    trail: str
    name: str = ""
    observer: str = ""
    learner: tuple[str, ...] = ()
    went_well: tuple[str, ...] = ()
    to_change: tuple[str, ...] = ()
    next_step: str = ""
    due: date | None = None
    figures: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """What stands at the top."""
        return f"Feedback for {self.person}{f' {self.name}' if self.name else ''}"

    @property
    def facts(self) -> tuple[tuple[str, str], ...]:
        """What the sheet rests on, as pairs of a word and a text."""
        return (
            ("Unit", self.unit),
            ("About", self.about),
            ("Made", said(self.made)),
            ("Observer", self.observer or "nobody; from the trail alone"),
        )

    @property
    def parts(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """The headings with their lines, in the order in which they are read together."""
        by = f" By {said(self.due)}." if self.due and self.next_step else ""
        step = (f"{self.next_step}{by}",) if self.next_step else ()
        own = (("In your own words", self.learner[:MOST]),) if self.learner else ()
        return (
            *own,
            ("What went well", self.went_well[:MOST] or (NOTHING,)),
            ("What to change", self.to_change[:MOST] or (NOTHING,)),
            ("Next step", step or (NOTHING,)),
            ("What the trail says", self.figures or (NOTHING,)),
        )

    @property
    def foot(self) -> tuple[str, ...]:
        """What stands at the bottom: who it is for, and the state of the trail."""
        return (READERS, self.trail)


def said(day: date) -> str:
    """A day as it is written on the sheet, such as 9 Dec 2026."""
    return f"{day.day} {day:%b %Y}"


def plain(sheet: Sheet) -> str:
    """The sheet as plain text, at most WIDEST characters wide."""
    lines = [sheet.title, "=" * len(sheet.title), ""]
    lines += [f"{word:<10}{text}" for word, text in sheet.facts]
    for heading, points in sheet.parts:
        lines += ["", heading, "-" * len(heading)]
        for point in points:
            lines += textwrap.wrap(
                point,
                WIDEST,
                initial_indent="* ",
                subsequent_indent="  ",
                break_long_words=False,
                break_on_hyphens=False,
            )
    lines += ["", *(line for text in sheet.foot for line in textwrap.wrap(text, WIDEST))]
    return "\n".join(lines) + "\n"


def markdown(sheet: Sheet) -> str:
    """The sheet as Markdown; what people wrote cannot become markup in it."""
    lines = [f"# {_inert(sheet.title)}", "", "| | |", "|---|---|"]
    lines += [f"| {word} | {_inert(text)} |" for word, text in sheet.facts]
    for heading, points in sheet.parts:
        lines += ["", f"## {heading}", "", *(f"- {_inert(point)}" for point in points)]
    lines += ["", *(f"*{_inert(text)}*  " for text in sheet.foot)]
    return "\n".join(lines) + "\n"


def _inert(text: str) -> str:
    """The text on one line, with nothing in it that Markdown reads as more than text."""
    line = " ".join(text.split())
    marked = "".join(f"\\{char}" if char in "\\`*_{}[]<>#|~" else char for char in line)
    # A dash, or a figure with a point, would begin a list.
    return re.sub(r"^([0-9]*)([-+.)])", r"\1\\\2", marked)
