"""Who sits at the terminal: signing in, and handing the device to a second person and back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from checklist.attendance import found
from checklist.faces.answering import staff_code
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import Workplace
from checklist.interop.scanner import Ending
from checklist.people import StaffMember
from checklist.station import NotHere, NotSignedIn
from checklist.unit import SignIn, Unit

Ask = Callable[[str], str]


def signed_in(
    terminal: Terminal,
    at: Workplace,
    ask: Ask,
    prompt: str,
    *,
    code: str = "",
    second_for: str = "",
    barred: Callable[[str], bool] = lambda code: False,
) -> StaffMember:
    """The member of staff who gives a code or badge and then their PIN; asked until it fits.

    `code` is that of a person who was named already. `second_for` is the preparation at whose
    present step they stand as the second person. A person who is `barred`, which says so to them,
    is asked for no PIN. An empty PIN leads back to the code.
    """
    while True:
        typed, code = code or _code(terminal, at, ask(prompt)), ""
        pin = ""
        person = _known(at, typed)
        if person is not None and barred(person.code):
            continue
        if person is not None and at.ward.unit.sign_in_with is SignIn.PIN:
            pin = terminal.read_hidden(f"PIN of {person.code}")
            if not pin:
                continue
        try:
            return at.station.sign_in(typed, pin, second_for=second_for)
        except (NotHere, NotSignedIn) as fault:
            terminal.say(sentence(fault))


def _code(terminal: Terminal, at: Workplace, raw: str) -> str:
    scanner = at.station.scanner
    if scanner.ending is Ending.TWICE:
        terminal.drop_blank()
    return staff_code(raw, today=_today(at), scanner=scanner)


def _known(at: Workplace, code_or_badge: str) -> StaffMember | None:
    try:
        return found(at.ward, code_or_badge)
    except NotHere:
        return None


def _today(at: Workplace) -> date:
    return at.ward.unit.local(at.clock()).date()


def another(
    terminal: Terminal,
    at: Workplace,
    ask: Ask,
    prompt: str,
    *,
    preparer: str,
    second_for: str,
    offered: Callable[[], None],
) -> StaffMember:
    """A person other than the preparer, signed in for the present step of a preparation.

    `offered` is called when the preparer signs here.
    """

    def barred(code: str) -> bool:
        if code != preparer:
            return False
        terminal.say(
            f"{code} prepares this dose, and the same eyes see the same thing. Fetch a colleague."
        )
        offered()
        return True

    return signed_in(terminal, at, ask, prompt, second_for=second_for, barred=barred)


def over(terminal: Terminal, role: str, unit: Unit) -> None:
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
        "Only the colleague types their own code and PIN. They hold for this one step."
        if unit.sign_in_with is SignIn.PIN
        else "This unit takes a code or badge as it comes; it proves nobody's identity."
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
