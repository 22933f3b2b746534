"""How large a millimetre is on this screen, as somebody measured it with a ruler.

A browser does not know: its own millimetre is a guess that is wrong on most tablets and changes
with the zoom. So a line is shown and measured once, and what came of it stays at that tablet, in a
cookie, since it is a fact about the tablet and about no place or person.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.faces.handover import sentence
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, plain
from checklist.faces.web.nurse.taking import Taken, taken, value_of
from checklist.faces.web.nurse.view import field_view
from checklist.faces.web.signing_in import led_to
from checklist.gate import OutOfSequence
from checklist.observation import Kind
from checklist.people import StaffMember
from checklist.quantity import DimensionMismatch, Quantity
from checklist.workflow import Field

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

LINE_PX = 240
"""Length of the line to be measured, in CSS pixels: the narrowest phones are 320 wide."""
SHORTEST, LONGEST = 25, 160
"""What that line can come to, in mm: between a phone's sharpest screen and a large one, zoomed."""
AGAIN_MM = 40
"""Length of the line that shows afterwards whether it came out right, in mm."""
YEAR_S = 365 * 86_400
COOKIE = "screen"
PREFIX = "screen"
FIELD = Field(name="line", kind=Kind.QUANTITY, unit="mm", say="Length of the line, by your ruler")


def px_per_mm(request: Request, desk: Desk) -> Fraction | None:
    """CSS pixels in a millimetre on this tablet; None where nobody has measured it."""
    text = request.cookies.get(desk.cookie(COOKIE), "")
    if not re.fullmatch(r"[1-9][0-9]{2,4}", text, re.ASCII):
        return None
    found = Fraction(int(text), 1_000)
    return found if _likely(Fraction(LINE_PX) / found) else None


def _likely(length_mm: Fraction) -> bool:
    return SHORTEST <= length_mm <= LONGEST


class TrueSize:
    """The page on which a screen is measured."""

    async def show(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The line to measure, and, once it was measured, a line to look at again."""
        return self._page(request, desk, led_to(request.query_params.get("next", "/")))

    async def keep(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """Keep at this tablet what the line came to."""
        try:
            form = await plain(request)
            codes = desk.codes(request)
            now, unit = desk.clock(), desk.ward.unit
            got = taken([FIELD], form, PREFIX, unit=unit, at=now, codes=codes)
        except (BadForm, OutOfSequence) as fault:
            await desk.turned_away.note(request, UNHEARD_OF)
            return desk.said(request, "This form cannot be taken", sentence(fault), 400)
        back = led_to(form.get("next", "/"))
        if got.faults:
            return self._page(request, desk, back, got, 422)
        value = value_of(FIELD, got.answers["line"].raw, unit, now, codes)
        assert isinstance(value, Quantity)
        try:
            length = value.to("mm").magnitude
        except DimensionMismatch:
            length = Fraction(0)
        if not _likely(length):
            why = (
                f"{value} is not what this line can come to: {SHORTEST} to {LONGEST} mm. Measure it"
                " again, from end to end."
            )
            faulty = Taken(typed=got.typed, faults={"line": why})
            return self._page(request, desk, back, faulty, 422)
        if not got.ready:
            return self._page(request, desk, back, got)
        answer = RedirectResponse(f"/true-size?next={quote(back, safe='')}", 303)
        answer.set_cookie(
            desk.cookie(COOKIE),
            str(round(1_000 * LINE_PX / length)),
            max_age=YEAR_S,
            path="/",
            secure=desk.secure,
            httponly=True,
            samesite="strict",
        )
        return answer

    def _page(
        self, request: Request, desk: Desk, back: str, got: Taken | None = None, status: int = 200
    ) -> Response:
        scale = px_per_mm(request, desk)
        return desk.page(
            request,
            "nurse/true_size.html",
            status=status,
            field=field_view(FIELD, PREFIX, got or Taken()),
            line_px=LINE_PX,
            again=round(AGAIN_MM * scale) if scale else 0,
            again_mm=AGAIN_MM,
            back=back,
        )
