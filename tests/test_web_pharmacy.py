"""The pharmacist's pages: what the ward works by, as its files have it now."""

from __future__ import annotations

import html
import itertools
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

from checklist import library
from checklist.faces.web.desk import Desk
from checklist.faces.web.measured import measured
from checklist.faces.web.pharmacy import figures
from checklist.faces.web.pharmacy.drawing import picture, ways_back
from checklist.faces.web.pharmacy.hazards import rows
from checklist.faces.web.pharmacy.proving import Proofs
from checklist.hazard import matrix
from checklist.intake.ward import load_ward
from checklist.proof import prove_all
from checklist.workflow import Layout, Workflow, moves
from tests.web import Tablet, make_desk, tablets

FLOWS = list(library.workflows().values())
PAGES = (
    "", "/workflows", "/workflows/glass_ampoule", "/workflows/glass_ampoule/drawing", "/proofs",
    "/hazards", "/hazards?workflow=powder_vial", "/hazards/H12", "/formulary",
    "/formulary/09520007300114", "/settings", "/settings/glass_filter_rule", "/limits",
    "/limits/needle",
)  # fmt: skip


@pytest.fixture(scope="module")
def pharmacist(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tablet]:
    with pytest.MonkeyPatch.context() as patch:
        desk = make_desk(tmp_path_factory.mktemp("desk"), patch)
        with tablets(desk) as (tablet,):
            tablet.sign_in("PH-2")
            yield tablet


def text_of(page: str) -> str:
    """What a page says, without its marks."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


@pytest.mark.parametrize("path", PAGES)
def test_each_page_is_for_the_pharmacist_alone(pharmacist: Tablet, path: str) -> None:
    found = pharmacist.get(f"/pharmacy{path}")
    assert found.status_code == 200, found.text[:400]
    assert "<h1" in found.text and "style=" not in found.text


@pytest.mark.parametrize("code", ["RN-12", "ED-1", "QI-1", "AD-1"])
def test_others_are_told_whose_page_it_is_and_that_they_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: str
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        assert tablet.get("/pharmacy/workflows").headers["location"].startswith("/sign-in?next=")
        tablet.sign_in(code)
        for path in PAGES[:3]:
            found = tablet.get(f"/pharmacy{path}")
            assert found.status_code == 403
            assert "pharmacist" in found.text
            assert "Glass ampoule" not in found.text


@pytest.mark.parametrize(
    "what", ["workflows", "proofs", "hazards", "formulary", "settings", "limits"]
)
def test_what_is_not_kept_is_not_found(pharmacist: Tablet, what: str) -> None:
    for name in ("nothing", "..%2F..%2Fetc%2Fpasswd", "<script>", "%00"):
        found = pharmacist.get(f"/pharmacy/{what}/{name}")
        assert found.status_code == 404
        assert "<script>alert" not in found.text
    assert pharmacist.get("/pharmacy/hazards?workflow=none").status_code == 404


@pytest.mark.parametrize("flow", FLOWS, ids=lambda flow: flow.name)
def test_a_workflow_is_told_whole(pharmacist: Tablet, flow: Workflow) -> None:
    page = pharmacist.get(f"/pharmacy/workflows/{flow.name}").text
    said = text_of(page)
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids)), "an address in the page leads to one place"
    for phase in (*flow.phases, *flow.asides):
        for step in phase.steps:
            assert step.name in ids
            for check in step.checks:
                assert check.replace("_", " ") in said
            for field in step.fields:
                assert " ".join(field.say.split()) in said
    assert flow.digest in page
    for target in re.findall(r'href="#([^"]+)"', page):
        assert target in {*ids, "main"}, f"a link leads to {target}, which is not there"


@pytest.mark.parametrize("flow", FLOWS, ids=lambda flow: flow.name)
def test_a_drawing_shows_each_step_and_each_way_back_once(flow: Workflow) -> None:
    drawn = ElementTree.fromstring(str(picture(flow, "/here")))
    links = [one.attrib["href"] for one in drawn.iter("a")]
    assert links == [f"/here#{step.name}" for step in flow.steps]
    boxes = [
        tuple(float(one.find("rect").attrib[key]) for key in ("x", "y", "width", "height"))  # type: ignore[union-attr]
        for one in drawn.iter("a")
    ]
    for (_, y, _, high), (_, below, _, _) in itertools.pairwise(boxes):
        assert y + high < below, "steps stand under one another"
    assert all(high >= 52 for *_, high in boxes), "a gloved finger has to hit it"
    for one in drawn.iter():
        assert "style" not in one.attrib


@pytest.mark.parametrize("flow", FLOWS, ids=lambda flow: flow.name)
def test_the_ways_back_are_those_of_the_moves(flow: Workflow) -> None:
    layout = Layout(flow)
    order = layout.order
    back: dict[str, set[str]] = {}
    for move in moves(layout):
        source = move.source.partition("/")[0]
        plain = source in order and move.source.count("/") == 1
        remedy = plain and move.trigger.startswith("remedy:") and move.dest in order
        if remedy and order[move.dest] < order[source]:
            back.setdefault(move.dest, set()).add(source)
    assert {dest: set(names) for dest, names in ways_back(layout).items()} == back


def test_the_proof_on_the_page_is_the_proof(pharmacist: Tablet) -> None:
    flow = library.workflows()["plastic_ampoule"]
    proof = prove_all(flow, library.required())
    said = text_of(pharmacist.get(f"/pharmacy/proofs/{flow.name}").text)
    assert (
        f"No path dodges any of {proof.barriers} barriers, for {proof.combinations} kinds" in said
    )
    every = pharmacist.get("/pharmacy/proofs").text
    assert "being worked out" in every or every.count("proved") >= len(FLOWS)


def test_a_way_round_is_shown_with_its_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ward's own ampoule of which something is required that no step asks for."""
    ward = a_ward(tmp_path)
    own = ward / "workflows"
    own.mkdir()
    shipped = library.folder("workflows") / "plastic_ampoule.toml"
    text = shipped.read_text("utf-8")
    (own / "cold_ampoule.toml").write_text(
        text.replace('container = "plastic_ampoule"', 'container = "cold_ampoule"'), "utf-8"
    )
    (own / "added_requirements.toml").write_text(
        "[containers]\n"
        'cold_ampoule = ["ampoule", "plastic", "single_dose", "calculated", "drawn", "measured",'
        ' "labelled", "pushed", "injected", "cold"]\n'
        '[[required]]\nwhen = ["cold"]\nbefore = "opens"\nbarriers = ["storage_breach"]\n'
        'entered = ["cold_chain_kept"]\nwhy = "A drug that was warm may no longer work."\n',
        "utf-8",
    )
    with tablets(at(ward, tmp_path, monkeypatch)) as (tablet,):
        tablet.sign_in("PH-2")
        assert "this ward's own" in text_of(tablet.get("/pharmacy/workflows").text)
        page = tablet.get("/pharmacy/proofs/cold_ampoule").text
        assert "<title>Stop: " in page
        said = text_of(page)
        assert "entry cold_chain_kept" in said and "this path dodges it" in said
        assert "A drug that was warm may no longer work." in said


