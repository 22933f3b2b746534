"""Drawings: every word in its place, told without colour, each mark leading to preparations."""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import altair
import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.drawing import (
    letters,
    page,
    pareto_plot,
    picture,
    progress_plot,
    series_plot,
    unit_plot,
    wait_plot,
)
from checklist.drawing.origin import Origin
from checklist.drawing.plot import Dash, Plot, Shape, nice_axis, spread
from checklist.drawing.series_plot import Beside
from checklist.drawing.vega import specification
from checklist.drawing.vega_words import SMALL
from checklist.drawing.wording import Measure
from checklist.review import baseline, chart, cusum, funnel, pareto, survival
from checklist.review.chart import Chart, Phase
from checklist.review.false_alarm import FalseAlarm
from checklist.review.series import Design, Kind, Point

SPC = Path(__file__).parent / "data" / "spc"
AT = datetime(2026, 11, 25, 14, 2, tzinfo=UTC)
WHOLE = Origin(
    trail="W7E.db", unit="W7E", entries=4021, whole=True, head_seq=4021,
    head_digest="7f3a91c20d44e8b1" * 4, verified_at=AT,
)  # fmt: skip
BROKEN = Origin(
    trail="W3N.db", unit="W3N", entries=90, whole=False, head_seq=90, head_digest="ab" * 32,
    verified_at=AT, trouble="Entry 17 does not follow.",
)  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"
WORDS = Measure(title="Preparations with a stop, W7E", events="with a stop")


def weeks(count: int = 36) -> tuple[Chart, Beside]:
    """A p chart with a frozen line, a second phase, a signal and a point left out."""
    draw = random.Random(3)
    sizes = [draw.randint(40, 90) for _ in range(count)]
    points = [
        Point(
            label=f"2026-W{i + 1:02d}",
            count=sum(draw.random() < (0.4 if i == 22 else 0.1) for _ in range(n)),
            size=n,
        )
        for i, n in enumerate(sizes)
    ]
    design = Design(kind=Kind.P)
    left_out = baseline.Exclusion(label="2026-W05", reason="bank staff")
    line = baseline.freeze(design, points[:20], reason="before", excluded=[left_out], version=2)
    drawn = chart.draw(
        design,
        points,
        (
            Phase(start=points[0].label, reason="rules 1", baseline=line),
            Phase(start=points[24].label, reason="rules 2"),
        ),
    )
    alarm = FalseAlarm(points=count, chance=0.23, low=0.2, high=0.26, how="simulated, 1000 series")
    ids = {p.label: tuple(f"{p.label}-{k}" for k in range(int(p.count))) for p in points}
    beside = Beside(
        alarm=alarm, ids=ids, trails=(WHOLE,), hidden=("2026-W40",),
        remarks={"2026-W12": "a new shelf"},
    )  # fmt: skip
    return drawn, beside


def series() -> Plot:
    drawn, beside = weeks()
    return series_plot.plotted(drawn, WORDS, beside)


def units() -> Plot:
    draw = random.Random(4)
    found = [
        funnel.UnitCount(unit=f"Ward {i}", count=round(n * draw.uniform(0.08, 0.2)), size=n)
        for i in range(1, 15)
        for n in [draw.randint(60, 900)]
    ]
    ids = {one.unit: ("a", "b") for one in found}
    drawn = funnel.draw(found, funnel.Count.SHARE)
    return unit_plot.plotted(drawn, WORDS, ids=ids, trails=(WHOLE,), hidden=["Ward 99"])


def kinds() -> Plot:
    counts = json.loads((SPC / "pareto_harm.json").read_text())["data"]
    found = pareto.draw({f"kind {i}": n for i, n in enumerate(counts)})
    ids = {bar.kind: ("x",) for bar in found.bars}
    return pareto_plot.plotted(found, WORDS, ids=ids, trails=(WHOLE,))


