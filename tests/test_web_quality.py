"""The pages of whoever looks after quality: figures, what is behind them, files, the trail."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing
from html import unescape
from pathlib import Path
from typing import Any, cast
from urllib.parse import parse_qs, urlsplit

import openpyxl
import pypdf
import pytest

from checklist import baseline_file
from checklist.anchor import Stored
from checklist.extra import NeedsExtra
from checklist.faces import charting, verifying
from checklist.faces.charting import Wish
from checklist.faces.notarial import notary_of
from checklist.faces.web.desk import Desk
from checklist.faces.web.quality import answers, figures, wishing
from checklist.faces.web.quality.asking import asks_of
from checklist.facts.engine import Duck
from checklist.facts.folder import Folder
from checklist.facts.numbered import NUMBERED
from checklist.independent import check_proof
from checklist.people import Role
from checklist.permission import MAY, Action
from checklist.review.special_cause import RULE_SETS, Rule
from checklist.trail import Trail
from checklist.verdict import Remedy
from tests.charted import CHANGED, WEEKS, folder
from tests.scene import Scene
from tests.test_tampering import LOSS, behind
from tests.ward_trail import plain
from tests.web import Tablet, make_desk, tablets

LEAD, TEACHER, NURSE, PHARMACIST = "QI-1", "ED-1", "RN-12", "PH-2"


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with a trail of one given preparation, and facts of half an invented year."""
    home = tmp_path_factory.mktemp("quality")
    scene = Scene(home, "ORD-101")
    scene.open()
    scene.to("set_the_dose")
    scene.attempt({"drawn_volume": "0.9"}, wait=10)
    scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    scene.finish()
    scene.trail.close()
    folder(home / "facts")
    return home


@pytest.fixture(scope="module")
def desk(ready: Path) -> Iterator[Desk]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(ready / "data"))
        yield make_desk(ready, patch, facts=ready / "facts")


@pytest.fixture(scope="module")
def lead(desk: Desk) -> Iterator[Tablet]:
    """A tablet at which the quality lead has signed in."""
    with tablets(desk) as (tablet,):
        tablet.sign_in(LEAD)
        yield tablet


@pytest.fixture
def bare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Tablet]]:
    """Two tablets at a desk without facts, on the trail of one preparation."""
    scene = Scene(tmp_path)
    scene.open()
    scene.finish()
    scene.trail.close()
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with tablets(make_desk(tmp_path, monkeypatch), 2) as found:
        yield found


