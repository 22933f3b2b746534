"""Charts as they are asked for at the terminal: counted, judged, drawn or told in lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import typer

from checklist import baseline_file, counted
from checklist.baseline_file import Kept
from checklist.counted import MEASURES, Counted, Counting
from checklist.drawing import pareto_plot, series_plot, unit_plot, wait_plot
from checklist.drawing.plot import Plot
from checklist.drawing.series_plot import Beside
from checklist.drawing.wording import Measure, in_hundred
from checklist.faces import chart_out
from checklist.faces.asking import Wish as Asked
from checklist.faces.asking import engine_of
from checklist.faces.leaving import CannotGoOn
from checklist.faces.workplace import quoted, real_clock
from checklist.facts.engine import Engine, Scope
from checklist.facts.label import NEAR_MISSES
from checklist.review import baseline, chart, funnel, pareto, phasing, rehearsal, survival
from checklist.review.baseline import Exclusion
from checklist.review.chart import Chart, Phase
from checklist.review.false_alarm import FalseAlarm, of_rules
from checklist.review.series import Design, Kind, Point
from checklist.review.small_cell import FLOOR, Cell, shown
from checklist.review.special_cause import RULE_SETS, rules_named

COLUMNS = ("reason", "hazard", "step", "phase", "container", "drug_class", "shift", "remedy")
_GAPS = (Kind.G, Kind.T)
WIDE = 760
"""The usual width of a plot, in points of a 96th of an inch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What was asked for at the terminal; see the commands' options."""

    measure: str
    facts: Path
    unit: str = ""
    container: str = ""
    first: str = ""
    last: str = ""
    only: tuple[str, ...] = ()
    near_miss: str = "stop"
    trails: tuple[Path, ...] = ()
    out: tuple[Path, ...] = ()
    ids: bool = False
    sqlite: bool = False
    by: str = "week"
    kind: str = ""
    rules: str = "3 sigma and Anhoej"
    baselines: Path | None = None

    @property
    def scope(self) -> Scope:
        """Which preparations are meant."""
        return Scope(
            unit=self.unit,
            container=self.container,
            first_month=self.first,
            last_month=self.last,
        )

    @property
    def series(self) -> str:
        """The name under which baselines of this series are kept."""
        near = [f"near miss {self.near_miss}"] if "near" in self.measure else []
        parts = (self.unit or "all units", self.container, *sorted(self.only), *near)
        return " / ".join([self.measure, *filter(None, parts), f"by {self.by}"])

    def titled(self, title: str) -> str:
        """A title with what it was narrowed to."""
        words = [part.partition("=")[2].replace("_", " ") for part in self.only]
        parts = [self.unit or "all units", self.container.replace("_", " "), *words]
        months = self.last if self.first == self.last else f"{self.first} to {self.last}".strip()
        span = months if self.first else f"up to {self.last}" if self.last else ""
        return ", ".join([title, *filter(None, [*parts, span])])


def list_measures() -> None:
    """Print the measures with their usual chart."""
    for name, one in MEASURES.items():
        typer.echo(f"{name:<12} {one.kind!s:<4} {one.title}")


def list_rules() -> None:
    """Print the sets of rules with the share of stable series that they alarm on."""
    for name, one in RULE_SETS.items():
        alarm = of_rules(one, 24, series=1000)
        typer.echo(f"{name}: {in_hundred(alarm.chance)} of 100 stable series of 24 points alarm")
        typer.echo(f"  {'; '.join(one.rules)}")
        typer.echo(f"  {one.source}")


@contextmanager
def opened(wish: Wish) -> Iterator[Engine]:
    """The engine on the facts that are meant."""
    if wish.near_miss not in NEAR_MISSES:
        raise CannotGoOn(
            f"No definition of a near miss is named {wish.near_miss!r}. There are:"
            f" {', '.join(NEAR_MISSES)}."
        )
    engine = engine_of(
        Asked(
            name="", facts=wish.facts, scope=wish.scope, near_miss=wish.near_miss,
            sqlite=wish.sqlite,
        )
    )  # fmt: skip
    try:
        yield engine
    finally:
        engine.close()


