"""What a person does at a step: answers, ways out, a second person's sign-in, a remark."""

from __future__ import annotations

from starlette.responses import Response

from checklist.engine import GO_ON, MovedOn
from checklist.faces.answering import unread_note
from checklist.faces.handover import sentence
from checklist.faces.web.nurse.form import BadForm, note_of
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.pages import to
from checklist.faces.web.nurse.sent import Sent
from checklist.faces.web.nurse.taking import Taken, taken
from checklist.faces.web.nurse.view import OTHER, PREPARER, SECOND
from checklist.faces.web.nurse.words import SAME_PERSON, same_eyes
from checklist.intake.fault import Faults
from checklist.observation import keyed_note
from checklist.screen import Outcome
from checklist.station import NotHere, NotSignedIn, Station
from checklist.trail import TrailBusy
from checklist.verdict import Remedy


async def attempt(sent: Sent) -> Response:
    """Hand in the answers of a step, once each can be read and each number was said back."""
    look = sent.look
    if early := sent.early():
        return early
    turn, second = sent.fresh(), sent.second()
    asks_second = look.spot.step.who in SECOND
    if look.screen.stands != "step" or (asks_second and not second):
        return to(look.prep.id)
    by = second or sent.person.code
    unit = sent.desk.ward.unit
    prefix = OTHER if asks_second else PREPARER
    codes = sent.desk.codes(sent.request)
    got = taken(look.screen.fields, sent.form, prefix, unit=unit, at=look.at, codes=codes)
    if not got.ready:
        return await _again(sent, got, by)
    try:
        outcome = await sent.act(lambda at: _tried(at, look, got, by, turn))
    except (TrailBusy, Faults) as fault:
        if isinstance(fault, TrailBusy) and fault.recorded:
            return to(look.prep.id)
        said = f"Not recorded yet. {fault} What was typed still stands below."
        return sent.pages.page(sent.request, look, sent.person, taken=got, said=said, status=503)
    sent.was_taken()
    if asks_second and outcome.entry.event.kind == "passed":
        sent.hands.step_back(look.prep.id)
        return to(look.prep.id, "/back")
    return to(look.prep.id)


def _tried(at: Station, look: Look, got: Taken, by: str, turn: int) -> Outcome:
    """Try the step; why a code was typed is kept just before it, and only where the try counts."""
    id_ = look.prep.id
    if got.keyed and at.find(id_).turn != turn:
        raise MovedOn("this page was made before the last entry")
    for name, why in got.keyed.items():
        turn = at.note(id_, keyed_note(name, why), by, ours=True).screen.prep.turn
    return at.attempt(id_, got.answers, by, turn=turn)


async def _again(sent: Sent, got: Taken, by: str) -> Response:
    """The same step with what was typed; that an answer could not be read is noted."""
    look = sent.look
    texts = [unread_note(field, raw) for field, raw in got.unread]

    def note(at: Station) -> None:
        for text in texts:
            at.note(look.prep.id, text, by, ours=True)

    if texts:
        await sent.act(note)
        look = sent.pages.look(sent.request, sent.person)
    status = 422 if got.faults else 200
    return sent.pages.page(sent.request, look, sent.person, taken=got, status=status)


async def remedy(sent: Sent) -> Response:
    """Take a way out of what stands here."""
    look = sent.look
    if early := sent.early():
        return early
    turn, second = sent.fresh(), sent.second()
    word = sent.form.get("remedy", "")
    if word not in set(Remedy):
        raise BadForm("the form names no way out that there is")
    remedy, by, note = Remedy(word), second or sent.person.code, note_of(sent.form)
    outcome = await sent.act(lambda at: at.remedy(look.prep.id, remedy, by, note=note, turn=turn))
    sent.was_taken()
    return gone(sent, second, outcome, fresh=remedy is Remedy.SECOND_PERSON)


def gone(sent: Sent, second: str, outcome: Outcome, *, fresh: bool) -> Response:
    """Whoever stood in goes when the work returns to the preparer, or another is fetched."""
    look = sent.look
    if not second:
        return to(look.prep.id)
    spot = outcome.screen.spot
    stays = spot is not None and spot.step.who in SECOND
    if not stays or fresh:
        sent.hands.step_back(look.prep.id)
    return to(look.prep.id) if stays else to(look.prep.id, "/back")


async def proceed(sent: Sent) -> Response:
    """Go on past a caution with a listed reason; where the unit asks, a second person does."""
    look = sent.look
    if early := sent.early():
        return early
    turn, second = sent.fresh(), sent.second()
    because, note = sent.form.get("because", ""), note_of(sent.form)

    def again(said: str, status: int = 422) -> Response:
        kept = Taken(typed={"note": sent.form.get("note", "")})
        return sent.pages.page(
            sent.request, look, sent.person, taken=kept, said=said, chosen=because, status=status
        )

    if look.screen.stands != "caution":
        return to(look.prep.id)
    if because not in GO_ON:
        return again("No reason is chosen yet. Choose one, or put it right.")
    if because == "other" and not note:
        return again("Another reason needs a few words beside it.")
    held = {one.code for one in look.screen.reasons} & set(look.around.unit.second_person_cautions)
    code = sent.code()
    if held and not second:
        if not code:
            return again("This unit asks a second person to let this caution pass.")
        if sent.named(code) == look.prep.preparer:
            return again(same_eyes(look.prep.preparer))

    by = second or sent.person.code
    if held and not second:
        try:
            pin = sent.form.get("pin", "")
            by = (await sent.desk.second_person(sent.request, code, pin, look.prep.id)).code
        except (NotHere, NotSignedIn) as fault:
            return again(sentence(fault), 403)
    outcome = await sent.act(lambda at: at.proceed(look.prep.id, because, by, note=note, turn=turn))
    sent.was_taken()
    return gone(sent, second, outcome, fresh=True)


async def show(sent: Sent) -> Response:
    """Show the working after a refused reading; that it was looked at is recorded."""
    look = sent.look
    if not sent.holds():
        return to(look.prep.id)
    sent.fresh()
    if look.entries[-1].event.kind != "revealed":
        await sent.act(lambda at: at.show_target(look.prep.id, sent.person.code))
    return to(look.prep.id)


async def second_in(sent: Sent) -> Response:
    """A colleague signs in for the present step; never whoever prepares the dose."""
    look = sent.look
    if not sent.holds() or look.spot.step.who not in SECOND:
        return to(look.prep.id)
    id_, preparer = look.prep.id, look.prep.preparer
    code = sent.code()
    if sent.named(code) == preparer:
        await sent.act(lambda at: at.note(id_, SAME_PERSON, sent.person.code, ours=True))
        look = sent.pages.look(sent.request, sent.person)
        return sent.pages.handover(sent.request, look, said=same_eyes(preparer), status=422)
    try:
        colleague = await sent.desk.second_person(sent.request, code, sent.form.get("pin", ""), id_)
    except (NotHere, NotSignedIn) as fault:
        return sent.pages.handover(sent.request, look, said=sentence(fault), status=403)
    sent.hands.stand(id_, sent.sitting, colleague.code, look.spot.place)
    return to(id_)


async def note(sent: Sent) -> Response:
    """A remark in a person's own words; nothing moves, and its text is kept apart."""
    id_, text = sent.look.prep.id, note_of(sent.form)
    if text and not sent.was_sent():
        await sent.act(lambda at: at.note(id_, text, sent.person.code))
        sent.was_taken()
    return to(id_)
