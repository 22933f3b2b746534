"""Reports as they are asked for at the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import typer

from checklist.counted import MEASURES
from checklist.drawing import progress_plot
from checklist.drawing.plot import Plot
from checklist.drawing.series_plot import own_rules
from checklist.drawing.sheet import Cell, Sheet, as_xlsx
from checklist.faces import chart_out, charting
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import harmless
from checklist.faces.workplace import real_clock
from checklist.report import Month, feedback_pdf, month_pdf
from checklist.review.chart import Chart
from checklist.review.cusum import Plan
from checklist.review.false_alarm import FalseAlarm, expected

GLANCE = ("stopped", "stops", "near-misses", "late-stops", "not-given", "breaks", "recovery")
MONTH_ENDINGS = (".pdf", ".xlsx")
WIDE = 520
"""The width of a plot on an upright page."""


def month_report(wish: Wish, month: str, files: Sequence[Path]) -> None:
    """Set the report of a month, or write its tables."""
    for file in files:
        if file.suffix.lower() not in MONTH_ENDINGS:
            raise CannotGoOn(f"{file} should end in .pdf or .xlsx; nothing was written.")
    report = month_of(wish, month)
    for file in files:
        _write(file, month_made(report, file.suffix.lower()))


def month_made(report: Month, ending: str) -> bytes:
    """A month's report in the form of one of MONTH_ENDINGS. Raises NeedsExtra."""
    if ending == ".pdf":
        return month_pdf(report, real_clock())
    return as_xlsx([report.glance, *(plot.sheet for plot in report.parts)])


def month_of(wish: Wish, month: str) -> Month:
    """The report of a month. Raises CannotGoOn where nothing can be shown."""
    series: list[tuple[str, Plot, Chart, FalseAlarm]] = []
    left_out: list[str] = []
    for name in GLANCE:
        one = replace(wish, measure=name, by="month")
        try:
            plot, drawn, alarm = charting.series_of(one, wide=WIDE)
        except (CannotGoOn, ValueError) as fault:
            left_out.append(f"{MEASURES[name].title} cannot be shown: {fault}")
            continue
        if drawn.marks[-1].label != month:
            left_out.append(f"{MEASURES[name].title}: nothing can be shown for {month}.")
            continue
        series.append((name, plot, drawn, alarm))
    if not series:
        raise CannotGoOn(f"Nothing can be shown for {month}. {' '.join(left_out)}")
    this = replace(wish, first=month, measure="stops")
    parts = [plot for name, plot, _, _ in series if name in ("stopped", "near-misses")]
    for made in (charting.kinds_of, charting.recovery_of):
        try:
            parts.append(made(this, wide=WIDE))
        except (CannotGoOn, ValueError) as fault:
            left_out.append(str(fault))
    alarms = expected(alarm for _, _, _, alarm in series)
    return Month(
        title=f"Quality report, {wish.unit or 'all units'}, {month}",
        about=(
            (
                f"Charts at a glance: {len(series)}; of so many stable ones {alarms:.1f} would show"
                " a signal by chance."
            ),
        ),
        glance=_glance(series, month),
        parts=tuple(parts),
        unknown=tuple(left_out),
        foot=series[0][1].foot[:-1],
    )


def _glance(series: Sequence[tuple[str, Plot, Chart, FalseAlarm]], month: str) -> Sheet:
    """A row for each measure: this month, the month before, the line, and what the rules say."""
    rows: list[tuple[Cell, ...]] = []
    for name, plot, drawn, _ in series:
        last = plot.sheet.rows[-1]
        before = plot.sheet.rows[-2][3] if len(plot.sheet.rows) > 1 else None
        marks = drawn.phases[-1].marks
        here = ", ".join(own_rules(marks[-1]))
        signal = here or ("earlier points or the series" if drawn.signals else "no signal")
        unit = plot.sheet.columns[3]
        rows.append((MEASURES[name].title, unit, last[3], before, last[4], signal))
    columns = ("measure", "unit", month, "month before", "line", "signal")
    return Sheet(name="At a glance", columns=columns, rows=tuple(rows))


def feedback_page(
    about: str,
    out: Path,
    *,
    container: str,
    trail: Path | None,
    ward: Path | None,
    by: str,
    names: bool,
) -> None:
    """Set one page of feedback, once the one who asks may see it."""
    from checklist.faces.coached import sheet_of
    from checklist.faces.review_desk import desk

    if out.suffix.lower() != ".pdf":
        raise CannotGoOn(f"{out} should end in .pdf; nothing was written.")
    with desk(trail, ward, by) as at:
        sheet = sheet_of(at, about, container, names=names)
    _write(out, feedback_pdf(sheet, (), real_clock()))


def progress_chart(
    person: str,
    plan: Plan,
    files: Sequence[Path],
    *,
    container: str,
    trails: Sequence[Path],
    ward: Path | None,
    by: str,
) -> None:
    """Draw a person's learning curve, once the one who asks may see it."""
    from checklist.educator.progress import ALL
    from checklist.faces.coached import attempts_of
    from checklist.faces.review_desk import desk

    with ExitStack() as opened:
        first = opened.enter_context(desk(trails[0] if trails else None, ward, by))
        code = first.person.code
        more = [opened.enter_context(desk(one, ward, code)) for one in trails[1:]]
        found = attempts_of([first, *more], person, container, "", plan)
        seen = chart_out.heads([at.path for at in (first, *more)])
    what = "all containers" if found.container == ALL else found.container.replace("_", " ")
    plot = progress_plot.plotted(
        f"{person}, {what}: preparations without a stop",
        found.right,
        found.curve,
        plan,
        ids=found.ids,
        dates=found.dates,
        trails=seen,
    )
    if not chart_out.handed_out(plot, files, ids=False):
        chart_out.tell(plot)


def _write(file: Path, data: bytes) -> None:
    try:
        file.write_bytes(data)
    except OSError as fault:
        raise CannotGoOn(f"{file} cannot be written ({fault.strerror}).") from fault
    typer.echo(harmless(f"written: {file}"))
