"""A question as a page asks it: its address, its table, and the preparations behind each row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from checklist.drawing.sheet import Sheet
from checklist.faces import charting
from checklist.faces.asking import checked_day
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.figures import Figures, Known
from checklist.faces.web.quality.wishing import month, short, word
from checklist.facts import asking, modelled
from checklist.facts.label import NEAR_MISSES
from checklist.facts.modelled import MODELLED, Modelled
from checklist.review.small_cell import FLOOR, TOO_FEW


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """An answer as a table, with sentences on how to read it; `leads` is a row's address or ""."""

    sheet: Sheet
    leads: tuple[str, ...]
    notes: tuple[str, ...]
    hidden: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question by name within bounds; `only` are values of its keys, `day` the day it asks of."""

    name: str
    wish: Wish
    only: tuple[str, ...] = ()
    day: str = ""

    @property
    def by_method(self) -> Modelled | None:
        """The method it takes; None for one that is a table alone."""
        return MODELLED.get(self.name)

    @property
    def asks(self) -> str:
        """What is asked, in words."""
        return asks_of(self.name)

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The words that lead here again."""
        wish = self.wish
        near = wish.near_miss if wish.near_miss != "stop" else ""
        pairs = [
            ("question", self.name), ("unit", wish.unit), ("container", wish.container),
            ("from", wish.first), ("to", wish.last), ("near", near), ("day", self.day),
            *(("only", one) for one in self.only),
        ]  # fmt: skip
        return [(name, value) for name, value in pairs if value]

    @property
    def query(self) -> str:
        """The same as the end of an address."""
        return urlencode(self.pairs)

    @property
    def address(self) -> str:
        """Where its answer stands."""
        kept = [(name, value) for name, value in self.pairs if name not in ("question", "only")]
        return f"/quality/answer/{self.name}" + (f"?{urlencode(kept)}" if kept else "")

    def answer(self) -> Answered:
        """The answer, small cells hidden. Raises CannotGoOn, FactsFault, NeedsExtra."""
        method = self.by_method
        with charting.opened(self.wish) as engine:
            if method is not None:
                worked = method.work(engine, FLOOR, self.day)
                leads = "" if all(TOO_FEW in row for row in worked.rows) else self._leads(())
                return Answered(
                    sheet=Sheet(name=self.name, columns=worked.columns, rows=worked.rows),
                    leads=tuple(leads for _ in worked.rows),
                    notes=worked.notes,
                    hidden=0,
                )
            asked = asking.ask(engine, asking.QUESTIONS[self.name], only=self._kept())
        return Answered(
            sheet=Sheet(name=self.name, columns=asked.columns, rows=asked.rows),
            leads=tuple(self._row_leads(asked.columns, row) for row in asked.rows),
            notes=tuple(_notes(asked)),
            hidden=asked.hidden,
        )

    def ids(self) -> tuple[str, ...]:
        """The preparations behind the numbers, each once, in the order of the answer."""
        method = self.by_method
        with charting.opened(self.wish) as engine:
            if method is not None:
                worked = method.work(engine, FLOOR, self.day)
                found = modelled.ids(engine, method, worked, self.day)
            else:
                found = asking.ids(engine, asking.QUESTIONS[self.name], only=self._kept())
        place = found.columns.index("preparation")
        return tuple(dict.fromkeys(str(row[place]) for row in found.rows))

    def _kept(self) -> dict[str, str]:
        return dict(one.partition("=")[::2] for one in self.only)

    def _row_leads(self, columns: Sequence[str], row: Sequence[Any]) -> str:
        if TOO_FEW in row:
            return ""
        keys = asking.QUESTIONS[self.name].keys
        return self._leads(tuple(f"{key}={row[columns.index(key)]}" for key in keys))

    def _leads(self, only: tuple[str, ...]) -> str:
        pairs = [("of", "answer"), *replace(self, only=only).pairs]
        return f"/quality/preparations?{urlencode(pairs)}"


def _notes(asked: asking.Asked) -> list[str]:
    notes = []
    if asked.question.share is not None:
        notes.append("percent: with 95 % limits after Wilson.")
    if asked.question.rate is not None:
        notes.append("per 1000: for 1000 preparations, with exact 95 % limits.")
    if asked.question.note:
        notes.append(asked.question.note)
    return notes


def asks_of(name: str) -> str:
    """What the question of that name asks, in words."""
    return MODELLED[name].asks if name in MODELLED else asking.QUESTIONS[name].asks


def question_of(figures: Figures, params: QueryParams, known: Known, name: str = "") -> Question:
    """The question that an address asks. Raises CannotGoOn for a word that is not known."""
    name = name or short("question", params.get("question", ""))
    if name not in asking.QUESTIONS and name not in MODELLED:
        raise CannotGoOn(f"There is no question {name[:40]!r}. Choose one from the list.")
    wish = replace(
        figures.usual(),
        unit=word(params, "unit", known.units),
        container=word(params, "container", known.containers),
        first=month(params, "from"),
        last=month(params, "to"),
        near_miss=word(params, "near", NEAR_MISSES) or "stop",
    )
    only = tuple(short("only", one) for one in params.getlist("only"))
    keys = () if name in MODELLED else asking.QUESTIONS[name].keys
    for one in only:
        if one.partition("=")[0] not in keys:
            raise CannotGoOn(f"{one[:40]!r} is no value of a key of {name}.")
    day = short("day", params.get("day", ""))
    of_a_day = name in MODELLED and MODELLED[name].of_a_day
    if day and of_a_day:
        checked_day(day)
    return Question(name=name, wish=wish, only=only, day=day if of_a_day else "")
