"""A number in words, for the page's script to show while somebody types."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from checklist import ucum
from checklist.faces.answering import said_back
from checklist.faces.web.nurse.form import BadForm, plain
from checklist.faces.web.nurse.taking import NUMBERS, value_of
from checklist.intake.codes import CodeBook
from checklist.intake.entry import EntryFault
from checklist.observation import Kind
from checklist.people import StaffMember
from checklist.quantity import UnitFault
from checklist.workflow import Field

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


async def spoken(request: Request, desk: Desk, person: StaffMember) -> Response:
    """The words of `text` as a number of `kind` in the unit `code`; no words where it is none.

    Nothing is recorded, and nothing about a preparation is known here.
    """
    words = ""
    try:
        form = await plain(request)
        kind, code, text = (form.get(name, "") for name in ("kind", "code", "text"))
        if kind in {one.value for one in NUMBERS}:
            if code:
                ucum.unit(code)
            field = Field(name="number", kind=Kind(kind), say="", unit=code)
            words = said_back(
                field, value_of(field, text, desk.ward.unit, desk.clock(), CodeBook())
            )
    except (BadForm, EntryFault, UnitFault, ValueError):
        words = ""
    return JSONResponse({"words": words})
