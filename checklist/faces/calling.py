"""A dose called for in an emergency, at the terminal: asked in a few lines, then guided."""

from __future__ import annotations

from checklist.attendance import found
from checklist.faces.answering import Asker, BreakAsked, EndAsked, staff_code
from checklist.faces.calls import DOSE, FIRST, NO_WAY, PUT_OFF, Calls
from checklist.faces.guided import Guided
from checklist.faces.leaving import WANTING, CannotGoOn, needs_terminal
from checklist.faces.preparing import at_work
from checklist.faces.stops import Stopped, Stops
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import Place, Workplace, workplace
from checklist.intake.entry import read
from checklist.order import Call
from checklist.people import StaffMember
from checklist.quantity import Quantity


def called(place: Place, *, by: str) -> int:
    """Take a call and guide its preparation; gives the exit code."""
    needs_terminal("A call in an emergency")
    with Stops() as stops:
        terminal = Terminal(stops)
        try:
            with workplace(place, "") as at:
                return _called(terminal, at, by)
        except (Stopped, BreakAsked, EndAsked):
            terminal.say("Stopped. Nothing was begun.")
            return WANTING


def _called(terminal: Terminal, at: Workplace, by: str) -> int:
    calls = Calls.on(at.ward, at.station.workflows.values())
    if not calls.flows:
        raise CannotGoOn(NO_WAY)
    terminal.say("A dose called for in an emergency", BOLD)
    terminal.say(FIRST)
    terminal.say(PUT_OFF)
    terminal.say(":i or :e before the last line: nothing is begun")
    person = at_work(terminal, at, by)
    call, containers = _asked(terminal, at, calls, person)

    def begin() -> tuple[str, None]:
        outcome = at.station.open_call(call, person.code, sources=containers)
        return outcome.screen.prep.id, None

    return Guided(terminal, at, person).run(begin)


def _asked(
    terminal: Terminal, at: Workplace, calls: Calls, person: StaffMember
) -> tuple[Call, tuple[str, ...]]:
    """What the leader calls for, and the container in hand where that has to be named."""
    ask = Asker(
        terminal,
        at,
        why=lambda: terminal.say("Each line is what the leader said. You say it back next."),
        unread=lambda field, raw: None,  # nothing is begun yet, so there is nowhere to note it
        keyed=lambda field, why: None,
    )

    def one_of(title: str, codes: list[str], words: list[str]) -> str:
        terminal.say(f"{title}:")
        for number, line in enumerate(words, start=1):
            terminal.say(line, first=f"  {number:>2}  ")
        return codes[int(ask.choice(len(codes))) - 1]

    patients, drugs, routes = list(at.ward.patients), calls.drugs(), dict(calls.routes())
    patient = one_of("Patient", patients, patients)
    drug = one_of("Drug", drugs, drugs)
    dose = _dose(at, ask)
    route = one_of("Route", list(routes), list(routes.values()))
    leader = _leader(terminal, at, calls, person, ask)
    call = Call(leader=leader, patient=patient, drug=drug, dose=dose, route=route)
    containers = list(calls.containers(call, at.clock()))
    if not containers:
        return call, ()
    shown = [one.replace("_", " ") for one in containers]
    return call, (one_of("Which container is in your hand?", containers, shown),)


def _dose(at: Workplace, ask: Asker) -> Quantity:
    raw = ask.answers([DOSE])[DOSE.name].raw
    unit = at.ward.unit
    value = read(
        DOSE.kind,
        raw,
        unit=DOSE.unit,
        answers=DOSE.answers,
        today=unit.local(at.clock()).date(),
        zone=unit.timezone,
        settings=unit,
        codes=at.station.codes,
    )
    assert isinstance(value, Quantity)
    return value


def _leader(
    terminal: Terminal, at: Workplace, calls: Calls, person: StaffMember, ask: Asker
) -> str:
    today = at.ward.unit.local(at.clock()).date()
    while True:
        raw = ask.line("Leader who calls for it (badge or code) >")
        code = staff_code(raw, today=today, scanner=at.station.scanner)
        why = calls.not_leading(code, person)
        if not why:
            return found(at.ward, code).code
        terminal.say(why)
