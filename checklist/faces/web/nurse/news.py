"""What came of the last act, told from its entry alone, so that a page can be loaded again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from checklist.engine import GO_ON
from checklist.faces.blocks import SECOND_WORDS
from checklist.faces.web.nurse.look import Look
from checklist.preparation import BESIDE, Entry
from checklist.screen import told
from checklist.verdict import REMEDY_WORDS, Remedy
from checklist.workflow import INTERRUPTED, REVERIFY, ending_words


def news_of(look: Look) -> tuple[tuple[str, str], ...]:
    """A word and a sentence for each thing worth saying; nothing of what was entered is told."""
    last = moving(look.entries)
    if last is None:
        return ()
    said = tuple(_of(last, look))
    printed = look.entries[-1].event
    if printed.kind == "printed" and printed.body.get("what") == "label":
        said = (("Printed", f"Label {printed.body['number']}. Stick it on at once."),)
    return said


def moving(entries: Sequence[Entry]) -> Entry | None:
    """The last entry that was more than a remark, a cause, a print or a look at the working."""
    return next((one for one in reversed(entries) if one.event.kind not in BESIDE), None)


def _of(entry: Entry, look: Look) -> Iterator[tuple[str, str]]:
    event, body = entry.event, entry.event.body
    match event.kind:
        case "passed":
            yield from _passed(entry, look)
        case "proceeded":
            yield "Went on", GO_ON.get(body["because"], body["because"])
        case "remedied":
            yield "Way on", REMEDY_WORDS[Remedy(body["remedy"])]
        case "resumed":
            yield "Changed", _changed(look)
        case "ended":
            phase = look.rules.layout.base(event.place).phase.name
            words = ending_words(look.rules.workflow, phase)
            yield "Ending", words.get(body["because"], body["because"])
            if not look.prep.closed:
                yield "First", "What was opened is accounted for"
        case _:
            return


def _changed(look: Look) -> str:
    if not look.readable:
        return "the orders cannot be read now; call IT"
    same = look.around.order_now == (look.prep.whole or look.prep.order)
    return "nothing in the order" if same else "the order; read it again"


def _passed(entry: Entry, look: Look) -> Iterator[tuple[str, str]]:
    event, body, screen = entry.event, entry.event.body, look.screen
    spot = look.rules.layout.base(event.place)
    if spot.step.who in SECOND_WORDS:
        yield SECOND_WORDS[spot.step.who], f"by {event.by}: same in each point"
        return
    kept = f"“{spot.step.ask.rstrip('.')}”."
    if compared := len(spot.step.checks):
        kept += f" {compared} {'point' if compared == 1 else 'points'} compared."
    if not screen.prep.closed and screen.phase != spot.phase.title and "/" not in spot.place:
        kept += f" {spot.phase.title}: nothing open."
    yield "Kept", kept
    for note in body.get("notes", ()):
        yield "Note", _sentence(note)
    for text in body.get("not_compared", ()):
        yield "Not compared", text


def _sentence(note: dict[str, Any]) -> str:
    words = told(note["code"], "information", note["facts"])
    return f"{words.found} {words.next}"


def broken_off(place: str) -> bool:
    """Whether a place is one of a break: away, or on the way back."""
    return bool({INTERRUPTED, REVERIFY} & set(place.split("/")))
