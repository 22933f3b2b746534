"""scanners.toml: what the scanner of each station does, as its try-out found it.

It lies in the ward's folder and is written by `checklist scanner try`, never by hand:

    form = 1

    [station."W7E-1"]
    prefix = "sent"                     # or "not sent", "unknown"
    separator = "U+001D"                # the characters that arrive for it; "lost", "unknown"
    letters = "as printed"
    ending = "enter"
    tried_at = "2026-11-30T09:12:00Z"
    by = "RN-12"
"""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from checklist import toml_file
from checklist.intake.fault import Record
from checklist.intake.file_mark import Mark, mark, same
from checklist.interop.scanner import GS, UNTRIED, Ending, Letters, Prefix, Scanner, tells_apart
from checklist.letters import unseen
from checklist.number import quoted

FILE = "scanners.toml"
FORM = 1
MOST_STATIONS = 200
LONGEST_NAME = 80
"""Characters in the name of a station."""
LOST, UNKNOWN = "lost", "unknown"

Words = Annotated[str, Field(max_length=120)]


class ScannerFault(Exception):
    """The file of the scanners cannot be read or written; the message says what to do."""


class _Station(Record):
    prefix: Words
    separator: Words
    letters: Words
    ending: Words
    tried_at: Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:.]{5,15}Z$")]
    by: Words


class _File(Record):
    form: int
    station: dict[Words, _Station] = Field(max_length=MOST_STATIONS)


class ScannerFile:
    """The file of one ward, looked at each time and read again whenever another station may have
    written it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._read: tuple[Mark, Mapping[str, Scanner]] | None = None

    def of(self, station: str) -> Scanner:
        """The scanner of a station, UNTRIED where none was tried. Raises ScannerFault."""
        return self._all().get(station, UNTRIED)

    def keep(self, station: str, scanner: Scanner, *, between: Callable[[], None]) -> None:
        """Keep what was found at a station. `between` is called once the new file is on the disk,
        before it takes the place of the old one: what it raises leaves the old one in place.

        Raises ScannerFault.
        """
        if not station or len(station) > LONGEST_NAME or unseen(station):
            raise ScannerFault(
                f"{quoted(station)} cannot be kept as the name of a station. Name it with --station"
                f" in up to {LONGEST_NAME} plain characters."
            )
        with self._alone():
            found = {**self._all(), station: scanner}
            if len(found) > MOST_STATIONS:
                raise ScannerFault(
                    f"{self.path} holds {MOST_STATIONS} stations, and no more are kept. Take out"
                    " those that are gone."
                )
            self._replace(_text(found), between)

    def _all(self) -> Mapping[str, Scanner]:
        try:
            about = self.path.lstat()
        except FileNotFoundError:
            return {}
        except OSError as fault:
            raise self._amiss(f"it cannot be read ({fault.strerror})") from fault
        if not stat.S_ISREG(about.st_mode):
            raise self._amiss("it is no plain file")
        now = mark(about)
        if self._read is not None and same(self._read[0], now):
            return self._read[1]
        try:
            tables = toml_file.tables(self.path)
            read = _File.model_validate(tables)
        except FileNotFoundError:
            return {}
        except toml_file.NotToml as fault:
            raise self._amiss(str(fault)) from None
        except ValidationError as fault:
            place = ", ".join(map(str, fault.errors()[0]["loc"]))
            raise self._amiss(f"{place} is not as this program writes it") from None
        if read.form != FORM:
            raise self._amiss(f"its form is {read.form}, and {FORM} is read here")
        found = {name: self._scanner(name, one) for name, one in read.station.items()}
        # The mark is older than what was read, so a write in between is met at the next look.
        self._read = now, found
        return found

    def _scanner(self, name: str, one: _Station) -> Scanner:
        separator = _separator(one.separator)
        try:
            if separator is not None and separator not in ("", GS) and not tells_apart(separator):
                raise ValueError(one.separator)
            return Scanner(
                prefix=Prefix(one.prefix),
                separator=separator,
                letters=Letters(one.letters),
                ending=Ending(one.ending),
                tried_at=one.tried_at,
                by=one.by,
            )
        except ValueError as fault:
            raise self._amiss(f"station {name}: {fault}") from None

    def _amiss(self, what: str) -> ScannerFault:
        return ScannerFault(
            f"{self.path} cannot be used: {what}. Move it away, then try the scanner of each"
            " station again: checklist scanner try."
        )

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """While this lasts no other program of ours changes the file."""
        beside = self.path.with_name(f".{self.path.name}.lock")
        try:
            number = os.open(beside, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
        except OSError as fault:
            raise self._unwritable(fault) from fault
        try:
            try:
                import fcntl
            except ImportError:  # not on Windows
                pass
            else:
                fcntl.flock(number, fcntl.LOCK_EX)
            yield
        finally:
            os.close(number)

    def _replace(self, text: str, between: Callable[[], None]) -> None:
        fresh = self.path.with_name(f".{self.path.name}.new")
        try:
            fresh.unlink(missing_ok=True)
            number = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
            with os.fdopen(number, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(number)
            between()
            fresh.replace(self.path)
        except OSError as fault:
            raise self._unwritable(fault) from fault
        finally:
            fresh.unlink(missing_ok=True)

    def _unwritable(self, fault: OSError) -> ScannerFault:
        return ScannerFault(
            f"{self.path} cannot be written ({fault.strerror}), so nothing was kept. Call IT, then"
            " try the scanner again."
        )


def _text(found: Mapping[str, Scanner]) -> str:
    parts = ["# Written by `checklist scanner try`: try a scanner again rather than edit.\n"]
    parts.append(f"form = {FORM}\n")
    for name, one in sorted(found.items()):
        parts.append(f"\n[station.{json.dumps(name, ensure_ascii=False)}]\n")
        values = {
            "prefix": one.prefix.value,
            "separator": said_separator(one),
            "letters": one.letters.value,
            "ending": one.ending.value,
            "tried_at": one.tried_at,
            "by": one.by,
        }
        parts += [f"{key} = {json.dumps(text)}\n" for key, text in values.items()]
    return "".join(parts)


def said_separator(scanner: Scanner) -> str:
    """What arrives for the separator, as the file and the trail keep it: code points, or a word."""
    if scanner.separator is None:
        return UNKNOWN
    return " ".join(f"U+{ord(char):04X}" for char in scanner.separator) or LOST


def _separator(text: str) -> str | None:
    """What `said_separator` wrote; any other text comes back as it is, to be refused."""
    if text in (UNKNOWN, LOST):
        return None if text == UNKNOWN else ""
    if re.fullmatch(r"U\+[0-9A-F]{4}(?: U\+[0-9A-F]{4})*", text):
        return "".join(chr(int(one[2:], 16)) for one in text.split())
    return "?"
