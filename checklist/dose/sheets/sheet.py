"""A sheet: what one dose sum asks for, how the answers are read, and what it works out."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from checklist.dose.figures import Table as Figures
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.working import DoseFault, Working
from checklist.limits import Limits
from checklist.number import quoted
from checklist.quantity import Quantity, Rounding
from checklist.verdict import COMMON_PRACTICE, Source

MAX_WORDS = 60
"""The most words one sum is asked with; the longest of ours has some thirty."""

Given = Mapping[str, Any]
Reader = Callable[[str], Any]


class Unreadable(ValueError):
    """The words of a sum cannot be read; the message says which, and what is asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The published tables that a sum may look at."""

    limits: Limits
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """One thing to state: its word, what it is, how it is read, and how it may look."""

    name: str
    what: str
    read: Reader
    example: str
    needed: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a sum comes to.

    `said` is the outcome in a few words. `stands` is false where it was compared and found
    wanting. `cautions` ask for a second look, `not_compared` had no figure. `table` has its
    heading first.
    """

    said: str
    lines: tuple[str, ...]
    working: Working | None = None
    stands: bool = True
    cautions: tuple[str, ...] = ()
    not_compared: tuple[str, ...] = ()
    table: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One sum that can be asked for by name.

    `rounds` says that its value may be rounded to a `step`. `shows` names the list of figures that
    belong beside it: "factors", "drop_sets", "salts", "roundings" or "".
    """

    name: str
    formula: str
    blanks: tuple[Blank, ...]
    work: Callable[[Given, Shelf], Working | Outcome]
    example: str
    source: Source = COMMON_PRACTICE
    rounds: bool = True
    shows: str = ""

    @property
    def asks(self) -> tuple[Blank, ...]:
        """Its blanks and, where its value may be rounded, those of the rounding."""
        return (*self.blanks, *(ROUND if self.rounds else ()))


def _how(text: str) -> Rounding:
    for how in Rounding:
        if text == how.value:
            return how
    raise Unreadable(f"{quoted(text)} is no way to round. Write: half up, down or up.")


def _step(text: str) -> Quantity:
    return Quantity.parse(text)


ROUND = (
    Blank(name="step", what="round to this step", read=_step, example="0.1 mL", needed=False),
    Blank(name="how", what="which way: half up, down or up", read=_how, example="down",
          needed=False),
)  # fmt: skip


def filled(sheet: Sheet, words: Sequence[str]) -> Given:
    """The answers by blank: each blank's name, then its value, in any order.

    Raises Unreadable for a word that is not asked for, a blank that is missing or stands twice,
    and a value that cannot be read as it stands. Nothing is guessed or repaired.
    """
    blanks = {blank.name: blank for blank in sheet.asks}
    texts = _texts(sheet, words, blanks)
    missing = [blank for blank in sheet.blanks if blank.needed and blank.name not in texts]
    if missing:
        first = missing[0]
        raise Unreadable(f"{first.name} is not there: {first.what}, like {first.example}.")
    given = {}
    for name, text in texts.items():
        try:
            given[name] = blanks[name].read(text)
        except (ValueError, TypeError) as trouble:
            raise Unreadable(f"{name}: {trouble}") from None
    return given


def _texts(sheet: Sheet, words: Sequence[str], blanks: Mapping[str, Blank]) -> dict[str, str]:
    parts = [part for word in words for part in word.split()]
    names = ", ".join(blanks)
    if len(parts) > MAX_WORDS:
        raise Unreadable(f"There are more than {MAX_WORDS} words. Write these once each: {names}.")
    texts: dict[str, list[str]] = {}
    held: list[str] | None = None
    for part in parts:
        if part in blanks:
            if part in texts:
                raise Unreadable(f"{part} stands twice. Write it once.")
            held = texts.setdefault(part, [])
        elif held is None:
            raise Unreadable(f"{quoted(part)} is not asked for here. Write: {names}.")
        else:
            held.append(part)
    empty = next((name for name, value in texts.items() if not value), None)
    if empty is not None:
        blank = blanks[empty]
        raise Unreadable(f"{empty} has no value: {blank.what}, like {blank.example}.")
    return {name: " ".join(value) for name, value in texts.items()}


def worked_out(sheet: Sheet, given: Given, shelf: Shelf) -> Outcome:
    """The outcome of the sum, rounded when a step was stated.

    Raises DoseFault or DimensionMismatch where the sum has no sensible answer, RoundingRefused
    where rounding would change it too much.
    """
    found = sheet.work(given, shelf)
    step = given.get("step")
    if step is None and "how" in given:
        raise DoseFault("There is a way to round and no step. State the step too, like 0.1 mL.")
    if isinstance(found, Outcome):
        if step is None or found.working is None or found.working.change is not None:
            return found
        done = _stepped(found.working, given)
        return Outcome(
            said=str(done.value), lines=done.lines, working=done, stands=found.stands,
            cautions=found.cautions, not_compared=found.not_compared, table=found.table,
        )  # fmt: skip
    done = found if step is None else _stepped(found, given)
    return Outcome(said=str(done.value), lines=done.lines, working=done)


def _stepped(working: Working, given: Given) -> Working:
    how = given.get("how", Rounding.HALF_UP)
    return rounded(working, RoundingRule(step=given["step"], how=how))
