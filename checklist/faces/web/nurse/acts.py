"""What a nurse does on the pages of a preparation: each form is one act, then a fresh page."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from checklist.engine import MovedOn, NotOffered
from checklist.faces.handover import sentence
from checklist.faces.web.desk import SHUT_OUT
from checklist.faces.web.nurse import at_step, in_between
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, digest, plain
from checklist.faces.web.nurse.pages import Pages, to
from checklist.faces.web.nurse.sent import Sent
from checklist.faces.web.nurse.view import SECOND
from checklist.faces.web.session import to_sign_in
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.people import StaffMember
from checklist.station import NotAllowed, NotHere, NotSignedIn
from checklist.trail import TrailBusy, TurnTaken

_Act = Callable[[Sent], Awaitable[Response]]


class Acts:
    """Takes the forms of one preparation's pages."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages
        self._desk = pages.desk
        self._hands = pages.hands

    async def take(self, request: Request, desk: Any, person: StaffMember) -> Response:
        """Carry out what a form asks for; a stop on the way leads to a page that goes on."""
        form: Mapping[str, str] = {}
        try:
            form = await plain(request)
            act = _ACTS.get(form.get("act", ""))
            if act is None:
                raise BadForm("the form does not say what is to be done")
            look = self._pages.look(request, person)
            return await act(
                Sent(pages=self._pages, request=request, look=look, person=person, form=form)
            )
        except NotHere:
            return self._pages.unknown(request)
        except BadForm as fault:
            await self._desk.turned_away.note(request, UNHEARD_OF)
            return self._stopped(request, "This form cannot be taken", f"{sentence(fault)}", 400)
        except (MovedOn, TurnTaken, OutOfSequence) as fault:
            if self._hands.was_sent(request.path_params["id"], digest(form)):
                return to(request.path_params["id"])
            return self._stopped(request, "It stands elsewhere by now", sentence(fault), 409)
        except NotOffered as fault:
            return self._stopped(request, "This is not offered here", sentence(fault), 409)
        except NotAllowed as fault:
            said = f"{sentence(fault)} That it was asked is recorded."
            return self._stopped(request, "Not for this person", said, 403)
        except NotSignedIn as fault:
            return await self._shut_out(request, person, fault)
        except TrailBusy as fault:
            if fault.recorded:
                return to(request.path_params["id"])
            return self._stopped(request, "Not recorded yet", str(fault), 503)
        except Faults as fault:
            said = f"The orders cannot be read now, so nothing was entered. Call IT. {fault}"
            return self._stopped(request, "Not recorded yet", said, 503)

    def _stopped(self, request: Request, title: str, text: str, status: int) -> Response:
        return self._desk.page(
            request,
            "nurse/stopped.html",
            status=status,
            title=title,
            text=text,
            id=request.path_params["id"],
        )

    async def _shut_out(
        self, request: Request, person: StaffMember, fault: NotSignedIn
    ) -> Response:
        """Somebody has to prove who they are again: a second person here, else the preparer."""
        id_ = request.path_params["id"]
        look = self._pages.look(request, person)
        if look.spot.step.who in SECOND:
            self._hands.step_back(id_)
            return self._pages.page(request, look, person, said=sentence(fault), status=403)
        session = self._desk.session(request)
        if session is not None:
            await self._desk.leave(session, SHUT_OUT)
        return to_sign_in(request)


_ACTS: Mapping[str, _Act] = {
    act.__name__: act
    for act in (
        at_step.attempt, at_step.remedy, at_step.proceed, at_step.show, at_step.second_in,
        at_step.note, in_between.nobody_free, in_between.interrupt, in_between.cause,
        in_between.resume, in_between.take_up, in_between.end,
    )
}  # fmt: skip
