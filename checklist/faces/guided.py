"""Guided preparation at the terminal: one step at a time, stops with their ways out, breaks."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from datetime import datetime

from checklist.beside import NOT_SAID
from checklist.engine import GO_ON, MovedOn, NotOffered
from checklist.faces import blocks, breaks, handover
from checklist.faces.answering import Asker, BreakAsked, EndAsked, unread_note
from checklist.faces.leaving import DONE, WANTING
from checklist.faces.stops import CLOSED, Stopped
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import Workplace, quoted
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.intake.ward import reload_orders
from checklist.observation import keyed_note
from checklist.people import StaffMember
from checklist.preparation import GIVEN
from checklist.screen import Outcome, Screen
from checklist.station import NotAllowed, NotSignedIn
from checklist.trail import TrailBusy, TurnTaken
from checklist.verdict import Remedy
from checklist.workflow import Field, Who

_SECOND = (Who.CHECKER, Who.WITNESS)
_VOLUME = {"volume_over_target", "volume_under_target"}


Begin = Callable[[], tuple[str, Screen | None]]
"""Gives the id of a preparation, and where it stood if it was begun before."""


class Guided:
    """One preparation in one person's hands, from where it stands to where they leave it."""

    def __init__(self, terminal: Terminal, at: Workplace, by: StaffMember) -> None:
        self._terminal = terminal
        self._at = at
        self._station = at.station
        self._by = by
        self._second: StaffMember | None = None
        self._news: list[tuple[str, str]] = []
        self._drawn = False  # whether the present screen is one that can be drawn again
        self._asker = Asker(
            terminal, at, why=self._why, unread=self._unread, keyed=self._typed_code
        )
        self._noted = 0  # entries made beside the present screen, which move the turn on
        self.id = ""

    # -- the whole -----------------------------------------------------------------------------

    def run(self, begin: Begin) -> int:
        """Begin a preparation or go on with it, and guide it; gives the exit code.

        A stop from outside, such as a closed terminal, is recorded as an interruption.
        """
        try:
            self._begin(begin)
            self._terminal.open()
            while not self._screen().prep.closed:
                try:
                    self._go_on()
                except TurnTaken as fault:
                    self._wait(str(fault))
                except (MovedOn, OutOfSequence, NotAllowed) as fault:  # somebody else acts as well
                    self._wait(handover.sentence(fault))
                except NotSignedIn as fault:
                    self._sign_in_again(handover.sentence(fault))
                except TrailBusy as fault:
                    if fault.recorded:
                        raise
                    self._wait(str(fault))
        except Stopped as stop:
            self._stopped(stop.cause)
        except OSError:
            self._stopped(CLOSED)
        finally:
            with contextlib.suppress(OSError):
                self._terminal.close()
        self._station.sign_out(self._by.code)
        return self._left()

    def _begin(self, begin: Begin) -> None:
        self.id, stood = begin()
        if stood is None:
            return
        prep = stood.prep
        told = (
            f"This order was begun by {prep.preparer} at {self._clock(prep.opened_at)} and stood at"
            f" step {stood.number} of {stood.total}. Nothing is lost; identity is read again first."
        )
        self._news = [("Going on", told)]
        if self._screen().stands == "interrupted":
            self._resume()

    def _go_on(self) -> None:
        screen, self._noted, self._drawn = self._screen(), 0, False
        try:
            match screen.stands:
                case "step":
                    self._step(screen)
                case "refused":
                    self._refused(screen)
                case "caution":
                    self._cautioned(screen)
                case _:
                    self._away(screen)
        except BreakAsked:
            if self._screen().stands != "interrupted":
                self._break()
        except EndAsked:
            self._end(screen)

    def _stopped(self, cause: str) -> None:
        if self.id and self._screen().stands not in ("interrupted", "closed"):
            self._station.interrupt(self.id, cause, self._present().code)

    def _left(self) -> int:
        """The last lines, on the first screen, where they stay."""
        if not self.id:
            return WANTING
        screen, say = self._screen(), self._terminal.say
        prep, name = screen.prep, blocks.short(self.id)
        told = f"checklist show {name} --trail {quoted(self._at.trail.path)}"
        with contextlib.suppress(OSError):
            if prep.closed:
                ended = "given" if prep.place == GIVEN else f"{prep.place}, not given"
                say(f"Preparation {name}: {ended}, {self._clock(prep.last_at)}.", BOLD)
                say(f"Stops {prep.refusals}, cautions {prep.cautions}. Nothing is open in it.")
                say(blocks.NOT_CHECKED)
            else:
                say(
                    f"Preparation {name} is on hold at step {screen.number} of {screen.total},"
                    f" {self._clock(prep.last_at)}. Nothing entered is lost.",
                    BOLD,
                )
                told = f"checklist prepare {prep.order.id} {self._at.options}".rstrip()
            self._terminal.command(told)
        return DONE if prep.place == GIVEN else WANTING

    # -- one step ------------------------------------------------------------------------------

    def _step(self, screen: Screen) -> None:
        spot = screen.spot
        assert spot is not None
        second = spot.step.who in _SECOND
        if not second:
            self._second = None
        elif self._second is None:
            self._news = []
            role = blocks.SECOND_WORDS[spot.step.who]
            handover.over(self._terminal, role, self._at.ward.unit)
            self._second = self._another("Colleague's code or badge >")
        by = self._present()
        self._draw(screen, by)
        answers = self._asker.answers(screen.fields)
        self._terminal.clear()
        try:
            outcome = self._station.attempt(self.id, answers, by.code, turn=self._turn(screen))
        except Faults as fault:
            self._wait(f"The orders cannot be read now, so nothing was entered. Call IT. {fault}")
            return
        kept = outcome.entry.event.kind == "passed"
        self._news = blocks.news_of(outcome, screen) if kept else []
        if second and kept:
            role = blocks.SECOND_WORDS[spot.step.who]
            self._hand_back(f"{role} by {by.code}: same in each point.")

    def _sign_in_again(self, why: str) -> None:
        """Somebody was shut out while they worked: whoever goes on proves who they are."""
        self._second = None
        self._terminal.clear()
        self._terminal.say(why)
        self._by = handover.signed_in(
            self._terminal, self._at, self._terminal.read, "Your staff code or badge >"
        )

    def _present(self) -> StaffMember:
        return self._second or self._by

    def _another(self, prompt: str) -> StaffMember:
        def offered() -> None:
            self._note("checker_same_person: offered at sign-in")

        return handover.another(
            self._terminal,
            self._at,
            self._asker.line,
            prompt,
            preparer=self._screen().prep.preparer,
            second_for=self.id,
            offered=offered,
        )

    def _hand_back(self, result: str = "") -> None:
        self._second = None
        handover.back(self._terminal, self._asker.line, self._by.code, result)

    # -- stops and cautions --------------------------------------------------------------------

    def _refused(self, screen: Screen) -> None:
        by, ways = self._present(), blocks.remedies(screen)
        self._draw(screen, by)
        self._terminal.forget_typed()
        if not ways:
            self._asker.line("There is no way on from here but :i or :e >")
            return
        also = ["s"] if self._may_show(screen) else []
        while (chosen := self._asker.choice(len(ways), also=also)) == "s":
            self._noted += 1
            for line in self._station.show_target(self.id, by.code)[1]:
                self._terminal.say(line, first="    ")
        self._remedy(screen, ways[int(chosen) - 1], by)

    def _remedy(self, screen: Screen, way: tuple[str, str], by: StaffMember) -> None:
        remedy, note = Remedy(way[0]), ""
        if remedy in (Remedy.CALL_PHARMACIST, Remedy.CALL_PRESCRIBER):
            note = self._asker.beside(needed=False, what="What was said")
        outcome = self._station.remedy(self.id, remedy, by.code, note=note, turn=self._turn(screen))
        self._news = [("Way on", way[1])]
        self._leave_second(outcome, fresh=remedy is Remedy.SECOND_PERSON)

    def _leave_second(self, outcome: Outcome, *, fresh: bool) -> None:
        """Whoever stood in goes when the work returns to the preparer, or another is fetched."""
        if self._second is None:
            return
        spot = outcome.screen.spot
        if spot is not None and spot.step.who in _SECOND:
            self._second = None if fresh else self._second
            return
        self._hand_back()

    def _cautioned(self, screen: Screen) -> None:
        by, ways, reasons = self._present(), blocks.remedies(screen), list(GO_ON)
        self._draw(screen, by)
        self._terminal.forget_typed()
        chosen = int(self._asker.choice(len(ways) + len(reasons)))
        if chosen <= len(ways):
            self._remedy(screen, ways[chosen - 1], by)
            return
        self._proceed(screen, reasons[chosen - len(ways) - 1], by)

    def _proceed(self, screen: Screen, because: str, by: StaffMember) -> None:
        held = set(self._at.ward.unit.second_person_cautions)
        codes = {one.code for one in screen.reasons}
        if codes & held and by.code == screen.prep.preparer:
            self._terminal.say("This unit asks a second person to let this caution pass.")
            by = self._another("Their code or badge >")
        note = self._asker.beside(needed=because == "other")
        try:
            outcome = self._station.proceed(
                self.id, because, by.code, note=note, turn=self._turn(screen)
            )
        except NotOffered as fault:
            self._wait(handover.sentence(fault))
            return
        self._news = [("Went on", GO_ON[because])]
        self._leave_second(outcome, fresh=True)

    # -- breaks and endings --------------------------------------------------------------------

    def _break(self) -> None:
        """Record the break at once; what came in between is asked after it, and may stay open."""
        self._station.interrupt(self.id, NOT_SAID, self._present().code)
        self._second = None
        if cause := breaks.cause(self._terminal):
            with contextlib.suppress(NotOffered):  # told meanwhile at another place
                self._station.explain(self.id, cause, self._by.code)

    def _away(self, screen: Screen) -> None:
        since = self._clock(screen.prep.last_at)
        typed = breaks.away(self._terminal, self._asker, screen, since, self._by.code)
        if typed == breaks.LEAVE:
            raise Stopped(NOT_SAID)
        if not typed:
            self._resume()

    def _resume(self) -> None:
        """Come back behind the re-verification, with what changed in between."""
        self._station.resume(self.id, self._by.code)
        prep = self._screen().prep
        try:
            self._station.ward = reload_orders(self._station.ward)
            now = self._station.ward.orders.get(prep.order.id)
            same = prep.order.called or now == prep.order
            changed = "nothing in the order" if same else "the order; read it again"
        except Faults:
            changed = "the orders cannot be read now; call IT"
        self._news.append(("Changed", changed))

    def _end(self, screen: Screen) -> None:
        rules = self._station.rules_of(screen.prep.workflow)
        try:
            chosen = breaks.ending(self._terminal, self._asker, screen, rules)
        except BreakAsked:
            self._break()
            return
        if chosen is None:
            return
        code, words, note = chosen
        outcome = self._station.end(self.id, code, self._present().code, note=note)
        self._second = None
        self._news = [("Ending", words)]
        if not outcome.screen.prep.closed:
            self._news.append(("First", "What was opened is accounted for"))

    # -- small things --------------------------------------------------------------------------

    def _screen(self) -> Screen:
        return self._station.screen(self.id)

    def _draw(self, screen: Screen, by: StaffMember) -> None:
        """The screen of a step, a stop or a caution, up to its first question."""
        terminal, reasons = self._terminal, screen.reasons
        self._drawn = True
        terminal.clear()
        blocks.band(terminal, self._at, screen, by)
        blocks.news(terminal, self._news)
        if screen.stands == "step":
            if any(field.name == "label_made" for field in screen.fields):
                blocks.label_text(terminal, self._at, screen, by)
            if any(field.name == "rest_of_vial" for field in screen.fields):
                blocks.vial_text(terminal, self._at, screen, by)
            blocks.step(terminal, screen)
            return
        blocks.told(terminal, reasons)
        ways = blocks.remedies(screen)
        if screen.stands == "caution":
            terminal.say("Put it right:")
            blocks.listed(terminal, ways)
            terminal.say("Or go on with a reason, which is recorded:")
            blocks.listed(terminal, GO_ON.items(), start=len(ways) + 1)
        else:
            terminal.say("Your earlier entries are kept. Ways on from here:")
            blocks.listed(terminal, ways)
            if self._may_show(screen):
                words = "show my own working (that it was looked at is noted)"
                terminal.say(words, first="   s  ")
        terminal.say()
        terminal.say(blocks.TOKENS)

    def _may_show(self, screen: Screen) -> bool:
        return any(one.code in _VOLUME for one in screen.reasons)

    def _wait(self, text: str) -> None:
        self._terminal.say(text)
        self._terminal.read("Enter: go on >")

    def _why(self) -> None:
        """What is behind the present screen; then that screen again."""
        screen = self._screen()
        self._terminal.clear()
        self._terminal.pages(blocks.explained(screen))
        self._terminal.read("Enter: back >")
        self._terminal.clear()
        if self._drawn:
            self._draw(screen, self._present())

    def _unread(self, field: Field, raw: str) -> None:
        """Keep that an answer could not be read; its text only where that is a short figure."""
        self._note(unread_note(field, raw))

    def _typed_code(self, field: Field, reason: str) -> None:
        """Keep why a code was typed in place of a scan."""
        self._note(keyed_note(field.name, reason))

    def _note(self, text: str) -> None:
        self._station.note(self.id, text, self._present().code, ours=True)
        self._noted += 1

    def _turn(self, screen: Screen) -> int:
        """The turn this screen was made for, with what was noted here since."""
        return screen.prep.turn + self._noted

    def _clock(self, at: datetime) -> str:
        return f"{self._at.ward.unit.local(at):%H:%M}"
