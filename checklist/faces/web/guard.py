"""What stands before every page: who may ask, from where, how much, and what goes with the answer.

Forms are taken from pages of this server alone. Three things say so, each of which is enough
against a page of another site: the session's cookie is not sent from there (SameSite=Strict), the
Origin that the browser states has to be this server's, and so has what it states in Sec-Fetch-Site.
"""

from __future__ import annotations

import asyncio
import re
import sys
import traceback
from collections.abc import Awaitable, Callable, Iterable
from urllib.parse import parse_qsl

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from checklist.faces.saying import harmless

LARGEST = 65_536
"""Bytes of a form at most."""
FIELDS = 200
"""Fields of a form at most."""
LONGEST = 8_192
"""Characters of one field at most, and of an address."""
LARGEST_HEAD = 32_768
"""Bytes of a request's headers at most. The server's own bound holds only for those that come in
several parts."""
PATIENCE_S = 20.0
"""Seconds that a form may take to arrive."""
FORM = "application/x-www-form-urlencoded"
HOST = re.compile(r"([A-Za-z0-9._-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::[0-9]{1,5})?")
"""A host as browsers state it, with its port or without."""
HEALTH = "/health"
"""What whoever watches this machine asks for on the spot, beside the proxy."""

ALWAYS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:;"
        " form-action 'self'; connect-src 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # With no-referrer a browser would state the Origin "null" with the forms of our own pages.
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), usb=(), payment=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
BY_TLS = {"Strict-Transport-Security": "max-age=31536000"}
"""A year, for this host alone: what other hosts of the hospital do is not ours to say."""

BROKEN = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<title>Stop: something went wrong here</title>
<link rel="stylesheet" href="/static/page.css">
<main>
<h1>Something went wrong here</h1>
<p>What was entered may not be recorded: look at where the preparation stands before going on. If it
happens again, call IT; the server has written down what it was.</p>
<p><a class="button" href="/">Go on from the start</a></p>
</main>
</html>
"""
"""The page of a fault of our own; it hangs on nothing that may be at fault."""


Noting = Callable[[Request, str], Awaitable[None]]
"""Notes that a request was turned away, and why, in a word of ours."""


class Refused(Exception):
    """A request that no page is to see. `status` is HTTP's, `why` a word for the record."""

    def __init__(self, status: int, title: str, sentence: str, why: str = "") -> None:
        super().__init__(sentence)
        self.status = status
        self.title = title
        self.why = why or title.lower()


