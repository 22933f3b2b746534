"""The educator's pages: replay, observation, progress and feedback."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from checklist.faces.web.educator import (
    agreement,
    front,
    observing,
    progress,
    replay,
    talk,
)
from checklist.faces.web.educator.room import Room, page, unasked

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


def routes(desk: Desk) -> list[Route]:
    """The pages of this part; what stands under a word comes before what stands under an id."""
    at = page(Room(desk))
    return [
        Route("/review", at(front.shown), methods=["GET"]),
        Route("/review/agreement", at(agreement.shown), methods=["GET"]),
        Route("/review/progress/{person}", at(progress.shown), methods=["GET"]),
        Route("/review/progress/{person}", at(progress.decided), methods=["POST"]),
        Route("/review/feedback/{about}", at(talk.sheet), methods=["GET"]),
        Route("/review/feedback/{id}/talk", at(talk.shown), methods=["GET"]),
        Route("/review/feedback/{id}/talk", at(talk.said), methods=["POST"]),
        Route("/review/{id}", at(replay.shown), methods=["GET"]),
        Route("/review/{id}/now", unasked(at(observing.now)), methods=["GET"]),
        Route("/review/{id}/observe", at(observing.shown), methods=["GET"]),
        Route("/review/{id}/observe", at(observing.marked), methods=["POST"]),
    ]