def waits() -> Plot:
    draw = random.Random(6)
    spells = [
        survival.Spell(
            time=draw.lognormvariate(0, 0.9), ending=draw.choice(["put right"] * 9 + ["ended"])
        )
        for _ in range(150)
    ]
    stairs = [
        wait_plot.Stairs(name=name, curve=survival.incidence(spells, name), limits=name != "ended")
        for name in ("put right", "ended")
    ]
    return wait_plot.plotted(
        "Time to recovery", stairs, what="was put right", time="minutes", until=10,
        ids={"ended": ("x", "y")}, trails=(WHOLE,),
    )  # fmt: skip


def progress() -> Plot:
    plan = cusum.Plan(acceptable=0.1, unacceptable=0.2, alpha=0.1, beta=0.1)
    draw = random.Random(8)
    right = [draw.random() < (0.6 if i < 10 else 0.97) for i in range(50)]
    attempts = cusum.trainee(right, plan)
    ids = [f"prep-{i}" for i in range(50)]
    return progress_plot.plotted("RN-20", right, attempts, plan, ids=ids, trails=(WHOLE,))


PLOTS: dict[str, Callable[[], Plot]] = {
    "series": series, "units": units, "kinds": kinds, "waits": waits, "progress": progress,
}  # fmt: skip


@pytest.fixture(params=PLOTS)
def plot(request: pytest.FixtureRequest) -> Plot:
    return PLOTS[request.param]()


# -- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "bold"), [("DejaVuSans", False), ("DejaVuSans-Bold", True)])
def test_text_is_never_wider_than_it_is_taken_for(name: str, bold: bool) -> None:
    font = TTFont(letters.FONTS / f"{name}.ttf")
    known, advance = font.getBestCmap(), font["hmtx"]
    for char in map(chr, range(32, 127)):
        real = advance[known[ord(char)]][0] / font["head"].unitsPerEm * 10
        taken = letters.width(char, 10, bold=bold)
        assert real <= taken + 1e-9
        assert bold or real == pytest.approx(taken)


@given(st.text(alphabet="abc W1 .5mL", max_size=200), st.floats(20, 400))
def test_broken_lines_fit_and_lose_no_letter(text: str, room: float) -> None:
    found = letters.lines(text, room, 10)
    assert all(letters.width(line, 10) <= room for line in found)
    assert "".join("".join(found).split()) == "".join(text.split())


def test_a_number_stays_with_its_unit_at_a_line_end() -> None:
    text = "the line rests on 20 points"
    for room in range(80, 200, 5):
        assert not any(
            line.endswith(" 20") or line == "20" for line in letters.lines(text, room, 10)
        )


def boxes(plot: Plot) -> Iterator[tuple[str, float, float, float, float]]:
    """Each word of the finished picture with its box, from the SVG itself."""
    root = ElementTree.fromstring(picture.svg(plot))
    seen: set[tuple[str, float, float]] = set()

    def walk(node: ElementTree.Element, x: float, y: float) -> Iterator[Any]:
        move = re.match(r"translate\(([-\d.]+)(?:,([-\d.]+))?\)", node.get("transform", ""))
        if move:
            x, y = x + float(move[1]), y + float(move[2] or 0)
        if node.tag == f"{SVG}text" and node.text:
            size = float(node.get("font-size", "0px")[:-2])
            long = letters.width(node.text, size, bold=node.get("font-weight") == "bold")
            if node.get("font-weight") == "bold":
                long /= 1.1  # bold letters are taken for wider than nearly all are
            anchor = {"middle": 0.5, "end": 1.0}.get(node.get("text-anchor", "start"), 0.0)
            if "rotate" in node.get("transform", ""):
                box = (x - size * 0.4, y - long, x + size * 0.4, y)
            else:
                left = x - long * anchor
                box = (left, y - size * 0.75, left + long, y + size * 0.1)
            if (node.text, round(x, 1), round(y, 1)) not in seen:  # a name and its white rim
                seen.add((node.text, round(x, 1), round(y, 1)))
                yield node.text, *box
        for child in node:
            yield from walk(child, x, y)

    yield from walk(root, 0.0, 0.0)


