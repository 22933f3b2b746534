"""The questions of a step at the terminal: one prompt a field, read back before it counts."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime

from checklist import ucum
from checklist.answer import Answer
from checklist.faces.terminal import Terminal
from checklist.faces.workplace import Workplace
from checklist.intake.entry import EntryFault, read, unsure
from checklist.interop import gs1
from checklist.interop.scanner import UNTRIED, Ending, Prefix, Scanner
from checklist.observation import KEYED, Channel, Identifier, Kind, ProductRead, Value
from checklist.quantity import Concentration, Quantity, words
from checklist.timing import said_date
from checklist.workflow import Field

_SHORT_FIGURES = (Kind.QUANTITY, Kind.COUNT, Kind.TIME)
_NUMBERS = (Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION)
_HINTS: Mapping[Kind, str] = {
    Kind.PRODUCT: "scan, or type",
    Kind.CONCENTRATION: "an amount in a volume",
    Kind.DATE: "with the month as a word",
    Kind.TIME: "hours and minutes, with a colon",
}
_CODE = re.compile(r"(?:01[0-9]{14}|801[78][0-9]{18})")


class BreakAsked(Exception):
    """The person types :i: work stops here."""


class EndAsked(Exception):
    """The person types :e: the preparation is to end."""


class _Back(Exception):
    """The person types :b: the line above is answered again."""


class Asker:
    """Asks one thing at a time.

    `why` shows what is behind a step. `unread` is told of each answer that could not be read, with
    the field and the raw text; `keyed` of each code that was typed in place of a scan, with the
    field and the reason, one of KEYED.
    """

    def __init__(
        self,
        terminal: Terminal,
        at: Workplace,
        *,
        why: Callable[[], None],
        unread: Callable[[Field, str], None],
        keyed: Callable[[Field, str], None],
    ) -> None:
        self._terminal = terminal
        self._at = at
        self._why = why
        self._unread = unread
        self._keyed = keyed
        self._before = ""  # the reason that was given for the last code that was typed

    def line(self, prompt: str) -> str:
        """One line as typed. Raises BreakAsked or EndAsked, and answers :? itself."""
        while True:
            raw = self._terminal.read(prompt)
            match raw.strip().lower():
                case ":i":
                    raise BreakAsked
                case ":e":
                    raise EndAsked
                case ":?":
                    self._why()
                case _:
                    return raw

    def choice(self, many: int, *, also: Sequence[str] = (), prompt: str = "Your choice") -> str:
        """The number of one of `many` choices as text, or one of the words in `also`."""
        names = [str(n) for n in range(1, many + 1)]
        span = f"1 to {many}" if many > 1 else "1"
        while True:
            raw = self.line(f"{prompt} ({', '.join([span, *also])}) >").strip().lower()
            if raw in names or raw in also:
                return raw
            self._terminal.say("Type one of the numbers beside the lines above.")

    def beside(self, *, needed: bool, what: str = "A few words beside it") -> str:
        """A few words that go into the trail, so without names; possibly none."""
        prompt = f"{what}, no names" + (" >" if needed else " (Enter: none) >")
        while True:
            text = self.line(prompt).strip()
            if text or not needed:
                return text[:200]
            self._terminal.say("This choice needs a few words beside it.")

    def answers(self, fields: Sequence[Field]) -> dict[str, Answer]:
        """An answer for each field, in order; nothing for a field with nothing to enter."""
        given: dict[str, Answer] = {}
        values: dict[str, Value] = {}
        asked: list[int] = []
        at = 0
        while at < len(fields) or not self._handed_in(fields, values):
            if at >= len(fields):
                at = self._one_back(asked, at)
                continue
            field = fields[at]
            for kept in (given, values):
                kept.pop(field.name, None)
            if not self._carried(field, values, given):
                try:
                    answer, value = self._answer(field)
                except _Back:
                    at = self._one_back(asked, at)
                    continue
                asked.append(at)
                if answer is not None and value is not None:
                    given[field.name], values[field.name] = answer, value
            at += 1
        return given

    def _one_back(self, asked: list[int], at: int) -> int:
        if asked:
            return asked.pop()
        self._terminal.say("This is the first line of the step.")
        return at

    def _handed_in(self, fields: Sequence[Field], values: Mapping[str, Value]) -> bool:
        """Whether the answers are let stand: asked where the last one is a number in words."""
        if not fields or fields[-1].kind not in _NUMBERS or fields[-1].name not in values:
            return True
        while True:
            raw = self.line("Enter: hand it in   :b: type it again >").strip().lower()
            if raw in ("", ":b"):
                return not raw
            self._terminal.say("Nothing was taken. Press Enter, or type :b.")

    def _carried(
        self, field: Field, values: Mapping[str, Value], given: Mapping[str, Answer]
    ) -> bool:
        """Whether a code that was just read brought this field along; it is told when it did.

        Where the code has a lot and it is not sure, that is told as well, and the field is asked.
        """
        for name, value in values.items():
            if field.carried and isinstance(value, ProductRead):
                found = getattr(value, field.carried, None)
                if found:
                    text = said_date(found) if isinstance(found, date) else str(found)
                    self._terminal.say(f"{field.say}: {text}, from the code")
                    return True
                if field.carried == "lot":
                    raw, codes = given[name].raw, self._at.station.codes
                    if why := unsure(raw, today=self._today(), codes=codes):
                        self._terminal.say(why, first="    ")
        return False

    def _answer(self, field: Field) -> tuple[Answer | None, Value | None]:
        if field.kind is Kind.CHOICE:
            self._terminal.say(f"{field.say}:")
            for number, words_ in enumerate(field.answers, start=1):
                self._terminal.say(words_, first=f"  {number:>2}  ")
        prompt = _prompt(field)
        while True:
            raw = self.line(prompt)
            match raw.strip().lower():
                case ":b":
                    raise _Back
                case ":n":
                    return None, None
                case "" if field.optional:
                    return None, None
                case "":
                    self._terminal.say("No answer yet. Look, then answer; :n if nothing is there.")
                    continue
            try:
                value = self._read(field, raw)
            except EntryFault as fault:
                self._terminal.say(str(fault), first="    ")
                self._terminal.say("Nothing was entered. Answer again.", first="    ")
                if field.kind is not Kind.SEEN:
                    self._unread(field, raw)
                continue
            if said := said_back(field, value):
                self._terminal.say(said, first="    ")
            return Answer(raw, self._came(field, raw)), value

    def _read(self, field: Field, raw: str) -> Value:
        unit = self._at.ward.unit
        return read(
            field.kind,
            raw,
            unit=field.unit,
            answers=field.answers,
            today=self._today(),
            zone=unit.timezone,
            settings=unit,
            codes=self._at.station.codes,
        )

    def _today(self) -> date:
        return self._at.ward.unit.local(self._at.clock()).date()

    def _came(self, field: Field, raw: str) -> Channel:
        """How an answer came in; for a code that was typed, the person says why."""
        if field.kind in (Kind.CHOICE, Kind.SEEN):
            return Channel.CHOSEN
        scanner = self._at.station.scanner
        scanned = is_scan(raw, today=self._today(), scanner=scanner)
        if scanner.ending is Ending.TWICE and (scanned or field.kind is Kind.PRODUCT):
            self._terminal.drop_blank()
        if not scanned and field.kind is Kind.PRODUCT:
            scanned = self._why_keyed(field, scanner)
        return Channel.SCANNED if scanned else Channel.TYPED

    def _why_keyed(self, field: Field, scanner: Scanner) -> bool:
        """Ask why a code was typed, and pass that on; whether it was a scan after all.

        A scanner that sends no prefix cannot be told from typing, so the person tells.
        """
        reasons = list(KEYED)
        self._terminal.say("This code came without a scanner's marks. Why was it typed?")
        for number, reason in enumerate(reasons, start=1):
            self._terminal.say(KEYED[reason], first=f"  {number:>2}  ")
        also = []
        if scanner.prefix is not Prefix.SENT:
            self._terminal.say("it was not: it was scanned", first="   s  ")
            also.append("s")
        if self._before:
            self._terminal.say(f"as before: {KEYED[self._before]}", first="   b  ")
            also.append("b")
        chosen = self.choice(len(reasons), also=also, prompt="Why typed")
        if chosen == "s":
            return True
        self._before = self._before if chosen == "b" else reasons[int(chosen) - 1]
        self._keyed(field, self._before)
        return False


def is_scan(raw: str, *, today: date, scanner: Scanner = UNTRIED) -> bool:
    """Whether a text came from a scanner: by prefix, separator, or a whole code that is sound.

    `scanner` is what is known of the scanner, and so what it types for a separator.
    """
    text = scanner.meant(raw).strip()
    if text.startswith("]") or gs1.GS in text:
        return True
    if not _CODE.match(text):
        return False
    try:
        gs1.scan(text, today=today)
    except gs1.CodeFault:
        return False
    return True


def unread_note(field: Field, raw: str) -> str:
    """What is noted of an answer that could not be read; its text only where it is a short figure.

    Then there are so few figures that no date of birth or record number can be meant.
    """
    text = raw.strip()
    short = len(text) <= 8 and sum(char.isdigit() for char in text) <= 5
    plain = short and text.isascii() and text.isprintable()
    kept = text if plain and field.kind in _SHORT_FIGURES else "not kept"
    return f"entry_unreadable: {field.name}: {kept}"


def staff_code(raw: str, *, today: date, scanner: Scanner = UNTRIED) -> str:
    """What stands on a badge: the number of a scanned staff code, the text of a plain barcode
    without its prefix, or the text itself."""
    text = scanner.meant(raw).strip()
    if not is_scan(text, today=today):
        return text
    try:
        _, carrier, content = gs1.split(text)
        if carrier is gs1.Carrier.PLAIN:
            return content
        person = gs1.scan(text, today=today).person
    except gs1.CodeFault:
        return text
    return person.number if person and person.kind is gs1.PersonKind.STAFF else text


def _prompt(field: Field) -> str:
    if field.kind is Kind.SEEN:
        return f"{field.say}   y/n >"
    if field.kind is Kind.CHOICE:
        return f"1 to {len(field.answers)} >"
    unit = ucum.unit(field.unit).shown(many=True) if field.unit else ""
    hints = [unit if unit not in field.say else "", _HINTS.get(field.kind, "")]
    hints += ["Enter if none"] if field.optional else []
    told = ", ".join(hint for hint in hints if hint)
    return f"{field.say} ({told}) >" if told else f"{field.say} >"


def said_back(field: Field, value: Value) -> str:
    """What an answer was taken to mean; a datum that identifies a person only by its kind."""
    match value:
        case Quantity():
            return words(value)
        case Concentration():
            return f"{words(value.amount)} in {words(value.per)}"
        case Identifier():
            return f"read as: {value.kind.value}"
        case ProductRead():
            return f"read: item {value.code}"
        case datetime():
            return ""
        case date():
            return said_date(value)
        case _:
            return str(value) if field.kind is Kind.CHOICE else ""
