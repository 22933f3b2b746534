"""One drawing by itself: its figures and notes, what it rests on, and the lines frozen for it."""

from __future__ import annotations

from starlette.responses import RedirectResponse, Response

from checklist import baseline_file
from checklist.baseline_file import Kept
from checklist.extra import NeedsExtra
from checklist.faces import charting
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.figures import Drawn
from checklist.faces.web.quality.page import Seat, figures_of, picture
from checklist.faces.web.quality.wishing import Asked, asked, short

ENDINGS = ("svg", "png", "pdf", "csv", "xlsx", "html")


async def chart(seat: Seat) -> Response:
    """A drawing with its table; every mark and row leads to its preparations."""
    figures = seat.figures
    known = await figures.known()
    one = asked(figures, seat.params, seat.request.path_params["of"], known)
    drawn, why = None, ""
    try:
        drawn = await figures.drawn(one.of, one.wish, one.column)
    except NeedsExtra:
        raise
    except (CannotGoOn, ValueError) as fault:
        why = str(fault)
    return seat.page(
        "chart",
        asked=one,
        drawn=drawn,
        why=why,
        title=drawn.plot.title if drawn else "Nothing to show",
        svg=picture(drawn, one) if drawn else None,
        figures=figures_of(drawn.plot, one) if drawn else None,
        lines=_lines(seat, one) if one.of == "series" else (),
        labels=_labels(drawn) if one.of == "series" else (),
        endings=ENDINGS,
        local=seat.desk.ward.unit.local,
    )


async def freeze(seat: Seat) -> Response:
    """Freeze the line of a series on a stretch of it, with a reason; the same again adds none."""
    figures, form = seat.figures, await seat.form()
    one = asked(figures, form, "series", await figures.known())
    reason = short("the reason", form.get("reason", ""))
    since, until = (short(name, form.get(name, "")) for name in ("since", "until"))
    if not reason:
        raise CannotGoOn("A line is frozen with a reason. Write why this stretch is the line.")
    before = _lines(seat, one)
    if before and _is_that(before[-1], reason, since, until):
        return RedirectResponse(one.address, 303)
    by = seat.person.code
    await figures.once(
        lambda: charting.frozen(one.wish, reason=reason, by=by, since=since, until=until)
    )
    return RedirectResponse(one.address, 303)


def _lines(seat: Seat, one: Asked) -> tuple[Kept, ...]:
    """The lines that were frozen for this series, oldest first. Who froze one stays in the file."""
    kept = baseline_file.read(seat.figures.lines)
    return tuple(line for line in kept if line.series == one.wish.series)


def _is_that(line: Kept, reason: str, since: str, until: str) -> bool:
    labels = line.baseline.labels
    return line.baseline.reason == reason and (labels[0], labels[-1]) == (since, until)


def _labels(drawn: Drawn | None) -> tuple[str, ...]:
    return tuple(str(row[0]) for row in drawn.plot.sheet.rows) if drawn else ()
