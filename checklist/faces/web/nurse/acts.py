"""What a nurse does on the pages of a preparation: each form is one act, then a fresh page."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from checklist.attendance import found
from checklist.engine import GO_ON, MovedOn, NotOffered
from checklist.faces.answering import staff_code, unread_note
from checklist.faces.breaks import CAUSES, NOT_SAID
from checklist.faces.handover import sentence
from checklist.faces.web.desk import SHUT_OUT
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, digest, fresh, note_of, plain
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.pages import Pages, to
from checklist.faces.web.nurse.taking import Taken, taken
from checklist.faces.web.nurse.view import OTHER, PREPARER, SECOND
from checklist.faces.web.nurse.words import NOBODY_FREE, SAME_PERSON, TAKEN_UP, same_eyes
from checklist.faces.web.session import to_sign_in
from checklist.faces.workplace import STATION_STOPPED
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.people import StaffMember
from checklist.screen import Outcome
from checklist.station import NotAllowed, NotHere, NotSignedIn, Station
from checklist.trail import TrailBusy, TurnTaken
from checklist.verdict import Remedy

_Act = Callable[["Acts", Request, Look, StaffMember, Mapping[str, str]], Awaitable[Response]]


class Acts:
    """Takes the forms of one preparation's pages."""

    def __init__(self, pages: Pages) -> None:
        self._pages = pages
        self._desk = pages.desk
        self._hands = pages.hands

    async def take(self, request: Request, desk: Any, person: StaffMember) -> Response:
        """Carry out what a form asks for; a stop on the way leads to a page that goes on."""
        form: Mapping[str, str] = {}
        try:
            form = await plain(request)
            act = _ACTS.get(form.get("act", ""))
            if act is None:
                raise BadForm("the form does not say what is to be done")
            look = await self._pages.look(request, person)
            return await act(self, request, look, person, form)
        except NotHere:
            return self._pages.unknown(request)
        except BadForm as fault:
            await self._desk.turned_away.note(request, UNHEARD_OF)
            return self._stopped(request, "This form cannot be taken", f"{sentence(fault)}", 400)
        except (MovedOn, TurnTaken, OutOfSequence) as fault:
            if self._hands.was_sent(request.path_params["id"], digest(form)):
                return to(request.path_params["id"])
            return self._stopped(request, "It stands elsewhere by now", sentence(fault), 409)
        except NotOffered as fault:
            return self._stopped(request, "This is not offered here", sentence(fault), 409)
        except NotAllowed as fault:
            said = f"{sentence(fault)} That it was asked is recorded."
            return self._stopped(request, "Not for this person", said, 403)
        except NotSignedIn as fault:
            return await self._shut_out(request, person, fault)
        except TrailBusy as fault:
            if fault.recorded:
                return to(request.path_params["id"])
            return self._stopped(request, "Not recorded yet", str(fault), 503)
        except Faults as fault:
            said = f"The orders cannot be read now, so nothing was entered. Call IT. {fault}"
            return self._stopped(request, "Not recorded yet", said, 503)

    def _stopped(self, request: Request, title: str, text: str, status: int) -> Response:
        return self._desk.page(
            request,
            "nurse/stopped.html",
            status=status,
            title=title,
            text=text,
            id=request.path_params["id"],
        )

    async def _shut_out(
        self, request: Request, person: StaffMember, fault: NotSignedIn
    ) -> Response:
        """Somebody has to prove who they are again: a second person here, else the preparer."""
        id_ = request.path_params["id"]
        look = await self._pages.look(request, person)
        if look.spot.step.who in SECOND:
            self._hands.step_back(id_)
            return self._pages.page(request, look, person, said=sentence(fault), status=403)
        session = self._desk.session(request)
        if session is not None:
            await self._desk.leave(session, SHUT_OUT)
        return to_sign_in(request)

    # -- a step --------------------------------------------------------------------------------

    async def attempt(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Hand in the answers of a step, once each can be read and each number was said back."""
        if early := self._early(request, look, form):
            return early
        turn, second = fresh(form, look.entries), self._second(request, look)
        asks_second = look.spot.step.who in SECOND
        if look.screen.stands != "step" or (asks_second and not second):
            return to(look.prep.id)
        by = second or person.code
        unit = self._desk.ward.unit
        prefix = OTHER if asks_second else PREPARER
        codes = self._desk.codes(request)
        got = taken(look.screen.fields, form, prefix, unit=unit, at=look.at, codes=codes)
        if not got.ready:
            return await self._again(request, look, person, got, by)
        try:
            outcome = await self._desk.act(
                request, lambda at: at.attempt(look.prep.id, got.answers, by, turn=turn)
            )
        except (TrailBusy, Faults) as fault:
            if isinstance(fault, TrailBusy) and fault.recorded:
                return to(look.prep.id)
            said = f"Not recorded yet. {fault} What was typed still stands below."
            return self._pages.page(request, look, person, taken=got, said=said, status=503)
        self._taken(look, form)
        if asks_second and outcome.entry.event.kind == "passed":
            self._hands.step_back(look.prep.id)
            return to(look.prep.id, "/back")
        return to(look.prep.id)

    async def _again(
        self, request: Request, look: Look, person: StaffMember, got: Taken, by: str
    ) -> Response:
        """The same step with what was typed; that an answer could not be read is noted."""
        texts = [unread_note(field, raw) for field, raw in got.unread]

        def note(at: Station) -> None:
            for text in texts:
                at.note(look.prep.id, text, by, ours=True)

        if texts:
            await self._desk.act(request, note)
            look = await self._pages.look(request, person)
        return self._pages.page(request, look, person, taken=got, status=422 if got.faults else 200)

    # -- a stop or a caution -------------------------------------------------------------------

    async def remedy(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Take a way out of what stands here."""
        if early := self._early(request, look, form):
            return early
        turn, second = fresh(form, look.entries), self._second(request, look)
        word = form.get("remedy", "")
        if word not in set(Remedy):
            raise BadForm("the form names no way out that there is")
        remedy, by, note = Remedy(word), second or person.code, note_of(form)
        outcome = await self._desk.act(
            request, lambda at: at.remedy(look.prep.id, remedy, by, note=note, turn=turn)
        )
        self._taken(look, form)
        return self._gone(look, second, outcome, fresh=remedy is Remedy.SECOND_PERSON)

    def _gone(self, look: Look, second: str, outcome: Outcome, *, fresh: bool) -> Response:
        """Whoever stood in goes when the work returns to the preparer, or another is fetched."""
        if not second:
            return to(look.prep.id)
        spot = outcome.screen.spot
        stays = spot is not None and spot.step.who in SECOND
        if not stays or fresh:
            self._hands.step_back(look.prep.id)
        return to(look.prep.id) if stays else to(look.prep.id, "/back")

    async def proceed(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Go on past a caution with a listed reason; where the unit asks, a second person does."""
        if early := self._early(request, look, form):
            return early
        turn, second = fresh(form, look.entries), self._second(request, look)
        because, note = form.get("because", ""), note_of(form)

        def again(said: str, status: int = 422) -> Response:
            kept = Taken(typed={"note": form.get("note", "")})
            return self._pages.page(
                request, look, person, taken=kept, said=said, chosen=because, status=status
            )

        if look.screen.stands != "caution":
            return to(look.prep.id)
        if because not in GO_ON:
            return again("No reason is chosen yet. Choose one, or put it right.")
        if because == "other" and not note:
            return again("Another reason needs a few words beside it.")
        held = {one.code for one in look.screen.reasons} & set(
            look.around.unit.second_person_cautions
        )
        code = self._code(request, look, form)
        if held and not second:
            if not code:
                return again("This unit asks a second person to let this caution pass.")
            if self._named(code) == look.prep.preparer:
                return again(same_eyes(look.prep.preparer))

        by = second or person.code
        if held and not second:
            try:
                pin = form.get("pin", "")
                by = (await self._desk.second_person(request, code, pin, look.prep.id)).code
            except (NotHere, NotSignedIn) as fault:
                return again(sentence(fault), 403)
        outcome = await self._desk.act(
            request, lambda at: at.proceed(look.prep.id, because, by, note=note, turn=turn)
        )
        self._taken(look, form)
        return self._gone(look, second, outcome, fresh=True)

    async def show(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Show the working after a refused reading; that it was looked at is recorded."""
        if not self._holds(request, look):
            return to(look.prep.id)
        fresh(form, look.entries)
        if look.entries[-1].event.kind != "revealed":
            await self._desk.act(request, lambda at: at.show_target(look.prep.id, person.code))
        return to(look.prep.id)

    # -- the second person ---------------------------------------------------------------------

    async def second_in(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """A colleague signs in for the present step; never whoever prepares the dose."""
        if not self._holds(request, look) or look.spot.step.who not in SECOND:
            return to(look.prep.id)
        id_, preparer = look.prep.id, look.prep.preparer
        code = self._code(request, look, form)
        if self._named(code) == preparer:
            await self._desk.act(
                request, lambda at: at.note(id_, SAME_PERSON, person.code, ours=True)
            )
            look = await self._pages.look(request, person)
            return self._pages.handover(request, look, said=same_eyes(preparer), status=422)
        try:
            colleague = await self._desk.second_person(request, code, form.get("pin", ""), id_)
        except (NotHere, NotSignedIn) as fault:
            return self._pages.handover(request, look, said=sentence(fault), status=403)
        self._hands.stand(id_, self._pages.sitting(request), colleague.code, look.spot.place)
        return to(id_)

    def _named(self, code: str) -> str:
        try:
            return found(self._desk.ward, code).code
        except NotHere:
            return ""

    async def nobody_free(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """No colleague can come: the dose is put on hold."""
        return await self._break(request, look, person, NOBODY_FREE)

    # -- breaks --------------------------------------------------------------------------------

    async def interrupt(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Stop here; one press, nothing is asked, and it is never refused."""
        return await self._break(request, look, person, NOT_SAID)

    async def _break(
        self, request: Request, look: Look, person: StaffMember, cause: str
    ) -> Response:
        by = self._second(request, look) or person.code
        if look.screen.stands not in ("interrupted", "closed"):
            await self._desk.act(request, lambda at: at.interrupt(look.prep.id, cause, by))
        self._hands.step_back(look.prep.id)
        return to(look.prep.id)

    async def cause(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """What came in between, told after the break was recorded."""
        word = form.get("cause", "")
        if word not in CAUSES:
            raise BadForm("the form names no cause that is listed")
        if look.screen.stands == "interrupted":
            last = look.entries[-1]
            if last.event.kind == "interrupted":
                text = f"interrupted by: {word}"
                await self._desk.act(
                    request,
                    lambda at: at.note(look.prep.id, text, person.code, about=last.seq, ours=True),
                )
        return to(look.prep.id)

    async def resume(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Come back, behind the re-verification."""
        if look.screen.stands == "interrupted":
            await self._desk.act(request, lambda at: at.resume(look.prep.id, person.code))
        elif not self._holds(request, look):
            return to(look.prep.id)
        self._hands.take(look.prep.id, self._pages.sitting(request))
        return to(look.prep.id)

    async def take_up(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """Go on with what was left in the middle, which counts as a break: nobody knows what
        happened to the drug in between.
        """
        id_ = look.prep.id
        if look.screen.stands == "closed" or self._holds(request, look):
            return to(id_)
        cause = TAKEN_UP if self._hands.held(id_) else STATION_STOPPED
        turn = fresh(form, look.entries)

        def act(at: Station) -> None:
            stood = at.screen(id_)
            if stood.prep.turn != turn:
                raise MovedOn("this page was made before the last entry")
            if stood.prep.turn == 0:
                return
            if stood.stands != "interrupted":
                at.interrupt(id_, cause, person.code)
            at.resume(id_, person.code)

        await self._desk.act(request, act)
        self._hands.take(id_, self._pages.sitting(request))
        return to(id_)

    # -- the end, and words beside -------------------------------------------------------------

    async def end(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """End without giving, for a listed reason; what was opened is accounted for first."""
        if early := self._early(request, look, form, away=True):
            return early
        fresh(form, look.entries)
        by = self._second(request, look) or person.code
        because, note = form.get("because", ""), note_of(form)
        if not because or (because == "other" and not note):
            said = (
                "Another reason needs a few words beside it."
                if because
                else "No reason is chosen yet. Choose one, or go back."
            )
            return self._pages.ending(request, look, person, said)
        await self._desk.act(request, lambda at: at.end(look.prep.id, because, by, note=note))
        self._taken(look, form)
        self._hands.step_back(look.prep.id)
        return to(look.prep.id)

    async def note(
        self, request: Request, look: Look, person: StaffMember, form: Mapping[str, str]
    ) -> Response:
        """A remark in a person's own words; nothing moves, and its text is kept apart."""
        text = note_of(form)
        sent = digest(form)
        if text and not self._hands.was_sent(look.prep.id, sent):
            await self._desk.act(request, lambda at: at.note(look.prep.id, text, person.code))
            self._hands.sent(look.prep.id, sent)
        return to(look.prep.id)

    # -- small things --------------------------------------------------------------------------

    def _holds(self, request: Request, look: Look) -> bool:
        return self._hands.holds(look.prep.id, self._pages.sitting(request))

    def _second(self, request: Request, look: Look) -> str:
        return self._hands.second(look.prep.id, self._pages.sitting(request), look.spot.place)

    def _early(
        self, request: Request, look: Look, form: Mapping[str, str], *, away: bool = False
    ) -> Response | None:
        """Where to go instead: for a form that was sent twice, and where another has it in hand."""
        if self._hands.was_sent(look.prep.id, digest(form)):
            return to(look.prep.id)
        stands = look.screen.stands
        if stands == "closed" or (stands == "interrupted" and not away):
            raise OutOfSequence("this preparation stands elsewhere by now; nothing was recorded")
        if not self._holds(request, look) and stands != "interrupted":
            raise MovedOn("another sign-in has this preparation in hand; nothing was recorded")
        return None

    def _code(self, request: Request, look: Look, form: Mapping[str, str]) -> str:
        """The code that a second person typed, or that of a badge that was scanned."""
        today = look.around.unit.local(look.at).date()
        scanner = self._desk.codes(request).scanner
        return staff_code(form.get("code", ""), today=today, scanner=scanner)

    def _taken(self, look: Look, form: Mapping[str, str]) -> None:
        self._hands.sent(look.prep.id, digest(form))


_ACTS: Mapping[str, _Act] = {
    act.__name__: act
    for act in (
        Acts.attempt, Acts.remedy, Acts.proceed, Acts.show, Acts.second_in, Acts.nobody_free,
        Acts.interrupt, Acts.cause, Acts.resume, Acts.take_up, Acts.end, Acts.note,
    )
}  # fmt: skip