def text_of(page: str) -> str:
    """A page's words without its marks."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", page)))


def seen(tablet: Tablet, path: str, status: int = 200) -> str:
    answer = tablet.get(path)
    assert answer.status_code == status, text_of(answer.text)[:600]
    return str(answer.text)


def waited(tablet: Tablet, path: str, until: str) -> str:
    """The page once it says so; fails after half a minute."""
    for _ in range(300):
        page = seen(tablet, path)
        if until in page:
            return page
        time.sleep(0.1)
    raise AssertionError(text_of(page)[:600])


def leads(page: str) -> list[str]:
    """Every address on the page that leads to a list of preparations."""
    found = re.findall(r'href="(/quality/preparations\?[^"]*)"', page)
    return list(dict.fromkeys(unescape(one) for one in found))


# -- from a mark to its preparations ---------------------------------------------------------------

CHARTS = [
    "series?measure=stopped",
    "series?measure=stops&by=month",
    "series?measure=stops&unit=W7E&kind=g&only=reason%3Dfilter_missing",
    "series?measure=near-misses&near=any",
    "kinds?measure=stops",
    "kinds?measure=stops&column=container&from=2026-02&to=2026-04",
    "units?measure=stopped",
    "recovery?unit=W3N",
]


@pytest.mark.parametrize("chart", CHARTS)
def test_every_mark_leads_to_as_many_preparations_as_it_says(
    lead: Tablet, ready: Path, chart: str
) -> None:
    page = seen(lead, f"/quality/chart/{chart}")
    of, _, words = chart.partition("?")
    query = {name: values[0] for name, values in parse_qs(words).items()}
    wish = Wish(
        measure=query.get("measure", "stops"), facts=ready / "facts", unit=query.get("unit", ""),
        by=query.get("by", "week"), kind=query.get("kind", ""), first=query.get("from", ""),
        last=query.get("to", ""), near_miss=query.get("near", "stop"),
        only=tuple(filter(None, [query.get("only", "")])), baselines=ready / "none.jsonl",
    )  # fmt: skip
    drawn = {
        "series": lambda: charting.series_of(wish)[0],
        "kinds": lambda: charting.kinds_of(wish, query.get("column", "reason")),
        "units": lambda: charting.units_of(wish),
        "recovery": lambda: charting.recovery_of(wish),
    }[of]()
    groups = {group.key: group.ids for group in drawn.groups if group.ids}
    addresses = {parse_qs(urlsplit(one).query)["mark"][0]: one for one in leads(page)}
    assert addresses.keys() >= groups.keys() and groups
    for key, ids in groups.items():
        listed: list[str] = []
        for number in range(1, -(-len(ids) // 50) + 1):
            rows = seen(lead, f"{addresses[key]}&page={number}")
            listed += re.findall(r'href="/quality/preparation/([^"?]+)', rows)
            assert f"{len(ids)} preparation" in text_of(rows)
        assert sorted(listed) == sorted(ids)


def test_the_count_in_a_mark_s_words_is_that_of_its_list(lead: Tablet) -> None:
    page = seen(lead, "/quality/chart/series?measure=stopped")
    marks = re.findall(r'<a href="([^"]+)" aria-label="([^"]*?, (\d+) of \d+[^"]*)"', page)
    assert len(marks) == WEEKS
    for address, _, count in marks:
        assert f"<b>{count} preparation" in seen(lead, unescape(address))


def test_a_row_of_an_answer_leads_to_the_preparations_it_counts(lead: Tablet) -> None:
    page = seen(lead, "/quality/answer/reasons")
    rows = re.findall(
        r'<th scope="row"><a href="([^"]+)">([^<]*)</a></th><td class="n">\d+</td>'
        r'<td class="n">(\d+)</td>',
        page,
    )
    assert {name for _, name, _ in rows} == {"volume over target", "filter missing", "=cmd"}
    for address, _, hit in rows:
        assert f"<b>{hit} preparation" in seen(lead, unescape(address))


def test_a_list_leads_to_a_replay_that_tells_steps_and_no_person(lead: Tablet) -> None:
    page = seen(lead, "/quality/chart/series?measure=stopped")
    rows = seen(lead, leads(page)[0])
    address = unescape(re.findall(r'href="(/quality/preparation/[^"]+)"', rows)[0])
    replay = text_of(seen(lead, address))
    assert "draw up : stop" in replay and "draw up : kept, try 2" in replay
    assert "40 s" in replay and "hands need 10 s" in replay
    assert not re.search(r"\bp[0-5]\b", replay)


def test_a_replay_has_a_mark_for_every_try_and_break(bare: list[Tablet], tmp_path: Path) -> None:
    tablet = bare[0]
    tablet.sign_in(LEAD)
    tablet.post("/quality/facts")
    waited(tablet, "/quality", "Brought over")
    with Duck(Folder(tmp_path / "trail.db.facts")) as engine:
        tries = engine.rows(
            "SELECT (SELECT count(*) FROM steps) + (SELECT count(*) FROM breaks), preparation"
            " FROM preparations"
        ).rows
    ((count, id_),) = tries
    page = seen(tablet, f"/quality/preparation/{id_}")
    assert page.count('tabindex="0">\n<p><span class="when">') == count > 20


# -- the overview ----------------------------------------------------------------------------------


def test_the_overview_shows_a_control_chart_first_and_each_part_with_its_limits(
    lead: Tablet,
) -> None:
    page = seen(lead, "/quality")
    words = text_of(page)
    places = [
        words.index(part)
        for part in (
            "A p chart",
            "Side by side",
            "kinds make up",
            "Funnel of 2 units",
            "Share that",
        )
    ]
    assert places == sorted(places)
    assert re.search(r"\d+ of 1248 preparations, [\d.]+ % \([\d.]+ to [\d.]+, 95 % limits", words)
    assert "new rules: glass_ampoule 2" in words
    assert re.search(r"Of 100 stable series like this one, [\d.]+", words)
    assert "Put right within 10 minutes: 100 %" in words
    assert "What these figures cannot tell" in words
    units = re.findall(r'<th scope="row">(W\d\w)</th>', page)
    assert units == sorted(units) == ["W3N", "W7E"]


def test_what_rests_on_too_few_is_not_shown(lead: Tablet) -> None:
    page = seen(lead, "/quality/chart/series?unit=W7E&container=glass_ampoule&to=2026-01&by=month")
    assert "Not shown." in page and "<figure" not in page and "/quality/settings" in page


def test_without_facts_the_page_says_how_to_make_them_and_brings_them_over(
    bare: list[Tablet], tmp_path: Path
) -> None:
    nurse, tablet = bare
    nurse.sign_in(NURSE)
    assert nurse.post("/quality/facts").status_code == 403
    tablet.sign_in(LEAD)
    page = seen(tablet, "/quality")
    assert "Bring facts over" in page and "checklist facts export" in page
    assert tablet.post("/quality/facts").headers["location"] == "/quality"
    page = waited(tablet, "/quality", "Brought over")
    assert "1 preparations of 1 trail;" in text_of(page)
    assert "Not shown." in page  # one preparation is below the floor
    exported = Folder(tmp_path / "trail.db.facts").exported()
    with Trail.open(tmp_path / "trail.db", read_only=True) as trail:
        assert set(exported.trails) == {trail.origin.id}
        assert trail.verify().whole


def test_an_educator_reads_and_takes_nothing_away(desk: Desk, lead: Tablet) -> None:
    other = Tablet(desk, lead.app)
    other.sign_in(TEACHER, place="W7E-2")
    page = seen(other, "/quality")
    assert "A p chart" in page and "Bring facts up to date" not in page
    for path in (
        "/quality/downloads",
        "/quality/download/chart.csv",
        "/quality/download/events.zip",
    ):
        seen(other, path, 403)
    assert other.post("/quality/lines", data={"reason": "x"}).status_code == 403


@pytest.mark.parametrize(
    "path", ["/quality", "/quality/chart/series", "/quality/settings", "/quality/answer/reasons"]
)
def test_a_nurse_is_told_that_it_is_not_for_the_role(desk: Desk, lead: Tablet, path: str) -> None:
    other = Tablet(desk, lead.app)
    other.sign_in(NURSE, place="W7E-2")
    seen(other, path, 403)


# -- no person -------------------------------------------------------------------------------------

PAGES = [
    "/quality", "/quality/chart/series", "/quality/chart/kinds", "/quality/chart/units",
    "/quality/chart/recovery", "/quality/settings", "/quality/questions", "/quality/trail",
    "/quality/before-after?day=2026-04-01", "/quality/gaps?reason=filter_missing",
    "/quality/audit-size?share=5", "/quality/downloads", "/quality/preparation/W7E-00-03",
    *(f"/quality/questions/{number}" for number in NUMBERED),
    "/quality/preparations?of=series&measure=stopped&mark=point-3",
    "/quality/download/answer.csv?question=reasons",
    "/quality/download/preparations.csv?of=kinds&measure=stops&mark=kind-1",
    "/quality/download/chart.csv?of=units",
    "/quality/trail/head.note",
]  # fmt: skip
BLAME = re.compile(r"\b(fault of|careless|guilty|blame|human error|user error|mistake)\b", re.I)


def test_no_page_and_no_file_holds_a_staff_code(desk: Desk, lead: Tablet) -> None:
    lead.post("/quality/trail/head")
    others = set(desk.ward.staff) - {LEAD}
    named = re.compile("|".join(re.escape(one) for one in sorted(others)))
    names = [person.name for person in desk.ward.staff.values()]
    for path in PAGES:
        answer = lead.get(path, follow_redirects=True)
        assert answer.status_code == 200, (path, text_of(answer.text)[:400])
        page = answer.text
        assert not named.search(page), path
        assert not re.search(r"\bp[0-5]\b", text_of(page)), path
        assert not any(name in page for name in names), path
        assert not BLAME.search(text_of(page)), path
        assert not re.search("[▲▼🔴🟢🟡↑↓]", page), path
    archive = zipfile.ZipFile(io.BytesIO(lead.get("/quality/download/events.zip").content))
    for name in archive.namelist():
        assert not named.search(archive.read(name).decode()), name


def test_a_proof_holds_codes_and_is_for_those_who_may_see_people(desk: Desk, lead: Tablet) -> None:
    with Trail.open(desk.trail_path, read_only=True) as trail:
        id_ = trail.preparations()[0].id
    address = f"/quality/trail/proof?preparation={id_}"
    seen(lead, address, 403)
    assert "An educator, pharmacist or administrator can take it" in seen(lead, "/quality/trail")
    other = Tablet(desk, lead.app)
    other.sign_in(TEACHER, place="W7E-2")
    found = other.get(address)
    assert found.status_code == 200 and "attachment" in found.headers["content-disposition"]
    proof = found.json()
    assert check_proof.check(proof, proof["key"])
    seen(other, "/quality/trail/proof?preparation=nothing", 422)


# -- settings and lines ----------------------------------------------------------------------------


def test_each_rule_stands_with_its_false_alarms(lead: Tablet) -> None:
    page = text_of(seen(lead, "/quality/settings"))
    assert "outside the limits 6.3 one in about 370 points exact" in page
    assert "8 or more on one side 6.9 one in about 255 points exact" in page
    assert all(rule in page for rule in Rule) and all(name in page for name in RULE_SETS)
    assert "Western Electric 21 one in about 92 points" in page


def test_rules_that_are_ticked_are_those_of_the_chart_and_its_rehearsal(lead: Tablet) -> None:
    page = seen(lead, "/quality/chart/series?rule=outside+the+limits&rule=8+or+more+on+one+side")
    words = text_of(page)
    assert "Rules: outside the limits + 8 or more on one side. Of 100 stable series" in words
    again = seen(lead, unescape(re.findall(r'href="(/quality/settings\?[^"]+)"', page)[0]))
    assert re.findall(r'value="([^"]+)" checked', again) == [Rule.OUTSIDE, Rule.RUN_OF_8]
    seen(lead, "/quality/chart/series?rule=luck", 422)


def test_a_line_is_frozen_with_a_reason_by_a_person_and_once(
    desk: Desk, lead: Tablet, ready: Path
) -> None:
    until = seen(lead, "/quality/chart/series?unit=W3N").count("<option>2026-W")
    assert until
    page = seen(lead, "/quality/chart/series?unit=W3N")
    labels = re.findall(r"<option>(2026-W\d\d)</option>", page)
    form = {"unit": "W3N", "measure": "stopped", "since": labels[0], "until": labels[11]}
    assert lead.post("/quality/lines", data=form).status_code == 422
    told = {**form, "reason": "before the new shelf"}
    for _ in range(2):
        answer = lead.post("/quality/lines", data=told)
        assert answer.status_code == 303, text_of(answer.text)[:400]
    (kept,) = baseline_file.read(ready / "review" / "baselines.jsonl")
    assert (kept.by, kept.baseline.reason) == (LEAD, "before the new shelf")
    assert (kept.baseline.labels[0], kept.baseline.labels[-1]) == (labels[0], labels[11])
    words = text_of(seen(lead, answer.headers["location"]))
    assert "frozen, version 1" in words and "Version 1" in words
    # A stretch that begins inside begins a phase there, and what came before keeps its line.
    later = {**told, "since": labels[CHANGED + 2], "until": labels[-1], "reason": "new shelf"}
    assert lead.post("/quality/lines", data=later).status_code == 303
    words = text_of(seen(lead, answer.headers["location"]))
    assert "new line: new shelf" in words and "before the new shelf" in words
    assert LEAD in {kept.by for kept in baseline_file.read(ready / "review" / "baselines.jsonl")}


def test_only_the_quality_lead_keeps_lines() -> None:
    assert [role for role in Role if Action.KEEP_LINES in MAY[role]] == [Role.QI_LEAD]


# -- questions -------------------------------------------------------------------------------------


def test_each_of_the_forty_is_answered_or_says_what_does(lead: Tablet) -> None:
    page = seen(lead, "/quality/questions")
    for number, one in NUMBERED.items():
        assert one.asks in unescape(page)
        answer = text_of(lead.get(f"/quality/questions/{number}", follow_redirects=True).text)
        assert one.note in answer
        for name in one.names:
            assert asks_of(name) in answer or answers._ways(one)[0][1].endswith(name)


def test_before_and_after_has_both_counts_and_limits(lead: Tablet) -> None:
    words = text_of(seen(lead, "/quality/before-after?day=2026-04-06&unit=W7E"))
    made = [int(n) for n in re.findall(r"refusals in (\d+) preparations", words)]
    assert sum(made) == WEEKS * 24 and "exact 95 % limits" in words
    seen(lead, "/quality/before-after?day=soon", 422)


def test_an_answer_hides_small_rows_and_they_lead_nowhere(lead: Tablet) -> None:
    page = seen(lead, "/quality/answer/units?from=2026-07")
    rows = re.findall(r"<tr><th scope=\"row\"[^>]*>(.*?)</th><td[^>]*>(.*?)</td>", page)
    hidden = [(first, cell) for first, cell in rows if cell == "too few to show"]
    assert [first for first, _ in hidden] == ["W3N", "W7E"]
    assert "2 rows rest on fewer than" in page and not leads(page)


# -- files -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ending", "begins"),
    [("svg", b"<svg"), ("png", b"\x89PNG"), ("pdf", b"%PDF"), ("xlsx", b"PK"), ("html", b"<!doc")],
)
def test_a_chart_comes_as_a_file(lead: Tablet, ending: str, begins: bytes) -> None:
    answer = lead.get(f"/quality/download/chart.{ending}?of=series&by=month")
    assert answer.status_code == 200 and answer.content.startswith(begins)
    assert "attachment" in answer.headers["content-disposition"]


def test_no_cell_of_a_table_is_run_as_a_formula(lead: Tablet) -> None:
    """The facts hold a reason `=cmd`; a spreadsheet has to take it for text (OWASP)."""
    for path in ("chart.csv?of=kinds", "answer.csv?question=reasons"):
        cells = list(csv.reader(io.StringIO(lead.get(f"/quality/download/{path}").text)))
        assert any("'=cmd" in row for row in cells)
        assert not any(cell.startswith(("=", "+", "@", "-")) for row in cells for cell in row)
    book = openpyxl.load_workbook(
        io.BytesIO(lead.get("/quality/download/answer.xlsx?question=reasons").content)
    )
    kinds = {cell.data_type for row in book.active.iter_rows() for cell in row}
    assert "f" not in kinds


def test_the_month_comes_on_paper_and_as_tables(lead: Tablet) -> None:
    answer = lead.get("/quality/download/month.pdf?month=2026-05&unit=W7E")
    assert answer.status_code == 200
    words = " ".join(
        page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages
    )
    assert "Quality report, W7E, 2026-05" in words
    assert lead.get("/quality/download/month.xlsx?month=2026-05").content.startswith(b"PK")
    seen(lead, "/quality/download/month.pdf", 422)
    seen(lead, "/quality/download/month.doc?month=2026-05", 422)


def test_the_events_are_those_of_the_command_with_stand_ins_for_people(lead: Tablet) -> None:
    archive = zipfile.ZipFile(io.BytesIO(lead.get("/quality/download/events.zip").content))
    log = json.loads(archive.read("events.ocel.json"))
    assert len(log["events"]) > 10 and "fitness 1" in archive.read("read_me.txt").decode()
    assert any(name.endswith(".pnml") for name in archive.namelist())


# -- the trail -------------------------------------------------------------------------------------


def test_the_trail_is_looked_over_while_work_goes_on_and_its_head_is_signed(
    bare: list[Tablet], tmp_path: Path
) -> None:
    tablet = bare[0]
    tablet.sign_in(LEAD)
    page = waited(tablet, "/quality/trail", "<b>Whole</b>")
    assert "each joins the one before it" in page and "What this cannot show" in page
    assert tablet.post("/quality/trail/head").status_code == 303
    note = tablet.get("/quality/trail/head.note").text
    with Trail.open(tmp_path / "trail.db", read_only=True) as trail:
        size, last = trail.head()
    assert note.splitlines()[1] == str(size)
    assert tablet.post("/quality/trail/look").status_code == 303
    assert last.hex()[:4] in waited(tablet, "/quality/trail", f"Entries 1 to {size}")


def test_a_trail_whose_end_was_cut_off_is_told_on_every_page(
    tmp_path: Path, ready: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only a head that was kept elsewhere shows it; the trail by itself opens as any other."""
    monkeypatch.setenv("CHECKLIST_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(tmp_path / "heads"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    scene = Scene(tmp_path)
    scene.open()
    scene.finish()
    notary_of(scene.trail).checkpoint()
    last = scene.trail.head().seq
    scene.trail.close()
    with closing(plain(tmp_path / "trail.db")) as db:
        db.executescript(behind(f"DELETE FROM entries WHERE seq > {last - 3}", LOSS))
    shutil.copytree(ready / "facts", tmp_path / "facts")
    with tablets(make_desk(tmp_path, monkeypatch, facts=tmp_path / "facts")) as (tablet,):
        tablet.sign_in(LEAD)
        page = waited(tablet, "/quality/trail", "Not as it was recorded")
        assert f"<b>{last - 2}</b>" in page and "does not hold" in page
        for path in ("/quality/settings", "/quality/chart/units"):
            assert "No figure on these pages is to be relied on" in seen(tablet, path)


def test_a_head_that_is_newer_than_what_was_read_is_looked_at_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While work goes on, a head can be kept between reading the trail and reading the heads."""
    monkeypatch.setenv("CHECKLIST_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(tmp_path / "heads"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    scene = Scene(tmp_path)
    scene.open()
    looks: list[int] = []

    def read(path: Path) -> Stored:
        found = Stored(path)
        if not looks:
            scene.attempt()
            notary_of(scene.trail).checkpoint()
        looks.append(found.tree.size)
        return found

    monkeypatch.setattr(verifying, "Stored", read)
    assert not verifying.looked_over(scene.trail.path).damaged
    assert len(looks) == 2 and looks[0] < looks[1]
    scene.trail.close()


# -- what is asked for amiss -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/quality/chart/pie",
        "/quality/chart/series?unit=%3Cscript%3E",
        "/quality/chart/series?measure=nurses",
        "/quality/chart/series?by=nurse",
        "/quality/chart/series?from=never",
        "/quality/chart/series?rules=" + "x" * 5_000,
        "/quality/chart/kinds?column=preparer",
        "/quality/preparations?of=series&mark=point-999",
        "/quality/preparations?of=nothing",
        "/quality/preparations?of=answer&question=reasons&only=preparer%3Dp1",
        "/quality/preparations?of=series&measure=stopped&mark=point-3&page=0",
        "/quality/preparations?of=series&measure=stopped&mark=point-3&page=99",
        "/quality/preparation/x'%20OR%20'1'='1",
        "/quality/answer/nobody",
        "/quality/questions/41",
        "/quality/gaps?reason=%27%3B%20DROP%20TABLE",
        "/quality/audit-size?share=nan",
        "/quality/download/chart.exe",
    ],
)
def test_what_is_not_known_is_refused_and_stays_inert(lead: Tablet, path: str) -> None:
    page = seen(lead, path, 422)
    assert "<script>" not in page.replace('<script src="', "") and "Seen." in page
    seen(lead, "/quality/chart/units")


def test_a_quote_in_a_filter_is_only_a_value(lead: Tablet) -> None:
    page = seen(lead, "/quality/chart/kinds?only=reason%3Dx%27%20OR%20%271%27%3D%271")
    assert "Not shown." in page


def test_a_library_that_is_missing_is_named(
    lead: Tablet, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(module: str, extra: str) -> Any:
        raise NeedsExtra(f"This needs the extra `{extra}`, which is not installed here")

    monkeypatch.setattr("checklist.drawing.picture.wanted", gone)
    from checklist.drawing import picture

    picture._renderer.cache_clear()
    page = seen(lead, "/quality/chart/series?to=2026-04&by=week&unit=W3N", 503)
    assert "extra `charts`" in unescape(page)


def test_too_many_at_once_are_told_to_come_back(desk: Desk) -> None:
    at = figures.Figures(desk)
    at._waiting = figures.MOST_WAITING
    with pytest.raises(figures.Busy, match="Come back"):
        at.once(lambda: None).send(None)
    at.stop()


def test_the_words_of_an_address_lead_back_to_the_same_drawing(desk: Desk) -> None:
    from starlette.datastructures import QueryParams

    known = figures.Known(units=("W7E",), containers=("pen",), months=(), preparations=1)
    at = figures.Figures(desk)
    words = "measure=stops&unit=W7E&container=pen&from=2026-01&by=month&kind=u&only=step%3Ddraw"
    one = wishing.asked(at, QueryParams(words), "series", known)
    assert wishing.asked(at, QueryParams(one.query), "series", known) == one
    at.stop()


def test_what_the_first_page_draws_is_drawn_ahead(desk: Desk) -> None:
    at = figures.Figures(desk)
    at._figures.submit(lambda: None).result(120)
    kept = [key for _, key in cast("list[tuple[str, tuple[object, ...]]]", list(at._kept))]
    pictures = {str(key[1]) for key in kept if key[0] == "svg"}
    assert pictures == {str(key[0]) for key in kept if key[0] != "svg"} == set(figures.DRAWN)
    at.stop()
