"""Interruptions and endings at the terminal: the cause, the screen while away, the reasons."""

from __future__ import annotations

from checklist.beside import CAUSES
from checklist.faces import blocks
from checklist.faces.answering import Asker, EndAsked
from checklist.faces.saying import apart
from checklist.faces.terminal import BOLD, LOUD, Terminal
from checklist.gate import Rules
from checklist.screen import Screen
from checklist.workflow import ending_words

LEAVE = ":q"


def cause(terminal: Terminal) -> str:
    """What came in between, by one number; "" where it is not said."""
    causes = list(CAUSES.items())
    terminal.say("What came in between? One number; Enter: not said.")
    blocks.listed(terminal, causes)
    raw = terminal.read(">").strip()
    named = {str(number): code for number, (code, _) in enumerate(causes, start=1)}
    return named.get(raw, "")


def away(terminal: Terminal, asker: Asker, screen: Screen, since: str, by: str) -> str:
    """The screen that waits for the person to come back; gives what they typed."""
    spot = screen.spot
    assert spot is not None
    terminal.clear()
    for line in apart(f"Interrupted at {since}", by, terminal.width):
        terminal.say(line, LOUD)
    terminal.say()
    terminal.say(f"You were about to: {spot.step.ask}", BOLD)
    terminal.say(f"{screen.phase}, step {screen.number} of {screen.total}")
    terminal.say("What is opened or drawn up and has no label is not left lying.")
    terminal.say()
    terminal.say(f"{LEAVE} leave it on hold   :e end this preparation")
    terminal.forget_typed()
    return asker.line("When you are back: Enter >").strip().lower()


def ending(
    terminal: Terminal, asker: Asker, screen: Screen, rules: Rules
) -> tuple[str, str, str] | None:
    """A listed reason to end without giving: its code, its words and a note; None to go back."""
    phase = rules.layout.base(screen.prep.place).phase.name
    offered = list(ending_words(rules.workflow, phase).items())
    terminal.clear()
    terminal.say("End this preparation. Why?", BOLD)
    blocks.listed(terminal, offered)
    terminal.say("go back, do not end", first="   b  ")
    terminal.forget_typed()
    try:
        chosen = asker.choice(len(offered), also=["b"])
        if chosen == "b":
            return None
        code, words = offered[int(chosen) - 1]
        return code, words, asker.beside(needed=code == "other")
    except EndAsked:
        return None
