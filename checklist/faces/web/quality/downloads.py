"""What can be taken away: charts, the month's report, answers, lists and the events, no person."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from dataclasses import replace

from starlette.responses import Response

from checklist.definition import from_text
from checklist.drawing.sheet import Sheet, as_csv, as_xlsx
from checklist.faces import chart_out, event_export, reporting
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality import preparations as lists
from checklist.faces.web.quality.asking import question_of
from checklist.faces.web.quality.charts import ENDINGS
from checklist.faces.web.quality.page import Seat
from checklist.faces.web.quality.wishing import asked, short, word
from checklist.faces.web.quality.wishing import month as month_in
from checklist.facts.label import NEAR_MISSES
from checklist.gate import Rules
from checklist.trail import Trail

MOST_EVENTS = 5_000
"""With more preparations than these the events are written by the command, not here."""
_TYPES = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}
_LONG_AGO = (2000, 1, 1, 0, 0, 0)


async def offered(seat: Seat) -> Response:
    """What there is to take away."""
    known = await seat.figures.known()
    return seat.page("downloads", known=known, near_misses=NEAR_MISSES, most=MOST_EVENTS)


async def chart(seat: Seat) -> Response:
    """A drawing as a file."""
    figures, ending = seat.figures, _ending(seat, ENDINGS)
    of = short("of", seat.params.get("of", "series"))
    one = asked(figures, seat.params, of, await figures.known())
    plot = await figures.plot(of, one.wish, one.column)
    content = await figures.once(lambda: chart_out.made(plot, f".{ending}"))
    return _file(content, f"{of}-{one.wish.measure}.{ending}")


async def month(seat: Seat) -> Response:
    """The report of a month on paper, or its tables."""
    figures, ending = seat.figures, _ending(seat, ("pdf", "xlsx"))
    known, of = await figures.known(), month_in(seat.params, "month")
    if not of:
        raise CannotGoOn("Say which month, such as 2026-07.")
    wish = replace(
        figures.usual(),
        unit=word(seat.params, "unit", known.units),
        near_miss=word(seat.params, "near", NEAR_MISSES) or "stop",
        last=of,
    )
    report = await figures.of(("month", wish), lambda: reporting.month_of(wish, of))
    content = await figures.once(lambda: reporting.month_made(report, f".{ending}"))
    return _file(content, f"quality-{wish.unit or 'all-units'}-{of}.{ending}")


async def answer(seat: Seat) -> Response:
    """An answer as a table."""
    figures, ending = seat.figures, _ending(seat, ("csv", "xlsx"))
    question = question_of(figures, seat.params, await figures.known())
    found = await figures.of(question, question.answer)
    sheet = replace(found.sheet, about=(question.asks, *found.notes))
    return _file(_sheet(sheet, ending), f"{question.name}.{ending}")


async def preparations(seat: Seat) -> Response:
    """The preparations behind a number as a table."""
    ending = _ending(seat, ("csv", "xlsx"))
    found = await lists.behind(seat)
    rows = await seat.figures.once(lambda: lists.rows_of(found.wish, found.ids))
    return _file(_sheet(lists.sheet(found.title, rows), ending), f"preparations.{ending}")


async def events(seat: Seat) -> Response:
    """The events of the trail in open formats, with stand-ins for people and order lines."""
    content = await seat.desk.read(_events)
    return _file(content, "events.zip")


def _events(trail: Trail) -> bytes:
    many = len(trail.preparations())
    if many > MOST_EVENTS:
        raise CannotGoOn(
            f"This trail holds {many} preparations; more than {MOST_EVENTS} are written by"
            " `checklist review events DIR`."
        )
    made = list(
        event_export.made(
            trail, lambda digest: Rules.of(from_text(trail.definition(digest))).layout
        )
    )
    told = "".join(f"{one.name}: {one.said}\n" for one in made)
    return _zip([*((one.name, one.content) for one in made), ("read_me.txt", told.encode())])


def _zip(files: Iterable[tuple[str, bytes]]) -> bytes:
    """The files in one archive, the same bytes for the same content."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            entry = zipfile.ZipInfo(name, _LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return out.getvalue()


def _sheet(sheet: Sheet, ending: str) -> bytes:
    return as_csv(sheet).encode() if ending == "csv" else as_xlsx([sheet])


def _ending(seat: Seat, known: Iterable[str]) -> str:
    ending = str(seat.request.path_params["ending"])
    if ending not in known:
        raise CannotGoOn(
            f"There is no form {ending[:20]!r} of this. There are: {', '.join(known)}."
        )
    return ending


def _file(content: bytes, name: str) -> Response:
    ending = name.rpartition(".")[2]
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=_TYPES[ending], headers=headers)
