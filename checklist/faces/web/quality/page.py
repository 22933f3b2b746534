"""How a quality page is made: who may see it, what stands in its way, and a drawing's parts."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from markupsafe import Markup
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import Response

from checklist.baseline_file import BaselineFault
from checklist.drawing.plot import Plot
from checklist.drawing.sheet import Sheet, texts
from checklist.extra import NeedsExtra
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.desk import Desk
from checklist.faces.web.quality.figures import Busy, Drawn, Figures
from checklist.faces.web.quality.wishing import Asked
from checklist.faces.web.session import Endpoint, allowed
from checklist.facts.folder import FactsFault
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.review.unusable import Unusable

READ, TAKE, FREEZE = Action.READ_NEAR_MISSES, Action.EXPORT, Action.KEEP_LINES
PROVE = (Action.REVIEW_PERSON, Action.READ_NAMES, Action.KEEP_TRAIL)
"""A proof holds entries as they are, with staff codes; so it is for those who may see people."""
_HREF = re.compile(r'<a href="#([a-z0-9-]+)"><path aria-label="([^"]*)"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """Who asks for a page, with what, at which figures."""

    figures: Figures
    desk: Desk
    request: Request
    person: StaffMember

    @property
    def params(self) -> QueryParams:
        """The words of the address."""
        return self.request.query_params

    def may(self, *actions: Action) -> bool:
        """Whether the person's roles allow one of these acts."""
        return any(may(self.person, action) for action in actions)

    async def form(self) -> QueryParams:
        """The words of a form that was sent."""
        sent = await self.request.form()
        return QueryParams([(k, v) for k, v in sent.multi_items() if isinstance(v, str)])

    def page(self, name: str, *, status: int = 200, **context: Any) -> Response:
        """A quality page with what all of them have."""
        figures = self.figures
        found = figures.verified
        every = {
            "may_take": self.may(TAKE),
            "may_freeze": self.may(FREEZE),
            "damaged": found is not None and found.damaged,
            "first": found.first if found else None,
        }
        return self.desk.page(
            self.request, f"quality/{name}.html", status=status, **{**every, **context}
        )


Page = Callable[[Seat], Awaitable[Response]]


def guarded(figures: Figures, page: Page, *actions: Action) -> Endpoint:
    """A page for people whom a role allows one of the acts.

    What stands in the way of its figures is said in its own words, and nothing is lost by it.
    """

    @allowed(*actions)
    async def endpoint(request: Request, desk: Desk, person: StaffMember) -> Response:
        seat = Seat(figures=figures, desk=desk, request=request, person=person)
        try:
            return await page(seat)
        except (BaselineFault, CannotGoOn, FactsFault, NeedsExtra, Unusable) as fault:
            status = 503 if isinstance(fault, (Busy, NeedsExtra)) else 422
            return seat.page("cannot", status=status, said=str(fault))

    return endpoint


def picture(drawn: Drawn, asked: Asked) -> Markup:
    """The picture of a drawing, each mark a link to its preparations, named for a screen reader.

    The renderer wrote the SVG from numbers and from words that it escaped.
    """

    def leads(found: re.Match[str]) -> str:
        address = escape(asked.leads(found[1]), quote=True)
        return f'<a href="{address}" aria-label="{found[2]}"><path aria-label="{found[2]}"'

    label = escape(drawn.plot.described, quote=True)
    svg = drawn.svg.replace("<svg ", f'<svg role="group" aria-label="{label}" ', 1)
    return Markup(_HREF.sub(leads, svg))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell of a table: its text, where it leads or "", and whether it holds a number."""

    text: str
    leads: str = ""
    number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table to be set on a page; the first cell of a row is its heading."""

    columns: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]


def figures_of(plot: Plot, asked: Asked | None) -> Table:
    """The figures of a drawing as a table; its rows lead where its marks do."""
    leads: dict[str, str] = {}
    if asked is not None:
        leads = {group.name: asked.leads(group.key) for group in plot.groups if group.ids}
    return table(plot.sheet, leads)


def table(sheet: Sheet, leads: dict[str, str] | None = None) -> Table:
    """A sheet as a table; a row whose first cell is a key of `leads` leads there."""
    numbers = [
        bool(sheet.rows) and all(not isinstance(row[place], str) for row in sheet.rows)
        for place in range(len(sheet.columns))
    ]
    known = leads or {}

    def row(cells: Sequence[str]) -> tuple[Cell, ...]:
        return tuple(
            Cell(
                text=text if number else text.replace("_", " "),
                number=number,
                leads=known.get(text, "") if place == 0 else "",
            )
            for place, (text, number) in enumerate(zip(cells, numbers, strict=True))
        )

    return Table(
        columns=tuple(
            Cell(text=name.replace("_", " "), number=number)
            for name, number in zip(sheet.columns, numbers, strict=True)
        ),
        rows=tuple(row(one) for one in texts(sheet)),
    )
