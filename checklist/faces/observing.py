"""An observation recorded at the terminal, or by another program one JSON object a line.

By lines. Out, first:

    {"observation": "5f0c...", "about": "demo-0001", "items": [{"name": "neck_dries", "say": "...",
     "step": "make_the_neck_ready", "critical": false, "answer": ""}]}

In, one act a line, and after each {"outcome": "recorded", "left": 12} or
{"outcome": "not_understood", "sentence": "..."}, with nothing recorded:

    {"answers": {"neck_dries": "seen", "snaps_away": {"answer": "not so", "remark": "..."}}}
    {"answers": {"neck_dries": "not so"}, "because": "mixed up two items"}     a correction
    {"words": {"well": "...", "change": "...", "next_step": "..."}, "due": "2026-12-09"}
    {"finish": true}

Remarks and words are kept where they can be erased, never in the chain.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import typer

from checklist.educator.access import Act
from checklist.educator.watch import (
    AFTER,
    ANSWERS,
    DURING,
    NOT_OBSERVABLE,
    NOT_SO,
    SEEN,
    WORDS,
    NotObserved,
    Watch,
    answered,
    begun,
    said,
    watch_of,
)
from checklist.faces.leaving import DONE, WANTING, CannotGoOn
from checklist.faces.review_desk import Desk, desk, say, signed, worded
from checklist.faces.stops import Stopped, Stops
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import new_id, preparation_of
from checklist.observation import Channel
from checklist.preparation import CLOSED
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
            watch = _opened(at, kept, named)
            terminal = Terminal(stops)
            try:
                _ask_words(at, kept, _ask_items(at, kept, watch, terminal), terminal)
            except Stopped:
                terminal.say()
            watch = _again(kept, watch.id)
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


def _opened(at: Desk, kept: Trail, named: str) -> Watch:
    """The observation to go on with: this person's unfinished one of the preparation, or new."""
    id_ = preparation_of(at.trail, named).id
    entries = at.trail.of(id_)
    first, last = entries[0].event, entries[-1]
    for one in at.watches(kept):
        if one.about == id_ and one.observer == at.person.code and not one.finished:
            return one
    workflow = at.rules(entries).workflow
    if not workflow.observe:
        raise CannotGoOn(
            f"The workflow {workflow.name} under which this was prepared names nothing to observe."
            " Add `[[observe]]` tables to its file; they hold for preparations begun from then on."
        )
    event = begun(
        new_id(),
        last,
        person=first.by,
        container=first.body["container"],
        workflow=workflow.digest,
        items=workflow.observe,
        when=AFTER if last.event.lands in CLOSED else DURING,
        stamp=at.stamp(),
    )
    kept.append(event)
    return _again(kept, event.preparation)


def _again(kept: Trail, id_: str) -> Watch:
    watch = watch_of(kept.of(id_))
    assert watch is not None, "an observation was just written"
    return watch


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
            event, texts = answered(watch, {item.name: (word, remark)}, at.stamp(), new_id)
            signed(kept, event, texts)
            watch = _again(kept, watch.id)
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
    words = {name: terminal.read(f"  {what} >").strip() for name, what in WORDS.items()}
    due = None
    while words["next_step"] and due is None:
        typed = terminal.read("  By which day (2026-12-09; Enter: none) >").strip()
        if not typed:
            break
        try:
            due = date.fromisoformat(typed)
        except ValueError:
            terminal.say("  A day is written like 2026-12-09.")
    event, texts = said(watch, words, at.stamp(), new_id, due=due, finish=True)
    signed(kept, event, texts)


# -- by lines ------------------------------------------------------------------------------------


def in_lines(named: str, *, trail: Path | None, ward: Path | None, by: str) -> int:
    """Take answers and words as JSON, one object a line."""
    with desk(trail, ward, by, via=Channel.LINES) as at:
        _allowed(at, named)
        with at.kept(write=True) as kept:
            assert kept is not None
            return _serve(at, kept, named)


def _serve(at: Desk, kept: Trail, named: str) -> int:
    watch = _opened(at, kept, named)
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
        event, texts = answered(watch, told, at.stamp(), new_id, because=because)
        signed(kept, event, texts)
        watch = _again(kept, watch.id)
    if "words" in act or act.get("finish"):
        words = {name: _text(text) for name, text in _mapping(act.get("words", {})).items()}
        due = _day(_text(act.get("due", "")))
        finish = act.get("finish") is True
        event, texts = said(watch, words, at.stamp(), new_id, due=due, finish=finish)
        signed(kept, event, texts)
        watch = _again(kept, watch.id)
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
    answer: str,
    because: str,
    *,
    trail: Path | None,
    ward: Path | None,
    by: str,
) -> None:
    """Correct one answer of one's own observation."""
    if answer not in ANSWERS:
        raise CannotGoOn(f"{answer!r} is no answer. There are: {', '.join(ANSWERS)}.")
    with desk(trail, ward, by) as at, at.kept(write=at.observations.exists()) as kept:
        watch = watch_named(at, kept, observation)
        assert kept is not None, "an observation was found in it"
        at.allow(Act.OBSERVE, watch.person, watch.about)
        if item not in watch.answers:
            raise CannotGoOn(f"{item!r} has no answer yet that could be corrected.")
        event, texts = answered(watch, {item: (answer, "")}, at.stamp(), new_id, because=because)
        signed(kept, event, texts)
        say(f"Recorded: {item} is now {answer!r}; the earlier answer stays in its own entry.")


def watch_named(at: Desk, kept: Trail | None, named: str) -> Watch:
    """The observation that a person means by its id or the beginning of it."""
    fitting = [one for one in at.watches(kept) if named and one.id.startswith(named)]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise CannotGoOn(f"Several observations begin with {named!r}. Type more of it.")
    raise CannotGoOn(
        f"There is no observation {named!r} beside this trail. `checklist review ID` names those of"
        " a preparation."
    )
