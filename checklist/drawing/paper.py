"""Drawings and reports on paper: PDF pages set by typst, readable by machines and people alike."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from checklist.drawing import picture
from checklist.drawing.letters import FONTS
from checklist.drawing.plot import Group, Plot
from checklist.drawing.sheet import Sheet, texts
from checklist.extra import wanted

PAGES = Path(__file__).resolve().parent / "pages"
STANDARDS = ["ua-1"]
"""Every page passes the checks of PDF/UA-1 (ISO 14289-1) that typst makes, or is not made."""


def chart(plot: Plot, at: datetime) -> bytes:
    """One drawing on A4 with notes, figures and preparations; `at` is the time it is dated.

    The same plot and time give the same bytes. Raises NeedsExtra without the libraries.
    """
    data = {
        **drawn(plot),
        "sheet": tabled(plot.sheet, plot.groups),
        "foot": list(plot.foot),
        "groups": [_group(group) for group in plot.groups],
    }
    return pages("chart", data, at)


def pages(name: str, data: Mapping[str, Any], at: datetime) -> bytes:
    """The page of that name filled with data, which is only ever shown, never run.

    Raises NeedsExtra without the library.
    """
    typst = wanted("typst", "charts")
    made: bytes = typst.compile(
        str(PAGES / f"{name}.typ"),
        root=str(PAGES),
        font_paths=[str(FONTS)],
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data)},
        format="pdf",
        pdf_standards=STANDARDS,
        timestamp=int(at.timestamp()),
    )
    return made


def drawn(plot: Plot) -> dict[str, Any]:
    """What a page needs of a drawing: its notes are set as text there, not in the picture."""
    bare = replace(plot, title="", about=(), notes=(), foot=())
    return {
        "title": plot.title,
        "about": list(plot.about),
        "described": plot.described,
        "svg": picture.svg(bare),
        "notes": list(plot.notes),
        "sheet": tabled(plot.sheet),
    }


def tabled(sheet: Sheet, groups: Sequence[Group] = ()) -> dict[str, Any]:
    """A sheet as text for a page; a row whose first cell names a group leads to it."""
    leads = {group.name: group.key for group in groups if group.ids}
    return {
        "columns": list(sheet.columns),
        "numbers": [
            all(not isinstance(row[place], str) for row in sheet.rows)
            for place in range(len(sheet.columns))
        ],
        "rows": [list(row) for row in texts(sheet)],
        "leads": [leads.get(str(row[0]), "") for row in sheet.rows],
    }


def _group(group: Group) -> dict[str, Any]:
    count = f"{len(group.ids)} preparation{'' if len(group.ids) == 1 else 's'}"
    return {"key": group.key, "name": group.name, "count": count, "ids": list(group.ids)}
