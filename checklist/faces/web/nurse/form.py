"""A posted form as plain text, its turn, and whether it was sent before."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

from starlette.requests import Request

from checklist.engine import MovedOn
from checklist.preparation import BESIDE, Entry

UNHEARD_OF = "no form of these pages"
"""How a BadForm is noted where it was sent."""
LONGEST_NOTE = 200
"""The longest note, in characters."""


class BadForm(ValueError):
    """A form that no page of ours sends. The sentence says what is wrong with it."""


async def plain(request: Request) -> dict[str, str]:
    """The fields of a posted form as text. Raises BadForm for files and for a name given twice."""
    async with request.form(max_files=0, max_fields=100) as sent:
        form: dict[str, str] = {}
        for name, value in sent.multi_items():
            if not isinstance(value, str):
                raise BadForm("a file was sent where text is expected")
            if name in form:
                raise BadForm("a field was sent twice")
            form[name] = value
    return form


def turn_of(form: Mapping[str, str]) -> int:
    """The turn for which a page was made. Raises BadForm."""
    text = form.get("turn", "")
    if not (text.isascii() and text.isdecimal() and len(text) < 9):
        raise BadForm("the form does not say for which turn it was made")
    return int(text)


def fresh(form: Mapping[str, str], entries: Sequence[Entry]) -> int:
    """The turn to act at: the newest one, when nothing has moved since the page was made.

    Raises MovedOn when something has, BadForm for a turn that never was.
    """
    turn, newest = turn_of(form), entries[-1].event.turn
    if turn > newest:
        raise BadForm("the form is for a turn that has not come yet")
    if any(one.event.turn > turn and one.event.kind not in BESIDE for one in entries):
        raise MovedOn("this page was made before the last entry")
    return newest


def digest(form: Mapping[str, str]) -> str:
    """What tells one sent form from another."""
    hashed = hashlib.sha256()
    for name in sorted(form):
        for text in (name, form[name]):
            data = text.encode("utf-8", "surrogatepass")
            hashed.update(len(data).to_bytes(8, "big") + data)
    return hashed.hexdigest()


def note_of(form: Mapping[str, str], name: str = "note") -> str:
    """A few words beside an act, cut to what may be kept."""
    return " ".join(form.get(name, "").split())[:LONGEST_NOTE]
