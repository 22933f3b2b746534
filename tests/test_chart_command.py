"""The chart and report commands as they are used: counted, drawn, kept, told and refused."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest
from typer.testing import CliRunner, Result

from checklist import counted
from checklist.counted import MEASURES
from checklist.drawing import paper
from checklist.faces.cli import app
from checklist.facts.engine import Answer, Duck, Engine, Scope, Small, rows_of
from checklist.facts.folder import Folder, write_parquet
from checklist.report import UNKNOWN, feedback_pdf
from checklist.review import feedback
from tests.charted import A_WEEK, CHANGED, WEEKS, folder
from tests.test_drawing import series, units

AT = datetime(2026, 11, 25, 14, 2, tzinfo=UTC)


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return folder(tmp_path_factory.mktemp("facts") / "facts").path


def run(*words: str | Path, code: int = 0) -> Result:
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == code, done.output
    return done


# -- counting ------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MEASURES)
@pytest.mark.parametrize("by", counted.PERIODS)
def test_both_engines_count_alike(facts: Path, name: str, by: str) -> None:
    scope = Scope(unit="W7E")
    with (
        Duck(Folder(facts), scope=scope) as duck,
        Small(rows_of(Folder(facts)), scope=scope) as small,
    ):
        one, two = (counted.series(e, MEASURES[name], by=by) for e in (duck, small))
        assert one == two
        assert counted.new_rules(duck, by) == counted.new_rules(small, by)


def test_every_count_is_that_of_the_rows_and_leads_to_them(facts: Path) -> None:
    rows = rows_of(Folder(facts))
    with Duck(Folder(facts)) as duck:
        found = counted.series(duck, MEASURES["stopped"], by="week")
        columns = duck.rows("SELECT * FROM preparations").columns
    place = {name: columns.index(name) for name in ("week", "refusals", "preparation")}
    by_hand: dict[str, set[str]] = {}
    for row in rows["preparations"]:
        week = by_hand.setdefault(row[place["week"]], set())
        if row[place["refusals"]]:
            week.add(row[place["preparation"]])
    assert {label: set(ids) for label, ids in found.ids.items()} == by_hand
    assert {p.label: p.count for p in found.points} == {w: len(i) for w, i in by_hand.items()}
    assert {p.size for p in found.points} == {2 * A_WEEK}
    assert len(found.points) == WEEKS


def test_gaps_count_preparations_with_their_event_and_the_open_one(facts: Path) -> None:
    with Duck(Folder(facts), scope=Scope(unit="W7E")) as duck:
        found, gap = counted.between(duck, MEASURES["stopped"], in_time=False)
    assert sum(point.count for point in found.points) + gap == WEEKS * A_WEEK
    assert all(len(found.ids[point.label]) == 1 for point in found.points)


def test_a_point_below_the_floor_is_named_and_not_given(tmp_path: Path) -> None:
    small = folder(tmp_path / "facts", units=("W7E",))
    with Duck(small) as duck:
        hidden = counted.series(_Few(duck), MEASURES["stopped"], by="week")
    assert hidden.points == ()
    assert len(hidden.hidden) == WEEKS


class _Few:
    """The facts of the first four people only."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def rows(self, sql: str) -> Answer:
        few = "(SELECT * FROM preparations WHERE preparer < 'p4') AS preparations"
        return self._engine.rows(sql.replace("FROM preparations", f"FROM {few}"))

    def close(self) -> None:
        self._engine.close()


# -- commands ------------------------------------------------------------------------------------


def test_a_series_is_told_in_lines_and_every_mark_by_its_ids(facts: Path) -> None:
    told = run("chart", "series", "stopped", "--facts", facts, "--unit", "W7E").stdout
    assert "Preparations with a stop, W7E" in told
    assert "new rules: glass_ampoule 2" in told
    assert "Of 100 stable series like this one" in told
    assert "4021 entries, whole, checked when brought over" in told
    rows = [line.split("\t") for line in told.splitlines() if line.startswith("2026-W")]
    listed = run("chart", "series", "stopped", "--facts", facts, "--unit", "W7E", "--ids").stdout
    marks = [line.split("\t")[0] for line in listed.splitlines()[1:]]
    assert {row[0]: int(row[-1]) for row in rows} == {r[0]: marks.count(r[0]) for r in rows}
    assert sum(int(row[1]) for row in rows) == len(marks)


