"""What a person at the terminal sees: the band, a step, a stop or caution, what is behind it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from checklist.checks import CHECKS, REASONS
from checklist.definition import reasons_of
from checklist.faces.saying import apart
from checklist.faces.terminal import BOLD, LOUD, Terminal
from checklist.faces.workplace import Workplace, quoted
from checklist.label import ROUTE_WORDS, label, time_left
from checklist.observation import Kind
from checklist.order import Order
from checklist.people import StaffMember
from checklist.screen import Outcome, Screen, Told
from checklist.timing import said_span
from checklist.verdict import COMMON_PRACTICE, REMEDY_WORDS, Reason
from checklist.workflow import Who

FOOTER = (
    "Local policy, the product's leaflet and licensed practice rule. This software compares what"
    " it is told; it is not a certified medical device."
)
NOT_CHECKED = (
    "Not checked by this tool: what is in the container, whether the order suits the patient, and"
    " anything that was not entered."
)
TOKENS = ":i interrupted  :e end  :? why"
IN_A_STEP = ":b back  :n nothing there"
SECOND_WORDS = {Who.CHECKER: "Second check", Who.WITNESS: "Witness"}
_COLUMN = 9


def dose_of(order: Order) -> str:
    """Drug, dose and route of an order in one phrase."""
    dose = order.dose if order.dose is not None else order.dose_per_weight
    amount = order.written.get("dose", "") if dose is None else str(dose)
    route = ROUTE_WORDS.get(order.route, order.route or order.written.get("route", ""))
    return "  ".join(part for part in (order.drug, amount, route) if part)


def short(preparation: str) -> str:
    """The part of a preparation's id that is said and typed."""
    return preparation[:8]


def band(terminal: Terminal, at: Workplace, screen: Screen, by: StaffMember) -> None:
    """Whose, what and where. The second person sees neither the drug nor the dose."""
    prep, spot, width = screen.prep, screen.spot, terminal.width
    assert spot is not None
    second = SECOND_WORDS.get(spot.step.who)
    now = f"{at.ward.unit.local(at.clock()):%H:%M}"
    where = ["practice"] if at.practice else []
    where = [f"Preparation {short(prep.id)}", at.station.name, now, *where]
    for line in apart(" | ".join(where), by.code, width):
        terminal.say(line)
    if second:
        terminal.say(f"{second} by {by.code}, for {prep.preparer}", BOLD)
    else:
        terminal.say(f"{prep.order.patient}   {dose_of(prep.order)}", BOLD)
        for line in _clocks(at, screen, by):
            terminal.say(line)
    terminal.say("-" * width)


def _clocks(at: Workplace, screen: Screen, by: StaffMember) -> Iterator[str]:
    """Whether quiet is asked for, and how long the dose may still wait."""
    spot, prep = screen.spot, screen.prep
    assert spot is not None
    rules = at.station.rules_of(prep.workflow)
    flow, order = rules.workflow, rules.layout.order
    here = order.get(spot.place.partition("/")[0])
    if here is not None and order[flow.opens] <= here < order[flow.ready]:
        yield "Protected time: from opening to the bedside nothing else is shown."
    left = time_left(prep, at.station.surroundings(prep, by, spot))
    if left is not None and prep.latest("given_volume") is None:
        gone = left.total_seconds() < 0
        yield (
            f"The dose was to be begun {said_span(-left)} ago."
            if gone
            else f"Begin to give within {said_span(left)}."
        )


def news(terminal: Terminal, lines: Iterable[tuple[str, str]]) -> None:
    """What came of the act before, a line each."""
    shown = list(lines)
    for head, text in shown:
        terminal.labelled(head, text, column=_COLUMN + 5, style=BOLD)
    if shown:
        terminal.say("-" * terminal.width)


def news_of(outcome: Outcome, before: Screen) -> list[tuple[str, str]]:
    """What is worth saying about a step that was passed: notes, and what was not compared."""
    spot = before.spot
    assert spot is not None
    kept = spot.step.ask
    if compared := len(spot.step.checks):
        kept += f" Compared: {compared} {'point' if compared == 1 else 'points'}."
    if outcome.screen.phase != before.phase and "/" not in spot.place:
        kept += f" {before.phase}: nothing open."
    said = [("Kept", kept)]
    said += [("NOTE", f"{one.found} {one.next}") for one in outcome.notes]
    return said + [("Not compared", text) for text in outcome.not_compared]


