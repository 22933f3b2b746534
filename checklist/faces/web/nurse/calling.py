"""A dose that a leader calls for in an emergency, before any order is written: one short form."""

from __future__ import annotations

import asyncio
import re
import secrets
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist import library
from checklist.attendance import found
from checklist.definition import WorkflowFaults
from checklist.faces.answering import staff_code
from checklist.faces.calls import DOSE, FIRST, NO_WAY, PUT_OFF, Calls
from checklist.faces.handover import sentence
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, plain
from checklist.faces.web.nurse.hands import Hands
from checklist.faces.web.nurse.taking import Taken, taken, value_of
from checklist.faces.web.nurse.view import field_view
from checklist.faces.web.session import to_sign_in
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.order import Call
from checklist.people import StaffMember
from checklist.quantity import Quantity
from checklist.screen import Outcome
from checklist.station import NotAllowed, NotHere, NotSignedIn
from checklist.trail import TrailBusy

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

PREFIX = "call"
PARTS = ("patient", "drug", "dose", "route", "leader")
"""What a call says, in the order of the form."""
NOT_CHOSEN = "Choose one."
KEPT = 200
"""How many forms that were taken are remembered, so that one sent twice begins one dose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What stands in the form, what is said at each part, and the call where all can be read."""

    typed: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)
    dose: Taken = field(default_factory=Taken)
    call: Call | None = None


class CallPages:
    """The form of a call, and the beginning of its preparation."""

    def __init__(self, desk: Desk, hands: Hands) -> None:
        self._desk = desk
        self._hands = hands
        self._flows = Calls.on(desk.ward, library.of_ward(desk.folder)[0].values()).flows
        self._begun: dict[str, asyncio.Future[Outcome]] = {}

    @property
    def offered(self) -> bool:
        """Whether this ward has a workflow for an emergency."""
        return bool(self._flows)

    async def show(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The empty form."""
        patient = request.query_params.get("patient", "")
        return self._page(request, Form(typed={"patient": patient}))

    async def begin(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """Open the preparation of what was called for; its first step is to say it back."""
        try:
            form = await plain(request)
            once = form.get("once", "")
            if not re.fullmatch(r"[\w-]{16,64}", once, re.ASCII):
                raise BadForm("this form was not made by this server")
            got = self._read(request, form, person)
        except (BadForm, OutOfSequence) as fault:
            await desk.turned_away.note(request, UNHEARD_OF)
            return desk.said(request, "This form cannot be taken", sentence(fault), 400)
        if got.call is None:
            return self._page(request, got, status=422 if got.faults else 200)
        call, sources = got.call, (form["source"],) if form.get("source") else ()
        try:
            outcome = await self._once(
                once,
                lambda: desk.act(
                    request, lambda at: at.open_call(call, person.code, sources=sources)
                ),
            )
        except NotHere as fault:
            asks = self._calls.containers(call, desk.clock())
            faults = {"source": NOT_CHOSEN} if asks else {"drug": sentence(fault)}
            return self._page(request, replace(got, faults=faults), sources=asks, status=422)
        except (NotAllowed, WorkflowFaults, Faults) as fault:
            return self._page(
                request, got, said=f"Nothing was begun. {sentence(fault)}", status=409
            )
        except NotSignedIn:
            return to_sign_in(request)
        except TrailBusy as fault:
            return self._page(request, got, said=str(fault), status=503)
        id_ = outcome.screen.prep.id
        session = desk.session(request)
        if outcome.screen.prep.turn == 0 and not self._hands.held(id_):
            self._hands.take(id_, session.id if session else "")
        return RedirectResponse(f"/preparation/{id_}", 303)

    async def _once(self, once: str, act: Callable[[], Awaitable[Outcome]]) -> Outcome:
        """What the first of several equal forms led to; one that led nowhere is forgotten."""
        if once not in self._begun:
            self._begun[once] = asyncio.ensure_future(act())
            while len(self._begun) > KEPT:
                del self._begun[next(iter(self._begun))]
        try:
            return await asyncio.shield(self._begun[once])
        except BaseException:
            self._begun.pop(once, None)
            raise

    def _read(self, request: Request, form: Mapping[str, str], person: StaffMember) -> Form:
        """Read a form; what cannot be taken is told at its part."""
        desk, now = self._desk, self._desk.clock()
        unit, codes = desk.ward.unit, desk.codes(request)
        dose = taken([DOSE], form, PREFIX, unit=unit, at=now, codes=codes)
        names = ("patient", "drug", "route", "leader")
        typed = {name: form.get(name, "").strip() for name in names}
        calls = self._calls
        known = {"patient": desk.ward.patients, "drug": calls.drugs(), "route": calls.routes()}
        faults = {n: NOT_CHOSEN for n, there in known.items() if typed[n] not in there}
        today = unit.local(now).date()
        leader = staff_code(typed["leader"], today=today, scanner=codes.scanner)
        if why := calls.not_leading(leader, person):
            faults["leader"] = why
        told = {**faults, **dose.faults}
        faults = {name: told[name] for name in PARTS if name in told}
        got = Form(typed=typed, faults=faults, dose=dose)
        if faults or not dose.ready:
            return got
        amount = value_of(DOSE, dose.answers["dose"].raw, unit, now, codes)
        assert isinstance(amount, Quantity)
        call = Call(
            leader=found(desk.ward, leader).code,
            patient=typed["patient"],
            drug=typed["drug"],
            dose=amount,
            route=typed["route"],
        )
        return replace(got, call=call)

    @property
    def _calls(self) -> Calls:
        """What can be called for, by the ward's files as they are now."""
        return Calls(ward=self._desk.ward, flows=self._flows)

    def _page(
        self,
        request: Request,
        form: Form,
        *,
        said: str = "",
        sources: tuple[str, ...] = (),
        status: int = 200,
    ) -> Response:
        if not self.offered:
            return self._desk.said(
                request,
                "No way for emergencies here",
                NO_WAY,
                404,
            )
        return self._desk.page(
            request,
            "nurse/called.html",
            status=status,
            form=form,
            dose=field_view(DOSE, PREFIX, form.dose),
            patients=sorted(self._desk.ward.patients),
            drugs=self._calls.drugs(),
            routes=self._calls.routes(),
            first=FIRST,
            put_off=PUT_OFF,
            sources=sources,
            said=said,
            once=secrets.token_urlsafe(16),
        )
