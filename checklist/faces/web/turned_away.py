"""A bounded record of what was turned away: forms that no page of ours sends to that place.

Whoever sends such forms is no user who slipped, so somebody should learn of it. But they can send
as many as they like, so only some are recorded each hour, and the next one says how many were not.
Nothing that was sent is ever in the record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.routing import Match, Route

from checklist.attendance import UNPROVEN
from checklist.faces.leaving import message
from checklist.faces.web.tries import Tries, address_of
from checklist.faces.workplace import new_id
from checklist.observation import Channel
from checklist.preparation import Act
from checklist.trail import Trail, TrailFault

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

MOST, WITHIN_S = 20, 3_600.0
"""How many are recorded in a while for one person, and for all who have not signed in together."""


class TurnedAway:
    """Notes what was turned away at a desk: in the trail, and in a line for IT."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._noted = Tries(MOST, WITHIN_S)
        self._left_out: dict[str, int] = {}

    async def note(self, request: Request, why: str) -> None:
        """Note that a form was turned away; `why` is a word of ours. It never raises TrailFault."""
        desk = self._desk
        session = desk.session(request)
        person = session.person if session else ""
        if self._noted.wait(person):
            self._left_out[person] = self._left_out.get(person, 0) + 1
            return
        self._noted.count(person)
        way, left_out = _way(request), self._left_out.pop(person, 0)
        message(
            f"Turned away: {why}, at {way or 'no page'}, from {address_of(request) or 'nowhere'}"
            f"{f', and {left_out} before it' if left_out else ''}."
        )
        act = Act(
            id=new_id(),
            kind="turned_away",
            at=desk.clock(),
            by=person or UNPROVEN,
            station=session.place if session else "",
            channel=Channel.TYPED.value,
            body={"person": person, "why": why, "way": way, "left_out": str(left_out)},
        )

        def record(trail: Trail) -> None:
            trail.record(act)

        try:
            await desk.writer.write(record)
        except TrailFault as fault:  # it was refused all the same
            message(f"That it was turned away is not recorded. {fault}")


def _way(request: Request) -> str:
    """The page that was meant, as the server names it; "" where there is none."""
    for route in request.app.routes:
        if isinstance(route, Route) and route.matches(request.scope)[0] is not Match.NONE:
            return route.path
    return ""
