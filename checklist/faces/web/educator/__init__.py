"""The educator's pages: replay, observation, progress and feedback."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.routing import Route

    from checklist.faces.web.desk import Desk


def routes(desk: Desk) -> list[Route]:
    """The pages of this part."""
    return []
