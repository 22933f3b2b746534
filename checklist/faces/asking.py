"""Answers to questions about the facts, as told at the terminal."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Literal

import typer

from checklist import library
from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import harmless, lines
from checklist.faces.workplace import quoted
from checklist.facts import asking, modelled
from checklist.facts.engine import Answer, Duck, Engine, Scope, Small, rows_of
from checklist.facts.folder import Folder, Read
from checklist.facts.harm import letters
from checklist.facts.label import NEAR_MISSES
from checklist.facts.modelled import MODELLED, Modelled
from checklist.facts.numbered import NUMBERED
from checklist.facts.question import Question
from checklist.review.small_cell import FLOOR


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was asked for at the terminal; see the command's options."""

    name: str
    facts: Path
    ids: bool = False
    only: tuple[str, ...] = ()
    scope: Scope = Scope()  # noqa: RUF009  frozen
    near_miss: str = "stop"
    day: str = ""
    sqlite: bool = False
    sql: bool = False
    json: bool = False


def answer(wish: Wish) -> None:
    """Answer one question, or list them all."""
    if not wish.name:
        _list(wish)
        return
    name = _named(wish.name)
    if wish.near_miss not in NEAR_MISSES:
        raise CannotGoOn(
            f"No definition of a near miss is named {wish.near_miss!r}. There are:"
            f" {', '.join(NEAR_MISSES)}."
        )
    if name in MODELLED:
        _answer_by_method(MODELLED[name], wish)
        return
    question = asking.QUESTIONS[name]
    if wish.day:
        raise CannotGoOn(f"{name} asks about no day. Leave --day out, or name months with --from.")
    if wish.sql:
        typer.echo(question.ids if wish.ids else question.sql)
        return
    only = _only(wish.only, question)
    engine = engine_of(wish)
    try:
        if wish.ids:
            found = asking.ids(engine, question, only=only)
            _print(found.columns, found.rows, wish)
            return
        asked = asking.ask(engine, question, only=only)
    finally:
        engine.close()
    if not wish.json:
        typer.echo(question.asks)
        if "near_miss" in question.sql:
            typer.echo(f"Near miss ({wish.near_miss}): {NEAR_MISSES[wish.near_miss][0]}.")
    _print(asked.columns, asked.rows, wish)
    if wish.json:
        return
    _foot(asked, wish)


def engine_of(wish: Wish) -> Engine:
    """The engine for what was asked, on the folder that was named."""
    folder = Folder(wish.facts)
    if not folder.exported().files:
        raise CannotGoOn(
            f"There are no facts in {wish.facts} yet. Make them with `checklist facts export"
            f" TRAIL --facts {quoted(wish.facts)}`."
        )
    severities = {id_: one.severity for id_, one in library.hazards().hazards.items()}
    harms, scope, named = letters(folder), wish.scope, wish.near_miss
    if wish.sqlite:
        rows = rows_of(folder)
        return Small(rows, scope=scope, near_miss=named, severities=severities, harms=harms)
    return Duck(folder, scope=scope, near_miss=named, severities=severities, harms=harms)


def _named(name: str) -> str:
    """The question's name, where its number was given as well."""
    if name.isdecimal():
        numbered = NUMBERED.get(int(name))
        if numbered is None:
            raise CannotGoOn(f"The questions are numbered 1 to {len(NUMBERED)}.")
        if len(numbered.names) != 1:
            raise CannotGoOn(f"Question {name}: {numbered.asks} {numbered.said}")
        return numbered.names[0]
    if name not in asking.QUESTIONS and name not in MODELLED:
        raise CannotGoOn(f"There is no question {name!r}. `checklist ask` lists them.")
    return name


def _answer_by_method(question: Modelled, wish: Wish) -> None:
    """Answer a question that is worked out from several numbers."""
    if wish.only or wish.sql:
        raise CannotGoOn(
            f"{question.name} is worked out, so that it takes no --only and has no SQL. Narrow it"
            " with --unit, --container, --from and --to."
        )
    if question.of_a_day != bool(wish.day):
        raise CannotGoOn(
            f"Say which day with --day, as in `checklist ask {question.name} --day 2026-07-01`."
            if question.of_a_day
            else f"{question.name} asks about no day. Leave --day out."
        )
    if wish.day:
        checked_day(wish.day)
    engine = engine_of(wish)
    try:
        worked = question.work(engine, FLOOR, wish.day)
        found = modelled.ids(engine, question, worked, wish.day) if wish.ids else worked
    finally:
        engine.close()
    if not wish.json and not wish.ids:
        typer.echo(question.asks)
    _print(found.columns, found.rows, wish)
    if wish.json or wish.ids:
        return
    for note in (*worked.notes, *checked(Folder(wish.facts))):
        _say(note)
    day = f" --day {wish.day}" if wish.day else ""
    typer.echo(f"next: checklist ask {question.name}{day} --facts {quoted(wish.facts)} --ids")


