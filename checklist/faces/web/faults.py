"""What can stand in the way of a page, as pages with the same sentences as everywhere."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from checklist.attendance import NotAllowed, NotHere, NotSignedIn
from checklist.codec import CodecFault
from checklist.credential import CredentialFault
from checklist.definition import WorkflowFaults
from checklist.engine import MovedOn, NotOffered
from checklist.extra import NeedsExtra
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.session import to_sign_in
from checklist.fold import TrailContradiction
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.intake.scanner_file import ScannerFault
from checklist.signing import KeyFault
from checklist.trail import TrailFault, TurnTaken

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

_Handler = Callable[[Request, Any], Awaitable[Response]]
_MOVED = "This has moved on meanwhile"
_PAGES: Mapping[type[Exception], tuple[int, str]] = {
    NotAllowed: (403, "Not for your role"),
    NotHere: (404, "Not here"),
    MovedOn: (409, _MOVED),
    TurnTaken: (409, _MOVED),
    OutOfSequence: (409, _MOVED),
    NotOffered: (409, "Not offered here"),
    CannotGoOn: (422, "This cannot be done"),
    Faults: (503, "The ward's files cannot be read"),
    WorkflowFaults: (503, "The workflow cannot be used"),
    CredentialFault: (503, "PINs cannot be compared"),
    ScannerFault: (503, "What is known of the scanners cannot be read"),
    KeyFault: (503, "Nothing can be signed"),
    NeedsExtra: (503, "A library is missing"),
    TrailContradiction: (503, "The trail contradicts itself"),
    CodecFault: (503, "The trail cannot be read"),
    TrailFault: (503, "The trail cannot be used"),
}
_HTTP = {
    404: ("There is no such page", "Look at the address, or go on from the start."),
    405: ("Not possible", "This page is only looked at, or only takes a form."),
}


def handlers() -> dict[Any, _Handler]:
    """What answers each fault."""
    found: dict[Any, _Handler] = {fault: _page(*_PAGES[fault]) for fault in _PAGES}
    return {**found, NotSignedIn: _signed_out, HTTPException: _plain}


def _page(status: int, title: str) -> _Handler:
    async def said(request: Request, fault: Exception) -> Response:
        desk: Desk = request.app.state.desk
        return desk.said(request, title, sentence(fault), status)

    return said


def sentence(fault: Exception) -> str:
    """What a fault says, as whole sentences."""
    text = str(fault).strip() or type(fault).__name__
    return f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.?!' else '.'}"


async def _signed_out(request: Request, fault: Exception) -> Response:
    return to_sign_in(request)


async def _plain(request: Request, fault: HTTPException) -> Response:
    desk: Desk = request.app.state.desk
    title, text = _HTTP.get(fault.status_code, ("This cannot be done", str(fault.detail)))
    return desk.said(request, title, text, fault.status_code)
