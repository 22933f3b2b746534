"""The command that answers a question from the facts, as a table with its preparations."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import FactsOption, JsonOption


def ask(
    name: Annotated[
        str, typer.Argument(metavar="[QUESTION]", help="Its name; left out, all are listed.")
    ] = "",
    facts: FactsOption = Path("facts"),
    ids: Annotated[
        bool, typer.Option("--ids", help="The preparations behind the numbers instead.")
    ] = False,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="KEY=VALUE", help="Rows with this value; may be repeated."),
    ] = None,
    unit: Annotated[str, typer.Option("--unit", help="Of one unit.")] = "",
    container: Annotated[str, typer.Option("--container", help="Of one container.")] = "",
    first: Annotated[
        str, typer.Option("--from", metavar="MONTH", help="From a month on (2026-01).")
    ] = "",
    last: Annotated[str, typer.Option("--to", metavar="MONTH", help="Up to a month.")] = "",
    near_miss: Annotated[
        str, typer.Option("--near-miss", metavar="NAME", help="What counts as a near miss.")
    ] = "stop",
    day: Annotated[
        str, typer.Option("--day", metavar="DAY", help="The day asked about (2026-07-01).")
    ] = "",
    sqlite: Annotated[
        bool, typer.Option("--sqlite", help="Answer with SQLite, for few facts.")
    ] = False,
    sql: Annotated[bool, typer.Option("--sql", help="Print the SQL and stop.")] = False,
    json: JsonOption = False,
) -> None:
    """Answer a question about what was caught and how, from the facts.

    Rows that rest on fewer than 20 preparations or 5 people keep their names and lose their
    numbers. No table names or ranks a person.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.asking import Wish, answer
        from checklist.facts.engine import Scope

        scope = Scope(unit=unit, container=container, first_month=first, last_month=last)
        answer(
            Wish(
                name=name, facts=facts, ids=ids, only=tuple(only or ()), scope=scope,
                near_miss=near_miss, day=day, sqlite=sqlite, sql=sql, json=json,
            )
        )  # fmt: skip
