"""Commands that draw what the facts say: series, units side by side, kinds, waits."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import FactsOption

app = typer.Typer(
    help="Draw what was caught, over time, between units and by kind.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)

Measure = Annotated[
    str, typer.Argument(metavar="MEASURE", help="What is counted; `chart measures` lists them.")
]
Trails = Annotated[
    list[Path] | None,
    typer.Option("--trail", metavar="PATH", help="A trail, or a folder of them, to verify first."),
]
Out = Annotated[
    list[Path] | None,
    typer.Option("--out", metavar="FILE", help="Write .svg .png .html .pdf .csv or .xlsx."),
]
Ids = Annotated[bool, typer.Option("--ids", help="The preparations behind each mark instead.")]
Unit = Annotated[str, typer.Option("--unit", help="Of one unit.")]
Container = Annotated[str, typer.Option("--container", help="Of one container.")]
First = Annotated[str, typer.Option("--from", metavar="MONTH", help="From a month (2026-01).")]
Last = Annotated[str, typer.Option("--to", metavar="MONTH", help="Up to a month.")]
Only = Annotated[
    list[str] | None,
    typer.Option("--only", metavar="KEY=VALUE", help="By reason, hazard, step or drug_class."),
]
NearMiss = Annotated[str, typer.Option("--near-miss", help="What counts as a near miss.")]
Small = Annotated[bool, typer.Option("--sqlite", help="Count with SQLite, for few facts.")]
By = Annotated[str, typer.Option("--by", help="One point for each week or month.")]
Kind = Annotated[str, typer.Option("--kind", help="p p' u u' c run XmR g or t; else the usual.")]
Rules = Annotated[str, typer.Option("--rules", help="A set of rules; `chart rules` lists them.")]
Baselines = Annotated[
    Path | None, typer.Option("--baselines", metavar="FILE", help="The file of frozen baselines.")
]


@app.callback()
def chart() -> None:
    """Draw what was caught, over time, between units and by kind."""


@app.command()
def measures() -> None:
    """List what can be charted."""
    from checklist.faces.charting import list_measures

    list_measures()


@app.command()
def rules() -> None:
    """List the sets of rules, and how often each is wrong."""
    from checklist.faces.charting import list_rules

    list_rules()


@app.command()
def series(
    measure: Measure,
    facts: FactsOption = Path("facts"),
    by: By = "week",
    kind: Kind = "",
    rules: Rules = "3 sigma and Anhoej",
    unit: Unit = "",
    container: Container = "",
    first: First = "",
    last: Last = "",
    only: Only = None,
    near_miss: NearMiss = "stop",
    baselines: Baselines = None,
    trail: Trails = None,
    out: Out = None,
    ids: Ids = False,
    sqlite: Small = False,
) -> None:
    """Draw a measure over time: a control chart or run chart, g and t charts for rare events.

    Where a baseline is frozen for the series, it is the line; a change of rules starts a phase.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish, draw_series

        draw_series(
            Wish(
                measure=measure, facts=facts, unit=unit, container=container, first=first,
                last=last, only=tuple(only or ()), near_miss=near_miss, trails=tuple(trail or ()),
                out=tuple(out or ()), ids=ids, sqlite=sqlite, by=by, kind=kind, rules=rules,
                baselines=baselines,
            )
        )  # fmt: skip


@app.command()
def freeze(
    measure: Measure,
    reason: Annotated[str, typer.Option("--reason", help="Why this stretch is the line.")],
    by_whom: Annotated[str, typer.Option("--as", metavar="CODE", help="Who freezes it.")],
    until: Annotated[
        str, typer.Option("--until", metavar="LABEL", help="The last point it rests on.")
    ],
    since: Annotated[
        str, typer.Option("--since", metavar="LABEL", help="The first point; else the first.")
    ] = "",
    without: Annotated[
        list[str] | None,
        typer.Option("--without", metavar="LABEL=REASON", help="Leave a point out, and why."),
    ] = None,
    baselines: Baselines = None,
    facts: FactsOption = Path("facts"),
    by: By = "week",
    kind: Kind = "",
    rules: Rules = "3 sigma and Anhoej",
    unit: Unit = "",
    container: Container = "",
    only: Only = None,
    near_miss: NearMiss = "stop",
    sqlite: Small = False,
) -> None:
    """Freeze the line of a series on a stretch of it; it is kept as the next version, for good."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish, freeze_series

        wish = Wish(
            measure=measure, facts=facts, unit=unit, container=container, only=tuple(only or ()),
            near_miss=near_miss, sqlite=sqlite, by=by, kind=kind, rules=rules, baselines=baselines,
        )  # fmt: skip
        freeze_series(
            wish, reason=reason, by=by_whom, since=since, until=until, without=tuple(without or ())
        )


@app.command()
def units(
    measure: Measure = "stopped",
    facts: FactsOption = Path("facts"),
    container: Container = "",
    first: First = "",
    last: Last = "",
    only: Only = None,
    near_miss: NearMiss = "stop",
    trail: Trails = None,
    out: Out = None,
    ids: Ids = False,
    sqlite: Small = False,
) -> None:
    """Draw units side by side as a funnel; none is ranked."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish, draw_units

        draw_units(
            Wish(
                measure=measure, facts=facts, container=container, first=first, last=last,
                only=tuple(only or ()), near_miss=near_miss, trails=tuple(trail or ()),
                out=tuple(out or ()), ids=ids, sqlite=sqlite,
            )
        )  # fmt: skip


@app.command()
def kinds(
    measure: Measure = "stops",
    of: Annotated[
        str,
        typer.Option("--of", help="reason hazard step phase container drug_class shift remedy."),
    ] = "reason",
    facts: FactsOption = Path("facts"),
    unit: Unit = "",
    container: Container = "",
    first: First = "",
    last: Last = "",
    only: Only = None,
    near_miss: NearMiss = "stop",
    trail: Trails = None,
    out: Out = None,
    ids: Ids = False,
    sqlite: Small = False,
) -> None:
    """Draw which few kinds make up most (Pareto), and whether their order is sure."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish, draw_kinds

        draw_kinds(
            Wish(
                measure=measure, facts=facts, unit=unit, container=container, first=first,
                last=last, only=tuple(only or ()), near_miss=near_miss, trails=tuple(trail or ()),
                out=tuple(out or ()), ids=ids, sqlite=sqlite,
            ),
            of,
        )  # fmt: skip


@app.command()
def recovery(
    facts: FactsOption = Path("facts"),
    until: Annotated[float, typer.Option("--minutes", help="Up to so many minutes.")] = 10.0,
    unit: Unit = "",
    container: Container = "",
    first: First = "",
    last: Last = "",
    only: Only = None,
    trail: Trails = None,
    out: Out = None,
    ids: Ids = False,
    sqlite: Small = False,
) -> None:
    """Draw how long it takes until a stop is put right, an ending without giving beside it."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish, draw_recovery

        draw_recovery(
            Wish(
                measure="stops", facts=facts, unit=unit, container=container, first=first,
                last=last, only=tuple(only or ()), trails=tuple(trail or ()),
                out=tuple(out or ()), ids=ids, sqlite=sqlite,
            ),
            until,
        )  # fmt: skip
