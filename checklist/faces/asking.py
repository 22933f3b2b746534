"""Answers to questions about the facts, as told at the terminal."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import typer

from checklist import library
from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import harmless, lines
from checklist.faces.workplace import quoted
from checklist.facts import asking
from checklist.facts.engine import Answer, Duck, Engine, Scope, Small, rows_of
from checklist.facts.folder import Folder, Read
from checklist.facts.harm import letters
from checklist.facts.label import NEAR_MISSES
from checklist.facts.question import Question


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was asked for at the terminal; see the command's options."""

    name: str
    facts: Path
    ids: bool = False
    only: tuple[str, ...] = ()
    scope: Scope = Scope()  # noqa: RUF009  frozen
    near_miss: str = "stop"
    sqlite: bool = False
    sql: bool = False
    json: bool = False


def answer(wish: Wish) -> None:
    """Answer one question, or list them all."""
    if not wish.name:
        _list(wish)
        return
    question = _question(wish.name)
    if wish.near_miss not in NEAR_MISSES:
        raise CannotGoOn(
            f"No definition of a near miss is named {wish.near_miss!r}. There are:"
            f" {', '.join(NEAR_MISSES)}."
        )
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


def _question(name: str) -> Question:
    if name.isdecimal():
        fitting = asking.by_number(int(name))
        if len(fitting) == 1:
            return fitting[0]
        names = ", ".join(each.name for each in fitting) or "none; see the handbook"
        raise CannotGoOn(f"Question {name} is answered by: {names}. Ask by name.")
    found = asking.QUESTIONS.get(name)
    if found is None:
        raise CannotGoOn(f"There is no question {name!r}. `checklist ask` lists them.")
    return found


def _only(given: Sequence[str], question: Question) -> Mapping[str, str]:
    only = dict(each.partition("=")[::2] for each in given)
    for name in only:
        if name not in question.keys:
            known = ", ".join(question.keys) or "none"
            raise CannotGoOn(f"{name!r} is no key of {question.name}; keys: {known}.")
    return only


def _foot(asked: asking.Asked, wish: Wish) -> None:
    width = min(shutil.get_terminal_size().columns, 100)

    def say(text: str) -> None:
        for line in lines(text, width):
            typer.echo(line)

    if asked.question.share is not None:
        say("percent: with 95 % limits after Wilson.")
    if asked.question.rate is not None:
        say("per_1000: for 1000 preparations, with exact 95 % limits.")
    if asked.hidden:
        say(f"{asked.hidden} rows rest on too few preparations or people to be shown.")
    if asked.question.note:
        say(asked.question.note)
    for line in checked(Folder(wish.facts)):
        say(line)
    typer.echo(f"next: checklist ask {asked.question.name} --facts {quoted(wish.facts)} --ids")


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
    _print(("question", "answers", "what is asked"), rows, wish)


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
