"""Commands that set reports on paper: the month of a unit, and one person's feedback."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import FactsOption, TrailOption, WardOption

app = typer.Typer(
    help="Set reports on paper (PDF), or their tables in a workbook.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def report() -> None:
    """Set reports on paper (PDF), or their tables in a workbook."""


@app.command()
def month(
    month: Annotated[str, typer.Argument(metavar="MONTH", help="Such as 2026-11.")],
    out: Annotated[
        list[Path], typer.Option("--out", metavar="FILE", help="Write .pdf, or tables as .xlsx.")
    ],
    facts: FactsOption = Path("facts"),
    unit: Annotated[str, typer.Option("--unit", help="Of one unit.")] = "",
    near_miss: Annotated[
        str, typer.Option("--near-miss", help="What counts as a near miss.")
    ] = "stop",
    baselines: Annotated[
        Path | None,
        typer.Option("--baselines", metavar="FILE", help="The file of frozen baselines."),
    ] = None,
    trail: Annotated[
        list[Path] | None,
        typer.Option("--trail", metavar="PATH", help="A trail, or a folder, to verify first."),
    ] = None,
) -> None:
    """Set the month's report for those who look after quality: what moved, and what is not known.

    The series run over all months up to this one; kinds and recovery are of this month.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.charting import Wish
        from checklist.faces.reporting import month_report

        wish = Wish(
            measure="stopped", facts=facts, unit=unit, last=month, near_miss=near_miss,
            baselines=baselines, trails=tuple(trail or ()),
        )  # fmt: skip
        month_report(wish, month, tuple(out))


@app.command()
def feedback(
    about: Annotated[str, typer.Argument(metavar="PERSON|ID", help="A person or preparation.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF to write.")],
    by: Annotated[str, typer.Option("--as", metavar="CODE", help="Your staff code.")],
    container: Annotated[str, typer.Option("--container", help="Of one container.")] = "",
    trail: TrailOption = None,
    ward: WardOption = None,
    names: Annotated[bool, typer.Option("--names", help="Show the name as well.")] = False,
) -> None:
    """Set one page of feedback, for this person and their educator only; refused to others."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.reporting import feedback_page

        feedback_page(about, out, container=container, trail=trail, ward=ward, by=by, names=names)


@app.command()
def progress(
    person: Annotated[str, typer.Argument(metavar="PERSON", help="The staff code.")],
    by: Annotated[str, typer.Option("--as", metavar="CODE", help="Your staff code.")],
    out: Annotated[
        list[Path] | None,
        typer.Option("--out", metavar="FILE", help="Write .svg .png .html .pdf .csv or .xlsx."),
    ] = None,
    container: Annotated[str, typer.Option("--container", help="Of one container.")] = "",
    acceptable: Annotated[float, typer.Option("--p0", help="Acceptable share of stops.")] = 0.1,
    unacceptable: Annotated[float, typer.Option("--p1", help="Share not acceptable.")] = 0.2,
    alpha: Annotated[float, typer.Option("--alpha", help="Risk of stopping for nothing.")] = 0.1,
    beta: Annotated[float, typer.Option("--beta", help="Risk of passing too soon.")] = 0.1,
    trail: Annotated[
        list[Path] | None,
        typer.Option("--trail", metavar="FILE", help="The trail, or several in order."),
    ] = None,
    ward: WardOption = None,
) -> None:
    """Draw a person's learning curve, for them and their educator only; refused to others."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.reporting import progress_chart
        from checklist.review.cusum import Plan

        plan = Plan(acceptable=acceptable, unacceptable=unacceptable, alpha=alpha, beta=beta)
        progress_chart(
            person, plan, tuple(out or ()), container=container, trails=tuple(trail or ()),
            ward=ward, by=by,
        )  # fmt: skip
