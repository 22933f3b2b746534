"""What stands on the pages of a report, as plain data for the page that sets it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from checklist.drawing import paper
from checklist.drawing.plot import Plot
from checklist.drawing.sheet import Sheet
from checklist.review import feedback

UNKNOWN = (
    "Work that was done outside this tool: it leaves no entry.",
    "Whether a syringe held what was typed, or an observation was really made.",
    "Errors that no check looks for.",
    (
        "Whether more stops mean more slips or more slips caught: read them with the share of"
        " preparations done here, with releases and with what observers see."
    ),
)
"""What the figures of a trail cannot tell, printed with every report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """A month's report: measures at a glance, drawings in order, what else is not known."""

    title: str
    about: tuple[str, ...]
    glance: Sheet
    parts: tuple[Plot, ...]
    unknown: tuple[str, ...] = ()
    foot: tuple[str, ...] = ()


def month_pdf(month: Month, at: datetime) -> bytes:
    """The report on A4, the same bytes for the same figures. Raises NeedsExtra."""
    data = {
        "title": month.title,
        "about": list(month.about),
        "glance": paper.tabled(month.glance),
        "parts": [paper.drawn(plot) for plot in month.parts],
        "unknown": [*UNKNOWN, *month.unknown],
        "foot": list(month.foot),
    }
    return paper.pages("month", data, at)


def feedback_pdf(sheet: feedback.Sheet, pictures: Sequence[Plot], at: datetime) -> bytes:
    """One person's page, with at most one curve of their own. Raises NeedsExtra."""
    data = {
        "title": sheet.title,
        "facts": [list(pair) for pair in sheet.facts],
        "parts": [[heading, list(lines)] for heading, lines in sheet.parts],
        "pictures": [paper.drawn(plot) for plot in pictures],
        "foot": list(sheet.foot),
    }
    return paper.pages("feedback", data, at)
