"""What is amiss in a ward's files: gathered while they are read, told to their author at once."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from checklist.interop.gtin import CodeFault
from checklist.number import NumberFault, quoted
from checklist.quantity import DimensionMismatch, UnitFault

MOST_FAULTS = 50
"""Most faults of the form of one record that are told at once."""

Model = TypeVar("Model", bound=BaseModel)
Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing amiss: the file, the place in it, and a sentence that says what to do."""

    file: str
    place: str
    sentence: str

    def __str__(self) -> str:
        where = f"{self.file}, {self.place}" if self.place else self.file
        return f"{where}: {self.sentence}"


class Faults(Exception):
    """Every fault of every file that was read. `faults` holds them in the order of the files."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


class Record(BaseModel):
    """The form of one record of a file: no other keys, nothing converted, nothing repaired."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


@dataclass(frozen=True, slots=True)
class Bare:
    """A number without quotes, kept as it was written, since it may be an amount cut short."""

    text: str


@dataclass(slots=True)
class Findings:
    """The faults found so far in one file."""

    file: str
    faults: list[Fault] = field(default_factory=list)

    def add(self, place: str, sentence: str) -> None:
        """Note one fault. `sentence` is for the file's author and says what to do."""
        self.faults.append(Fault(self.file, place, sentence))

    def read(self, place: str, reader: Callable[[str], Read], text: str) -> Read | None:
        """What `reader` makes of `text`; its refusal becomes a fault. None for nothing or that."""
        if not text:
            return None
        try:
            return reader(text)
        except (NumberFault, UnitFault, DimensionMismatch, CodeFault, NotAsWritten) as fault:
            self.add(place, str(fault))
            return None

    def check(
        self, model: type[Model], data: object, place: Callable[[Sequence[str | int]], str]
    ) -> Model | None:
        """The record in its form; None when it has faults, which are noted at `place(keys)`."""
        try:
            return model.model_validate(data)
        except ValidationError as trouble:
            every = trouble.errors(include_url=False)
            for one in every[:MOST_FAULTS]:
                self.add(place(one["loc"]), _sentence(one, model))
            if len(every) > MOST_FAULTS:
                self.add("", f"There are {len(every) - MOST_FAULTS} more. Correct these first.")
            return None

    def listed(self, place: str, word: str, allowed: Iterable[str]) -> bool:
        """Whether `word` is one of `allowed`; a fault with the nearest of them if not."""
        if word in (words := tuple(allowed)):
            return True
        self.add(place, f"{quoted(word)} is not on the list. {nearest(word, words)}")
        return False

    def once(self, place: str, value: str, seen: dict[str, str], what: str) -> bool:
        """Whether `value` is met for the first time; a fault that names the first place if not."""
        first = seen.setdefault(value.casefold(), place)
        if first is place:
            return True
        self.add(place, f"{what} {quoted(value)} stands twice; the first is at {first}. Keep one.")
        return False


class NotAsWritten(ValueError):
    """A text of a file is not in the form that the file asks for; the message says which."""


def said_place(record: str) -> Callable[[Sequence[str | int]], str]:
    """How to say where a key of this record stands; items of a list are counted from 1."""

    def said(keys: Sequence[str | int]) -> str:
        parts = [str(key + 1) if isinstance(key, int) else key for key in keys]
        return ", ".join([record, *parts] if record else parts)

    return said


def nearest(word: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known word, or the whole list when none is near."""
    words = sorted(known)
    if near := difflib.get_close_matches(word, words, n=1, cutoff=0.6):
        return f'Did you mean "{near[0]}"?'
    if len(words) > 12:
        return "Look at the list of them again."
    return f"Write one of: {', '.join(words)}." if words else "There is none yet."


def shown(value: object) -> str:
    """A value of a file as its author would recognise it."""
    match value:
        case Bare(text=text):
            return text
        case bool():
            return "true" if value else "false"
        case str():
            return quoted(value)
        case datetime() | date():
            return value.isoformat()
        case dict():
            return "a table"
        case list():
            return "a list"
        case _:
            return str(value)[:40]


def _sentence(one: ErrorDetails, model: type[BaseModel]) -> str:
    """The library's finding in words for the author."""
    seen, context = shown(one["input"]), one.get("ctx", {})
    match one["type"]:
        case "extra_forbidden":
            return f"This key is not known here. {nearest(str(one['loc'][-1]), _keys(one, model))}"
        case "missing":
            return "It is not there. Add it."
        case "string_type" if isinstance(one["input"], (Bare, int)):
            return (
                f"{seen} stands without quotes. Write it as text in quotes, and an amount with its"
                ' unit, like "7.5 mg".'
            )
        case "string_type":
            return f"{seen} is not a text. Write it in quotes."
        case "bool_type":
            return f"{seen} is neither true nor false. Write true or false without quotes."
        case "int_type":
            return f"{seen} is not a whole number. Write it in figures without quotes."
        case "list_type":
            return f"{seen} is not a list. Write it in square brackets."
        case "dict_type" | "model_type":
            return f"{seen} is not a table of keys and values. Write it as one."
        case "date_type" | "date_from_datetime_inexact":
            return f"{seen} is not a date. Write it without quotes, like 2027-03-31."
        case "string_too_short":
            return "This text is empty. Fill it in, or leave the key out if it is not needed."
        case "string_too_long":
            return f"This text has more than {context['max_length']} characters. Shorten it."
        case "greater_than_equal":
            return f"{seen} is below {context['ge']}. Write {context['ge']} or more."
        case "less_than_equal":
            return f"{seen} is above {context['le']}. Write {context['le']} or less."
        case _:
            return f"{seen} cannot be read here: {one['msg']}. Look at the form of this file."


def _keys(one: ErrorDetails, model: type[BaseModel]) -> list[str]:
    """The keys that are known where the finding is: those of the model, or of a model inside it."""
    here: type[BaseModel] = model
    for key in one["loc"][:-1]:
        if isinstance(key, str) and key in here.model_fields:
            here = _inner(here.model_fields[key].annotation) or here
    return [form.alias or name for name, form in here.model_fields.items()]


def _inner(annotation: object) -> type[BaseModel] | None:
    """The model inside an annotation such as list[Model] | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inside = (_inner(part) for part in getattr(annotation, "__args__", ()))
    return next((found for found in inside if found is not None), None)