def checked_day(day: str) -> None:
    """Raises CannotGoOn for what is no day."""
    try:
        date.fromisoformat(day)
    except ValueError:
        raise CannotGoOn(f"{day!r} is no day. Write it like 2026-07-01.") from None


def _only(given: Sequence[str], question: Question) -> Mapping[str, str]:
    only = dict(each.partition("=")[::2] for each in given)
    for name in only:
        if name not in question.keys:
            known = ", ".join(question.keys) or "none"
            raise CannotGoOn(f"{name!r} is no key of {question.name}; keys: {known}.")
    return only


def _foot(asked: asking.Asked, wish: Wish) -> None:
    if asked.question.share is not None:
        _say("percent: with 95 % limits after Wilson.")
    if asked.question.rate is not None:
        _say("per_1000: for 1000 preparations, with exact 95 % limits.")
    if asked.hidden:
        _say(f"{asked.hidden} rows rest on too few preparations or people to be shown.")
    if asked.question.note:
        _say(asked.question.note)
    for line in checked(Folder(wish.facts)):
        _say(line)
    typer.echo(f"next: checklist ask {asked.question.name} --facts {quoted(wish.facts)} --ids")


def _say(text: str) -> None:
    for line in lines(text, min(shutil.get_terminal_size().columns, 100)):
        typer.echo(line)


def checked(folder: Folder) -> list[str]:
    """A sentence for each unit: how far its trails were read, each entry checked on the way."""
    units: dict[str, list[Read]] = {}
    for read in folder.exported().trails.values():
        units.setdefault(read.unit, []).append(read)
    said = []
    for unit, reads in sorted(units.items()):
        if len(reads) == 1:
            (read,) = reads
            said.append(f"Unit {unit}: entries 1 to {read.through} checked, {read.digest[:16]}.")
        else:
            entries = sum(read.through for read in reads)
            said.append(f"Unit {unit}: {entries} entries of {len(reads)} trails checked.")
    return said


def _list(wish: Wish) -> None:
    rows = [
        (each.name, ", ".join(map(str, each.numbers)), each.asks)
        for each in asking.QUESTIONS.values()
    ]
    rows += [
        (each.name, ", ".join(map(str, each.numbers)), each.asks) for each in MODELLED.values()
    ]
    _print(("question", "answers", "what is asked"), rows, wish)
    if not wish.json and sys.stdout.isatty():
        typer.echo(f"next: checklist ask reasons --facts {quoted(wish.facts)}")
        typer.echo("A number of 1 to 40 says what answers that question: checklist ask 29")


def _print(columns: Sequence[str], rows: Sequence[Sequence[Any]], wish: Wish) -> None:
    """A table for a person, JSON for a program; tab-separated where stdout is no terminal."""
    if wish.json:
        typer.echo(json.dumps([dict(zip(columns, row, strict=True)) for row in rows]))
        return
    if not sys.stdout.isatty():
        for row in (columns, *rows):
            typer.echo("\t".join(harmless(_cell(each)) for each in row))
        return
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold")
    for n, name in enumerate(columns):
        numbers = bool(rows) and all(isinstance(row[n], int | float | None) for row in rows)
        justify: Literal["right", "left"] = "right" if numbers else "left"
        table.add_column(Text(name.replace("_", "\n")), justify=justify, no_wrap=True)
    for row in rows:
        table.add_row(*(Text(harmless(_cell(each))) for each in row))
    # A name that is cut short could be another one: a table is rather wider than the window.
    whole = Console(width=1_000, height=25).measure(table).maximum
    width = max(shutil.get_terminal_size().columns, whole)
    plain = Console(width=width, height=25, markup=False, emoji=False, highlight=False)
    plain.print(table)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) and abs(value) < 1e6 else str(value)


def copied(facts: Path, file: Path) -> Answer:
    """Copy a folder of facts into one new SQLite file with a view for each question."""
    if file.exists():
        raise CannotGoOn(f"There is already a file {file}. It was left as it is. Name a new one.")
    severities = {id_: one.severity for id_, one in library.hazards().hazards.items()}
    with Small(rows_of(Folder(facts)), file=file, severities=severities) as small:
        return asking.views(small)
