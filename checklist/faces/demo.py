"""The demonstration: a scripted preparation played through a real station, step by step."""

from __future__ import annotations

import itertools
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

from checklist import library, ucum
from checklist.answer import Answer
from checklist.credential import PracticePins
from checklist.engine import GO_ON
from checklist.faces import blocks
from checklist.faces.answering import is_scan
from checklist.faces.leaving import DONE, WANTING, CannotGoOn, message
from checklist.faces.scenario import Move, Scenario, read_scenario
from checklist.faces.stops import Stops
from checklist.faces.terminal import BOLD, LOUD, Terminal
from checklist.faces.workplace import DEMONSTRATION, quoted
from checklist.intake.ward import Ward, load_ward
from checklist.interop.scanner import SOUND
from checklist.label import label
from checklist.observation import Channel, Kind
from checklist.screen import Outcome, Screen
from checklist.station import Station
from checklist.trail import Trail
from checklist.verdict import REMEDY_WORDS, Remedy
from checklist.workflow import Who

TRAIL = "demo.db"
_LONGEST_SECONDS = 7
_PAUSE, _LONG_PAUSE = 0.08, 0.6
_INDENT = " " * 17
_SECOND = (Who.CHECKER, Who.WITNESS)


class OffScript(CannotGoOn):
    """A move of the script did not come to what it expects."""


class Player:
    """Plays the moves of a scenario on the scenario's own clock."""

    def __init__(self, terminal: Terminal, ward: Ward, scenario: Scenario, trail: Trail) -> None:
        self._terminal = terminal
        self._ward = ward
        self._scenario = scenario
        self._now = scenario.start
        # Ids are counted, so that each demonstration comes to the same digests.
        numbers = itertools.count(1)
        self.station = Station(
            trail,
            ward,
            workflows=library.workflows(),
            limits=library.limits(),
            required=library.required(),
            name=scenario.station,
            clock=self._clock,
            new_id=lambda: f"demo-{next(numbers):04d}",
            credentials=PracticePins(scenario.pins),
            scanner=SOUND,
        )
        self.id = ""

    def _clock(self) -> datetime:
        return self._now

    def play(self, *, fast: bool) -> Screen:
        """Open the order and play every move; the screen at the end. Raises OffScript."""
        began = time.monotonic()
        self._sign_in(self._scenario.preparer)
        outcome = self.station.open(self._scenario.order, self._scenario.preparer)
        self.id = outcome.screen.prep.id
        for move in self._scenario.moves:
            outcome = self._move(move, outcome.screen)
            spent = time.monotonic() - began
            if not fast and spent < _LONGEST_SECONDS:
                stopped = outcome.screen.stands in ("refused", "caution")
                time.sleep(_LONG_PAUSE if stopped else _PAUSE)
        self.station.sign_out(self._scenario.preparer)
        return outcome.screen

    def _sign_in(self, code: str, *, second_for: str = "") -> None:
        self.station.sign_in(code, self._scenario.pins.get(code, ""), second_for=second_for)

    def _move(self, move: Move, screen: Screen) -> Outcome:
        spot = screen.spot
        stood = spot.place if spot else screen.prep.place
        if stood != move.step:
            raise OffScript(f"The script is at {move.step}; the preparation stands at {stood}.")
        self._now += timedelta(seconds=move.after)
        if move.by != self._scenario.preparer:
            self._sign_in(move.by, second_for=self.id)
        if move.remedy:
            outcome = self.station.remedy(self.id, Remedy(move.remedy), move.by, note=move.note)
            self._terminal.say(f"Way on: {REMEDY_WORDS[Remedy(move.remedy)]}", first=_INDENT)
        elif move.reason:
            outcome = self.station.proceed(self.id, move.reason, move.by, note=move.note)
            self._terminal.say(f"Went on: {GO_ON[move.reason]}", first=_INDENT)
        else:
            answers = self._answers(move, screen)
            outcome = self.station.attempt(self.id, answers, move.by)
            self._tell(move, screen, outcome)
        self._judge(move, outcome)
        return outcome

    def _answers(self, move: Move, screen: Screen) -> dict[str, Answer]:
        today = self._ward.unit.local(self._now).date()
        answers = {}
        for field in screen.fields:
            if field.kind is Kind.SEEN:
                answers[field.name] = Answer(move.seen.get(field.name, "y"), Channel.CHOSEN)
            elif raw := move.seen.get(field.name):
                scanned = is_scan(raw, today=today)
                answers[field.name] = Answer(raw, Channel.SCANNED if scanned else Channel.TYPED)
        if strange := sorted(move.seen.keys() - {field.name for field in screen.fields}):
            raise OffScript(f"The script answers {strange[0]}, which {move.step} does not ask.")
        return answers

    def _judge(self, move: Move, outcome: Outcome) -> None:
        stands = outcome.screen.stands
        came = "passed" if stands == "step" else stands
        codes = sorted(one.code for one in outcome.screen.reasons)
        if came != move.expect or codes != sorted(move.codes):
            raise OffScript(
                f"At {move.step} the script expects {move.expect} {', '.join(move.codes)};"
                f" it came to {came} {', '.join(codes)}."
            )

    def _tell(self, move: Move, screen: Screen, outcome: Outcome) -> None:
        terminal, spot = self._terminal, screen.spot
        assert spot is not None
        at = self._ward.unit.local(self._now)
        place = f"{screen.number}/{screen.total}"
        terminal.say(spot.step.ask, BOLD, first=f"{at:%H:%M:%S}  {place:>5}  {move.by}  ")
        if move.tell:
            terminal.say(move.tell, first=_INDENT)
        for text in self._entered(move, screen):
            terminal.say(text, first=_INDENT)
        if outcome.screen.stands in ("refused", "caution"):
            blocks.told(terminal, outcome.told)
        for note in outcome.notes:
            terminal.say(f"NOTE  {note.found}", first=_INDENT)
        for text in outcome.not_compared:
            terminal.say(f"Not compared: {text}", first=_INDENT)

    def _entered(self, move: Move, screen: Screen) -> list[str]:
        """What was entered; nothing that says who the patient is, nothing of the second person."""
        spot = screen.spot
        assert spot is not None
        if spot.step.who in _SECOND:
            return ["own readings, entered alone"]
        told = []
        looked = sum(field.kind is Kind.SEEN for field in screen.fields)
        for field in screen.fields:
            raw = move.seen.get(field.name)
            if raw is None or field.kind is Kind.SEEN:
                continue
            if field.private:
                told.append(f"{field.say}: (kept apart)")
            elif is_scan(raw, today=self._now.date()):
                told.append(f"{field.say}: scanned")
            else:
                unit = ucum.unit(field.unit).shown(many=True) if field.unit else ""
                told.append(f"{field.say}: {raw} {unit}".rstrip())
        if looked:
            told.append(f"{looked} {'line' if looked == 1 else 'lines'} looked at, one by one")
        return told


