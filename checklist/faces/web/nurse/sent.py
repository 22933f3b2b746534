"""One form that was sent from a preparation's page, with all that an act needs to know of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from starlette.requests import Request
from starlette.responses import Response

from checklist.attendance import found
from checklist.engine import MovedOn
from checklist.faces.answering import staff_code
from checklist.faces.web.nurse import form as forms
from checklist.faces.web.nurse.hands import Hands
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.pages import Pages, to
from checklist.gate import OutOfSequence
from checklist.people import StaffMember
from checklist.station import NotHere, Station

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A form, the look that was had at its preparation when it came, and who sent it."""

    pages: Pages
    request: Request
    look: Look
    person: StaffMember
    form: Mapping[str, str]

    @property
    def desk(self) -> Desk:
        """The desk of the server."""
        return self.pages.desk

    @property
    def hands(self) -> Hands:
        """Who has which preparation in hand."""
        return self.pages.hands

    @property
    def sitting(self) -> str:
        """This sign-in at this tablet."""
        return self.pages.sitting(self.request)

    async def act(self, work: Callable[[Station], _T]) -> _T:
        """Act at this tablet's own station. Raises as `Desk.act`."""
        return await self.desk.act(self.request, work)

    def holds(self) -> bool:
        """Whether this sitting has the preparation in hand."""
        return self.hands.holds(self.look.prep.id, self.sitting)

    def second(self) -> str:
        """The code of the second person who stands at the present step here; "" for none."""
        return self.hands.second(self.look.prep.id, self.sitting, self.look.spot.place)

    def fresh(self) -> int:
        """The turn to act at. Raises MovedOn, BadForm."""
        return forms.fresh(self.form, self.look.entries)

    def early(self, *, away: bool = False) -> Response | None:
        """Where to go instead of acting: for a form that was sent twice.

        Raises OutOfSequence where nothing is to be done any more (`away` lets a break pass), and
        MovedOn where another sitting has it in hand.
        """
        if self.was_sent():
            return to(self.look.prep.id)
        stands = self.look.screen.stands
        if stands == "closed" or (stands == "interrupted" and not away):
            raise OutOfSequence("this preparation stands elsewhere by now; nothing was recorded")
        if not self.holds() and stands != "interrupted":
            raise MovedOn("another sign-in has this preparation in hand; nothing was recorded")
        return None

    def code(self) -> str:
        """The code that a second person typed, or that of a badge that was scanned."""
        today = self.look.around.unit.local(self.look.at).date()
        scanner = self.desk.codes(self.request).scanner
        return staff_code(self.form.get("code", ""), today=today, scanner=scanner)

    def named(self, code: str) -> str:
        """The code of the person whom a code or badge names; "" where nobody has it."""
        try:
            return found(self.desk.ward, code).code
        except NotHere:
            return ""

    def was_sent(self) -> bool:
        """Whether this very form was the last that was taken: a key or finger pressed twice."""
        return self.hands.was_sent(self.look.prep.id, forms.digest(self.form))

    def was_taken(self) -> None:
        """Remember this form as the last that was taken."""
        self.hands.sent(self.look.prep.id, forms.digest(self.form))
