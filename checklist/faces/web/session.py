"""Who has signed in on which tablet, and which pages their roles open.

Sessions live in the server's memory alone: when it stops, everybody signs in again, and what was in
hand is gone back to behind its re-verification. So no list of sessions can be read from a disk, and
nothing outlives the stations that the people signed in at.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from functools import wraps
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.attendance import NotAllowed, NotSignedIn
from checklist.people import StaffMember
from checklist.permission import Action, may

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

MOST = 1_000
"""How many sessions there are at once; the one that was used longest ago goes first."""
Handler = Callable[[Request, "Desk", StaffMember], Awaitable[Response]]
Endpoint = Callable[[Request], Awaitable[Response]]


@dataclass(slots=True, kw_only=True)
class Session:
    """One person at one tablet, from signing in to signing out.

    `second` is the code of the second person who has signed in for the present step, "" for none.
    `seen` is when the person last did something, on the machine's own counting clock, in seconds.
    `last` is the digest of the last form that was taken where a form may not count twice, and where
    it led.
    """

    id: str
    person: str
    tablet: str
    place: str
    second: str = ""
    last: tuple[str, str] = ("", "")
    seen: float = field(default_factory=time.monotonic)


class Sessions:
    """The sessions of this server, by an id of 256 random bits that only the browser holds."""

    def __init__(self) -> None:
        self._open: dict[str, Session] = {}

    def begin(self, person: str, tablet: str, place: str) -> Session:
        """A new session, under an id that was never used."""
        session = Session(id=new_secret(), person=person, tablet=tablet, place=place)
        self._open[session.id] = session
        return session

    def crowded(self) -> Session | None:
        """The session that has to end before another begins; None where there is room."""
        if len(self._open) < MOST:
            return None
        return min(self._open.values(), key=lambda one: one.seen)

    def known(self, id_: str) -> Session | None:
        """The session with this id; None where there is none."""
        return self._open.get(id_)

    def all(self) -> tuple[Session, ...]:
        """Every session."""
        return tuple(self._open.values())

    def at(self, tablet: str) -> tuple[Session, ...]:
        """The sessions at one tablet."""
        return tuple(one for one in self._open.values() if one.tablet == tablet)

    def end(self, session: Session) -> None:
        """Forget a session."""
        self._open.pop(session.id, None)

    def forget(self) -> None:
        """Forget every session."""
        self._open.clear()


def new_secret() -> str:
    """256 random bits as text for a cookie."""
    return secrets.token_urlsafe(32)


def allowed(*actions: Action) -> Callable[[Handler], Endpoint]:
    """A page for people whom a role allows one of these acts.

    Whoever has not signed in is led to sign in and back. Anybody else gets a page that says which
    role would do, and that they asked is recorded.
    """

    def around(handler: Handler) -> Endpoint:
        @wraps(handler)
        async def endpoint(request: Request) -> Response:
            desk: Desk = request.app.state.desk
            person = await desk.present(request)
            if person is None:
                return to_sign_in(request)
            wanted = asked_of(actions, practice=desk.practice)
            if not any(may(person, action) for action in wanted):
                return await _refused(request, desk, person, wanted[0])
            return await handler(request, desk, person)

        return endpoint

    return around


def signed_in() -> Callable[[Handler], Endpoint]:
    """A page for whoever has signed in."""

    def around(handler: Handler) -> Endpoint:
        @wraps(handler)
        async def endpoint(request: Request) -> Response:
            desk: Desk = request.app.state.desk
            person = await desk.present(request)
            if person is None:
                return to_sign_in(request)
            return await handler(request, desk, person)

        return endpoint

    return around


def asked_of(actions: tuple[Action, ...], *, practice: bool) -> tuple[Action, ...]:
    """The acts that open a page here: leave to practise opens nothing where work counts."""
    kept = tuple(one for one in actions if practice or one is not Action.PRACTISE)
    return kept or actions


def to_sign_in(request: Request) -> Response:
    """The way to sign in; after a page that was only looked at, back to it."""
    if request.method not in ("GET", "HEAD"):
        return RedirectResponse("/sign-in", 303)
    path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    back = f"?next={quote(path, safe='')}" if path != "/" else ""
    return RedirectResponse(f"/sign-in{back}", 303)


async def _refused(request: Request, desk: Desk, person: StaffMember, action: Action) -> Response:
    title = "Not for your role"
    if wait := desk.asked_in_vain.wait(person.code):
        text = (
            f"{person.code} has asked for this kind of page so often that it is no longer recorded"
            f" each time. Go on from the start, or ask again in {wait} s."
        )
        return desk.said(request, title, text, 429)
    desk.asked_in_vain.count(person.code)
    try:
        await desk.act(request, lambda station: station.permit(person.code, action))
    except NotAllowed as fault:
        return desk.said(request, title, f"{fault}. That you asked is recorded.", 403)
    except NotSignedIn:
        return to_sign_in(request)
    raise AssertionError("the table of roles says one thing here and another at the station")