def play(path: Path | None, *, fast: bool) -> int:
    """Build the demonstration trail, play the script and tell what it came to; the exit code."""
    folder = library.folder("demo_db")
    ward, scenario = load_ward(folder), read_scenario(folder)
    order = ward.orders.get(scenario.order)
    if order is None:
        raise CannotGoOn(f"scenario.toml names the order {scenario.order!r}, which is not there.")
    path = path or Path(tempfile.mkdtemp(prefix="checklist-demo-")) / TRAIL
    terminal = Terminal(Stops())
    say = terminal.say
    say(f"{ward.unit.hospital}, {ward.unit.name}: an invented ward", BOLD)
    say(f"{order.id}   {order.patient}   {blocks.dose_of(order)}", BOLD)
    say(blocks.FOOTER)
    say()
    with Trail.create(
        path, trail_id=DEMONSTRATION, unit=ward.unit.code, at=scenario.start
    ) as trail:
        player = Player(terminal, ward, scenario, trail)
        try:
            screen = player.play(fast=fast or not sys.stdout.isatty())
        except OffScript as fault:
            message(f"The demonstration stopped. {fault}")
            return WANTING
        _end(terminal, player, screen)
        found = trail.verify()
    say()
    state = "whole" if found.whole else "not as it was recorded"
    say(f"Trail: {found.entries} entries, {state}", LOUD if not found.whole else BOLD)
    if found.head is not None:
        say(f"Head: entry {found.head.seq}, {found.head.digest.hex()}")
    say()
    at = f"--trail {quoted(path)}"
    terminal.command(f"checklist show {player.id} {at}")
    terminal.command(f"checklist trail verify {at}")
    terminal.command("checklist prepare ORD-103 --practice --as RN-12")
    return DONE if found.whole else WANTING


def _end(terminal: Terminal, player: Player, screen: Screen) -> None:
    """What the preparation came to, and its label without the patient's items."""
    prep, station = screen.prep, player.station
    terminal.say()
    terminal.say(f"Preparation {prep.id}: {prep.place}", BOLD)
    terminal.say(f"Stops {prep.refusals}, cautions {prep.cautions}, all put right.")
    terminal.say(blocks.NOT_CHECKED)
    terminal.say()
    rules = station.rules_of(prep.workflow)
    spot = rules.layout.spots[rules.workflow.ready]
    around = station.surroundings(prep, station.person(prep.preparer), spot)
    terminal.say("Label", BOLD)
    for line in label(prep, around).lines(private=False):
        terminal.say(line, first="  ")
    terminal.say("patient name and second identifier: on the label, not shown here", first="  ")
