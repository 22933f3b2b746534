"""Starts a preparation: for a person at a terminal, or for another program line by line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from checklist import library
from checklist.faces.leaving import WANTING, CannotGoOn, message, needs_terminal
from checklist.faces.workplace import Place, Workplace, begun, workplace
from checklist.intake.ward import load_ward
from checklist.order import Order
from checklist.people import StaffMember
from checklist.timing import said_time

if TYPE_CHECKING:
    from checklist.faces.terminal import Terminal


UNTRIED = (
    "The scanner of this station was never tried, so a lot in doubt is asked for by hand. Try it:"
    " checklist scanner try"
)


def guided(place: Place, order: str, *, by: str, container: str) -> int:
    """Guide a person through the preparation of an order; gives the exit code."""
    needs_terminal("Guided preparation", "add --lines to work it from another program")
    from checklist.faces.stops import Stopped, Stops
    from checklist.faces.terminal import Terminal

    with Stops() as stops:
        terminal = Terminal(stops)
        try:
            with workplace(place, order or _chosen(terminal, place)) as at:
                return _guided(terminal, at, by=by, container=container)
        except Stopped:
            terminal.say("Stopped. Nothing was begun.")
            return WANTING


def _guided(terminal: Terminal, at: Workplace, *, by: str, container: str) -> int:
    from checklist.faces import blocks
    from checklist.faces.guided import Guided

    order = _called(at) or at.station.order(at.order)
    if not order.called:
        at.station.workflow_for(order, container)
    terminal.say(f"{order.id}   {order.patient}   {blocks.dose_of(order)}")
    terminal.say(blocks.FOOTER)
    person = at_work(terminal, at, by)
    return Guided(terminal, at, person).run(lambda: begun(at, order.id, person.code, container))


def _called(at: Workplace) -> Order | None:
    """What was called for in an emergency, where that is what this is: it stands on no record."""
    there = (at.station.find(one.id).order for one in at.trail.open_preparations())
    return next((one for one in there if one.called and one.id == at.order), None)


def at_work(terminal: Terminal, at: Workplace, by: str) -> StaffMember:
    """Say what is to be known of this place, and sign in whoever works (`by`, or asked)."""
    from checklist.faces import handover

    if at.practice:
        now = at.ward.unit.local(at.clock())
        terminal.say(
            f"Practice: the clock here shows {now:%H:%M} on {now.day} {now:%b %Y} and stands still"
            " while nobody works. Nothing counts."
        )
    elif at.demo:
        terminal.say(
            "This is the demonstration ward on the real clock, so its orders may be past their"
            " hour. To practise at their hour, add --practice."
        )
    if not at.practice and not at.station.scanner.tried:
        terminal.say(UNTRIED)
    if by:
        at.station.person(by)
    return handover.signed_in(terminal, at, terminal.read, "Your staff code or badge >", code=by)


def _chosen(terminal: Terminal, place: Place) -> str:
    """An order of the ward, picked by its number from the list."""
    from checklist.faces.blocks import dose_of
    from checklist.faces.workplace import clock_of

    ward = load_ward(place.ward or library.folder("demo_db"))
    now = clock_of(place)()
    orders = list(ward.orders.values())
    if not orders:
        raise CannotGoOn("There is no order on this ward. Add one to orders.json.")
    terminal.say(f"Orders of {ward.unit.name}")
    for number, one in enumerate(orders, start=1):
        due = f"   due {said_time(one.due, ward.unit, now)}" if one.due else ""
        state = "" if one.status == "active" else f"   {one.status}"
        words = f"{one.id}   {one.patient}   {dose_of(one)}{due}{state}"
        terminal.say(words, first=f"  {number:>2}  ")
    while True:
        raw = terminal.read(f"Which order (1 to {len(orders)}) >").strip()
        if raw in ward.orders:
            return raw
        if raw.isascii() and raw.isdecimal() and 1 <= int(raw) <= len(orders):
            return orders[int(raw) - 1].id
        terminal.say("Type one of the numbers beside the orders.")


def in_lines(place: Place, order: str, *, by: str, container: str) -> int:
    """Work a preparation from another program over stdin and stdout; gives the exit code."""
    if not order or not by:
        raise CannotGoOn(
            "With --lines, name the order and the person: checklist prepare ORDER --as CODE"
            " --lines."
        )
    from checklist.faces.lines import Lines
    from checklist.faces.stops import Stops

    with Stops() as stops, workplace(place, order) as at:
        if not at.practice and not at.station.scanner.tried:
            message(UNTRIED)
        return Lines(at, stops).run(order, by=by, container=container)
