"""The try-out of a station's scanner at the terminal: one test symbol after the other."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from checklist import library
from checklist.faces.errand import errand
from checklist.faces.leaving import DONE, WANTING, CannotGoOn, needs_terminal
from checklist.faces.scanner_page import said
from checklist.faces.stops import Stopped, Stops
from checklist.faces.terminal import BOLD, Terminal
from checklist.faces.workplace import TRAIL, data_folder, quoted, real_clock, scanners_of
from checklist.intake.scanner_file import said_separator
from checklist.intake.ward import load_ward
from checklist.interop.scanner import Ending
from checklist.interop.try_out import PAGE, Came, Finding, Printed, came, finding
from checklist.permission import Action

NOT_READ, LEAVE = ":n", ":e"


def try_out(*, ward: Path | None, trail: Path | None, station: str, by: str) -> int:
    """Try the scanner of a station, keep and record what it does; gives the exit code.

    Where there is no trail yet it is kept and not recorded. Raises CannotGoOn, ScannerFault, the
    trail's own faults.
    """
    needs_terminal("Trying a scanner")
    unit = load_ward(ward or library.folder("demo_db")).unit
    name = station or (unit.stations[0] if unit.stations else unit.code)
    path = trail or (ward or data_folder()) / TRAIL
    kept = scanners_of(ward)
    kept.of(name)  # a file that cannot be used is told before anybody scans
    if not os.path.lexists(path):
        if trail is not None:
            raise CannotGoOn(f"There is no trail {path}. Leave --trail out, or name one that is.")

        def keep_alone(found: Finding) -> None:
            kept.keep(name, found.scanner, between=lambda: None)

        return _tried(name, by, ward, keep_alone, "There is no trail yet, so it is not recorded.")
    with errand(path, ward, by, Action.TRY_SCANNER) as here:

        def keep(found: Finding) -> None:
            body = {
                "station": name,
                "prefix": found.scanner.prefix.value,
                "separator": said_separator(found.scanner),
                "letters": found.scanner.letters.value,
                "ending": found.scanner.ending.value,
                "unread": ", ".join(map(str, found.unread)),
            }

            def record() -> None:
                here.record("scanner_tried", body)

            kept.keep(name, found.scanner, between=record)

        return _tried(name, here.person.code, ward, keep, "It is recorded who tried it and when.")


def _tried(
    name: str, by: str, ward: Path | None, keep: Callable[[Finding], None], recorded: str
) -> int:
    with Stops() as stops:
        terminal = Terminal(stops)
        try:
            found = _asked(terminal, name, by)
            if found is None:
                terminal.say("No symbol was read, so nothing was kept.")
                return WANTING
            keep(found)
        except Stopped:
            terminal.say("Stopped. Nothing was kept.")
            return WANTING
    terminal.say()
    terminal.say(f"Scanner of {name}: {'; '.join(said(found.scanner))}.", BOLD)
    for sentence in found.mend:
        terminal.say(sentence, first="  - ")
    if found.unread:
        numbers = ", ".join(map(str, found.unread))
        terminal.say(
            f"Not read: symbol {numbers}. Codes of that kind are typed here.", first="  - "
        )
    terminal.say(
        "Lots are taken from codes here."
        if found.fit
        else "Until that is mended, a lot in doubt is asked for by hand. Then try it again."
    )
    terminal.say(recorded)
    place = f" --ward {quoted(ward)}" if ward else ""
    terminal.command(f"checklist scanner {'show' if found.fit else 'try'}{place}")
    return DONE if found.fit else WANTING


def _asked(terminal: Terminal, name: str, by: str) -> Finding | None:
    """Every symbol scanned in turn; None where none was read. Raises Stopped."""
    terminal.say(f"Try-out of the scanner of {name}. You need the page of test symbols:")
    terminal.command("checklist scanner page scanner.pdf", first="    ")
    terminal.say("Scan when asked, and keep off the keyboard while a code comes in.")
    terminal.say(f"{NOT_READ} the scanner does not read it   {LEAVE} leave, nothing is kept")
    found: dict[int, Came] = {}
    ending = Ending.UNKNOWN
    for symbol in PAGE:
        terminal.say()
        terminal.say(f"Symbol {symbol.number}: {symbol.shape.value}, {symbol.shows}")
        read = _one(terminal, symbol)
        if read is None:
            continue
        found[symbol.number], ended = read
        if ending is Ending.UNKNOWN:
            ending = ended or _ending(terminal)
    if not found:
        return None
    return finding(found, ending, tried_at=f"{real_clock():%Y-%m-%dT%H:%M:%SZ}", by=by)


def _one(terminal: Terminal, symbol: Printed) -> tuple[Came, Ending | None] | None:
    """What came of one symbol, and its line end where that shows; None where it is not read."""
    while True:
        raw = terminal.read(f"Scan symbol {symbol.number} >")
        match raw.strip().lower():
            case "":
                continue
            case word if word == NOT_READ:
                return None
            case word if word == LEAVE:
                raise Stopped("left")
        twice = terminal.drop_blank()
        what = came(symbol, raw)
        if what is None:
            terminal.say(
                f"Read: {raw[:120]}. That is not symbol {symbol.number}. Cover the others and scan"
                f" it again, or type {NOT_READ}."
            )
            continue
        terminal.say("Read.", first="    ")
        if twice:
            return what, Ending.TWICE
        return what, Ending.TAB if raw.endswith("\t") else None


def _ending(terminal: Terminal) -> Ending:
    """Whether the scanner presses Enter itself, which only the person can tell."""
    while True:
        word = terminal.read("Did it go on by itself, without your pressing Enter? y/n >")
        match word.strip().lower():
            case "y" | "yes":
                return Ending.ENTER
            case "n" | "no":
                return Ending.NOTHING
        terminal.say("Type y or n.")
