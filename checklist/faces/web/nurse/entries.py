"""One preparation's own entries in words, and its steps as a list for paper."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from checklist.beside import CAUSES
from checklist.engine import GO_ON
from checklist.faces.blocks import FOOTER, dose_of, short
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.pages import Pages, to
from checklist.faces.web.nurse.view import SECOND
from checklist.faces.web.nurse.words import MODES, unit_words
from checklist.observation import Kind
from checklist.people import StaffMember
from checklist.preparation import Entry
from checklist.station import NotHere
from checklist.verdict import REMEDY_WORDS, Remedy
from checklist.workflow import Field, Spot

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

WHAT = {
    "opened": "begun",
    "passed": "kept",
    "cautioned": "caution",
    "proceeded": "went on",
    "refused": "stop",
    "remedied": "way on",
    "interrupted": "interrupted",
    "resumed": "came back",
    "ended": "ended",
    "noted": "note",
    "revealed": "working shown",
    "printed": "printed",
    "explained": "what came between",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One entry: when, by whom, at which step, what it was, and what was entered or said."""

    at: str
    by: str
    step: str
    what: str
    told: tuple[str, ...]


def lines_of(look: Look) -> tuple[Line, ...]:
    """The entries of a preparation in words.

    What identifies a person is never told. A field with a hidden expected value is told by its name
    alone until the preparation is over: it may have to be read again.
    """
    return tuple(_line(entry, look) for entry in look.entries)


def _line(entry: Entry, look: Look) -> Line:
    event = entry.event
    local = look.around.unit.local(event.at)
    spot = _spot(look, event.place or event.lands)
    return Line(
        at=f"{local:%H:%M:%S}",
        by=event.by,
        step=spot.step.ask if spot else "",
        what=WHAT[event.kind],
        told=tuple(_told(entry, look, spot)),
    )


def _spot(look: Look, place: str) -> Spot | None:
    try:
        return look.rules.layout.base(place)
    except KeyError:
        return None


def _told(entry: Entry, look: Look, spot: Spot | None) -> Iterator[str]:
    body = entry.event.body
    match entry.event.kind:
        case "passed" | "cautioned" | "refused":
            for field in spot.step.fields if spot else ():
                if field.name in body["seen"]:
                    yield _entered(field, body["seen"][field.name]["raw"], look)
            yield from (f"{one['code']}" for one in body["reasons"])
        case "proceeded":
            yield GO_ON.get(body["because"], body["because"])
        case "remedied":
            yield REMEDY_WORDS[Remedy(body["remedy"])]
        case "interrupted" | "explained":
            yield CAUSES.get(body["cause"], str(body["cause"]))
        case "ended":
            yield str(body["because"])
        case "noted":
            text = str(body["text"])
            yield "in your own words, kept apart" if text.startswith("sealed:") else text
        case "printed":
            yield f"{body['what']} {body.get('number', '')}".strip()
        case _:
            return


def _entered(field: Field, raw: str, look: Look) -> str:
    if field.private or raw.startswith("sealed:"):
        return f"{field.say}: entered"
    if field.hidden and not look.prep.closed:
        return f"{field.say}: entered, not shown until the end"
    if field.kind is Kind.SEEN:
        seen = raw.strip().lower() in ("y", "yes", "seen", "so")
        return f"{field.say}: {'seen' if seen else 'not so'}"
    return f"{field.say}: {raw} {unit_words(field.unit)}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperStep:
    """A step as it stands on paper: number, what to do, and a place to write for each field."""

    number: int
    ask: str
    how: str
    second: bool
    fields: tuple[tuple[str, str, str], ...]


class EntryPages:
    """The history of a preparation, and its steps for paper."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages

    async def history(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The preparation's own entries; not while a second person is at work, who is to see none.

        A person who neither prepares it nor has it in hand is led to where it stands.
        """
        try:
            look = self._pages.look(request, person)
        except NotHere:
            return self._pages.unknown(request)
        prep, hands = look.prep, self._pages.hands
        mine = person.code == prep.preparer or hands.holds(prep.id, self._pages.sitting(request))
        if not mine or (not prep.closed and look.spot.step.who in SECOND):
            return to(prep.id)
        return desk.page(
            request,
            "nurse/entries.html",
            id=prep.id,
            name=short(prep.id),
            lines=lines_of(look),
            closed=prep.closed,
        )

    async def on_paper(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The steps of this preparation as a list for A4, for when no screen can be used."""
        try:
            look = self._pages.look(request, person)
        except NotHere:
            return self._pages.unknown(request)
        if not look.prep.closed and look.spot.step.who in SECOND:
            return to(look.prep.id)
        flow = look.rules.workflow
        numbers = {step.name: n for n, step in enumerate(flow.steps, start=1)}
        phases = [
            (
                phase.title,
                MODES.get(phase.mode, phase.mode),
                [
                    PaperStep(
                        number=numbers[step.name],
                        ask=step.ask,
                        how=step.how,
                        second=step.who in SECOND,
                        fields=tuple(
                            (f.say, unit_words(f.unit), f.kind.value) for f in step.fields
                        ),
                    )
                    for step in phase.steps
                ],
            )
            for phase in flow.phases
        ]
        return desk.page(
            request,
            "nurse/on_paper.html",
            id=look.prep.id,
            title=flow.title,
            order=look.prep.order.id,
            patient=look.prep.order.patient,
            dose=dose_of(look.prep.order),
            name=short(look.prep.id),
            phases=phases,
            footer=FOOTER,
        )