@pytest.mark.parametrize("wide", [0, 520])
def test_no_words_overlap_or_leave_the_picture(plot: Plot, wide: int) -> None:
    if wide and plot.title.startswith("Preparations with a stop, W7E"):
        drawn, beside = weeks(26)
        plot = series_plot.plotted(drawn, WORDS, beside, wide=wide)
    found = list(boxes(plot))
    assert len(found) > 20
    root = ElementTree.fromstring(picture.svg(plot))
    right, bottom = float(root.get("width", "0")), float(root.get("height", "0"))
    for text, left, top, far, low in found:
        assert left >= 0 and top >= 0 and far <= right + 1 and low <= bottom, text
    for (a, *one), (b, *two) in combinations(found, 2):
        apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
        assert apart, (a, b)


def test_no_letter_is_smaller_than_in_print_can_be_read(plot: Plot) -> None:
    sizes = {float(size) for size in re.findall(r'font-size="([\d.]+)px"', picture.svg(plot))}
    assert min(sizes) >= SMALL >= 10.5  # 7.9 points at 96 to the inch


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    line = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * line[0] + 0.7152 * line[1] + 0.0722 * line[2]


def test_all_is_grey_and_words_and_lines_stand_out(plot: Plot) -> None:
    """Text at 7:1, lines and marks at 3:1 against white; only the grid is faint (WCAG 1.4.3/11)."""
    text = json.dumps(specification(plot))
    colours = set(re.findall(r"#[0-9A-Fa-f]{6}\b", text))
    assert all(c[1:3] == c[3:5] == c[5:7] for c in colours)
    svg = picture.svg(plot)
    for colour in re.findall(r'<text[^>]* fill="(#[0-9a-fA-F]{6})"', svg):
        assert 1.05 / (luminance(colour) + 0.05) >= 7
    assert not re.search(r"\b(red|green|orange|amber|yellow|blue)\b", text)


# -- the specification ---------------------------------------------------------------------------


def test_the_specification_is_one_by_the_open_schema(plot: Plot) -> None:
    """Held to the Vega-Lite schema that the package altair ships."""
    altair.LayerChart.from_dict(specification(plot))


def test_a_specification_fetches_nothing(plot: Plot) -> None:
    text = json.dumps({k: v for k, v in specification(plot).items() if k != "$schema"})
    assert "http" not in text
    assert '"url"' not in text


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_an_axis_holds_its_figures_with_few_round_ticks(low: float, room: float) -> None:
    axis = nice_axis("", low, low + room)
    slack = 1e-6 * max(abs(low), room)
    assert axis.low <= low + slack
    assert axis.high >= low + room - slack
    assert 2 <= len(axis.ticks) <= 10
    assert len({tick.words for tick in axis.ticks}) == len(axis.ticks)


@given(st.lists(st.floats(0, 260), min_size=1, max_size=6))
def test_words_at_line_ends_are_kept_apart_in_order(wanted: list[float]) -> None:
    placed = spread(wanted, 15, 0, 260)
    ordered = sorted(placed)
    assert all(b - a >= 15 - 1e-9 for a, b in pairwise(ordered))
    assert all(-1e-9 <= one <= 260 + 1e-9 for one in placed)


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(40, 90)), min_size=4, max_size=60))
def test_every_point_is_drawn_told_and_leads_on(figures: list[tuple[int, int]]) -> None:
    points = [Point(label=f"w{i:02d}", count=min(c, n), size=n) for i, (c, n) in enumerate(figures)]
    if not 0 < sum(p.count for p in points) < sum(p.size for p in points):
        return
    drawn = chart.draw(Design(kind=Kind.P), points)
    ids = {p.label: tuple(map(str, range(int(p.count)))) for p in points}
    plot = series_plot.plotted(drawn, WORDS, Beside(ids=ids, remarks={}))
    assert len(plot.marks) == len(plot.sheet.rows) == len(plot.groups) == len(points)
    for mark, point, group, row in zip(
        plot.marks, points, plot.groups, plot.sheet.rows, strict=True
    ):
        assert mark.y == pytest.approx(100 * point.count / point.size)
        assert plot.y.low <= mark.y <= plot.y.high
        assert (mark.key or "none") == (group.key if ids[point.label] else "none")
        assert group.ids == ids[point.label]
        assert row[-1] == len(group.ids)
        assert point.label in mark.says


