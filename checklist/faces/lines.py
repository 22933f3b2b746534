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

Each may carry "by", the staff code of who acts and has signed in (left out: the person of --as),
and "turn", the turn that was last seen: if somebody has moved the preparation on, nothing is
recorded. "seen" may carry "channel", "scanned" or "typed", for how its answers reached the other
program. All entries are marked with the channel "lines". Expected values are never sent. The end of
input counts as an interruption.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from typing import Any

from checklist import engine
from checklist.answer import Answer
from checklist.engine import MovedOn, NotOffered
from checklist.faces.leaving import DONE, WANTING
from checklist.faces.stops import Stopped, Stops
from checklist.faces.workplace import Workplace, begun
from checklist.gate import OutOfSequence
from checklist.intake.entry import EntryFault, plain_text
from checklist.intake.fault import Faults
from checklist.observation import Channel, Kind
from checklist.preparation import GIVEN
from checklist.screen import Outcome, Screen, Told
from checklist.station import NotAllowed, NotHere, NotSignedIn
from checklist.trail import TrailBusy, TurnTaken
from checklist.unit import SignIn
from checklist.verdict import Remedy

LONGEST = 100_000
"""The longest line that is read, in bytes."""
LONGEST_NOTE = 200
"""The longest note or reason, in characters."""
END_OF_INPUT = "end of input"
_BESIDE: Mapping[str, frozenset[str]] = {
    "seen": frozenset({"channel", "turn"}),
    "remedy": frozenset({"note", "turn"}),
    "reason": frozenset({"note", "turn"}),
    "abandon": frozenset({"note"}),
    "interrupt": frozenset(),
    "resume": frozenset(),
    "note": frozenset(),
    "show": frozenset(),
    "sign_in": frozenset({"pin", "second"}),
}
_CHANNELS = {"lines": Channel.LINES, "scanned": Channel.SCANNED, "typed": Channel.TYPED}
_NOT_TAKEN = (
    MovedOn, NotAllowed, NotOffered, NotSignedIn, OutOfSequence, NotHere, TurnTaken, Faults,
)  # fmt: skip


class NotUnderstood(Exception):
    """A line that came in cannot be taken; nothing is recorded. The message says why."""


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
                act, asked = _read(self._line())
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
        try:
            person = self._station.sign_in(code, pin, second_for=self.id if second else "")
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
            act, asked = _read(line)
            if act == "sign_in":
                self._sign_in(asked)
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
        by, turn, note = _by(asked, self._by), _turn(asked), _words(asked, "note", "")
        station, id_ = self._station, self.id
        match act:
            case "seen":
                outcome = station.attempt(id_, self._answers(asked), by, turn=turn)
            case "remedy":
                remedy = _one_of(asked, act, tuple(each.value for each in Remedy))
                outcome = station.remedy(id_, Remedy(remedy), by, note=note, turn=turn)
            case "reason":
                because = _one_of(asked, act, tuple(engine.GO_ON))
                outcome = station.proceed(id_, because, by, note=note, turn=turn)
            case "interrupt":
                outcome = station.interrupt(id_, _words(asked, act), by)
            case "resume":
                _true(asked, act)
                outcome = station.resume(id_, by)
            case "abandon":
                outcome = station.end(id_, _words(asked, act), by, note=note)
            case "note":
                outcome = station.note(id_, _words(asked, act), by)
            case _:
                _true(asked, act)
                outcome, working = station.show_target(id_, by)
                return outcome, {"working": list(working)}
        return outcome, {}

    def _answers(self, asked: Mapping[str, Any]) -> dict[str, Answer]:
        seen = asked["seen"]
        if not isinstance(seen, dict):
            raise NotUnderstood("seen is an object with one answer for each field.")
        channel = _CHANNELS[_one_of({"channel": "lines", **asked}, "channel", tuple(_CHANNELS))]
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


def _read(line: bytes) -> tuple[str, dict[str, Any]]:
    """The act that a line asks for, and the whole line as an object. Raises NotUnderstood."""
    if len(line) > LONGEST:
        raise NotUnderstood(f"A line has {LONGEST} bytes at most. Send one act a line.")
    try:
        asked = json.loads(line.decode("utf-8"), object_pairs_hook=_object, parse_constant=_no)
    except (ValueError, RecursionError) as fault:
        raise NotUnderstood(f"This line is not one JSON object: {fault}.") from fault
    if not isinstance(asked, dict):
        raise NotUnderstood("A line is one JSON object, in braces.")
    acts = [act for act in _BESIDE if act in asked]
    act = acts[0] if acts else ""
    if "note" in acts and len(acts) == 2:
        act = next(one for one in acts if one != "note")
        acts = [act] if "note" in _BESIDE[act] else acts
    if len(acts) != 1:
        raise NotUnderstood(f"A line holds one act of {', '.join(_BESIDE)}; this has {len(acts)}.")
    known = {act, "by", *_BESIDE[act]}
    if strange := sorted(asked.keys() - known):
        if "sign_in" in asked:  # a PIN may stand in the wrong place
            raise NotUnderstood("A sign-in holds sign_in, pin and second, and nothing else.")
        raise NotUnderstood(
            f"The key {strange[0]!r} is not known beside {act}; known: {', '.join(sorted(known))}."
        )
    return act, asked


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError("a key stands twice")
    return made


def _no(constant: str) -> None:
    raise ValueError(f"{constant} is no value")


def _words(asked: Mapping[str, Any], key: str, default: str | None = None) -> str:
    """A plain text; nothing that hides or steers. `default` when the key is left out."""
    if default is not None and asked.get(key, default) == default:
        return default
    if not isinstance(text := asked.get(key), str):
        raise NotUnderstood(f"{key} is no text. Write it in quotes.")
    try:
        return plain_text(text, LONGEST_NOTE)
    except EntryFault as fault:
        raise NotUnderstood(f"{key}: {fault}") from fault


def _one_of(asked: Mapping[str, Any], key: str, known: tuple[str, ...]) -> str:
    if (word := asked.get(key)) not in known:
        raise NotUnderstood(f"{key} is {word!r}; it can be {', '.join(known)}.")
    return str(word)


def _by(asked: Mapping[str, Any], default: str) -> str:
    return _words(asked, "by") if "by" in asked else default


def _turn(asked: Mapping[str, Any]) -> int | None:
    turn = asked.get("turn")
    if turn is not None and type(turn) is not int:
        raise NotUnderstood("turn is the whole number that the last line gave.")
    return turn


def _true(asked: Mapping[str, Any], key: str) -> None:
    if asked[key] is not True:
        raise NotUnderstood(f"{key} is given as true.")