def draw_series(wish: Wish) -> None:
    """Draw or tell a series."""
    plot, drawn, _ = series_of(wish)
    if chart_out.handed_out(plot, wish.out, ids=wish.ids):
        return
    words = words_of(wish, measure_of(wish.measure))
    chart_out.tell_series(plot, drawn, scale=_scale(drawn.design, words))
    typer.echo(f"next: add --ids, or --out {quoted(wish.measure + '.html')}")


def series_of(wish: Wish, *, wide: int = WIDE) -> tuple[Plot, Chart, FalseAlarm]:
    """The plot of a series, the chart behind it, and how often one like it is wrong."""
    counting, design = measure_of(wish.measure), design_of(wish)
    origins = chart_out.origins(wish.facts, wish.trails, wish.unit)
    drawn, found, gap = drawn_of(wish)
    alarm = rehearsal.of_chart(drawn)
    newest = drawn.phases[-1].baseline
    beside = Beside(
        alarm=alarm,
        ids=found.ids,
        trails=origins,
        hidden=found.hidden,
        remarks={},
        gap=chart.since_last(newest, gap) if design.kind is Kind.G else None,
    )
    plot = series_plot.plotted(drawn, words_of(wish, counting), beside, wide=wide)
    return plot, drawn, alarm


def drawn_of(wish: Wish) -> tuple[Chart, Counted, int]:
    """The chart of a series with the points behind it and the open gap of a g chart."""
    counting, design = measure_of(wish.measure), design_of(wish)
    with opened(wish) as engine:
        found, gap = points_of(engine, wish, counting, design)
        phases = phases_of(engine, wish, design, found.points)
    return chart.draw(design, found.points, phases), found, gap


def points_of(
    engine: Engine, wish: Wish, counting: Counting, design: Design
) -> tuple[Counted, int]:
    """The points of a series, with the open gap of a g chart; refuses where too few are shown."""
    gap = 0
    if design.kind in _GAPS:
        found, gap = counted.between(
            engine, counting, in_time=design.kind is Kind.T, only=_only(wish.only)
        )
    else:
        found = counted.series(engine, counting, by=wish.by, only=_only(wish.only))
    if len(found.points) < 2:
        raise CannotGoOn(
            f"{len(found.points)} points can be shown and {len(found.hidden)} rest on fewer than"
            f" {FLOOR.people} people or {FLOOR.preparations} preparations. Take months, all units"
            " or a longer stretch; for rare events a g chart."
        )
    return found, gap


def phases_of(
    engine: Engine, wish: Wish, design: Design, points: Sequence[Point]
) -> tuple[Phase, ...]:
    """The phases of a series: at changes of rules and at baselines that are kept for it."""
    kept = baseline_file.of_series(baseline_file.read(_lines_at(wish)), wish.series, design)
    changes = {} if design.kind in _GAPS else dict(counted.new_rules(engine, wish.by))
    return phasing.phases([point.label for point in points], changes, kept)


def freeze_series(
    wish: Wish, *, reason: str, by: str, since: str, until: str, without: tuple[str, ...]
) -> None:
    """Freeze the line of a series on a stretch of it, keep it and say so."""
    path = _lines_at(wish)
    kept = frozen(wish, reason=reason, by=by, since=since, until=until, without=without)
    line = kept.baseline
    typer.echo(
        f"Kept in {path}: {kept.series}, version {line.version},"
        f" {len(line.labels)} points ({line.standing})."
    )
    typer.echo(f"next: checklist chart series {wish.measure} --baselines {quoted(path)}")


def frozen(
    wish: Wish, *, reason: str, by: str, since: str, until: str, without: Sequence[str] = ()
) -> Kept:
    """The line of a series, frozen on a stretch of it (from its first point where `since` is "").

    `without` are the points left out, each "LABEL=REASON". Raises CannotGoOn, Unusable,
    BaselineFault.
    """
    counting, design = measure_of(wish.measure), design_of(wish)
    with opened(wish) as engine:
        found, _ = points_of(engine, wish, counting, design)
    labels = [point.label for point in found.points]
    first = since or labels[0]
    for label in (first, until):
        if label not in labels:
            raise CannotGoOn(f"No point is labelled {label!r}. They go from {labels[0]} on.")
    stretch = found.points[labels.index(first) : labels.index(until) + 1]
    excluded = [
        Exclusion(label=label, reason=why)
        for label, _, why in (one.partition("=") for one in without)
    ]
    line = baseline.freeze(design, stretch, reason=reason, excluded=excluded)
    return baseline_file.keep(_lines_at(wish), wish.series, line, by=by, at=real_clock())


