"""A question to the facts: its SQL, written once for both engines, and how its numbers are read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question with a name that can be typed.

    `sql` gives the table; its columns `keys` tell the rows apart, and `preparations` and `people`
    say what a row rests on (they decide whether it may be shown; without them all is shown).
    `ids` gives the keys and the column `preparation`: those that the number in the row counts.
    `share` names two columns, a count and its tries, `rate` a count and its exposure: the row then
    gets the estimate with its 95 % limits. `numbers` are those of the 40 questions it answers.
    """

    name: str
    numbers: tuple[int, ...]
    asks: str
    sql: str
    ids: str
    keys: tuple[str, ...]
    share: tuple[str, str] | None = None
    rate: tuple[str, str] | None = None
    note: str = ""


def of_preparations(
    name: str,
    numbers: tuple[int, ...],
    asks: str,
    *,
    keys: Sequence[str],
    measures: Sequence[str],
    marked: str = "1 = 1",
    source: str = "preparations",
    where: str = "1 = 1",
    computed: Sequence[str] = (),
    order: str = "",
    share: tuple[str, str] | None = None,
    rate: tuple[str, str] | None = None,
    note: str = "",
) -> Question:
    """A question whose rows are groups of preparations.

    `computed` are further columns ("expression AS name") that keys may be made of; `marked` says
    which preparations a row's number counts.
    """
    more = "".join(f", {each}" for each in computed)
    base = f"SELECT *{more} FROM {source} WHERE {where}"
    listed = ", ".join(keys)
    group = f"GROUP BY {listed} " if keys else ""
    ordered = order or listed
    sql = (
        f"SELECT {listed}{', ' if keys else ''}{', '.join(measures)},"
        f" count(*) AS preparations, count(DISTINCT preparer) AS people"
        f" FROM ({base}) AS base {group}" + (f"ORDER BY {ordered}" if ordered else "")
    )
    first = f"{listed}, " if keys else ""
    ids = (
        f"SELECT {first}preparation FROM ({base}) AS base WHERE {marked}"
        f" ORDER BY {first}preparation"
    )
    return Question(
        name=name, numbers=numbers, asks=asks, sql=sql, ids=ids, keys=tuple(keys), share=share,
        rate=rate, note=note,
    )  # fmt: skip


def of_rows(
    name: str,
    numbers: tuple[int, ...],
    asks: str,
    *,
    source: str,
    keys: Sequence[str],
    measures: Sequence[str],
    per: Sequence[str] = (),
    where: str = "1 = 1",
    marked: str = "1 = 1",
    having: str = "",
    order: str = "",
    share: tuple[str, str] | None = None,
    rate: tuple[str, str] | None = None,
    note: str = "",
) -> Question:
    """A question whose rows are groups of findings, steps, pairs ..., beside their preparations.

    `per` are the keys by which the preparations are counted as well (week, unit, container ...):
    `preparations` and `people` are all those of that group, whether or not anything was found.
    """
    made = "".join(f"{key} AS by_{key}, " for key in per)
    counted = (
        f"WITH made AS (SELECT {made}count(*) AS preparations,"
        f" count(DISTINCT preparer) AS people FROM preparations"
        f"{' GROUP BY ' if per else ''}{', '.join(per)})"
    )
    on = " AND ".join(f"base.{key} = made.by_{key}" for key in per) or "1 = 1"
    listed = ", ".join(f"base.{key}" for key in keys)
    plain = ", ".join(keys)
    sql = (
        f"{counted} SELECT {listed}{', ' if keys else ''}{', '.join(measures)},"
        f" made.preparations AS preparations, made.people AS people"
        f" FROM (SELECT * FROM {source} WHERE {where}) AS base JOIN made ON {on}"
        f" GROUP BY {listed}{', ' if keys else ''}made.preparations, made.people"
        + (f" HAVING {having}" if having else "")
        + (f" ORDER BY {order or plain}" if order or plain else "")
    )
    first = f"{plain}, " if keys else ""
    ids = (
        f"SELECT DISTINCT {first}preparation FROM (SELECT * FROM {source} WHERE {where}) AS base"
        f" WHERE {marked} ORDER BY {first}preparation"
    )
    return Question(
        name=name, numbers=numbers, asks=asks, sql=sql, ids=ids, keys=tuple(keys), share=share,
        rate=rate, note=note,
    )  # fmt: skip
