"""Everything that a page may use: the ward, reading, acting, and rendering."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from checklist.attendance import NotSignedIn, found
from checklist.credential import CredentialFault
from checklist.faces.leaving import message
from checklist.faces.web.heads_later import HeadsLater
from checklist.faces.web.measured import measured
from checklist.faces.web.reader import Reader
from checklist.faces.web.session import MOST, Session, Sessions, asked_of
from checklist.faces.web.static_files import Versioned
from checklist.faces.web.tries import MOST_FAILED, WITHIN_S, Tries
from checklist.faces.web.turned_away import TurnedAway
from checklist.faces.web.ward_files import WardFiles
from checklist.faces.web.weighed import Weighed
from checklist.faces.web.writer import Writer
from checklist.intake.codes import CodeBook, codes_of
from checklist.intake.fault import Faults
from checklist.intake.scanner_file import ScannerFile
from checklist.intake.ward import Ward
from checklist.lockout import KINDS, Lockout, Remembered
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.register import Uses
from checklist.station import Compiled, NotHere, Station
from checklist.timing import span
from checklist.trail import Trail
from checklist.unit import SignIn

_T = TypeVar("_T")
HERE = Path(__file__).parent
LOOPBACK = frozenset(("127.0.0.1", "localhost", "[::1]"))
"""The names of this machine for itself."""
LOCKED, SIGNED_OUT = "tablet locked", "signed out"
ANOTHER, SHUT_OUT = "another person signed in", "shut out"
"""Why a session ended in the middle of a preparation, as its interruption tells it."""
MOST_IN_VAIN = 120
"""How often one person's asking for what their role does not open is recorded in a while."""
WARN_S = 30
"""Seconds of warning before a tablet is locked: WCAG 2.2 criterion 2.2.1 asks for 20 at least."""
_A = Action
LINKS: tuple[tuple[str, str, tuple[Action, ...]], ...] = (
    ("/orders", "Orders", (_A.PREPARE, _A.PRACTISE)),
    ("/review", "Review", (_A.OBSERVE, _A.REVIEW_PERSON)),
    ("/review", "My work", (_A.PREPARE,)),
    ("/quality", "Quality", (_A.READ_NEAR_MISSES,)),
    ("/pharmacy", "Pharmacy", (_A.KEEP_WORKFLOWS,)),
)
"""The parts, the words that lead there, and the acts that open them; whoever signs in comes to the
first that is theirs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A preparation that waits behind a lock, told without its patient or drug.

    `at` is when it was left.
    """

    id: str
    number: int
    total: int
    by: str
    opened_at: datetime
    at: datetime