def a_ward(tmp_path: Path) -> Path:
    ward = tmp_path / "ward"
    shutil.copytree(library.folder("demo_db"), ward, ignore=shutil.ignore_patterns("year"))
    return ward


def at(ward: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    from checklist.faces.web.setting_up import desk_for

    monkeypatch.setenv("CHECKLIST_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(tmp_path / "heads"))
    return desk_for(ward, tmp_path / "trail.db", practice=True)


FAULTY = {
    "formulary.toml": (
        'strength = "10 mg in 1 mL"', 'strength = "10,0 mg in 1 mL"', "has a comma"
    ),
    "unit.toml": ('giver_must_be_preparer = "strict"', 'giver_must_be_preparer = "maybe"', "maybe"),
    "staff.toml": ('code = "RN-27"', 'code = "RN-12"', "RN-12"),
}  # fmt: skip


@pytest.mark.parametrize("file", FAULTY)
def test_a_fault_is_told_with_file_place_and_what_to_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, file: str
) -> None:
    ward = a_ward(tmp_path)
    before, after, told = FAULTY[file]
    with tablets(at(ward, tmp_path, monkeypatch)) as (tablet,):
        tablet.sign_in("PH-2")
        assert "None. All files of this ward can be read." in text_of(tablet.get("/pharmacy").text)
        text = (ward / file).read_text("utf-8")
        assert before in text
        (ward / file).write_text(text.replace(before, after, 1), "utf-8")
        page = text_of(tablet.get("/pharmacy").text)
        assert file in page and told in page
        for path in ("/pharmacy/formulary", "/pharmacy/settings", "/pharmacy/workflows"):
            assert "Nothing is read from a file with a fault" in text_of(tablet.get(path).text)
        (ward / file).write_text(text, "utf-8")
        assert "None. All files of this ward can be read." in text_of(tablet.get("/pharmacy").text)


def test_a_fault_of_the_wards_own_workflow_leaves_the_shipped_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ward = a_ward(tmp_path)
    with tablets(at(ward, tmp_path, monkeypatch)) as (tablet,):
        tablet.sign_in("PH-2")
        (ward / "workflows").mkdir()
        (ward / "workflows" / "mine.toml").write_text('title = "<b>Mine</b>"\n', "utf-8")
        page = tablet.get("/pharmacy").text
        assert "workflows/mine.toml" in page and "is missing" in page
        assert "<b>Mine" not in page
        assert "Glass ampoule" in tablet.get("/pharmacy/workflows").text


def test_the_matrix_counts_what_the_register_says(pharmacist: Tablet) -> None:
    flows, required = library.workflows(), library.required()
    cells = matrix(library.hazards(), flows.values(), required)
    assert [row.hazard.id for row in rows(cells)] == list(library.hazards().hazards)
    mine = [cell for cell in cells if cell.hazard == "H12"]
    page = pharmacist.get("/pharmacy/hazards/H12").text
    links = set(re.findall(r'href="/pharmacy/workflows/([^"#]+)#([^"]+)"', page))
    assert links == {
        (cell.workflow, step) for cell in mine for steps in cell.steps.values() for step in steps
    }


def test_the_formulary_shows_every_product_with_its_strength(pharmacist: Tablet) -> None:
    kept = load_ward(library.folder("demo_db")).formulary
    page = pharmacist.get("/pharmacy/formulary").text
    for code, product in kept.products.items():
        assert f'href="/pharmacy/formulary/{code}"' in page
        assert str(measured(product.said)) in page
    said = text_of(pharmacist.get("/pharmacy/formulary/09520007300114").text)
    assert "10 mg/mL" in said and "usual high 10 mg" in said and "Glass ampoule" in said


def test_the_settings_show_what_differs_and_who_says_what(pharmacist: Tablet) -> None:
    said = text_of(pharmacist.get("/pharmacy/settings").text)
    other, _, same = said.partition("As shipped")
    assert "patency_unconfirmed stops asks for a reason raised by this unit" in other
    for key, one in library.settings().choices.items():
        assert one.title in other + same
        page = text_of(pharmacist.get(f"/pharmacy/settings/{key}").text)
        assert all(
            " ".join(side.source.split()) in page for side in one.sides if "&" not in side.source
        )


@pytest.mark.parametrize("name", figures.FILES)
def test_each_limit_stands_with_source_and_status(pharmacist: Tablet, name: str) -> None:
    kept = figures.kept(name)
    page = pharmacist.get(f"/pharmacy/limits/{name}").text
    for table in kept.figures:
        for _, source, status in table.rows:
            assert not source or f'id="source-{source}"' in page
            assert not status or status in page
    assert sum(kept.counts.values()) >= 10


def test_proofs_are_kept_by_what_was_proved() -> None:
    """A proof is worked out once for one text of a workflow, and again for another."""
    import asyncio

    asked: list[str] = []

    def digest(flow: Workflow) -> str:
        return flow.digest

    class Counted(Proofs):
        async def _prove(self, flow: Workflow, required: object) -> object:  # type: ignore[override]
            asked.append(flow.name)
            return prove_all(flow, library.required())

    async def run() -> None:
        from dataclasses import replace

        proofs, flow = Counted(digest), library.workflows()["nebule"]
        required = library.required()
        first = await asyncio.gather(*(proofs.of(flow, required) for _ in range(3)))
        assert len({id(one) for one in first}) == 1 and asked == ["nebule"]
        await proofs.of(replace(flow, version=2), required)
        assert asked == ["nebule", "nebule"]
        proofs.stop()

    asyncio.run(run())


@pytest.mark.parametrize(
    ("text", "marked"),
    [
        ("20 mg in 1 mL", '<span class="q">20 mg</span> in <span class="q">1 mL</span>'),
        ("5 microgram/kg/min", '<span class="q">5 microgram/kg/min</span>'),
        (
            "1,000 units & 5 %",
            '<span class="q">1,000 units</span> &amp; <span class="q">5 %</span>',
        ),
        ("H12 mg, 12 mL2, 30 workflows", "H12 mg, 12 mL2, 30 workflows"),
        ("<b>2 mL</b>", '&lt;b&gt;<span class="q">2 mL</span>&lt;/b&gt;'),
    ],
)
def test_amounts_in_a_sentence_are_marked_and_the_rest_is_escaped(text: str, marked: str) -> None:
    assert str(measured(text)) == marked
