"""The label of a dose in the browser: looked at in its true size, printed once, and recorded."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from checklist.engine import MovedOn, NotOffered
from checklist.extra import NeedsExtra
from checklist.faces.handover import sentence
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, digest, fresh, plain
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.pages import Pages, to
from checklist.faces.web.nurse.true_size import px_per_mm
from checklist.faces.web.nurse.view import SECOND
from checklist.faces.web.session import to_sign_in
from checklist.label import label
from checklist.people import StaffMember
from checklist.printing import press
from checklist.printing.job import AGAIN, Asked, Job, job
from checklist.printing.press import Unprintable
from checklist.printing.preview import Preview, preview
from checklist.station import NotAllowed, NotHere, NotSignedIn
from checklist.stock import SIZES, NoSuchStock, Size
from checklist.trail import Trail, TrailBusy, TurnTaken

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


SENT_BEFORE = (
    "This was sent before, and its label was printed then. For one more, choose the reason again"
    " here."
)


class LabelPages:
    """The label's own page: the step that reads it back shows nothing of what it must say."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages
        self._desk = pages.desk

    async def show(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The label in its true size, with whether everything fits, and the button to print it."""
        try:
            look = self._pages.look(request, person)
        except NotHere:
            return self._pages.unknown(request)
        if not self._may(request, look):
            return to(look.prep.id)
        return await self._shown(request, look, person)

    async def _shown(
        self, request: Request, look: Look, person: StaffMember, said: str = "", status: int = 200
    ) -> Response:
        try:
            asked, size = self._asked(request.query_params.get("size", ""), "")
        except NoSuchStock as fault:
            asked, size, said, status = Asked(), "", said or str(fault), 422
        seen = await self._seen(look, person, asked)
        text = label(look.prep, look.around)
        return self._pages.shown(
            request,
            "nurse/label.html",
            look,
            person.code,
            status=status,
            said=said,
            seen=seen,
            px=_shown_size(seen.sheet, px_per_mm(request, self._desk)),
            size=size,
            sizes=[str(one) for one in SIZES],
            reasons=AGAIN,
            lines=text.lines(private=False),
            vial=text.vial,
        )

    async def picture(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The label as a picture of its own."""
        try:
            look = self._pages.look(request, person)
        except NotHere:
            return self._pages.unknown(request)
        if not self._may(request, look):
            return to(look.prep.id)
        try:
            asked, _ = self._asked(request.query_params.get("size", ""), "")
        except NoSuchStock as fault:
            return desk.said(request, "No label", str(fault), 422)
        seen = await self._seen(look, person, asked)
        if seen.file is None:
            return desk.said(request, "No label", seen.refusal, 409)
        return Response(
            seen.file, media_type="image/svg+xml", headers={"Cache-Control": "no-store"}
        )

    async def print(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """Record that a label is printed, then give its file to the browser.

        A second one needs a reason, so a finger that pressed twice prints nothing twice.
        """
        try:
            form = await plain(request)
            look = self._pages.look(request, person)
            if self._may(request, look):
                fresh(form, look.entries)
        except NotHere:
            return self._pages.unknown(request)
        except MovedOn:
            return to(request.path_params["id"])
        except BadForm as fault:
            await desk.turned_away.note(request, UNHEARD_OF)
            return desk.said(request, "This form cannot be taken", sentence(fault), 400)
        if not self._may(request, look):
            return to(look.prep.id)
        sent, hands = digest(form), self._pages.hands
        if form.get("again") and hands.was_sent(look.prep.id, sent):
            return await self._shown(request, look, person, SENT_BEFORE, 409)
        try:
            asked, _ = self._asked(form.get("size", ""), form.get("again", ""))
        except NoSuchStock as fault:
            return await self._shown(request, look, person, str(fault), 422)

        def made(trail: Trail) -> tuple[Job, bytes]:
            found = job(self._pages.looking.station(trail), look.prep.id, person, asked)
            return found, press.made(found.laid, "pdf")

        try:
            found, file = await desk.read(made)
            await desk.act(
                request,
                lambda at: found.printed(at, file, "pdf", person.code),
            )
        except (Unprintable, NeedsExtra, NoSuchStock) as fault:
            return await self._shown(request, look, person, _without_options(str(fault)), 409)
        except (NotOffered, MovedOn, TurnTaken, NotAllowed, TrailBusy) as fault:
            said = f"Nothing was printed: {fault}."
            return await self._shown(request, look, person, said, 409)
        except NotSignedIn:
            return to_sign_in(request)
        hands.sent(look.prep.id, sent)
        name = f"label-{found.draft.code.figures[-4:]}-{found.draft.code.number}.pdf"
        return Response(
            file,
            media_type="application/pdf",
            headers={
                "Cache-Control": "no-store",
                "Content-Disposition": f'inline; filename="{name}"',
            },
        )

    # -- inside --------------------------------------------------------------------------------

    def _may(self, request: Request, look: Look) -> bool:
        """Whether a label may be looked at: by whoever has it in hand, never beside a second
        person's own reading.
        """
        held = self._pages.hands.holds(look.prep.id, self._pages.sitting(request))
        return held and look.screen.stands == "step" and look.spot.step.who not in SECOND

    def _asked(self, size: str, again: str) -> tuple[Asked, str]:
        """What is asked for, and its size as text. Raises NoSuchStock."""
        found = Size.parse(size) if size else None
        return Asked(size=found, again=again), str(found) if found else ""

    async def _seen(self, look: Look, person: StaffMember, asked: Asked) -> Preview:
        """The label as it would come out now; nothing is recorded."""

        def work(trail: Trail) -> Preview:
            station = self._pages.looking.station(trail)
            try:
                return preview(station, look.prep.id, person, asked)
            except (NeedsExtra, NoSuchStock) as fault:
                return Preview(refusal=str(fault))

        found = await self._desk.read(work)
        return replace(found, refusal=_without_options(found.refusal))


def _shown_size(sheet: Size | None, scale: Fraction | None) -> tuple[int, int] | None:
    """Width and height of the picture in CSS pixels, where a screen was measured."""
    if sheet is None or scale is None:
        return None
    return round(sheet.width * scale), round(sheet.height * scale)


def _without_options(text: str) -> str:
    """A sentence without the words of the command line."""
    return re.sub(r" \((--size '[^']*'|--again)\)", "", text)
