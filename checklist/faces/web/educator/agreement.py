"""How far observers of the same preparations agree, item by item."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from checklist.educator.access import Act
from checklist.educator.agreeing import Agreed, agreed
from checklist.faces.coached import AGREED_HEADS, AGREED_NOTE, NOBODY_TWICE, agreed_row
from checklist.faces.study import Study, every_watch, worded
from checklist.faces.web.educator.room import Room
from checklist.people import StaffMember


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The table of agreement, over all containers or one."""
    container = request.query_params.get("container", "")

    def read(at: Study) -> tuple[tuple[Agreed, ...], tuple[str, ...], str]:
        at.allow(Act.COMPARE)
        with at.kept() as kept:
            watches = every_watch(kept)
        fitting = [one for one in watches if container in ("", one.container)]
        known = tuple(sorted({one.container for one in watches}))
        return agreed(fitting), known, at.verified

    rows, known, verified = await room.look(request, person, read)
    return room.desk.page(
        request,
        "educator/agreement.html",
        rows=[(one, agreed_row(one)) for one in rows],
        heads=AGREED_HEADS,
        note=AGREED_NOTE,
        nobody=NOBODY_TWICE,
        whys=tuple(dict.fromkeys(one.why for one in rows if one.why)),
        container=container,
        containers=known,
        verified=verified,
        worded=worded,
    )
