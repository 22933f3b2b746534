"""Word to a page that its preparation has moved on elsewhere; nothing else is ever in it.

Server-sent events (HTML standard, section 9.2). A stream says one thing and ends; a page that was
not reached asks again by itself.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from checklist.station import moves
from checklist.trail import Trail

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

MOST = 200
"""Streams at once; a page beyond them shows how things stand when it is loaded again."""
MOST_HERE = 8
"""Streams at once of one sign-in, so that nobody's open pages take the places of all others."""
LOOK_S = 2.0
"""Seconds between two looks at the trail; others than this server may write to it as well."""
LOOKS = 150
"""Looks of one stream; then the page asks anew."""


class Following:
    """The streams of this server."""

    def __init__(self) -> None:
        self._open: Counter[str] = Counter()

    async def follow(self, request: Request) -> Response:
        """A stream for the page of one preparation, for somebody who has signed in.

        It is nobody's press, so a tablet left alone is locked all the same.
        """
        desk: Desk = request.app.state.desk
        session = desk.session(request)
        id_, turn = (
            request.query_params.get("preparation", ""),
            request.query_params.get("turn", ""),
        )
        if session is None or desk.is_idle(session):
            return Response(status_code=204)  # tells a browser not to ask again
        if not (turn.isascii() and turn.isdecimal()) or len(turn) > 9 or not 0 < len(id_) <= 100:
            return Response(status_code=204)
        if self._open.total() >= MOST or self._open[session.id] >= MOST_HERE:
            return Response(status_code=503, headers={"Retry-After": "30"})
        return StreamingResponse(
            self._told(desk, session.id, id_, int(turn)),
            media_type="text/event-stream",
            headers={"X-Accel-Buffering": "no"},  # a proxy that gathers answers hands this on
        )

    async def _told(self, desk: Desk, session: str, id_: str, turn: int) -> AsyncIterator[str]:
        def moved(trail: Trail) -> bool:
            return any(moves(entry.event) for entry in trail.of(id_, after=turn))

        self._open[session] += 1
        try:
            yield "retry: 10000\n\n"
            for _ in range(LOOKS):
                if desk.sessions.known(session) is None:
                    return
                if await desk.read(moved):
                    yield "event: moved\ndata: 1\n\n"
                    return
                yield ": here\n\n"
                await asyncio.sleep(LOOK_S)
        finally:
            self._open[session] -= 1
            if not self._open[session]:
                del self._open[session]


def routes(desk: Desk) -> list[Route]:
    """The one page of streams."""
    return [Route("/events", Following().follow, methods=["GET"])]
