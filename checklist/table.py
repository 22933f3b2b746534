"""Strict reading of a TOML file of published figures: all its faults are told at once."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from checklist.number import number, quoted
from checklist.quantity import Quantity

Word = TypeVar("Word", bound=StrEnum)

Sources = Mapping[str, tuple[str, str, str]]
"""Title, edition and address of each source of a file, by the short name that rows use."""

STATUSES = ("confirmed", "common practice", "from memory")
MAX_CHARACTERS = 200_000
"""The longest file that is read; the longest of ours has a tenth of that."""


class TableFault(ValueError):
    """A file of figures cannot be used. `faults` holds every sentence that says why."""

    def __init__(self, faults: Sequence[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """Where a figure comes from.

    `edition` is the edition, year or printing that was read. `address` is empty when there is no
    page. `status` is "confirmed" (a page shows the figure), "common practice" (no published
    source) or "from memory" (the source was not at hand).
    """

    title: str
    edition: str
    address: str
    status: str


@dataclass(slots=True)
class _Ledger:
    """What is gathered while one file is read."""

    file: str
    faults: list[str] = field(default_factory=list)
    blocks: list["Block"] = field(default_factory=list)


class Block:
    """One table of a file, asked key by key.

    A fault is written down and something harmless is given back, so that the reading goes on to
    the next fault. The caller must call `close` on the whole file before it uses any figure.
    """

    __slots__ = ("_asked", "_ledger", "_place", "_values")

    def __init__(self, ledger: _Ledger, place: str, values: Mapping[str, object]) -> None:
        self._ledger, self._place, self._values = ledger, place, values
        self._asked: set[str] = set()
        ledger.blocks.append(self)

    def close(self) -> None:
        """End the reading of the file: raise TableFault with all faults, if there is any."""
        for block in self._ledger.blocks:
            for key in sorted(block._values.keys() - block._asked):
                block.fault(key, "is not a word of this table. Take it out, or spell it anew")
        if self._ledger.faults:
            raise TableFault(self._ledger.faults)

    def fault(self, key: str, trouble: str) -> None:
        """Write down one fault at `key`; `trouble` follows the key and has no full stop."""
        where = f"{self._ledger.file}, {self._place}: " if self._place else f"{self._ledger.file}: "
        self._ledger.faults.append(f"{where}{key} {trouble}.")

    def sound(self) -> bool:
        """True while no fault has been found anywhere in the file."""
        return not self._ledger.faults

    def has(self, key: str) -> bool:
        """True when the table carries `key`."""
        return key in self._values

    def text(self, key: str, *, default: str | None = None) -> str:
        """A text that is not empty. Without a `default` the key is needed."""
        value = self._value(key, needed=default is None)
        if value is None:
            return default or ""
        if isinstance(value, float):
            self.fault(key, "is a bare decimal. Put the number and its unit in quotes")
        elif not isinstance(value, str) or not value.strip():
            self.fault(key, "is not a text. Write a text in quotes")
        else:
            return value
        return ""

    def choice(self, key: str, allowed: Sequence[str], *, default: str | None = None) -> str:
        """One word out of `allowed`."""
        word = self.text(key, default=default)
        if word and word != default:
            self._listed(key, word, allowed)
        return word

    def member(self, key: str, of: type[Word]) -> Word:
        """One word of a closed list."""
        words = [word.value for word in of]
        word = self.choice(key, words)
        return of(word) if word in words else next(iter(of))

    def members(self, key: str, of: type[Word]) -> tuple[Word, ...]:
        """A list of one or more words of a closed list."""
        words = [word.value for word in of]
        return tuple(of(word) for word in self.choices(key, words) if word in words)

    def choices(self, key: str, allowed: Sequence[str] | None = None) -> tuple[str, ...]:
        """A list of one or more texts, each out of `allowed` when that is given."""
        value = self._value(key, needed=True)
        if value is None:
            return ()
        if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
            self.fault(key, "is not a list of texts. Write at least one text in brackets")
            return ()
        if len(set(value)) < len(value):
            self.fault(key, "names one thing twice. Keep it once")
        for word in value:
            self._listed(key, word, allowed)
        return tuple(value)

    def whole(self, key: str, *, least: int = 1) -> int:
        """A whole number, `least` or more."""
        value = self._value(key, needed=True)
        if value is None:
            return least
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            self.fault(key, f"is not a whole number of {least} or more. Write it without quotes")
            return least
        return value

    def flag(self, key: str) -> bool:
        """True or false; false when the key is not there."""
        value = self._value(key, needed=False)
        if value is not None and not isinstance(value, bool):
            self.fault(key, "is neither true nor false. Write true or false without quotes")
        return value is True

    def quantity(self, key: str, unit: str) -> Quantity:
        """An amount above zero, written as a number, a space and a UCUM code alike to `unit`."""
        read = self.amount(key, unit)
        if read is None and key not in self._values:
            self.fault(key, f'is not there. Write it as in "1 {unit}"')
        return Quantity.of("1", unit) if read is None else read

    def amount(self, key: str, unit: str, *, zero: bool = False) -> Quantity | None:
        """As `quantity`, but None when the key is not there; with `zero`, zero is taken too."""
        written = self.text(key, default="")
        return self._amount(key, written, unit, zero=zero) if written else None

    def quantities(self, key: str, unit: str) -> tuple[Quantity, ...]:
        """A list of one or more amounts above zero, each written as in `quantity`."""
        read = []
        for written in self.choices(key):
            if (amount := self._amount(key, written, unit)) is not None:
                read.append(amount)
        return tuple(read)

    def share(self, key: str) -> Fraction:
        """A share written in percent, as in "1.5 %", given back as a fraction of one."""
        written = self.text(key)
        figure, _, sign = written.partition(" ")
        try:
            if sign == "%":
                return number(figure) / 100
        except ValueError:
            pass
        if written:
            self.fault(key, f'is {quoted(written)}. Write a percentage as in "1.5 %"')
        return Fraction(0)

    def blocks(self, key: str) -> tuple["Block", ...]:
        """The tables of a list of one or more tables, numbered from 1 in the order of the file."""
        value = self._value(key, needed=True)
        if value is None:
            return ()
        if not isinstance(value, list) or not value or not all(isinstance(v, dict) for v in value):
            self.fault(key, f"is not a list of tables. Begin each one with [[{key}]]")
            return ()
        return tuple(
            Block(self._ledger, self._below(f"{key} {place}"), values)
            for place, values in enumerate(value, start=1)
        )

    def block(self, key: str) -> "Block":
        """The one table of that name."""
        value = self._value(key, needed=True)
        if value is not None and not isinstance(value, dict):
            self.fault(key, f"is not a table. Begin it with [{key}]")
        return Block(self._ledger, self._below(key), value if isinstance(value, dict) else {})

    def citations(self) -> Sources:
        """The table [sources]: title, edition and address of each source, by its short name."""
        sources = self.block("sources")
        read = {}
        for name in sources._values:
            source = sources.block(name)
            address = source.text("address", default="")
            read[name] = (source.text("title"), source.text("edition"), address)
        return read

    def citation(self, sources: Sources) -> Citation:
        """The row's own `source` and `status`."""
        name, status = self.text("source"), self.choice("status", STATUSES)
        if name and name not in sources:
            self.fault("source", f"is {quoted(name)}, which [sources] does not have")
        title, edition, address = sources.get(name, ("", "", ""))
        return Citation(title=title, edition=edition, address=address, status=status)

    def _value(self, key: str, *, needed: bool) -> object:
        self._asked.add(key)
        if needed and key not in self._values:
            self.fault(key, "is not there. Add it")
        return self._values.get(key)

    def _amount(self, key: str, written: str, unit: str, *, zero: bool = False) -> Quantity | None:
        figure, _, code = written.partition(" ")
        try:
            read = Quantity.of(figure, code)
            alike = read.to(unit).magnitude
        except (ValueError, TypeError):
            self.fault(key, f'is {quoted(written)}. Write an amount as in "1 {unit}"')
            return None
        if not alike > 0 and not (zero and alike == 0):
            self.fault(key, f"is {quoted(written)}. Write an amount above zero")
            return None
        return read

    def _listed(self, key: str, word: str, allowed: Sequence[str] | None) -> None:
        if allowed is not None and word not in allowed:
            self.fault(key, f"is {quoted(word)}. Write one of: {', '.join(allowed)}")

    def _below(self, name: str) -> str:
        return f"{self._place}, {name}" if self._place else name


def opened(text: str, *, file: str) -> Block:
    """The whole file as one block; raises TableFault when it cannot be read as TOML at all."""
    if len(text) > MAX_CHARACTERS:
        raise TableFault([f"{file}: longer than {MAX_CHARACTERS:,} characters. Cut it in two."])
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as trouble:
        raise TableFault([f"{file}: cannot be read as TOML: {trouble}."]) from None
    return Block(_Ledger(file), "", values)
