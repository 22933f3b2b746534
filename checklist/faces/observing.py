"""An observation recorded at the terminal, or by another program one JSON object a line.

By lines. Out, first:

    {"observation": "5f0c...", "about": "demo-0001", "items": [{"name": "neck_dries", "say": "...",
     "step": "make_the_neck_ready", "critical": false, "answer": ""}]}

In, one act a line, and after each {"outcome": "recorded", "left": 12} or
{"outcome": "not_understood", "sentence": "..."}, with nothing recorded:

    {"answers": {"neck_dries": "seen", "snaps_away": {"answer": "not so", "remark": "..."}}}
    {"answers": {"neck_dries": "not so"}, "because": "mixed up two items"}     a correction
    {"words": {"learner_well": "...", "learner_change": "..."}}
    {"words": {"well": "...", "change": "...", "next_step": "..."}, "due": "2026-12-09"}
    {"finish": true}

The learner speaks first: the observer's words are not taken before, unless `learner_skipped` says
why there are none.

Remarks and words are kept where they can be erased, never in the chain.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import typer

from checklist.educator.access import Act
from checklist.educator.watch import (
    ANSWERS,
    LEARNERS,
    NOT_OBSERVABLE,
    NOT_SO,
    OBSERVERS,
    SEEN,
    SKIPPED,
    WORDS,
    NotObserved,
    Watch,
)
from checklist.faces.leaving import DONE, WANTING, CannotGoOn
from checklist.faces.review_desk import Desk, desk, say
from checklist.faces.stops import Stopped, Stops
from checklist.faces.study import every_watch, watch_named, worded
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.watching import again, answer, say_words, taken_up
from checklist.faces.watching import correct as correct_one
from checklist.faces.workplace import preparation_of
from checklist.observation import Channel
from checklist.trail import Trail
from checklist.workflow import Technique

_KEYS = {"s": SEEN, "n": NOT_SO, "o": NOT_OBSERVABLE}


def guided(named: str, *, trail: Path | None, ward: Path | None, by: str) -> int:
    """Ask the items one by one at a terminal; leaving keeps what was answered."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise CannotGoOn(
            "Observing needs a terminal with a person at it. Run it in one, or add --lines to work"
            " it from another program."
        )
    with desk(trail, ward, by) as at, Stops() as stops:
        _allowed(at, named)
        with at.kept(write=True) as kept:
            assert kept is not None
            watch = _taken_up(at, kept, named)
            terminal = Terminal(stops)
            try:
                _ask_words(at, kept, _ask_items(at, kept, watch, terminal), terminal)
            except Stopped:
                terminal.say()
            watch = again(kept, watch.id)
        _leave(at, watch, terminal)
    return DONE if watch.finished else WANTING


def _leave(at: Desk, watch: Watch, terminal: Terminal) -> None:
    if watch.finished:
        missed = len(watch.answered(NOT_SO, critical=True))
        terminal.say(f"Recorded as observation {watch.id[:12]}. Critical items not so: {missed}.")
        terminal.command(f"checklist review feedback {watch.about[:12]} {at.options}")
    else:
        terminal.say(f"{len(watch.left)} items are left; the same command goes on.")
        terminal.command(f"checklist review observe {watch.about[:12]} {at.options}")


def _allowed(at: Desk, named: str) -> None:
    """Let only an observer on, before a file is made for what they see."""
    about = preparation_of(at.trail, named)
    at.allow(Act.OBSERVE, about.opened_by, about.id)


def _taken_up(at: Desk, kept: Trail, named: str) -> Watch:
    entries = at.trail.of(preparation_of(at.trail, named).id)
    return taken_up(kept, entries, at.rules(entries).workflow, at.stamp)


def _ask_items(at: Desk, kept: Trail, watch: Watch, terminal: Terminal) -> Watch:
    terminal.say(
        f"Observe {watch.person}, {worded(watch.container)}, preparation {watch.about[:12]}"
        f" ({watch.when}). {len(watch.left)} of {len(watch.items)} items are open."
    )
    terminal.say(
        "s seen   n not so   o not observable   a remark may follow (n tip touched the rim)   "
        "Enter later   :q leave"
    )
    step = ""
    for item in watch.left:
        if item.step != step:
            step = item.step
            terminal.say()
            terminal.say(worded(step).capitalize(), BOLD)
        word, remark = _ask(item, terminal)
        if word:
            watch = answer(kept, watch.id, at.stamp, {item.name: (word, remark)})
    return watch


def _ask(item: Technique, terminal: Terminal) -> tuple[str, str]:
    """One answer with its remark; "" where it is left for later."""
    mark = " (critical)" if item.critical else ""
    while True:
        typed = terminal.read(f"  {item.say}{mark} [s/n/o] >").strip()
        if typed == ":q":
            raise Stopped("left by the observer")
        key, _, remark = typed.partition(" ")
        if not key:
            return "", ""
        if key.lower() in _KEYS:
            return _KEYS[key.lower()], remark
        terminal.say("  Type s, n or o; Enter leaves it for later.")