def draw_units(wish: Wish) -> None:
    """Draw or tell units side by side."""
    plot = units_of(wish)
    if not chart_out.handed_out(plot, wish.out, ids=wish.ids):
        chart_out.tell(plot)


def units_of(wish: Wish, *, wide: int = WIDE) -> Plot:
    """The plot of units side by side."""
    counting = measure_of(wish.measure)
    if counting.value:
        raise CannotGoOn(f"{wish.measure} is a time; units are compared by counts. Try stopped.")
    origins = chart_out.origins(wish.facts, wish.trails, wish.unit)
    with opened(wish) as engine:
        sizes = counted.sizes_of(engine, "unit")
        counts, ids = counted.by_column(engine, counting, "unit", only=_only(wish.only))
    names = list(sizes)
    seen = [name for name in names if shown(sizes[name])]
    if not seen:
        raise CannotGoOn("Too few preparations or people stand behind each unit to show it.")
    units = [
        funnel.UnitCount(unit=n, count=counts.get(n, 0), size=sizes[n].preparations) for n in seen
    ]
    kind = funnel.Count.SHARE if counting.once else funnel.Count.RATE
    return unit_plot.plotted(
        funnel.draw(units, kind),
        words_of(replace(wish, unit=""), counting),
        ids={name: ids.get(name, ()) for name in seen},
        trails=origins,
        hidden=[name for name in names if name not in seen],
        wide=wide,
    )


def draw_kinds(wish: Wish, column: str) -> None:
    """Draw or tell which kinds make up most."""
    plot = kinds_of(wish, column)
    if not chart_out.handed_out(plot, wish.out, ids=wish.ids):
        chart_out.tell(plot, bars=True)


def kinds_of(wish: Wish, column: str = "reason", *, wide: int = WIDE) -> Plot:
    """The plot of which kinds make up most."""
    counting = measure_of(wish.measure)
    if column not in COLUMNS:
        raise CannotGoOn(f"Kinds can be told by {', '.join(COLUMNS)}; {column!r} is none of them.")
    if counting.source != "found" or counting.value:
        raise CannotGoOn(f"{wish.measure} has no kinds. Take stops, cautions or near-misses.")
    origins = chart_out.origins(wish.facts, wish.trails, wish.unit)
    with opened(wish) as engine:
        counts, ids = counted.by_column(engine, counting, column, only=_only(wish.only))
        whole = engine.rows("SELECT count(*), count(DISTINCT preparer) FROM preparations").rows[0]
        own = counted.sizes_of(engine, "container") if column == "container" else {}
    if not shown(Cell(people=int(whole[1]), preparations=int(whole[0]))):
        raise CannotGoOn("Too few preparations or people stand behind this to show it.")
    # The floor is on what a number rests on: all preparations, or those of the container.
    few = [name for name in sorted(counts) if name in own and not shown(own[name])]
    kept = {name: count for name, count in counts.items() if name not in few}
    if few:
        kept["other"] = kept.get("other", 0) + sum(counts[name] for name in few)
    named = {n.replace("_", " "): c for n, c in kept.items()}
    return pareto_plot.plotted(
        pareto.draw(named),
        words_of(wish, replace(counting, title=f"{counting.title} by {column.replace('_', ' ')}")),
        ids={n.replace("_", " "): ids[n] for n in kept if n in ids},
        trails=origins,
        hidden=few,
        wide=wide,
    )


def draw_recovery(wish: Wish, until: float) -> None:
    """Draw or tell how long stops take until they are put right."""
    plot = recovery_of(wish, until)
    if not chart_out.handed_out(plot, wish.out, ids=wish.ids):
        chart_out.tell(plot)


