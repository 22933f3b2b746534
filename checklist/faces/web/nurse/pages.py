"""The pages of one preparation: a step, a stop, a caution, a break, the second person, the end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.beside import CAUSES, may_be_explained
from checklist.faces.blocks import NOT_CHECKED, explained, short
from checklist.faces.web.nurse.hands import Hands
from checklist.faces.web.nurse.look import Look, Looking
from checklist.faces.web.nurse.news import moving, news_of
from checklist.faces.web.nurse.taking import Taken
from checklist.faces.web.nurse.view import SECOND, band_of, step_view
from checklist.people import StaffMember
from checklist.preparation import GIVEN
from checklist.station import NotHere
from checklist.target import target
from checklist.workflow import ending_words

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


class Pages:
    """Shows where a preparation stands to whoever holds the tablet."""

    def __init__(self, desk: Desk, looking: Looking, hands: Hands) -> None:
        self.desk = desk
        self.looking = looking
        self.hands = hands

    # -- where it stands -----------------------------------------------------------------------

    async def show(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The page for where the preparation stands now."""
        try:
            look = self.look(request, person)
        except NotHere:
            return self.unknown(request)
        return self.page(request, look, person)

    def page(
        self,
        request: Request,
        look: Look,
        person: StaffMember,
        *,
        taken: Taken | None = None,
        said: str = "",
        chosen: str = "",
        status: int = 200,
    ) -> Response:
        """The page of a look. `taken` is a form that was not handed in, `said` why, `chosen` a
        reason that was picked in it.
        """
        screen, sitting, id_ = look.screen, self.sitting(request), look.prep.id
        if screen.stands == "closed":
            return self._closed(request, look, person)
        if screen.stands == "interrupted":
            return self._away(request, look, person)
        if not self.hands.holds(id_, sitting):
            return self._take_up(request, look, person)
        second = self.hands.second(id_, sitting, look.spot.place)
        asks_second = look.spot.step.who in SECOND
        if asks_second and not second:
            return self.handover(request, look, said=said, status=status)
        scanner = self.desk.codes(request).scanner
        view = step_view(look, second=asks_second, scanner=scanner, taken=taken)
        return self.shown(
            request,
            f"nurse/{screen.stands}.html",
            look,
            second or person.code,
            second=asks_second,
            status=status,
            view=view,
            said=said,
            chosen=chosen,
            note="" if taken is None else taken.typed.get("note", ""),
            news=() if asks_second or taken else news_of(look),
            working=self._working(look) if view.may_show else (),
        )

    def shown(
        self,
        request: Request,
        template: str,
        look: Look,
        by: str,
        *,
        second: bool = False,
        status: int = 200,
        **context: Any,
    ) -> Response:
        """A page inside an open preparation: the band above, the bar below."""
        return self.desk.page(
            request,
            template,
            status=status,
            band=band_of(look, by=by, second=second),
            id=look.prep.id,
            turn=look.prep.turn,
            second=second,
            **context,
        )

    def handover(
        self, request: Request, look: Look, *, said: str = "", status: int = 200
    ) -> Response:
        """The page that is wiped before a second person looks at it."""
        return self.shown(
            request, "nurse/handover.html", look, "", second=True, status=status, said=said,
            asks_pin=self.asks_pin,
        )  # fmt: skip

    async def back(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """Give the tablet back; of what both entered only the result is shown."""
        try:
            look = self.look(request, person)
        except NotHere:
            return self.unknown(request)
        last = moving(look.entries)
        passed = last is not None and last.event.kind == "passed"
        who = last.event.by if last is not None else ""
        return self.desk.page(
            request,
            "nurse/back.html",
            id=look.prep.id,
            preparer=look.prep.preparer,
            result=f"By {who}: same in each point." if passed else "",
        )

    # -- beside the steps ----------------------------------------------------------------------

    async def end(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The reasons for which a preparation may end without being given."""
        return await self._beside(request, person, self.ending)

    def ending(self, request: Request, look: Look, person: StaffMember, said: str = "") -> Response:
        """The page of the reasons to end; `said` is why none was taken."""
        phase = look.rules.layout.base(look.prep.place).phase.name
        rules, order = look.rules, look.rules.layout.order
        here = order.get(look.spot.place.partition("/")[0])
        opened = here is None or here >= order[rules.workflow.opens]
        return self.shown(
            request, "nurse/end.html", look, person.code, status=422 if said else 200, said=said,
            second=look.spot.step.who in SECOND, reasons=ending_words(rules.workflow, phase),
            opened=opened,
        )  # fmt: skip

    async def why(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """What the present step compares, why, and from which source."""

        def made(request: Request, look: Look, person: StaffMember) -> Response:
            return self.shown(
                request, "nurse/why.html", look, person.code, told=explained(look.screen),
                ask=look.spot.step.ask,
            )  # fmt: skip

        return await self._beside(request, person, made)

    async def _beside(self, request: Request, person: StaffMember, made: Any) -> Response:
        """A page beside an open preparation, for whoever has it in hand; else where it stands.

        While a second person is asked for, nothing else is shown.
        """
        try:
            look = self.look(request, person)
        except NotHere:
            return self.unknown(request)
        open_here = look.screen.stands not in ("closed", "interrupted")
        away = look.screen.stands == "interrupted" and made == self.ending
        if not away and not (open_here and self.hands.holds(look.prep.id, self.sitting(request))):
            return to(look.prep.id)
        if look.spot.step.who in SECOND and made != self.ending:
            return to(look.prep.id)
        response: Response = made(request, look, person)
        return response

    # -- kinds of pages ------------------------------------------------------------------------

    def _closed(self, request: Request, look: Look, person: StaffMember) -> Response:
        prep = look.prep
        ended = "given" if prep.place == GIVEN else f"{prep.place}, not given"
        self.hands.let_go(prep.id)
        return self.desk.page(
            request,
            "nurse/done.html",
            id=prep.id,
            name=short(prep.id),
            patient=prep.order.patient,
            order=prep.order.id,
            ended=ended,
            given=prep.place == GIVEN,
            at=f"{look.around.unit.local(prep.last_at):%H:%M}",
            stops=prep.refusals,
            cautions=prep.cautions,
            not_checked=NOT_CHECKED,
            others=[(one, short(one)) for one in look.others],
        )

    def _away(self, request: Request, look: Look, person: StaffMember) -> Response:
        return self.shown(
            request,
            "nurse/away.html",
            look,
            person.code,
            phase=look.screen.phase,
            number=look.screen.number,
            total=look.screen.total,
            ask=look.spot.step.ask,
            since=f"{look.around.unit.local(look.prep.last_at):%H:%M}",
            causes=CAUSES,
            cause=CAUSES.get(look.prep.cause, ""),
            asks_cause=may_be_explained(look.prep),
            mine=person.code == look.prep.preparer,
        )

    def _take_up(self, request: Request, look: Look, person: StaffMember) -> Response:
        prep = look.prep
        return self.desk.page(
            request,
            "nurse/take_up.html",
            id=prep.id,
            turn=prep.turn,
            name=short(prep.id),
            preparer=prep.preparer,
            mine=person.code == prep.preparer,
            started=f"{look.around.unit.local(prep.opened_at):%H:%M}",
            number=look.screen.number,
            total=look.screen.total,
            elsewhere=self.hands.held(prep.id),
        )

    def _working(self, look: Look) -> tuple[str, ...]:
        """The working of the dose, where the person has just asked to see it."""
        if look.entries[-1].event.kind != "revealed":
            return ()
        aim = target(look.prep, look.around)
        return aim.working.lines if aim else ("No working: order or product not known.",)

    def unknown(self, request: Request) -> Response:
        """The page for a preparation that there is none of."""
        return self.desk.said(
            request, "No such preparation", "There is none with this address on this ward.", 404
        )

    # -- small things --------------------------------------------------------------------------

    def look(self, request: Request, person: StaffMember) -> Look:
        """A look at the preparation that the address names. Raises NotHere."""
        id_ = request.path_params["id"]
        return self.desk.look(lambda trail: self.looking.at(trail, id_, person))

    def sitting(self, request: Request) -> str:
        """What tells this sign-in at this tablet from every other; "" where nobody is."""
        session = self.desk.session(request)
        return session.id if session else ""

    @property
    def asks_pin(self) -> bool:
        """Whether people prove themselves by a PIN on this unit."""
        from checklist.unit import SignIn

        return self.desk.ward.unit.sign_in_with is SignIn.PIN


def to(id_: str, beyond: str = "") -> Response:
    """The way to a preparation's page, by a fresh request, so that a reload does nothing twice."""
    return RedirectResponse(f"/preparation/{id_}{beyond}", 303)
