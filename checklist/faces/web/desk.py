"""Everything that a page may use: the ward, reading, acting, and rendering."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from checklist.attendance import NotSignedIn, known
from checklist.faces.web.reader import Reader
from checklist.faces.web.session import Session, Sessions, asked_of
from checklist.faces.web.writer import Writer
from checklist.intake.ward import Ward
from checklist.lockout import KINDS, lockout
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.station import NotHere, Station
from checklist.trail import Trail

_T = TypeVar("_T")
HERE = Path(__file__).parent
_A = Action
LINKS: tuple[tuple[str, str, tuple[Action, ...]], ...] = (
    ("/orders", "Orders", (_A.PREPARE, _A.PRACTISE)),
    ("/review", "Review", (_A.OBSERVE, _A.REVIEW_PERSON)),
    ("/quality", "Quality", (_A.READ_NEAR_MISSES,)),
    ("/pharmacy", "Pharmacy", (_A.KEEP_WORKFLOWS,)),
)
"""The parts, the words that lead there, and the acts that open them; whoever signs in comes to the
first that is theirs."""


@dataclass(kw_only=True)
class Desk:
    """What pages share; one for the whole server.

    `ward` is read anew when its files change. `folder` is the ward's, `facts` a folder of facts, or
    None. `practice` says that nothing counts here. `clock` gives aware UTC times. `secure` says
    that pages come by TLS.
    """

    ward: Ward
    folder: Path
    trail_path: Path
    facts: Path | None
    practice: bool
    clock: Callable[[], datetime]
    reader: Reader
    writer: Writer
    secure: bool = False
    sessions: Sessions = field(default_factory=Sessions)

    def start(self) -> None:
        """Open the trail for writing. Raises the trail's own faults."""
        self.writer.start()

    def stop(self) -> None:
        """Do what waits, and let go of the trail."""
        self.writer.stop()
        self.reader.stop()

    # -- work ----------------------------------------------------------------------------------

    async def read(self, work: Callable[[Trail], _T]) -> _T:
        """Read the trail in a worker thread, on a connection of its own."""
        return await self.reader.read(work)

    async def act(self, request: Request, work: Callable[[Station], _T]) -> _T:
        """Act at this tablet's own station, on the one thread that writes.

        It returns, or raises what `work` raised, once all that was recorded is on the disk. Raises
        NotSignedIn where nobody has signed in.
        """
        session = self.session(request)
        if session is None:
            raise NotSignedIn("nobody is signed in here; sign in first")
        return await self.writer.act(session.tablet, session.place, work)

    async def observe(self, work: Callable[[Trail], _T]) -> _T:
        """Write to the trail of observations, which lies beside the trail; made where there is
        none. Raises as `act`.
        """
        return await self.writer.observe(work)

    # -- people --------------------------------------------------------------------------------

    def cookie(self, name: str) -> str:
        """The full name of a cookie: by TLS browsers hold it to this host alone."""
        return f"__Host-{name}" if self.secure else name

    def session(self, request: Request) -> Session | None:
        """The session that a request belongs to."""
        return self.sessions.known(request.cookies.get(self.cookie("session"), ""))

    async def present(self, request: Request) -> StaffMember | None:
        """The person who has signed in, as the ward's files and the trail have them now.

        None where nobody has, or where they were shut out meanwhile.
        """
        session = self.session(request)
        if session is None:
            return None
        try:
            person = known(self.ward, session.person)
        except NotHere:
            return None
        now = self.clock()
        shut = await self.read(lambda trail: lockout(trail.acts(KINDS), person.code).holds(now))
        return None if shut or not person.active else person

    async def second_person(self, request: Request, code: str, pin: str, id_: str) -> StaffMember:
        """Sign a second person in for the present step of a preparation, at this tablet.

        Who it is stands in the session until `hand_back`. Raises as `Station.sign_in`.
        """
        person = await self.act(request, lambda station: station.sign_in(code, pin, second_for=id_))
        session = self.session(request)
        if session is not None:
            session.second = person.code
        return person

    def hand_back(self, request: Request) -> None:
        """The second person has handed the tablet back."""
        session = self.session(request)
        if session is not None:
            session.second = ""

    # -- pages ---------------------------------------------------------------------------------

    def page(
        self, request: Request, name: str, /, *, status: int = 200, **context: Any
    ) -> Response:
        """Render a template with what every page has: who is here, where, and whether it counts."""
        session = self.session(request)
        person = self.ward.staff.get(session.person) if session else None
        every = {
            "person": person,
            "roles": frozenset(role.value for role in person.roles) if person else frozenset(),
            "links": self.links(person),
            "here": request.url.path,
            "practice": self.practice,
            "unit": self.ward.unit,
            "place": session.place if session else "",
            "now": self.ward.unit.local(self.clock()),
        }
        text = _templates().get_template(name).render({**every, **context})
        return HTMLResponse(text, status)

    def said(self, request: Request, title: str, text: str, status: int = 200) -> Response:
        """A page that says one thing."""
        return self.page(request, "said.html", status=status, title=title, text=text)

    def links(self, person: StaffMember | None) -> list[tuple[str, str]]:
        """The parts that are open to a person, the first being their own."""
        if person is None:
            return []
        return [
            (path, words)
            for path, words, actions in LINKS
            if any(may(person, one) for one in asked_of(actions, practice=self.practice))
        ]


@cache
def _templates() -> Environment:
    return Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
