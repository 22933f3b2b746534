"""Signing in and out at a tablet."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from checklist.attendance import NotHere, NotSignedIn
from checklist.credential import CredentialFault
from checklist.faces.web.session import new_secret, signed_in
from checklist.people import StaffMember
from checklist.unit import SignIn

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

A_YEAR = 365 * 24 * 3_600
"""How long a tablet remembers which one it is, in seconds."""


def routes(desk: Desk) -> list[Route]:
    """The pages of signing in, and the way on from the front door."""
    return [
        Route("/", _front, methods=["GET"]),
        Route("/sign-in", _asked, methods=["GET"]),
        Route("/sign-in", _sign_in, methods=["POST"]),
        Route("/sign-out", _sign_out, methods=["POST"]),
    ]


def led_to(text: str) -> str:
    """A path of this server that a person asked for before signing in; "/" for anything else."""
    plain = text.isascii() and text.isprintable() and "\\" not in text
    if not plain or not text.startswith("/") or text.startswith("//"):
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


async def _asked(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return _form(request, desk, next_=led_to(request.query_params.get("next", "/")))


async def _sign_in(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    form = await request.form()
    code, pin = str(form.get("code", "")).strip(), str(form.get("pin", ""))
    place, next_ = str(form.get("place", "")), led_to(str(form.get("next", "/")))
    stations = desk.ward.unit.stations or (desk.ward.unit.code,)
    if place not in stations:
        return _form(request, desk, next_=next_, code=code, error="Choose where this tablet is.")
    tablet = request.cookies.get(desk.cookie("tablet"), "") or new_secret()
    try:
        person = await desk.writer.act(tablet, place, lambda at: at.sign_in(code, pin))
    except (NotHere, NotSignedIn, CredentialFault) as fault:
        said = str(fault)
        return _form(
            request,
            desk,
            next_=next_,
            code=code,
            place=place,
            error=f"{said[0].upper()}{said[1:]}.",
        )
    session = desk.sessions.begin(person.code, tablet, place)
    response = RedirectResponse(next_, 303)
    _keep(desk, response, "session", session.id)
    _keep(desk, response, "tablet", tablet, for_=A_YEAR)
    _keep(desk, response, "place", str(stations.index(place)), for_=A_YEAR)
    return response


async def _sign_out(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    session = desk.session(request)
    if session is not None:
        await desk.act(request, lambda station: station.sign_out(session.person))
        desk.sessions.end(session)
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(
        desk.cookie("session"), secure=desk.secure, httponly=True, samesite="strict"
    )
    return response


def _form(
    request: Request, desk: Desk, *, next_: str, code: str = "", place: str = "", error: str = ""
) -> Response:
    unit = desk.ward.unit
    stations = unit.stations or (unit.code,)
    remembered = request.cookies.get(desk.cookie("place"), "")
    if not place and remembered.isdecimal() and int(remembered) < len(stations):
        place = stations[int(remembered)]
    return desk.page(
        request,
        "sign_in.html",
        status=422 if error else 200,
        next=next_,
        code=code,
        places=stations,
        chosen=place or (stations[0] if len(stations) == 1 else ""),
        asks_pin=unit.sign_in_with is SignIn.PIN,
        error=error,
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
