"""Breaks and the end: stop, say why, come back, take over, end without giving."""

from __future__ import annotations

from starlette.responses import Response

from checklist.beside import CAUSES, NOT_SAID, may_be_explained
from checklist.engine import MovedOn
from checklist.faces.web.nurse.form import BadForm, note_of
from checklist.faces.web.nurse.pages import to
from checklist.faces.web.nurse.sent import Sent
from checklist.faces.web.nurse.words import TAKEN_UP
from checklist.faces.workplace import STATION_STOPPED
from checklist.station import Station


async def nobody_free(sent: Sent) -> Response:
    """No colleague can come: the dose is put on hold."""
    return await _break(sent, "nobody_free")


async def interrupt(sent: Sent) -> Response:
    """Stop here; one press, nothing is asked, and it is never refused."""
    return await _break(sent, NOT_SAID)


async def _break(sent: Sent, cause: str) -> Response:
    look = sent.look
    by = sent.second() or sent.person.code
    if look.screen.stands not in ("interrupted", "closed"):
        await sent.act(lambda at: at.interrupt(look.prep.id, cause, by))
    sent.hands.step_back(look.prep.id)
    return to(look.prep.id)


async def cause(sent: Sent) -> Response:
    """What came in between, told after the break was recorded; the first word counts."""
    look = sent.look
    word = sent.form.get("cause", "")
    if word not in CAUSES:
        raise BadForm("the form names no cause that is listed")

    def act(at: Station) -> None:
        if may_be_explained(at.find(look.prep.id)):
            at.explain(look.prep.id, word, sent.person.code)

    await sent.act(act)
    return to(look.prep.id)


async def resume(sent: Sent) -> Response:
    """Come back, behind the re-verification."""
    look = sent.look
    if look.screen.stands == "interrupted":
        await sent.act(lambda at: at.resume(look.prep.id, sent.person.code))
    elif not sent.holds():
        return to(look.prep.id)
    sent.hands.take(look.prep.id, sent.sitting)
    return to(look.prep.id)


async def take_up(sent: Sent) -> Response:
    """Go on with what was left in the middle, which counts as a break: nobody knows what
    happened to the drug in between.
    """
    look = sent.look
    id_ = look.prep.id
    if look.screen.stands == "closed" or sent.holds():
        return to(id_)
    cause = TAKEN_UP if sent.hands.held(id_) else STATION_STOPPED
    turn = sent.fresh()

    def act(at: Station) -> None:
        stood = at.screen(id_)
        if stood.prep.turn != turn:
            raise MovedOn("this page was made before the last entry")
        if stood.prep.turn == 0:
            return
        if stood.stands != "interrupted":
            at.interrupt(id_, cause, sent.person.code)
        at.resume(id_, sent.person.code)

    await sent.act(act)
    sent.hands.take(id_, sent.sitting)
    return to(id_)


async def end(sent: Sent) -> Response:
    """End without giving, for a listed reason; what was opened is accounted for first."""
    look = sent.look
    if early := sent.early(away=True):
        return early
    sent.fresh()
    by = sent.second() or sent.person.code
    because, note = sent.form.get("because", ""), note_of(sent.form)
    if not because or (because == "other" and not note):
        said = (
            "Another reason needs a few words beside it."
            if because
            else "No reason is chosen yet. Choose one, or go back."
        )
        return sent.pages.ending(sent.request, look, sent.person, said)
    await sent.act(lambda at: at.end(look.prep.id, because, by, note=note))
    sent.was_taken()
    sent.hands.step_back(look.prep.id)
    return to(look.prep.id)
