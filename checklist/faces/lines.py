"""Preparation worked by another program: one JSON object a line, on stdin and stdout.

First of all the person of --as signs in. Where the unit asks for a PIN this comes out

    {"sign_in": "RN-12", "with": "code and pin"}

and is answered by a line that holds the PIN and nothing else that matters, so that the other
program can keep just that line out of its own log:

    {"sign_in": "RN-12", "pin": "..."}

which brings {"outcome": "signed_in", "person": "RN-12", "second": false}, or "not_signed_in" with a
sentence. A PIN is never sent back. At a step whose "who" is checker or witness, and at a caution
that the unit keeps for a second person, the second person signs in afresh for that one step, after
each return to it: {"sign_in": "RN-27", "pin": "...", "second": true}.

Out, whenever a step stands open:

    {"step": "set_the_dose", "phase": "Withdraw", "ask": "...", "how": "...", "who": "preparer",
     "number": 19, "total": 31, "turn": 21, "preparation": "5f0c...",
     "fields": [{"name": "drawn_volume", "kind": "quantity", "unit": "mL", "say": "...",
                 "answers": [], "optional": false}]}

and after each line that came in, an outcome; `outcome` says how things stand now:

    passed        the act was taken; a step stands open and follows on the next line
    caution       go on with {"reason": ...}, or take one of the remedies
    refused       take one of the remedies
    interrupted   send {"resume": true} to come back behind the re-verification
    closed        the end; `place` is given, discarded or abandoned
    not_understood   nothing was recorded; `sentence` says why

    {"outcome": "refused", "reasons": [{"code": "...", "tier": "hard",
       "message": {"found": "...", "why": "...", "next": "..."}, "remedies": ["recheck"]}],
     "notes": [...], "not_compared": ["..."], "turn": 22}

In, one act a line:

    {"seen": {"drawn_volume": "0.75"}}     text for each field; true or false for a line seen
    {"remedy": "recheck"}                  with "note" where there is something to say
    {"reason": "looked_again"}             past a caution; "other" needs a "note"
    {"interrupt": "call"}   {"resume": true}
    {"abandon": "patient_declined"}        a listed ending, with "note" where it is "other"
    {"note": "..."}                        a remark; no names
    {"show": true}                         the working, after a refused volume
    {"print": "label", "out": "a.pdf"}     the label into a new file: .pdf, .svg or .png

Each may carry "by", the staff code of who acts and has signed in (left out: the person of --as),
and "turn", the turn that was last seen: if somebody has moved the preparation on, nothing is
recorded. "seen" may carry "channel", "scanned" or "typed", for how its answers reached the other
program, and "keyed", why a code was typed in place of a scan: {"product": "no_code"}; reasons are
no_code, unreadable, not_read, doubted and no_scanner. What the try-out of this station's scanner
found (`checklist scanner try`) holds here as well: a lot that is not sure comes back as refused,
and is then sent as an answer of its own, read from the label. "print" may carry "vial", true for
the label of a vial that stays in use, "size", "form", "symbol", "again" and "dpi", as the options
of `checklist label` do. It is answered by

    {"outcome": "printed", "number": 1, "code": "...", "out": "a.pdf", "size": "60 x 30 mm",
     "form": "flat", "turn": 23}

and by the open step, if there is one. Printing moves nothing. All entries are marked with the
channel "lines". Expected values are never sent. The end of input counts as an interruption.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from checklist import engine
from checklist.answer import Answer
from checklist.engine import MovedOn, NotOffered
from checklist.extra import NeedsExtra
from checklist.faces import paper
from checklist.faces.answering import staff_code
from checklist.faces.leaving import DONE, WANTING, CannotGoOn
from checklist.faces.line_form import (
    LONGEST,
    NotUnderstood,
    by_of,
    is_true,
    one_of,
    read_line,
    turn_of,
    words_of,
)
from checklist.faces.stops import Stopped, Stops
from checklist.faces.workplace import Workplace, begun
from checklist.gate import OutOfSequence
from checklist.intake.fault import Faults
from checklist.observation import KEYED, Channel, Kind, keyed_note
from checklist.preparation import GIVEN
from checklist.printing.press import DPI
from checklist.screen import Outcome, Screen, Told
from checklist.station import NotAllowed, NotHere, NotSignedIn
from checklist.trail import TrailBusy, TurnTaken
from checklist.unit import SignIn
from checklist.verdict import Remedy

END_OF_INPUT = "end of input"
_CHANNELS = {"lines": Channel.LINES, "scanned": Channel.SCANNED, "typed": Channel.TYPED}
_NOT_TAKEN = (
    MovedOn, NotAllowed, NotOffered, NotSignedIn, OutOfSequence, NotHere, TurnTaken, Faults,
)  # fmt: skip


class Lines:
    """One preparation, moved by lines of JSON."""

    def __init__(self, at: Workplace, stops: Stops) -> None:
        self._at = at
        self._station = at.station
        self._stops = stops
        self._by = ""
        self.id = ""

    def run(self, order: str, *, by: str, container: str = "") -> int:
        """Open or go on with an order's preparation until it is closed; gives the exit code."""
        self._by = self._station.person(by).code
        self._station.workflow_for(self._station.order(order), container)
        try:
            self._come_in()
            self.id, stood = begun(self._at, order, self._by, container)
            if stood is not None and self._screen().stands == "interrupted":
                self._station.resume(self.id, self._by)
            self._tell_step()
            while not self._screen().prep.closed:
                self._take(self._line())
        except Stopped as stop:
            self._interrupted(stop.cause)
        except BrokenPipeError:
            self._interrupted(END_OF_INPUT)
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nobody reads it
        self._station.sign_out(self._by)
        return DONE if self.id and self._screen().prep.place == GIVEN else WANTING

    def _line(self) -> bytes:
        """The next line that comes in. Raises Stopped."""
        with self._stops.waiting():
            line = sys.stdin.buffer.readline(LONGEST + 1)
        if not line:
            raise Stopped(END_OF_INPUT)
        return line

    def _come_in(self) -> None:
        """Sign the person of --as in, before anything else is taken. Raises Stopped."""
        how = self._at.ward.unit.sign_in_with
        if how is SignIn.CODE:
            self._station.sign_in(self._by)
            return
        _out({"sign_in": self._by, "with": how.value})
        here = False
        while not here:
            try:
                act, asked = read_line(self._line())
                if act != "sign_in" or asked[act] != self._by or "second" in asked:
                    raise NotUnderstood(f"{self._by} signs in first. Nothing was recorded.")
                here = self._sign_in(asked)
            except NotUnderstood as fault:
                _out({"outcome": "not_understood", "sentence": str(fault)})

    def _sign_in(self, asked: Mapping[str, Any]) -> bool:
        """Take a sign-in and tell what came of it; whether the person is here now."""
        code, pin, second = asked["sign_in"], asked.get("pin", ""), asked.get("second", False)
        if not (isinstance(code, str) and isinstance(pin, str) and isinstance(second, bool)):
            raise NotUnderstood(
                "A sign-in holds a code and a PIN in quotes; second is true or false."
            )
        today = self._at.ward.unit.local(self._at.clock()).date()
        badge = staff_code(code, today=today, scanner=self._station.scanner)
        try:
            person = self._station.sign_in(badge, pin, second_for=self.id if second else "")
        except (NotHere, NotSignedIn) as fault:
            _out({"outcome": "not_signed_in", "sentence": f"{fault}."})
            return False
        _out({"outcome": "signed_in", "person": person.code, "second": second})
        return True

    def _interrupted(self, cause: str) -> None:
        if self.id and self._screen().stands not in ("interrupted", "closed"):
            self._station.interrupt(self.id, cause, self._by)

    def _screen(self) -> Screen:
        return self._station.screen(self.id)

    # -- in ------------------------------------------------------------------------------------

    def _take(self, line: bytes) -> None:
        try:
            act, asked = read_line(line)
            if act == "sign_in":
                self._sign_in(asked)
                return
            if act == "print":
                self._print(asked)
                self._tell_step()
                return
            outcome, more = self._done(act, asked)
        except NotUnderstood as fault:
            _out({"outcome": "not_understood", "sentence": str(fault)})
            return
        except _NOT_TAKEN as fault:
            _out({"outcome": "not_understood", "sentence": f"{fault} Nothing was recorded."})
            return
        except TrailBusy as fault:
            if fault.recorded:
                raise
            _out({"outcome": "not_understood", "sentence": str(fault)})
            return
        self._tell(outcome, more)
        self._tell_step()

    def _done(self, act: str, asked: Mapping[str, Any]) -> tuple[Outcome, dict[str, Any]]:
        """Carry out one act; gives its outcome, and what else is to be told of it."""
        by, turn, note = by_of(asked, self._by), turn_of(asked), words_of(asked, "note", "")
        station, id_ = self._station, self.id
        match act:
            case "seen":
                answers, keyed = self._answers(asked), self._keyed(asked)
                asked_here = {field.name for field in self._screen().fields}
                if answers.keys() <= asked_here and turn in (None, station.find(id_).turn):
                    for name, why in keyed.items():
                        kept = keyed_note(name, why)
                        turn = station.note(id_, kept, by, ours=True).screen.prep.turn
                outcome = station.attempt(id_, answers, by, turn=turn)
            case "remedy":
                remedy = one_of(asked, act, tuple(each.value for each in Remedy))
                outcome = station.remedy(id_, Remedy(remedy), by, note=note, turn=turn)
            case "reason":
                because = one_of(asked, act, tuple(engine.GO_ON))
                outcome = station.proceed(id_, because, by, note=note, turn=turn)
            case "interrupt":
                outcome = station.interrupt(id_, words_of(asked, act), by)
            case "resume":
                is_true(asked, act)
                outcome = station.resume(id_, by)
            case "abandon":
                outcome = station.end(id_, words_of(asked, act), by, note=note)
            case "note":
                outcome = station.note(id_, words_of(asked, act), by)
            case _:
                is_true(asked, act)
                outcome, working = station.show_target(id_, by)
                return outcome, {"working": list(working)}
        return outcome, {}

    def _answers(self, asked: Mapping[str, Any]) -> dict[str, Answer]:
        seen = asked["seen"]
        if not isinstance(seen, dict):
            raise NotUnderstood("seen is an object with one answer for each field.")
        channel = _CHANNELS[one_of({"channel": "lines", **asked}, "channel", tuple(_CHANNELS))]
        kinds = {field.name: field.kind for field in self._screen().fields}
        answers = {}
        for name, given in seen.items():
            value = given
            if isinstance(given, bool) and kinds.get(name) is Kind.SEEN:
                value = "yes" if given else "no"
            if not isinstance(value, str):
                raise NotUnderstood(
                    f"The answer for {name} is no text. Write it in quotes, so that no figure of it"
                    " is lost."
                )
            answers[name] = Answer(value, channel)
        return answers

    def _keyed(self, asked: Mapping[str, Any]) -> dict[str, str]:
        """Why codes were typed in place of a scan, by field."""
        keyed = asked.get("keyed", {})
        fields = [field.name for field in self._screen().fields if field.kind is Kind.PRODUCT]
        if not isinstance(keyed, dict) or not keyed.keys() <= set(fields):
            known = ", ".join(fields) or "none in this step"
            raise NotUnderstood(f"keyed is an object with a reason for each code; codes: {known}.")
        return {name: one_of(keyed, name, tuple(KEYED)) for name in keyed}

    def _print(self, asked: Mapping[str, Any]) -> None:
        """Print a label and tell of it."""
        one_of(asked, "print", ("label",))
        vial, dpi = asked.get("vial", False), asked.get("dpi", DPI[0])
        if not isinstance(vial, bool) or type(dpi) is not int:
            raise NotUnderstood("vial is true or false, dpi a whole number.")
        words = {name: words_of(asked, name, "") for name in ("size", "form", "symbol", "again")}
        out, by = Path(words_of(asked, "out")), self._station.person(by_of(asked, self._by))
        try:
            with paper.clear():
                what = paper.asked_for(words, vial=vial)
                made = paper.printed(self._station, self.id, by, what, out, dpi=dpi)
        except (CannotGoOn, NeedsExtra) as fault:
            raise NotUnderstood(str(fault)) from fault
        _out(
            {
                "outcome": "printed",
                "number": made.draft.code.number,
                "code": made.draft.code.figures,
                "out": str(out),
                "size": str(made.laid.size),
                "form": made.laid.form.value,
                "turn": self._screen().prep.turn,
            }
        )

    # -- out -----------------------------------------------------------------------------------

    def _tell_step(self) -> None:
        screen = self._screen()
        if screen.stands != "step" or screen.spot is None:
            return
        step = screen.spot.step
        _out(
            {
                "step": step.name,
                "phase": screen.phase,
                "ask": step.ask,
                "how": step.how,
                "who": step.who.value,
                "number": screen.number,
                "total": screen.total,
                "turn": screen.prep.turn,
                "preparation": screen.prep.id,
                "fields": [
                    {
                        "name": field.name,
                        "kind": field.kind.value,
                        "unit": field.unit,
                        "say": field.say,
                        "answers": list(field.answers),
                        "optional": field.optional,
                    }
                    for field in screen.fields
                ],
            }
        )

    def _tell(self, outcome: Outcome, more: Mapping[str, Any]) -> None:
        screen = outcome.screen
        word = "passed" if screen.stands == "step" else screen.stands
        ways = engine.ways(screen.prep, self._station.rules_of(screen.prep.workflow))

        def reason(one: Told) -> dict[str, Any]:
            answering = dict.fromkeys(way.remedy.value for way in ways if one.code in way.on)
            return {**_note(one), "remedies": list(answering)}

        _out(
            {
                "outcome": word,
                "reasons": [reason(one) for one in screen.reasons],
                "notes": [_note(one) for one in outcome.notes],
                "not_compared": list(outcome.not_compared),
                "turn": screen.prep.turn,
                **({"place": screen.prep.place} if word == "closed" else {}),
                **more,
            }
        )


def _note(one: Told) -> dict[str, Any]:
    said = {"found": one.found, "why": one.why, "next": one.next}
    return {"code": one.code, "tier": one.tier, "message": said}


def _out(data: Mapping[str, Any]) -> None:
    sys.stdout.write(json.dumps(data) + "\n")
    sys.stdout.flush()