# -- what stands beside a chart ------------------------------------------------------------------


def test_the_margin_says_what_a_reader_has_to_know() -> None:
    plot = series()
    notes = "\n".join(plot.notes)
    for words in (
        "1  From 2026-W01: rules 1; line",
        "frozen, version 2, on 19 points, 2026-W01 to 2026-W20: before",
        "2  From 2026-W25: rules 2; line",
        "not frozen",
        "Signal: outside the limits, above: 2026-W23.",
        "Rules: 3 sigma and Anhoej. Of 100 stable series like this one, 23 (20 to 26)",
        "1 week rests on fewer than 5 people or 20 preparations",
        "a  2026-W12: a new shelf",
        "2026-W05 is left out of the line: bank staff.",
    ):
        assert words in notes
    shapes = [mark.shape for mark in plot.marks]
    assert shapes[4] is Shape.LEFT_OUT
    assert shapes[22] is Shape.SIGNAL
    assert [one.words for one in plot.breaks] == ["2"]
    assert {one.dash for one in plot.strokes} == {Dash.SOLID, Dash.LONG, Dash.SHORT}


def test_the_foot_tells_the_trail_its_verification_and_its_head() -> None:
    (line, _) = series().foot
    assert line == (
        "Trail W7E.db of W7E: 4021 entries, whole, verified 25 Nov 2026 14:02 UTC; head entry"
        " 4021, 7f3a 91c2 0d44 e8b1 7f3a 91c2 0d44 e8b1."
    )


def test_a_damaged_trail_puts_a_line_across_the_chart() -> None:
    drawn, beside = weeks()
    broken = Beside(ids=beside.ids, remarks={}, trails=(WHOLE, BROKEN))
    plot = series_plot.plotted(drawn, WORDS, broken)
    assert plot.stamp == "Not to be relied on: trail W3N.db has been changed"
    svg = "".join(ElementTree.fromstring(picture.svg(plot)).itertext())
    assert "Not to be relied on" in svg
    assert "NOT AS IT WAS RECORDED" in plot.foot[1]
    assert 'class="stamp"' in page.page(plot)


def test_a_signal_of_the_series_fills_no_single_mark() -> None:
    """Few crossings are the whole series' signal: else each of its marks would be filled."""
    counts = [5] * 8 + [9] * 8 + [5] * 8 + [9] * 8
    points = [Point(label=f"{i:02d}", count=n, size=50) for i, n in enumerate(counts)]
    drawn = chart.draw(Design(kind=Kind.P), points)
    assert [str(signal.rule) for signal, _ in drawn.signals] == [
        "unusually few crossings of the line"
    ]
    plot = series_plot.plotted(drawn, WORDS, Beside(ids={}, remarks={}))
    assert {mark.shape for mark in plot.marks} == {Shape.RING}
    assert "Signal: unusually few crossings of the line: 00 to 31." in plot.notes


def test_no_unit_is_ranked_and_small_ones_are_only_named() -> None:
    plot = units()
    names = [row[0] for row in plot.sheet.rows]
    assert names == sorted(map(str, names))
    assert "Too few to show: Ward 99." in plot.notes


PUBLISHED = [
    ("p_orange_juice", Kind.P), ("p_variable_n", Kind.P), ("pprime_nhs_waits", Kind.P_PRIME),
    ("u_pc_manufacture", Kind.U), ("u_dyed_cloth", Kind.U), ("c_circuit_boards", Kind.C),
    ("xmr_viscosity", Kind.XMR), ("xmr_nist_flowrate", Kind.XMR), ("t_valve_failures", Kind.T),
]  # fmt: skip