@dataclass(kw_only=True)
class Desk:
    """What pages share; one for the whole server.

    `folder` is the ward's, `facts` a folder of facts, or None. `practice` says that nothing counts
    here. `clock` gives aware UTC times. `secure` says that pages come by TLS. `names` are the hosts
    by which browsers know this server. `scanners` holds what is known of each place's scanner.
    `compiled` and `used` are what all stations of this server share, those that only read as well.
    `at_end` is what is called when the server stops, `every_while` what else is seen to every few
    seconds. `turned_away` notes forms that no page of ours sends, `asked_in_vain` counts what is
    recorded of each person's asking for what is not theirs.
    """

    files: WardFiles
    folder: Path
    trail_path: Path
    facts: Path | None
    practice: bool
    clock: Callable[[], datetime]
    reader: Reader
    writer: Writer
    heads: HeadsLater
    pins: Weighed
    scanners: ScannerFile
    compiled: Compiled
    used: Uses
    secure: bool = False
    names: frozenset[str] = LOOPBACK
    sessions: Sessions = field(default_factory=Sessions)
    waiting: dict[str, Waiting] = field(default_factory=dict)
    at_end: list[Callable[[], None]] = field(default_factory=list)
    every_while: list[Callable[[], None]] = field(default_factory=list)
    trouble: str = ""
    turned_away: TurnedAway = field(init=False)
    asked_in_vain: Tries = field(default_factory=lambda: Tries(MOST_IN_VAIN, WITHIN_S))
    _strangers: Tries = field(default_factory=lambda: Tries(MOST_FAILED, WITHIN_S))
    _lockouts: Remembered = field(default_factory=Remembered)
    _turns: dict[str, asyncio.Lock] = field(default_factory=dict)
    _started: bool = False
    _stopped: bool = False

    def __post_init__(self) -> None:
        self.turned_away = TurnedAway(self)

    @property
    def ward(self) -> Ward:
        """The ward of the moment: read anew when its files change, and they have no fault."""
        return self.files.last

    def start(self) -> None:
        """Open the trail for writing; done once. Raises the trail's own faults."""
        if not self._started:
            self.writer.start()
            self.heads.start()
            self.look(lambda trail: (trail.opened_for(""), trail.open_preparations()))
            self._started = True

    def stop(self) -> None:
        """Do what waits, let go of the trail, and then of whatever the parts hold; done once."""
        if not self._started or self._stopped:
            return
        self._stopped = True
        self.writer.stop()
        self.heads.stop()
        self.reader.stop()
        while self.at_end:
            self.at_end.pop()()

    async def look_after(self) -> None:
        """What is seen to every few seconds: files that changed, and tablets left alone."""
        try:
            await self.reader.aside(self.files.now)
            trouble = ""
        except Faults as fault:
            trouble = f"The ward's files cannot be read, so the last good ones are used. {fault}"
        if trouble and trouble != self.trouble:
            message(trouble)
        self.trouble = trouble
        for session in self.sessions.all():
            if self.is_idle(session):
                await self.leave(session, LOCKED)
        for one in self.every_while:
            one()

    # -- work ----------------------------------------------------------------------------------

    async def read(self, work: Callable[[Trail], _T]) -> _T:
        """Read the trail in a worker thread, on a connection of its own."""
        return await self.reader.read(work)

    def look(self, work: Callable[[Trail], _T]) -> _T:
        """Read the trail here and now: for what takes a millisecond, since nobody else is answered
        meanwhile.
        """
        return self.reader.at_once(work)

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

    def codes(self, request: Request) -> CodeBook:
        """What codes mean at this tablet's place. Raises ScannerFault."""
        session, ward = self.session(request), self.ward
        place = session.place if session else ""
        return codes_of(ward.unit, ward.formulary, self.scanners.of(place))

    # -- people --------------------------------------------------------------------------------

    def cookie(self, name: str) -> str:
        """The full name of a cookie: by TLS browsers hold it to this host alone."""
        return f"__Host-{name}" if self.secure else name

    def session(self, request: Request) -> Session | None:
        """The session that a request belongs to."""
        return self.sessions.known(request.cookies.get(self.cookie("session"), ""))

    async def present(self, request: Request) -> StaffMember | None:
        """The person who has signed in, as the ward's files and the trail have them now.

        None where nobody has, where they were shut out by hand meanwhile, or left the tablet for
        longer than the unit lets them.
        """
        session = self.session(request)
        if session is None:
            return None
        if self.is_idle(session):
            await self.leave(session, LOCKED)
            return None
        person = self.ward.staff.get(session.person)
        if person is None or not person.active or self._lockout(session.person).for_good:
            await self.leave(session, SHUT_OUT)
            return None
        session.seen = time.monotonic()
        return person

    def is_idle(self, session: Session) -> bool:
        """Whether a tablet was left alone for too long."""
        return time.monotonic() - session.seen > self.idle_s

    @property
    def idle_s(self) -> float:
        """After how many seconds without a press a tablet is locked."""
        return span(self.ward.unit.idle_lock).total_seconds()

    async def sign_in(self, tablet: str, place: str, code: str, pin: str) -> Session:
        """Sign a person in at a tablet; whoever was there before is signed out.

        The PIN is compared before the act, since that takes long. Raises as `Station.sign_in`.
        """
        async with self._weighing(code, pin) as weighed:
            if weighed is not None and weighed[1]:
                for before in self.sessions.at(tablet):
                    await self.leave(before, ANOTHER)
            try:
                person = await self.writer.act(
                    tablet, place, lambda at: self._signed_in(at, code, pin, weighed)
                )
            except (NotHere, NotSignedIn, CredentialFault):
                if not self.sessions.at(tablet):  # else each try would leave a station behind
                    await self.writer.forget(tablet)
                raise
        self.waiting.pop(tablet, None)
        while (crowded := self.sessions.crowded()) is not None:
            await self.leave(crowded, LOCKED)
        return self.sessions.begin(person.code, tablet, place)

    async def leave(self, session: Session, cause: str) -> None:
        """End a session. What is in hand at its tablet is interrupted, and waits there."""

        def go(station: Station) -> Waiting | None:
            left = station.leave(cause, session.person)
            station.sign_out(session.person)
            return _waiting(station, left[-1]) if left else None

        self.sessions.end(session)
        waiting = await self.writer.act(session.tablet, session.place, go)
        if waiting is not None:
            while len(self.waiting) >= MOST:
                del self.waiting[next(iter(self.waiting))]
            self.waiting[session.tablet] = waiting
        if not self.sessions.at(session.tablet):
            await self.writer.forget(session.tablet)

    async def second_person(self, request: Request, code: str, pin: str, id_: str) -> StaffMember:
        """Sign a second person in for the present step of a preparation, at this tablet.

        Who it is stands in the session until `hand_back`. Raises as `Station.sign_in`.
        """
        session = self.session(request)
        if session is None:
            raise NotSignedIn("nobody is signed in here; sign in first")
        if wait := self._strangers.wait(session.tablet):
            raise NotSignedIn(f"too many tries came from here; wait {wait} s, then try once more")
        async with self._weighing(code, pin) as weighed:
            try:
                person = await self.act(
                    request, lambda at: self._signed_in(at, code, pin, weighed, second_for=id_)
                )
            except (NotHere, NotSignedIn):
                self._strangers.count(session.tablet)
                raise
        session.second = person.code
        return person

    def hand_back(self, request: Request) -> None:
        """The second person has handed the tablet back."""
        session = self.session(request)
        if session is not None:
            session.second = ""

    @asynccontextmanager
    async def _weighing(
        self, code_or_badge: str, pin: str
    ) -> AsyncIterator[tuple[str, bool] | None]:
        """The person with this code or badge, and whether the PIN fits, worked out aside.

        None for whoever is not let in with any PIN. Of them nothing may be told by what a right PIN
        does: then it could be found by trying, lock or no lock. And for each person there is one
        try after the other, so that many at once are not all compared before the lock.
        """
        person = None
        with suppress(NotHere):
            person = found(self.ward, code_or_badge)
        if person is None or not person.active:
            yield None
            return
        code = person.code
        async with self._turns.setdefault(code, asyncio.Lock()):
            if self._lockout(code).holds(self.clock()):
                yield None
            elif self.ward.unit.sign_in_with is not SignIn.PIN:
                yield code, True
            else:
                yield code, await self.reader.aside(lambda: self.pins.weigh(code, pin))

    def _lockout(self, code: str) -> Lockout:
        return self.look(lambda trail: self._lockouts.of(trail.acts(KINDS), code))

    def _signed_in(
        self,
        station: Station,
        code: str,
        pin: str,
        weighed: tuple[str, bool] | None,
        *,
        second_for: str = "",
    ) -> StaffMember:
        """Sign a person in at a station, their PIN being weighed before. Raises as it does."""
        if weighed is None:
            return station.sign_in(code, pin, second_for=second_for)
        with self.pins.holding(weighed[0], pin, weighed[1]):
            return station.sign_in(code, pin, second_for=second_for)

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
            "here": request.scope["path"],
            "practice": self.practice,
            "unit": self.ward.unit,
            "place": session.place if session else "",
            "now": self.ward.unit.local(self.clock()),
            "idle": round(self.idle_s) if person else 0,
            "warn": WARN_S,
        }
        text = templates().get_template(name).render({**every, **context})
        return HTMLResponse(text, status)

    def said(self, request: Request, title: str, text: str, status: int = 200) -> Response:
        """A page that says one thing."""
        return self.page(request, "said.html", status=status, title=title, text=text)

    def links(self, person: StaffMember | None) -> list[tuple[str, str]]:
        """The parts that are open to a person, the first being their own."""
        if person is None:
            return []
        found: dict[str, str] = {}
        for path, words, actions in LINKS:
            if any(may(person, one) for one in asked_of(actions, practice=self.practice)):
                found.setdefault(path, words)
        return list(found.items())


def _waiting(station: Station, id_: str) -> Waiting:
    screen = station.screen(id_)
    prep = screen.prep
    return Waiting(
        id=id_,
        number=screen.number,
        total=screen.total,
        by=prep.preparer,
        opened_at=prep.opened_at,
        at=prep.last_at,
    )


@cache
def templates() -> Environment:
    """All templates of the pages."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[Versioned],
    )
    made.filters["measured"] = measured
    return made
