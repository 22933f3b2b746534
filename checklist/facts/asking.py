"""Asking a question: its table with limits beside each share, small cells hidden, its ids."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from checklist.facts.engine import Answer, Engine, Small, quoted
from checklist.facts.for_quality import AFTERWARDS, HOW_MUCH
from checklist.facts.for_teaching import TEACHING
from checklist.facts.question import Question
from checklist.review.interval import proportion, rate
from checklist.review.small_cell import FLOOR, TOO_FEW, Cell, Floor, shown

QUESTIONS: Mapping[str, Question] = MappingProxyType(
    {each.name: each for each in (*HOW_MUCH, *AFTERWARDS, *TEACHING)}
)
PER = 1_000
"""Rates are for so many preparations."""
RESTS_ON = ("preparations", "people")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A question's table, ready to be read.

    `hidden` is the number of rows whose numbers are not shown, since too few preparations or
    people stand behind them.
    """

    question: Question
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    hidden: int


def ask(
    engine: Engine,
    question: Question,
    *,
    only: Mapping[str, str] | None = None,
    floor: Floor = FLOOR,
    limits: bool = True,
) -> Asked:
    """The table that answers a question.

    `only` keeps the rows whose keys have these values; KeyError for a name that is no key. Rows
    below the floor keep their keys and lose their numbers: TOO_FEW stands in place of the first.
    """
    answer = engine.rows(_kept(question.sql, question, only or {}))
    columns, added = list(answer.columns), _added(question) if limits else ()
    first = next(name for name in columns if name not in question.keys)
    rows, hidden = [], 0
    for row in answer.dicts():
        visible = _visible(row, floor)
        hidden += not visible
        told = {**row, **(_limits(question, row) if limits and visible else {})}
        if not visible:
            told = {key: row[key] for key in question.keys} | {first: TOO_FEW}
        rows.append(tuple(told.get(name) for name in (*columns, *added)))
    return Asked(question=question, columns=(*columns, *added), rows=tuple(rows), hidden=hidden)


def ids(
    engine: Engine,
    question: Question,
    *,
    only: Mapping[str, str] | None = None,
    floor: Floor = FLOOR,
) -> Answer:
    """The preparations behind the numbers of a question, by the keys of its rows.

    Rows that are too small to be shown lead nowhere.
    """
    asked = ask(engine, question, only=only, floor=floor, limits=False)
    place = [asked.columns.index(key) for key in question.keys]
    first = [n for n, name in enumerate(asked.columns) if name not in question.keys][:1]
    small = {
        tuple(row[n] for n in place) for row in asked.rows if first and row[first[0]] == TOO_FEW
    }
    found = engine.rows(_kept(question.ids, question, only or {}))
    key = [found.columns.index(name) for name in question.keys]
    rows = tuple(row for row in found.rows if tuple(row[n] for n in key) not in small)
    return Answer(columns=found.columns, rows=rows)


def _kept(sql: str, question: Question, only: Mapping[str, str]) -> str:
    if not only:
        return sql
    for name in only:
        if name not in question.keys:
            raise KeyError(name)
    parts = [f"CAST({name} AS VARCHAR(200)) = {quoted(value)}" for name, value in only.items()]
    return f"SELECT * FROM ({sql}) AS kept WHERE {' AND '.join(parts)}"


def _visible(row: Mapping[str, Any], floor: Floor) -> bool:
    if not all(name in row for name in RESTS_ON):
        return True
    preparations, people = (int(row[name] or 0) for name in RESTS_ON)
    return preparations == 0 or shown(Cell(people=people, preparations=preparations), floor)


def _added(question: Question) -> tuple[str, ...]:
    if question.share is not None:
        return ("percent", "low", "high")
    return ("per_1000", "low", "high") if question.rate is not None else ()


def _limits(question: Question, row: Mapping[str, Any]) -> dict[str, float]:
    """The estimate of a row with its 95 % limits: Wilson for a share, Garwood for a rate."""
    if question.share is not None:
        count, tries = (int(row[name] or 0) for name in question.share)
        if not tries:
            return {}
        found, times, name = proportion(count, tries), 100, "percent"
    elif question.rate is not None:
        count, exposure = (int(row[name] or 0) for name in question.rate)
        if not exposure:
            return {}
        found, times, name = rate(count, exposure), PER, "per_1000"
    else:
        return {}
    return {
        name: round(found.estimate * times, 2),
        "low": round(found.low * times, 2),
        "high": round(found.high * times, 2),
    }


def views(small: Small) -> Answer:
    """Give a SQLite copy a view for each question, and say of each whether it is one.

    SQLite itself has no percentile, so a question with one becomes a table of its answer today.
    """
    rows = []
    for question in QUESTIONS.values():
        name = question.name.replace("-", "_")
        kind = "TABLE" if "percentile(" in question.sql else "VIEW"
        small.db.execute(f"CREATE {kind} answer_{name} AS {question.sql}")
        small.db.execute(f"CREATE VIEW ids_{name} AS {question.ids}")
        rows.append((f"answer_{name}", kind.lower()))
    small.db.commit()
    return Answer(columns=("name", "kind"), rows=tuple(rows))


def by_number(number: int) -> Sequence[Question]:
    """The questions that answer one of the numbered ones."""
    return [each for each in QUESTIONS.values() if number in each.numbers]