@pytest.mark.parametrize("ending", ["svg", "png", "html", "pdf", "csv", "xlsx"])
def test_one_chart_goes_into_every_form(facts: Path, tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"chart.{ending}"
    run("chart", "kinds", "--facts", facts, "--out", file)
    data = file.read_bytes()
    if ending == "png":
        assert data.startswith(b"\x89PNG")
    elif ending == "pdf":
        text = "".join(page.extract_text() for page in pypdf.PdfReader(file).pages)
        assert "volume over target" in text
    elif ending == "xlsx":
        page = openpyxl.load_workbook(io.BytesIO(data)).worksheets[0]
        assert "=cmd" in {cell.value for cell in page["A"]}
        assert {cell.data_type for cell in page["A"] if cell.value == "=cmd"} == {"s"}
    elif ending == "csv":
        assert '"\'=cmd"' in data.decode()
    else:
        assert "volume over target" in data.decode()


def test_units_are_side_by_side_by_name_and_no_person_is_told(facts: Path) -> None:
    told = run("chart", "units", "--facts", facts).stdout
    rows = [line.split("\t")[0] for line in told.splitlines() if line.startswith("W")]
    assert rows == ["W3N", "W7E"]
    assert not re.search(r"\bp[0-5]\b", told)


def test_recovery_is_drawn_with_its_competing_end(facts: Path) -> None:
    told = run("chart", "recovery", "--facts", facts).stdout
    assert "put right: half by" in told


def test_a_frozen_line_is_the_line_from_then_on(facts: Path, tmp_path: Path) -> None:
    file = tmp_path / "lines.jsonl"
    words = ("stopped", "--facts", facts, "--unit", "W7E", "--baselines", file)
    told = run(
        "chart", "freeze", *words, "--until", "2026-W18", "--as", "QI-1", "--reason", "first weeks",
        "--without", "2026-W05=bank staff",
    ).stdout  # fmt: skip
    assert "version 1, 16 points" in told
    drawn = run("chart", "series", *words).stdout
    assert "frozen, version 1, on 16 points, 2026-W02 to 2026-W18: first weeks" in " ".join(
        drawn.split()
    )
    assert "2026-W05 is left out of the line: bank staff." in drawn
    assert json.loads(file.read_text())["by"] == "QI-1"
    file.write_text(file.read_text().replace("bank", "new"))
    told = run("chart", "series", *words, code=2).stderr
    assert "does not follow" in told or "Put back a copy" in told


def test_changed_facts_are_written_across_the_chart(tmp_path: Path) -> None:
    made, file = folder(tmp_path / "facts", units=("W7E",)), tmp_path / "c.svg"
    changed = made.path / made.exported().of("findings")[0].path
    write_parquet(changed, "findings", ())
    words = ("chart", "series", "stopped", "--by", "month", "--facts", made.path)
    done = run(*words, "--out", file)
    assert "Not to be relied on" in done.stderr
    assert "Not to be relied on" in file.read_text()
    changed.write_bytes(b"nothing")
    assert "checklist facts verify" in run(*words, code=2).stderr


REFUSED: Mapping[str, tuple[str, ...]] = {
    "There is no measure": ("series", "people"),
    "several stops": ("series", "stops", "--kind", "p"),
    "XmR or run chart fits": ("series", "minutes", "--kind", "u"),
    "No rules are named": ("series", "stops", "--rules", "mine"),
    "is not one of": ("series", "stops", "--only", "person=p1"),
    "none of them": ("kinds", "--of", "person"),
    "should end in": ("kinds", "--out", "chart.exe"),
    "No definition of a near miss": ("series", "near-misses", "--near-miss", "mine"),
    "No point is labelled": (
        "freeze", "stopped", "--until", "2027-W01", "--as", "QI-1", "--reason", "r",
    ),
}  # fmt: skip


@pytest.mark.parametrize("sentence", REFUSED)
def test_what_cannot_be_drawn_is_refused_in_a_sentence(
    facts: Path, sentence: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    command, *words = REFUSED[sentence]
    done = run("chart", command, *words, "--facts", facts, code=2)
    assert sentence in done.stderr
    assert not list(tmp_path.iterdir())


# -- paper ---------------------------------------------------------------------------------------


def words_of(data: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_chart_on_paper_is_tagged_titled_and_the_same_each_time() -> None:
    plot = units()
    data = paper.chart(plot, AT)
    assert data == paper.chart(plot, AT)
    read = pypdf.PdfReader(io.BytesIO(data))
    assert read.metadata is not None
    assert read.metadata.title == plot.title
    root: Any = read.trailer["/Root"]
    assert str(root["/MarkInfo"]["/Marked"]) == "True"
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    text = words_of(data)
    for line in (*plot.notes, *plot.foot):
        assert " ".join(line.split()) in text
    links = [
        one.get_object()
        for page in read.pages
        for one in page.get("/Annots", ())
        if one.get_object()["/Subtype"] == "/Link"
    ]
    assert len(links) == len([group for group in plot.groups if group.ids])


def test_data_on_paper_is_shown_and_never_run() -> None:
    sheet = feedback.Sheet(
        person="RN-20", unit="Ward 7 East", about="#sys.inputs $x$ @ref *b*",
        made=date(2026, 11, 25), trail="Trail whole.",
        went_well=("#panic(1)",), to_change=("= heading",), next_step="Do #x",
    )  # fmt: skip
    text = words_of(feedback_pdf(sheet, (series(),), AT))
    for part in ("#sys.inputs $x$ @ref *b*", "#panic(1)", "= heading", "Do #x", feedback.READERS):
        assert part in text


def test_feedback_is_one_page() -> None:
    sheet = feedback.Sheet(
        person="RN-20", unit="W7E", about="18 preparations", made=date(2026, 11, 25),
        trail="Whole.",
        learner=("I read the volume twice.",), went_well=("Filter on each time.",) * 5,
        to_change=("Wipe the neck and let it dry before opening.",) * 5, next_step="Watch one",
        due=date(2026, 12, 9), figures=("17 of 18 first time right",) * 4,
    )  # fmt: skip
    assert len(pypdf.PdfReader(io.BytesIO(feedback_pdf(sheet, (), AT))).pages) == 1


def test_the_months_report_says_what_moved_and_what_is_not_known(
    facts: Path, tmp_path: Path
) -> None:
    pdf, book = tmp_path / "month.pdf", tmp_path / "month.xlsx"
    run("report", "month", "2026-05", "--facts", facts, "--out", pdf, "--out", book)
    text = words_of(pdf.read_bytes())
    assert "Quality report, all units, 2026-05" in text
    for line in UNKNOWN:
        assert line in text
    assert "4021 entries, whole" in text
    assert openpyxl.load_workbook(book).sheetnames[0] == "1 At a glance"


def test_the_new_rules_begin_in_their_month(facts: Path) -> None:
    with Duck(Folder(facts)) as duck:
        ((since, what),) = counted.new_rules(duck, "week")
    assert (since, what) == (f"2026-W{CHANGED + 2:02d}", "new rules: glass_ampoule 2")
