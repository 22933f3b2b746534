"""Who sits at the terminal: signing in, and handing the device to a second person and back."""

from __future__ import annotations

from collections.abc import Callable

from checklist.faces.answering import staff_code
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import Workplace
from checklist.people import StaffMember
from checklist.station import NotHere

Ask = Callable[[str], str]


def signed_in(terminal: Terminal, at: Workplace, ask: Ask, prompt: str) -> StaffMember:
    """The member of staff whose code or badge is given; asked until this unit knows it.

    It says who somebody claims to be and proves nothing.
    """
    while True:
        today = at.ward.unit.local(at.clock()).date()
        try:
            return at.station.sign_in(staff_code(ask(prompt), today=today))
        except NotHere as fault:
            terminal.say(f"{sentence(fault)} Enter it again.")


def another(
    terminal: Terminal,
    at: Workplace,
    ask: Ask,
    prompt: str,
    *,
    preparer: str,
    offered: Callable[[], None],
) -> StaffMember:
    """A person other than the preparer; `offered` is called when the preparer signs here."""
    while True:
        person = signed_in(terminal, at, ask, prompt)
        if person.code != preparer:
            return person
        terminal.say(
            f"{person.code} prepares this dose, and the same eyes see the same thing. Fetch a"
            " colleague."
        )
        offered()


def over(terminal: Terminal, role: str) -> None:
    """Take everything off the screen before the second person looks at it."""
    terminal.clear()
    terminal.say(role, BOLD)
    terminal.say()
    terminal.say("Give this device to a colleague who did not prepare this dose.")
    terminal.say("Please do not say the drug, the dose or the volume.")
    if not terminal.clears:
        terminal.say(
            "This terminal cannot be cleared: earlier entries stand further up. Do not scroll"
            " back, or use another window."
        )
    terminal.say(
        "A code or badge is taken as it comes; it proves nobody's identity yet. PINs come with"
        " people management."
    )
    terminal.say()
    terminal.say(":i nobody is free, put the dose on hold   :e end this preparation")
    terminal.forget_typed()


def back(terminal: Terminal, ask: Ask, preparer: str, result: str = "") -> None:
    """Give the device back; of what both entered only the result is shown, same or not."""
    terminal.clear()
    if result:
        terminal.say(result, BOLD)
    terminal.say(f"Give the device back to {preparer}.")
    terminal.forget_typed()
    ask(f"{preparer}: press Enter >")


def sentence(fault: Exception) -> str:
    """What a fault says, as a sentence."""
    text = str(fault).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
