"""The server around the pages: its bounds, and its patience with whoever connects."""

from __future__ import annotations

import asyncio
import gc
import socket
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from checklist.faces.web.desk import templates
from checklist.faces.web.guard import LARGEST_HEAD, PATIENCE_S
from checklist.station import Compiled

GRACE_S = 5
"""Seconds for which a server that stops still answers what is under way."""
MOST = 400
"""Connections at once; beyond them a browser is told to come back."""
BACKLOG = 2_048


def listening(host: str, port: int) -> socket.socket:
    """A socket at an address of this machine (port 0: any free one). Raises OSError.

    What is accepted there sends at once: otherwise the body of a page, written behind its head,
    waits for the browser's word that the head came, which takes 40 ms on many systems.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    made = socket.create_server((host, port), family=family, backlog=BACKLOG)
    made.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return made


AT_FIRST_USE = (
    "biip.gs1_messages",
    "biip.rcn",
    "cryptography.hazmat.primitives.asymmetric.ed25519",
    "cryptography.hazmat.primitives.serialization",
    "typst",
    "zxingcpp",
)
"""What the core loads when it is first used: for a server that would be in somebody's step."""


def loaded() -> None:
    """Load beforehand what the first scan, the first label and each first page would wait for."""
    for module in AT_FIRST_USE:
        with suppress(ImportError):  # of an extra that is not here
            import_module(module)
    made = templates()
    for name in made.list_templates(extensions=["html"]):
        made.get_template(name)


class Settled:
    """Has Python's search for cycles pass over what is here to stay.

    Workflows made ready are some hundred thousand objects that never change. Each whole search
    looked through all of them, for a tenth of a second in which nobody is answered.
    """

    def __init__(self, compiled: Compiled) -> None:
        self._compiled = compiled
        self._seen = -1

    def __call__(self) -> None:
        """Set aside what was made ready since the last time, if anything was."""
        ready = len(self._compiled.rules) + len(self._compiled.proved)
        if ready != self._seen:
            self._seen = ready
            gc.collect()
            gc.freeze()


class Patient(H11Protocol):
    """A connection that is let go when it asks nothing, or never finishes asking.

    The server's own clock runs only between an answer and the first byte of the next request. So
    whoever sends nothing, or a byte now and then, would hold a place of the few there are; a form
    that never ends is the guard's.
    """

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for a first request."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what came; go on waiting for as long as no request is whole."""
        super().data_received(data)
        if self._asks:
            self._enough()
        else:
            self._wait()

    def on_response_complete(self) -> None:
        """Wait for the rest of what was begun behind the request that is answered now."""
        super().on_response_complete()
        begun = bool(self.conn.trailing_data[0]) or self.conn.their_state is not h11.IDLE
        if begun and not self._asks:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._enough()
        super().connection_lost(exc)

    @property
    def _asks(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait(self) -> None:
        if self._late is None and not self.transport.is_closing():
            self._late = self.loop.call_later(PATIENCE_S, self.transport.abort)

    def _enough(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None


def server(
    app: Any, *, cert: Path | None = None, key: Path | None = None, proxy: str = ""
) -> uvicorn.Server:
    """The server of the pages, with TLS of its own or behind the proxy at an address.

    It speaks no WebSocket: a request to change to one is answered as the page it asks for.
    """
    config: dict[str, Any] = {
        "log_level": "warning",
        "access_log": False,
        "server_header": False,
        "proxy_headers": bool(proxy),
        "forwarded_allow_ips": proxy or None,
        "limit_concurrency": MOST,
        "timeout_keep_alive": 75,
        "timeout_graceful_shutdown": GRACE_S,
        "http": Patient,
        "ws": "none",
        "h11_max_incomplete_event_size": LARGEST_HEAD,
        "ssl_certfile": cert,
        "ssl_keyfile": key,
    }
    return uvicorn.Server(uvicorn.Config(app, **config))