def recovery_of(wish: Wish, until: float = 10.0, *, wide: int = WIDE) -> Plot:
    """The plot of how long stops take until they are put right."""
    counting = measure_of("stops")
    origins = chart_out.origins(wish.facts, wish.trails, wish.unit)
    where = counted.condition(counting, _only(wish.only))
    with opened(wish) as engine:
        rows = engine.rows(
            f"SELECT preparation, fate, wait, preparer FROM found WHERE {where}"
            " AND wait IS NOT NULL ORDER BY preparation, seq"
        ).rows
    people = len({row[3] for row in rows})
    if not shown(Cell(people=people, preparations=len({row[0] for row in rows}))):
        raise CannotGoOn(
            f"Recovery cannot be shown: the stops are of fewer than {FLOOR.people} people or"
            f" {FLOOR.preparations} preparations. Take a longer stretch or all units."
        )
    spells, ids = [], {"put right": [], "ended without giving": []}  # type: ignore[var-annotated]
    for preparation, fate, wait, _ in rows:
        ending = {"recovered": "put right", "discarded": "ended without giving",
                  "abandoned": "ended without giving"}.get(fate)  # fmt: skip
        spells.append(survival.Spell(time=float(wait) / 60, ending=ending))
        if ending and preparation not in ids[ending]:
            ids[ending].append(preparation)
    stairs = [
        wait_plot.Stairs(name=n, curve=survival.incidence(spells, n), limits=n == "put right")
        for n in ids
        if any(spell.ending == n for spell in spells)
    ]
    return wait_plot.plotted(
        wish.titled("Time from a stop until it is put right"),
        stairs,
        what="was put right, or ended without giving",
        time="minutes",
        until=until,
        ids={name: tuple(found) for name, found in ids.items()},
        trails=origins,
        wide=wide,
    )


def measure_of(name: str) -> Counting:
    """The measure of that name. Raises CannotGoOn."""
    if name not in MEASURES:
        raise CannotGoOn(f"There is no measure {name!r}. There are: {', '.join(MEASURES)}.")
    return MEASURES[name]


def design_of(wish: Wish) -> Design:
    """How the series is charted. Raises CannotGoOn for a word that is not known."""
    counting = measure_of(wish.measure)
    if wish.by not in counted.PERIODS:
        raise CannotGoOn(f"A point stands for a week or a month; {wish.by!r} is neither.")
    rules = rules_named(wish.rules)
    kinds = {str(kind).casefold(): kind for kind in Kind if kind is not Kind.NP}
    if wish.kind and wish.kind.casefold() not in kinds:
        raise CannotGoOn(f"There is no {wish.kind!r} chart here. There are: {', '.join(kinds)}.")
    kind = kinds[wish.kind.casefold()] if wish.kind else counting.kind
    if counting.value and kind not in (Kind.XMR, Kind.RUN):
        raise CannotGoOn(f"{wish.measure} is a time: an XmR or run chart fits, no {kind} chart.")
    if kind in (Kind.P, Kind.P_PRIME) and not counting.once:
        raise CannotGoOn(f"A preparation can have several {counting.events_are}: take u or u'.")
    return Design(kind=kind, rules=rules)


def words_of(wish: Wish, counting: Counting) -> Measure:
    """The words of a measure."""
    return Measure(
        title=wish.titled(counting.title),
        events=counting.events_are,
        period=wish.by,
        unit=counting.unit,
    )


def _lines_at(wish: Wish) -> Path:
    """The file of frozen lines that is meant."""
    return wish.baselines or baseline_file.place(Path())


def _only(given: Sequence[str]) -> Mapping[str, str]:
    only = dict(one.partition("=")[::2] for one in given)
    for name in only:
        if name not in counted.FILTERS:
            raise CannotGoOn(f"{name!r} is not one of {', '.join(counted.FILTERS)}.")
    return only


def _scale(design: Design, words: Measure) -> float:
    return 1.0 if design.kind in (*_GAPS, Kind.XMR) or words.unit else float(words.per)
