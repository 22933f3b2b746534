"""The pages as one application."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from checklist.faces.web import (
    educator,
    events,
    faults,
    nurse,
    pharmacy,
    quality,
    signing_in,
    static_files,
)
from checklist.faces.web.desk import Desk
from checklist.faces.web.guard import Guard

EVERY_S = 5.0
"""Seconds between two looks at what is left alone or has changed."""


def make_app(desk: Desk) -> Starlette:
    """The whole face around a desk; the desk's writer runs as long as the application does."""

    @asynccontextmanager
    async def running(_: Starlette) -> AsyncIterator[None]:
        desk.start()
        looking = asyncio.create_task(_looking_after(desk))
        try:
            yield
        finally:
            looking.cancel()
            with suppress(asyncio.CancelledError):
                await looking
            desk.stop()

    parts = (signing_in, events, nurse, educator, quality, pharmacy)
    routes = [route for part in parts for route in part.routes(desk)]
    routes += [
        Route("/help", _help, methods=["GET"]),
        Route("/health", _health, methods=["GET"]),
        Route("/static/{name}", static_files.endpoint(), methods=["GET"]),
    ]
    app = Starlette(
        routes=routes,
        lifespan=running,
        middleware=[
            Middleware(Guard, names=desk.names, secure=desk.secure, noting=desk.turned_away.note)
        ],
        exception_handlers=faults.handlers(),
    )
    app.router.redirect_slashes = False  # one address for each page
    app.state.desk = desk
    return app


async def _looking_after(desk: Desk) -> None:
    while True:
        await asyncio.sleep(EVERY_S)
        with suppress(Exception):  # told where it is somebody's act; here it is tried again
            await desk.look_after()


async def _help(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return desk.page(request, "help.html")


async def _health(request: Request) -> Response:
    """For whoever watches the machine: whether work can be recorded. No version, no names."""
    desk: Desk = request.app.state.desk
    if desk.writer.halted is not None:
        return PlainTextResponse("The trail is not as it was recorded; nothing is taken.\n", 503)
    return PlainTextResponse("up\n")