class Guard:
    """Around the application: looks at each request before a page does, and at each answer after.

    `names` are the hosts by which this server is known; a name of another's that leads here is
    turned away, so that no page elsewhere can pass for ours. `secure` says that pages come by TLS,
    and then nothing is taken that did not. `noting` is called for each form that is turned away.
    """

    def __init__(self, app: ASGIApp, names: Iterable[str], *, secure: bool, noting: Noting) -> None:
        self._app = app
        self._names = frozenset(name.lower() for name in names)
        self._secure = secure
        self._noting = noting

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        began = False

        async def answered(message: Message) -> None:
            nonlocal began
            if message["type"] == "http.response.start":
                began = True
                self._dress(scope, message)
            await send(message)

        try:
            try:
                body = await self._looked_over(scope, receive)
            except Refused as fault:
                if scope["method"] == "POST":
                    await self._noting(Request(scope), fault.why)
                page = _said(scope, fault.title, str(fault), fault.status)
                await page(scope, receive, answered)
                return
            await self._app(scope, receive if body is None else _given(body, receive), answered)
        except Exception:
            # The words of a fault may hold what was typed: they are for IT, and for no page; each
            # line is marked, so that none of them can pass for another line of a log.
            for line in traceback.format_exc().splitlines():
                print(f"| {harmless(line)}", file=sys.stderr)  # noqa: T201
            if began:
                raise
            page = HTMLResponse(BROKEN, 500)
            await page(scope, receive, answered)

    # -- before --------------------------------------------------------------------------------

    async def _looked_over(self, scope: Scope, receive: Receive) -> bytes | None:
        """The body of a form; None where there is none to be read. Raises Refused."""
        headers, method = Headers(scope=scope), scope["method"]
        host = headers.get("host", "")
        known = len(headers.getlist("host")) == 1 and HOST.fullmatch(host)
        if not known or _name(host) not in self._names:
            raise Refused(
                421,
                "Not this server",
                "This server does not go by that name. Use the address that IT gave for the ward's"
                " screens.",
            )
        if self._secure and scope["scheme"] != "https" and scope["path"] != HEALTH:
            raise Refused(
                403,
                "Only by TLS",
                "This did not come by TLS, so anybody may have read it. Use the address that IT"
                " gave, which begins with https.",
            )
        if method not in ("GET", "HEAD", "POST"):
            raise Refused(405, "Not possible", "Pages here are looked at, and forms are sent.")
        if len(scope["path"]) + len(scope["query_string"]) > LONGEST:
            raise Refused(414, "Too much at once", "No page has an address that long.")
        if sum(len(name) + len(value) for name, value in scope["headers"]) > LARGEST_HEAD:
            raise Refused(
                431,
                "Too much at once",
                "The browser sent more with this than is taken. Clear what it keeps for this"
                " address, then go on from the start.",
            )
        if "\0" in scope["path"] or b"%00" in scope["query_string"]:
            raise Refused(
                404, "There is no such page", "Look at the address, or go on from the start."
            )
        if method != "POST":
            return None
        self._same_site(scope, headers, host)
        return await self._form(headers, receive)

    def _same_site(self, scope: Scope, headers: Headers, host: str) -> None:
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        ours = f"{scope['scheme']}://{host}".lower()
        stated = origin is not None or site is not None
        if (
            not stated
            or (origin is not None and origin.lower() != ours)
            or (site is not None and site != "same-origin")
        ):
            raise Refused(
                403,
                "Not from this page",
                "This did not come from a page of this server, so nothing was done. Open the"
                " ward's screens again and enter it there.",
                "from elsewhere",
            )

    async def _form(self, headers: Headers, receive: Receive) -> bytes:
        kind, _, rest = headers.get("content-type", FORM).partition(";")
        charset = rest.strip().lower().replace(" ", "").replace('"', "")
        if kind.strip().lower() != FORM or charset not in ("", "charset=utf-8"):
            raise Refused(415, "Not understood", "Only the forms of these pages are taken.")
        if "content-encoding" in headers:
            raise Refused(415, "Not understood", "A form is taken only as it is, not packed.")
        try:
            async with asyncio.timeout(PATIENCE_S):
                body = await _read(receive)
        except TimeoutError as fault:
            raise Refused(
                408,
                "Took too long",
                "The form did not arrive whole. Nothing was recorded; send it again.",
            ) from fault
        _readable(body)
        return body

    # -- after ---------------------------------------------------------------------------------

    def _dress(self, scope: Scope, message: Message) -> None:
        headers = MutableHeaders(scope=message)
        for name, value in (ALWAYS | (BY_TLS if self._secure else {})).items():
            headers[name] = value
        # Whatever is not a file of ours may hold what only this person is to see: also the page
        # that says that there is no such file.
        if not scope["path"].startswith("/static/") or "Cache-Control" not in headers:
            headers["Cache-Control"] = "no-store"


async def _read(receive: Receive) -> bytes:
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "Cut off", "The form did not arrive whole. Nothing was recorded.")
        body += message.get("body", b"")
        if len(body) > LARGEST:
            raise Refused(
                413,
                "Too much at once",
                f"A form holds {LARGEST // 1_024} KiB at most. Nothing was recorded. Shorten what"
                " was typed.",
            )
        if not message.get("more_body", False):
            return bytes(body)


def _readable(body: bytes) -> None:
    """Make sure that a form is text, within bounds. Raises Refused."""
    unread = Refused(
        400, "Not understood", "The form could not be read. Nothing was recorded; send it again."
    )
    try:
        fields = parse_qsl(
            body.decode("ascii"),
            keep_blank_values=True,
            errors="strict",
            max_num_fields=FIELDS,
        )
    except ValueError as fault:
        raise unread from fault
    if any("\0" in name or "\0" in value for name, value in fields):
        raise unread
    if any(len(name) > 200 or len(value) > LONGEST for name, value in fields):
        raise Refused(
            413,
            "Too much at once",
            f"One answer holds {LONGEST} characters at most. Nothing was recorded. Shorten it.",
        )


def _given(body: bytes, receive: Receive) -> Receive:
    """A receiver that gives a body that was read already, and then whatever comes."""
    left: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def received() -> Message:
        return left.pop() if left else await receive()

    return received


def _name(host: str) -> str:
    """The name in a Host header, without its port."""
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


def _said(scope: Scope, title: str, sentence: str, status: int) -> Response:
    request = Request(scope)
    page: Response = request.app.state.desk.said(request, title, sentence, status)
    return page