def step(terminal: Terminal, screen: Screen) -> None:
    """What to do and how, before the first question."""
    spot = screen.spot
    assert spot is not None
    terminal.say(f"{screen.phase}   step {screen.number} of {screen.total}   {_mode(screen.mode)}")
    terminal.say()
    terminal.say(spot.step.ask, BOLD)
    if spot.step.how:
        terminal.say(spot.step.how)
    terminal.say()
    terminal.say(f"{TOKENS}  {IN_A_STEP}")
    if any(field.kind is Kind.SEEN for field in screen.fields):
        terminal.say("Look at each line, then: y seen, n not so")
    terminal.say()


def label_text(terminal: Terminal, at: Workplace, screen: Screen, by: StaffMember) -> None:
    """What the label must say, at the step that writes it; the patient's items stay off it here."""
    assert screen.spot is not None
    made = label(screen.prep, at.station.surroundings(screen.prep, by, screen.spot))
    terminal.say("Write on the label:", BOLD)
    for line in made.lines(private=False):
        terminal.say(line, first="  ")
    terminal.say("patient name and second identifier: from the record", first="  ")
    terminal.say("Or print it from another window; this screen stays as it is:")
    where = f"--as {by.code} --trail {quoted(at.trail.path)} --out label.pdf"
    terminal.command(f"checklist label {screen.prep.id} {where}", first="  ")
    terminal.say()


def vial_text(terminal: Terminal, at: Workplace, screen: Screen, by: StaffMember) -> None:
    """What is written on a mixed vial whose rest may be kept; nothing where none may be."""
    assert screen.spot is not None
    made = label(screen.prep, at.station.surroundings(screen.prep, by, screen.spot))
    if not made.vial:
        return
    terminal.say("If the rest is kept, write on the vial:", BOLD)
    for line in made.vial:
        terminal.say(line, first="  ")
    terminal.say()


def _mode(mode: str) -> str:
    return mode[:1].upper() + mode[1:]


def told(terminal: Terminal, reasons: Iterable[Told]) -> None:
    """Each reason that stands here: the word for its tier, and found, why, next."""
    for one in reasons:
        hard = one.tier == "hard"
        terminal.say("STOP" if hard else "CAUTION", LOUD)
        terminal.labelled("Found", one.found, column=_COLUMN, style=BOLD)
        terminal.labelled("Why", one.why, column=_COLUMN, style=BOLD)
        terminal.labelled("Next", one.next, column=_COLUMN, style=BOLD)
        terminal.say(f"{' ' * _COLUMN}({one.code})", first="")
        terminal.say()


def remedies(screen: Screen) -> list[tuple[str, str]]:
    """The ways out offered here, each with its name and its words."""
    return [(way.value, REMEDY_WORDS[way]) for way in screen.ways]


def listed(terminal: Terminal, options: Iterable[tuple[str, str]], *, start: int = 1) -> None:
    """Numbered choices, a line each."""
    for number, (_, words) in enumerate(options, start=start):
        terminal.say(words, first=f"  {number:>2}  ")


def explained(screen: Screen) -> list[tuple[str, str]]:
    """What a step compares and may say, with why, hazards and sources: mark and paragraph."""
    spot = screen.spot
    assert spot is not None
    if screen.reasons:
        return [("", _sourced(REASONS[one.code])) for one in screen.reasons]
    said = [("", f"What is compared at this step: {spot.step.ask}")]
    said += [(_MARK, _first_line(CHECKS[name].doc)) for name in spot.step.checks]
    if not spot.step.checks:
        said.append((_MARK, "Each line that is looked at is an entry of its own."))
    said += [("", ""), ("", "What may be said here, and why:")]
    return said + [(_MARK, _sourced(reason)) for reason in reasons_of(spot.step)]


def _sourced(reason: Reason) -> str:
    hazards = f" Hazards {', '.join(reason.hazards)}." if reason.hazards else ""
    source = "" if reason.source is COMMON_PRACTICE else f" Source: {reason.source.title}."
    why = re.sub(r"\{[a-z_]+\}", "...", reason.why)
    return f"{reason.code} ({TIER_WORDS[reason.tier.value]}): {why}{hazards}{source}"


_MARK = "  - "
TIER_WORDS: Mapping[str, str] = {"hard": "stop", "soft": "caution", "information": "note"}


def _first_line(doc: str) -> str:
    return " ".join(doc.partition("\n\n")[0].split())
