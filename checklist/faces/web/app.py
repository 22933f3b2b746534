"""The pages as one application."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from checklist.faces.web import educator, nurse, pharmacy, quality, signing_in, static_files
from checklist.faces.web.desk import Desk


def make_app(desk: Desk) -> Starlette:
    """The whole face around a desk; the desk's writer runs as long as the application does."""

    @asynccontextmanager
    async def running(_: Starlette) -> AsyncIterator[None]:
        desk.start()
        try:
            yield
        finally:
            desk.stop()

    parts = (signing_in, nurse, educator, quality, pharmacy)
    routes = [route for part in parts for route in part.routes(desk)]
    routes += [
        Route("/help", _help, methods=["GET"]),
        Route("/health", _health, methods=["GET"]),
        Route("/static/{name}", static_files.endpoint(), methods=["GET"]),
    ]
    app = Starlette(routes=routes, lifespan=running)
    app.state.desk = desk
    return app


async def _help(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return desk.page(request, "help.html")


async def _health(_: Request) -> Response:
    return PlainTextResponse("up\n")
