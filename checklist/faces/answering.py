"""The questions of a step at the terminal: one prompt a field, read back before it counts."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime

from checklist import ucum
from checklist.answer import Answer
from checklist.faces.terminal import Terminal
from checklist.faces.workplace import Workplace
from checklist.intake.entry import EntryFault, read
from checklist.interop import gs1
from checklist.observation import Channel, Identifier, Kind, ProductRead, Value
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
    the field and the raw text.
    """

    def __init__(
        self,
        terminal: Terminal,
        at: Workplace,
        *,
        why: Callable[[], None],
        unread: Callable[[Field, str], None],
    ) -> None:
        self._terminal = terminal
        self._at = at
        self._why = why
        self._unread = unread

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
            if not self._carried(field, values):
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

    def _carried(self, field: Field, values: Mapping[str, Value]) -> bool:
        """Whether a code that was just read brought this field along; it is told when it did."""
        for value in values.values():
            if field.carried and isinstance(value, ProductRead):
                found = getattr(value, field.carried, None)
                if found:
                    text = said_date(found) if isinstance(found, date) else str(found)
                    self._terminal.say(f"{field.say}: {text}, from the code")
                    return True
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
            return Answer(raw, self._channel(field, raw)), value

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
        )

    def _today(self) -> date:
        return self._at.ward.unit.local(self._at.clock()).date()

    def _channel(self, field: Field, raw: str) -> Channel:
        if field.kind in (Kind.CHOICE, Kind.SEEN):
            return Channel.CHOSEN
        return Channel.SCANNED if is_scan(raw, today=self._today()) else Channel.TYPED


def is_scan(raw: str, *, today: date) -> bool:
    """Whether a text came from a scanner: by prefix, separator, or a whole code that is sound."""
    text = raw.strip()
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


def staff_code(raw: str, *, today: date) -> str:
    """What stands on a badge: the number of a scanned staff code, or the text itself."""
    if not is_scan(raw, today=today):
        return raw.strip()
    try:
        person = gs1.scan(raw, today=today).person
    except gs1.CodeFault:
        return raw.strip()
    return person.number if person and person.kind is gs1.PersonKind.STAFF else raw.strip()


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
