"""The forty questions with what answers each, the answers, and what is worked out from a day."""

from __future__ import annotations

from dataclasses import replace

from starlette.responses import RedirectResponse, Response

from checklist.checks import REASONS
from checklist.faces import charting, worked_out
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.asking import asks_of, question_of
from checklist.faces.web.quality.page import Cell, Seat, Table, table
from checklist.faces.web.quality.wishing import short, word
from checklist.facts import worked
from checklist.facts.label import NEAR_MISSES
from checklist.facts.numbered import NUMBERED, Numbered
from checklist.review.small_cell import FLOOR, shown
from checklist.review.small_cell import Cell as Size

PAGES = {
    "checklist chart series stops": "/quality/chart/series?measure=stops",
    "checklist chart series": "/quality/chart/series",
    "checklist chart kinds": "/quality/chart/kinds",
    "checklist chart units": "/quality/chart/units",
    "checklist chart recovery": "/quality/chart/recovery",
    "checklist chart rules": "/quality/settings",
    "checklist chart freeze": "/quality/chart/series",
    "checklist facts before-after": "/quality/before-after",
    "checklist facts gaps": "/quality/gaps",
    "checklist facts audit-size": "/quality/audit-size",
    "checklist trail verify": "/quality/trail",
    "checklist review events": "/quality/downloads",
}
"""The page for what a command answers, by how the command begins; the longer ones stand first."""


async def questions(seat: Seat) -> Response:
    """All forty, by number."""
    rows = [(number, one.asks, len(_ways(one))) for number, one in NUMBERED.items()]
    return seat.page("questions", rows=rows)


async def numbered(seat: Seat) -> Response:
    """One question, with every way to its answer; straight there where there is one."""
    number = seat.request.path_params["number"]
    one = NUMBERED.get(number)
    if one is None:
        raise CannotGoOn(f"The questions are numbered 1 to {len(NUMBERED)}.")
    ways = _ways(one)
    if len(ways) == 1 and ways[0][1] and not one.note:
        return RedirectResponse(ways[0][1], 303)
    return seat.page("question", number=number, one=one, ways=ways)


def _ways(one: Numbered) -> list[tuple[str, str]]:
    """What answers a question: its words and its address, "" where only a command does."""
    ways = [(asks_of(name), f"/quality/answer/{name}") for name in one.names]
    for command in one.commands:
        page = next((page for start, page in PAGES.items() if command.startswith(start)), "")
        ways.append((command, page))
    return ways


async def answered(seat: Seat) -> Response:
    """The answer to one question: a table whose rows lead to their preparations."""
    figures, known = seat.figures, await seat.figures.known()
    question = question_of(figures, seat.params, known, seat.request.path_params["name"])
    needs_day = question.by_method is not None and question.by_method.of_a_day
    found = None
    if not needs_day or question.day:
        found = await figures.of(question, question.answer)
    shown_as = None
    if found is not None:
        plain = table(found.sheet)
        shown_as = Table(columns=plain.columns, rows=_led(plain, found.leads))
    return seat.page(
        "answer", question=question, found=found, table=shown_as, known=known,
        near_misses=NEAR_MISSES, needs_day=needs_day, floor=FLOOR,
    )  # fmt: skip


def _led(plain: Table, leads: tuple[str, ...]) -> tuple[tuple[Cell, ...], ...]:
    """The rows with the first cell leading to the row's preparations."""
    return tuple(
        (replace(row[0], leads=lead), *row[1:]) for row, lead in zip(plain.rows, leads, strict=True)
    )


async def before_after(seat: Seat) -> Response:
    """The rate before a day and from it on."""
    known = await seat.figures.known()
    unit, day = word(seat.params, "unit", known.units), short("day", seat.params.get("day", ""))
    said: list[str] = []
    if day:
        path = seat.figures.path
        said = await seat.figures.once(lambda: worked_out.before_after_said(path, day, unit))
    return seat.page("before_after", known=known, of_unit=unit, day=day, said=said)


async def gaps(seat: Seat) -> Response:
    """How many preparations lie between rare stops for chosen reasons, and since the last."""
    known = await seat.figures.known()
    unit = word(seat.params, "unit", known.units)
    reasons = tuple(short("reason", one) for one in seat.params.getlist("reason"))
    if unknown := [one for one in reasons if one not in REASONS]:
        raise CannotGoOn(f"There is no reason {unknown[0]!r}. Choose from the list.")
    said: list[str] = []
    if reasons:
        wish = replace(seat.figures.usual(), unit=unit)

        def work() -> list[str]:
            with charting.opened(wish) as engine:
                made, people = engine.rows(
                    "SELECT count(*), count(DISTINCT preparer) FROM preparations"
                ).rows[0]
                if not shown(Size(people=int(people), preparations=int(made))):
                    raise CannotGoOn("Too few preparations or people stand behind this to show it.")
                return worked_out.gaps_said(worked.gaps(engine, reasons), reasons)

        said = await seat.figures.once(work)
    return seat.page(
        "gaps", known=known, of_unit=unit, reasons=sorted(REASONS), chosen=reasons, said=said
    )


async def audit_size(seat: Seat) -> Response:
    """How many preparations to observe."""
    share, within = (short(name, seat.params.get(name, "")) for name in ("share", "within"))
    said: tuple[str, ...] = ()
    if share:
        parts = (_share("share", share), _share("within", within or "3"))
        said = worked_out.audit_size_said(*parts)
    return seat.page("audit_size", share=share, within=within or "3", said=said)


def _share(name: str, text: str) -> float:
    """A share that was written in per cent, as a part of 1. It is a statistic, never a dose."""
    if not text.replace(".", "", 1).isdecimal() or not text.isascii():
        raise CannotGoOn(
            f"{text[:20]!r} is no figure for {name}. Write per cent, such as 5 or 2.5."
        )
    return float(text) / 100