@pytest.mark.parametrize(("name", "kind"), PUBLISHED)
def test_published_sets_are_drawn_as_they_are(name: str, kind: Kind) -> None:
    """The sets and their sources are in tests/data/spc/."""
    held = json.loads((SPC / f"{name}.json").read_text())
    data = held["data"]
    sizes = held.get("denominators") or [1] * len(data)
    if isinstance(sizes, int | float):
        sizes = [sizes] * len(data)
    if kind in (Kind.XMR, Kind.T, Kind.C):
        sizes = [1] * len(data)
    points = [
        Point(label=f"{i + 1}", count=c, size=n)
        for i, (c, n) in enumerate(zip(data, sizes, strict=True))
    ]
    drawn = chart.draw(Design(kind=kind), points)
    words = Measure(title=name, events="events", unit="units" if kind is Kind.XMR else "")
    plot = series_plot.plotted(drawn, words, Beside(ids={}, remarks={}))
    scale = 100 if kind in (Kind.P, Kind.P_PRIME, Kind.U) else 1
    assert [mark.y for mark in plot.marks] == pytest.approx(
        [scale * c / n for c, n in zip(data, sizes, strict=True)]
    )
    ends = {stroke.words.split(" ")[0]: stroke.points[-1][1] for stroke in plot.strokes}
    assert ends["line"] == pytest.approx(scale * drawn.marks[-1].line)
    assert ends["upper"] == pytest.approx(scale * (drawn.marks[-1].high or 0))
    texts = "".join(ElementTree.fromstring(picture.svg(plot)).itertext())
    assert name in texts
    assert "line " in texts


# -- pictures and pages --------------------------------------------------------------------------


def test_a_picture_is_the_same_each_time_and_needs_nothing_from_outside(plot: Plot) -> None:
    svg = picture.svg(plot)
    assert svg == picture.svg(plot)
    assert set(re.findall(r"https?://[^\"' ]+", svg)) == {
        "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink",
    }  # fmt: skip
    png = picture.png(plot, ppi=96)
    assert png.startswith(b"\x89PNG")
    root = ElementTree.fromstring(svg)
    wide = int.from_bytes(png[16:20], "big")
    assert wide == pytest.approx(float(root.get("width", "0")), abs=2)


def test_each_mark_of_a_page_leads_to_as_many_preparations_as_it_says(plot: Plot) -> None:
    html = page.page(plot)
    links = re.findall(r'<a href="#([\w-]+)"><path aria-label="([^"]*)"', html)
    keyed = {mark.key: mark.says for mark in plot.marks if mark.key}
    keyed |= {bar.key: bar.says for bar in plot.bars if bar.key}
    assert dict(links) == keyed
    for group in plot.groups:
        if not group.ids:
            continue
        (section,) = re.findall(rf'<section id="{group.key}".*?</section>', html)
        assert section.count("<li>") == len(group.ids)
        if group.key in keyed and "to look at" in keyed[group.key]:
            assert f"; {len(group.ids)} to look at" in keyed[group.key]
    for row in plot.sheet.rows:
        assert f">{row[0]}<" in html


def test_a_page_runs_no_script_and_loads_nothing(plot: Plot) -> None:
    html = page.page(plot)
    assert "<script" not in html
    assert "default-src 'none'" in html
    assert not re.search(r"(?:src|href)=\"(?!#)", html)
    assert not re.search(r"url\(|@import", html)


def test_words_of_people_cannot_become_markup_in_a_page() -> None:
    found = pareto.draw({"<script>alert(1)</script>": 3, "b": 2})
    ids = {"<script>alert(1)</script>": ('"><img src=x>',)}
    html = page.page(pareto_plot.plotted(found, WORDS, ids=ids))
    assert "<script" not in html
    assert "<img" not in html


def test_a_browser_without_a_network_shows_the_page(tmp_path: Path) -> None:
    browser = shutil.which("chromium")
    if browser is None:
        pytest.skip("no Chromium is installed here")
    file = tmp_path / "chart.html"
    file.write_text(page.page(series()), encoding="utf-8")
    done = subprocess.run(
        [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--proxy-server=127.0.0.1:9",
            f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom", file.as_uri(),
        ],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stdout.count('<a href="#point-') >= 36
    assert "Refused to" not in done.stderr
