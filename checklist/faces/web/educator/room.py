"""Where the educator's pages look from: a study of the trail for whoever has signed in."""

from __future__ import annotations

import threading
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from functools import wraps
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.chain import Head
from checklist.educator.access import NotForYou
from checklist.educator.competence import NotDecided
from checklist.educator.watch import NotObserved
from checklist.engine import Stamp
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import (
    Known,
    Study,
    fit_as_evidence,
    refusal,
    verified_said,
)
from checklist.faces.web.faults import sentence
from checklist.faces.web.session import Endpoint, signed_in
from checklist.faces.workplace import new_id
from checklist.observation import Channel
from checklist.people import StaffMember
from checklist.review.unusable import Unusable
from checklist.trail import Trail, TrailDamaged, Verification

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

_T = TypeVar("_T")
ANEW = 600.0
"""After so many seconds a trail is verified from its first entry again; in between, what is new."""
Page = Callable[["Room", Request, StaffMember], Awaitable[Response]]


@dataclass(slots=True)
class Proofs:
    """What was verified of each trail, so that a page need not wait for the whole of it.

    Between two looks at the whole only what was written since is verified, and that it goes on from
    where the last look ended. That the rest is still as it was is told by the next look.
    """

    _known: dict[Path, tuple[float, Verification]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __call__(self, trail: Trail) -> Verification:
        with self._lock:
            at, known = self._known.get(trail.path, (0.0, None))
            found = None
            if known is not None and known.whole and time.monotonic() - at < ANEW:
                found = _gone_on(trail, known)
            if found is None:
                at, found = time.monotonic(), trail.verify()
            self._known[trail.path] = (at, found)
            return found


def _gone_on(trail: Trail, known: Verification) -> Verification | None:
    """The same finding with what was written since; None where the whole is to be looked at."""
    head = known.head
    assert head is not None, "a whole trail has a head"
    if head.seq == 0:
        return None
    stored = next(trail.digests(head.seq - 1), None)
    if stored != (head.seq, head.digest):
        return None
    last = head
    try:
        for entry in trail.since(head.seq):
            if entry.previous != last.digest:
                return None
            last = Head(entry.seq, entry.digest)
    except TrailDamaged:
        return None
    return Verification(entries=last.seq, head=last, first_break=None, faults=())


@dataclass(slots=True)
class Room:
    """What the educator's pages share: the desk, and what was worked out from the trail before."""

    desk: Desk
    known: Known = field(default_factory=Known)
    proofs: Proofs = field(default_factory=Proofs)

    async def look(self, request: Request, person: StaffMember, work: Callable[[Study], _T]) -> _T:
        """Do some reading for a person; what they may not see is refused, and that is recorded.

        Raises NotForYou, TrailDamaged, CannotGoOn and what `work` raises.
        """
        asked: list[Mapping[str, str]] = []

        def within(trail: Trail) -> _T:
            found = self.proofs(trail)
            fit_as_evidence(found)
            return work(
                Study(
                    trail=trail,
                    ward=self.desk.ward,
                    person=person,
                    path=self.desk.trail_path,
                    verified=verified_said(found),
                    refused=asked.append,
                    proof=self.proofs,
                    clock=self.desk.clock,
                    known=self.known,
                )
            )

        try:
            return await self.desk.read(within)
        except NotForYou:
            for body in asked:
                await self._record(request, body)
            raise

    async def note(self, work: Callable[[Trail], _T]) -> _T:
        """Write something into the trail of observations."""
        return await self.desk.observe(work)

    def stamped(self, person: StaffMember) -> Callable[[], Stamp]:
        """Makes what an entry carries that this person makes now."""
        return lambda: Stamp(
            id=new_id(), at=self.desk.clock(), by=person.code, station="", channel=Channel.CHOSEN
        )

    async def _record(self, request: Request, body: Mapping[str, str]) -> None:
        if self.desk.asked_in_vain.wait(body["person"]):
            return  # as often as that was recorded already
        self.desk.asked_in_vain.count(body["person"])
        await self.desk.act(
            request,
            lambda station: station.trail.record(
                refusal(body, station.now(), Channel.TYPED, station.name)
            ),
        )


def page(room: Room) -> Callable[[Page], Endpoint]:
    """A page for whoever has signed in, with a sentence for what stands in the way.

    A form that is sent again, and was the last to be taken from this sign-in, is answered as the
    first and counts once.
    """

    def around(shown: Page) -> Endpoint:
        @signed_in()
        @wraps(shown)
        async def endpoint(request: Request, desk: Desk, person: StaffMember) -> Response:
            try:
                if request.method == "POST":
                    return await _once(room, request, person, shown)
                return await shown(room, request, person)
            except NotForYou as fault:
                return desk.said(request, "Not for you to see", f"{fault}", 403)
            except CannotGoOn as fault:
                return desk.said(request, "Not found here", sentence(fault), 404)
            except (NotObserved, NotDecided, Unusable) as fault:
                return desk.said(request, "Not recorded", sentence(fault), 422)

        return endpoint

    return around


async def _once(room: Room, request: Request, person: StaffMember, taken: Page) -> Response:
    hashed = sha256(repr(str(request.url)).encode())
    for name, value in (await request.form()).multi_items():
        hashed.update(repr((name, str(value))).encode())
    digest, session = hashed.hexdigest(), room.desk.session(request)
    if session is not None and session.last[0] == digest:
        return RedirectResponse(session.last[1], 303)
    response = await taken(room, request, person)
    if session is not None and response.status_code == 303:
        session.last = digest, response.headers["location"]
    return response


def unasked(endpoint: Endpoint) -> Endpoint:
    """A page that a script asks for by itself: it keeps no tablet from being locked."""

    @wraps(endpoint)
    async def around(request: Request) -> Response:
        desk: Desk = request.app.state.desk
        session = desk.session(request)
        seen = session.seen if session else 0.0
        response = await endpoint(request)
        if session:
            session.seen = seen
        return response

    return around
