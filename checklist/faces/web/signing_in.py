"""Signing in and out at a tablet, and the lock that stands before a tablet left alone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from checklist.attendance import NotHere, NotSignedIn
from checklist.credential import CredentialFault
from checklist.faces.answering import staff_code
from checklist.faces.web.faults import sentence
from checklist.faces.web.session import new_secret, signed_in
from checklist.faces.web.tries import (
    MOST_ADDRESSES,
    MOST_FAILED,
    MOST_TRIED,
    WITHIN_S,
    Tries,
    address_of,
)
from checklist.people import StaffMember
from checklist.unit import SignIn

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

A_YEAR = 365 * 24 * 3_600
"""How long a tablet remembers which one it is, in seconds."""
TABLET = re.compile(r"[A-Za-z0-9_-]{43}")
"""256 random bits as `new_secret` writes them."""
LONGEST_CODE = 200
"""Characters of a code or badge as it is typed or scanned."""
WORDY = {
    "locked": "This tablet was locked.",
    "out": "Signed out.",
}


class Door:
    """The pages of signing in, with the tries of each tablet at which somebody has signed in since
    the server began, and of each address for all others together.

    So nobody at the same address, be it that of a whole ward, keeps such a tablet from signing in.
    """

    def __init__(self) -> None:
        self.failed = Tries(MOST_FAILED, WITHIN_S)
        self.tried = Tries(MOST_TRIED, WITHIN_S)
        self._proven: dict[str, None] = {}

    async def asked(self, request: Request) -> Response:
        """The form."""
        desk: Desk = request.app.state.desk
        told = WORDY.get(request.query_params.get("why", ""), "")
        next_ = led_to(request.query_params.get("next", "/"))
        return _form(request, desk, next_=next_, told=told)

    async def sign_in(self, request: Request) -> Response:
        """Sign a person in, with a new session; an old one of this tablet ends."""
        desk: Desk = request.app.state.desk
        form = await request.form()
        code, pin = str(form.get("code", "")).strip(), str(form.get("pin", ""))
        place, next_ = str(form.get("place", "")), led_to(str(form.get("next", "/")))
        known = request.cookies.get(desk.cookie("tablet"), "")
        whose = known if known in self._proven else address_of(request)
        if wait := max(self.failed.wait(whose), self.tried.wait(whose)):
            error = f"Too many tries came from here. Wait {wait} s, then try once more."
            answer = _form(request, desk, next_=next_, code=code, error=error, status=429)
            answer.headers["Retry-After"] = str(wait)
            return answer
        places = desk.ward.unit.stations or (desk.ward.unit.code,)
        if place not in places:
            error = "The place is open. Choose where this tablet is."
            return _form(request, desk, next_=next_, code=code, error=error)
        if len(code) > LONGEST_CODE:
            error = "No code or badge is that long. Type your staff code."
            return _form(request, desk, next_=next_, place=place, error=error)
        self.tried.count(whose)
        tablet = known if TABLET.fullmatch(known) else new_secret()
        waiting = desk.waiting.get(tablet)
        try:
            session = await desk.sign_in(tablet, place, _whom(desk, place, code), pin)
        except (NotHere, NotSignedIn, CredentialFault) as fault:
            self.failed.count(whose)
            return _form(request, desk, next_=next_, code=code, place=place, error=sentence(fault))
        self._prove(tablet)
        if waiting is not None and waiting.by == session.person and next_ == "/":
            next_ = f"/preparation/{waiting.id}"
        response = RedirectResponse(next_, 303)
        _keep(desk, response, "session", session.id)
        _keep(desk, response, "tablet", tablet, for_=A_YEAR)
        _keep(desk, response, "place", str(places.index(place)), for_=A_YEAR)
        return response

    def _prove(self, tablet: str) -> None:
        self._proven.pop(tablet, None)
        self._proven[tablet] = None
        while len(self._proven) > MOST_ADDRESSES:
            del self._proven[next(iter(self._proven))]


def _whom(desk: Desk, place: str, text: str) -> str:
    """The code or badge number that was typed or scanned at a place. Raises ScannerFault."""
    today = desk.ward.unit.local(desk.clock()).date()
    return staff_code(text, today=today, scanner=desk.scanners.of(place))


def routes(desk: Desk) -> list[Route]:
    """The pages of signing in, and the way on from the front door."""
    door = Door()
    return [
        Route("/", _front, methods=["GET"]),
        Route("/sign-in", door.asked, methods=["GET"]),
        Route("/sign-in", door.sign_in, methods=["POST"]),
        Route("/sign-out", _sign_out, methods=["POST"]),
        Route("/lock", _lock, methods=["POST"]),
        Route("/stay", _stay, methods=["POST"]),
    ]


def led_to(text: str) -> str:
    """A path of this server that a person asked for before signing in; "/" for anything else."""
    plain = text.isascii() and text.isprintable() and "\\" not in text
    if not plain or not text.startswith("/") or text.startswith("//") or len(text) > 2_000:
        return "/"
    parts = urlsplit(text)
    return text if not parts.scheme and not parts.netloc else "/"


@signed_in()
async def _front(request: Request, desk: Desk, person: StaffMember) -> Response:
    links = desk.links(person)
    if not links:
        return desk.said(
            request,
            "Nothing here for your role",
            f"{person.code} is on record as {person.on_record_as}. The screens are for preparing,"
            " reviewing, quality and pharmacy; other acts are at the command line.",
        )
    return RedirectResponse(links[0][0], 303)


async def _sign_out(request: Request) -> Response:
    from checklist.faces.web.desk import SIGNED_OUT

    return await _left(request, SIGNED_OUT, "out")


async def _lock(request: Request) -> Response:
    from checklist.faces.web.desk import LOCKED

    return await _left(request, LOCKED, "locked")


async def _left(request: Request, cause: str, why: str) -> Response:
    """End the session of this tablet, and show the form to sign in."""
    desk: Desk = request.app.state.desk
    session = desk.session(request)
    if session is not None:
        await desk.leave(session, cause)
    response = RedirectResponse(f"/sign-in?why={why}", 303)
    response.delete_cookie(
        desk.cookie("session"), secure=desk.secure, httponly=True, samesite="strict"
    )
    return response


@signed_in()
async def _stay(request: Request, desk: Desk, person: StaffMember) -> Response:
    """One press, and the tablet stays open: that the person was seen is all there is to do."""
    return Response(status_code=204)


def _form(
    request: Request,
    desk: Desk,
    *,
    next_: str,
    code: str = "",
    place: str = "",
    error: str = "",
    told: str = "",
    status: int = 422,
) -> Response:
    unit = desk.ward.unit
    places = unit.stations or (unit.code,)
    remembered = request.cookies.get(desk.cookie("place"), "")
    if not place and re.fullmatch("[0-9]{1,4}", remembered) and int(remembered) < len(places):
        place = places[int(remembered)]
    return desk.page(
        request,
        "sign_in.html",
        status=status if error else 200,
        next=next_,
        code=code,
        places=places,
        chosen=place or (places[0] if len(places) == 1 else ""),
        asks_pin=unit.sign_in_with is SignIn.PIN,
        waiting=desk.waiting.get(request.cookies.get(desk.cookie("tablet"), "")),
        error=error,
        told=told,
    )


def _keep(
    desk: Desk, response: Response, name: str, value: str, *, for_: int | None = None
) -> None:
    response.set_cookie(
        desk.cookie(name),
        value,
        max_age=for_,
        path="/",
        secure=desk.secure,
        httponly=True,
        samesite="strict",
    )