def _ask_words(at: Desk, kept: Trail, watch: Watch, terminal: Terminal) -> None:
    if watch.left:
        return
    terminal.say()
    terminal.say("Afterwards: the learner speaks first. Enter leaves a line empty.", BOLD)
    words: dict[str, str] = {}

    def ask(names: Sequence[str]) -> bool:
        words.update({one: terminal.read(f"  {WORDS[one]} >").strip() for one in names})
        return any(words[one] for one in names)

    heard = watch.learner_heard or ask(LEARNERS) or ask((SKIPPED,))
    if heard:
        ask(OBSERVERS)
    due = None
    while words.get("next_step") and due is None:
        typed = terminal.read("  By which day (2026-12-09; Enter: none) >").strip()
        if not typed:
            break
        try:
            due = date.fromisoformat(typed)
        except ValueError:
            terminal.say("  A day is written like 2026-12-09.")
    say_words(kept, watch.id, at.stamp, words, due=due, finish=True)


# -- by lines ------------------------------------------------------------------------------------


def in_lines(named: str, *, trail: Path | None, ward: Path | None, by: str) -> int:
    """Take answers and words as JSON, one object a line."""
    with desk(trail, ward, by, via=Channel.LINES) as at:
        _allowed(at, named)
        with at.kept(write=True) as kept:
            assert kept is not None
            return _serve(at, kept, named)


def _serve(at: Desk, kept: Trail, named: str) -> int:
    watch = _taken_up(at, kept, named)
    _out(
        {
            "observation": watch.id,
            "about": watch.about,
            "items": [
                {
                    "name": one.name,
                    "say": one.say,
                    "step": one.step,
                    "critical": one.critical,
                    "answer": watch.answers[one.name].word if one.name in watch.answers else "",
                }
                for one in watch.items
            ],
        }
    )
    for line in sys.stdin:
        try:
            watch = _taken(at, kept, watch, line)
        except (NotObserved, ValueError) as fault:
            _out({"outcome": "not_understood", "sentence": str(fault)})
        else:
            _out({"outcome": "recorded", "left": len(watch.left)})
    return DONE if watch.finished else WANTING


def _taken(at: Desk, kept: Trail, watch: Watch, line: str) -> Watch:
    try:
        act: Any = json.loads(line)
    except json.JSONDecodeError as fault:
        raise NotObserved(f"This is not a JSON object: {fault.msg}.") from fault
    if not isinstance(act, dict) or not act.keys() & {"answers", "words", "finish"}:
        raise NotObserved("Send an object with `answers`, `words` or `finish`.")
    if "answers" in act:
        told = {name: _told(value) for name, value in _mapping(act["answers"]).items()}
        because = _text(act.get("because", ""))
        watch = answer(kept, watch.id, at.stamp, told, because=because)
    if "words" in act or act.get("finish"):
        words = {name: _text(text) for name, text in _mapping(act.get("words", {})).items()}
        due = _day(_text(act.get("due", "")))
        finish = act.get("finish") is True
        watch = say_words(kept, watch.id, at.stamp, words, due=due, finish=finish)
    return watch


def _told(value: object) -> tuple[str, str]:
    if isinstance(value, str):
        return value, ""
    one = _mapping(value)
    return _text(one.get("answer", "")), _text(one.get("remark", ""))


def _mapping(value: object) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise NotObserved(f"{value!r} was sent where an object is expected.")
    return value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise NotObserved(f"{value!r} was sent where text is expected.")
    return value


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as fault:
        raise NotObserved(f"{text!r} is no day. Write it like 2026-12-09.") from fault


def _out(data: Mapping[str, Any]) -> None:
    typer.echo(json.dumps(data))
    sys.stdout.flush()


# -- corrections ---------------------------------------------------------------------------------


def correct(
    observation: str,
    item: str,
    word: str,
    because: str,
    *,
    trail: Path | None,
    ward: Path | None,
    by: str,
) -> None:
    """Correct one answer of one's own observation."""
    if word not in ANSWERS:
        raise CannotGoOn(f"{word!r} is no answer. There are: {', '.join(ANSWERS)}.")
    with desk(trail, ward, by) as at, at.kept(write=at.observations.exists()) as kept:
        watch = watch_named(every_watch(kept), observation)
        assert kept is not None, "an observation was found in it"
        at.allow(Act.OBSERVE, watch.person, watch.about)
        correct_one(kept, watch.id, at.stamp, item, word, because)
        say(f"Recorded: {item} is now {word!r}; the earlier answer stays in its own entry.")
