"""What a trail says as rows of facts: each row is held to the entries it was made from."""

from __future__ import annotations

import shutil
import sqlite3
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from checklist import library
from checklist.engine import NotOffered
from checklist.facts.asking import QUESTIONS, ask
from checklist.facts.engine import Small, rows_of
from checklist.facts.export import export, linked
from checklist.facts.folder import Exported, FactsFault, Folder, Read
from checklist.facts.gathering import Around, facts_of
from checklist.facts.kept_flow import KeptFlow, base_place
from checklist.facts.pseudonym import pseudonyms
from checklist.facts.row import STAGES, TABLES, Facts, columns, values
from checklist.gate import OutOfSequence
from checklist.review.small_cell import Floor
from checklist.trail import Trail, TrailDamaged
from checklist.verdict import Remedy
from tests.scene import COLLEAGUE, NURSE, Scene

ALL = Floor(people=1, preparations=1)
"""Every row with its numbers, however few stand behind it."""
GIVING = frozenset(library.required().giving)
KEY = b"a key for tests"


def told(scene: Scene) -> Facts:
    """The facts of the scene's preparation."""
    entries = scene.station.entries(scene.id)
    flow = KeptFlow(scene.trail.definition(entries[0].event.body["workflow"]), GIVING)
    around = Around(unit="W7E", clock=ZoneInfo("Europe/London"), flow=flow, named=pseudonyms(KEY))
    return facts_of(entries, around)


@pytest.fixture
def eventful(tmp_path: Path) -> Scene:
    """A controlled dose: a volume read twice too high, a break, a caution released, then given."""
    scene = Scene(tmp_path, "ORD-101")
    scene.change_order(indication="")
    scene.open()
    scene.attempt(wait=30)
    scene.wait(seconds=12)
    scene.station.proceed(scene.id, "prescriber_knows", NURSE)
    scene.to("look_at_the_devices")
    scene.wait(seconds=5)
    scene.station.interrupt(scene.id, "call", NURSE)
    scene.wait(seconds=90)
    scene.station.resume(scene.id, NURSE)
    scene.to("set_the_dose")
    for _ in range(2):
        scene.attempt({"drawn_volume": "0.9"}, wait=10)
        scene.wait(seconds=25)
        scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    scene.finish()
    return scene


def test_each_try_is_a_row_and_each_reason_another(eventful: Scene) -> None:
    facts = told(eventful)
    entries = eventful.station.entries(eventful.id)
    tried = [e for e in entries if e.event.kind in ("passed", "cautioned", "refused")]
    assert [s.seq for s in facts.steps] == [e.seq for e in tried]
    assert [s.outcome for s in facts.steps] == [e.event.kind for e in tried]
    assert [(f.reason, f.tier, f.tries) for f in facts.findings] == [
        ("indication_unclear", "soft", 1),
        ("volume_over_target", "hard", 1),
        ("volume_over_target", "hard", 2),
    ]
    whole = facts.preparation
    assert (whole.ending, whole.dose_in, whole.refusals, whole.cautions) == ("given", 1, 2, 1)
    assert whole.entries == len(entries)
    assert whole.seconds == (entries[-1].event.at - entries[0].event.at).total_seconds()


def test_what_became_of_a_finding_is_told_with_its_time(eventful: Scene) -> None:
    caution, first, second = told(eventful).findings
    assert (caution.fate, caution.because, caution.wait) == ("released", "prescriber_knows", 12)
    assert (first.fate, first.remedy, second.fate) == ("recovered", "adjust", "recovered")
    # Two rounds of 25 s away from the stop, 10 s for the second try, 20 s for the right one.
    assert first.wait == 25 + 10 + 25 + 20
    assert second.wait == 25 + 20
    assert first.stage == "drawn up" and first.barrier == "drawn_volume_is_the_dose"
    assert first.breaks_before == 1 and caution.breaks_before == 0


def test_a_break_has_its_cause_and_the_time_away(eventful: Scene) -> None:
    facts = told(eventful)
    (away,) = facts.breaks
    assert (away.cause, away.step, away.away) == ("call", "look_at_the_devices", 90)
    assert facts.preparation.away == 90
    again = [s for s in facts.steps if s.after_break]
    assert [s.side for s in again] in ([], ["reverify"])


def test_the_cause_of_a_break_is_the_one_that_was_told_and_the_question_counts_it(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path)
    scene.open()
    # What a machine or a hasty press left open is told afterwards; one press may say it at once.
    for cause, after in (
        ("not said", "call"), ("tablet locked", "alarm"), ("call", ""), ("not said", ""),
    ):  # fmt: skip
        scene.attempt()
        scene.station.interrupt(scene.id, cause, NURSE)
        if after:
            scene.station.explain(scene.id, after, NURSE)
        if cause != "not said" or after:
            with pytest.raises(NotOffered, match="told already"):
                scene.station.explain(scene.id, "other", NURSE)
        scene.wait(seconds=30)
        scene.station.resume(scene.id, NURSE)
        with pytest.raises(OutOfSequence):
            scene.station.explain(scene.id, "call", NURSE)
    causes = [one.cause for one in told(scene).breaks]
    assert causes == ["call", "alarm", "call", "not said"]
    folder = Folder(tmp_path / "facts")
    with Trail.open(scene.folder / "trail.db", read_only=True) as trail:
        export(trail, folder, giving=GIVING)
    asked = ask(Small(rows_of(folder)), QUESTIONS["interruptions"], limits=False, floor=ALL)
    told_there = [dict(zip(asked.columns, row, strict=True)) for row in asked.rows]
    counted = Counter[str]()
    for one in told_there:
        counted[one["cause"]] += one["breaks"]
    assert counted == {"call": 2, "alarm": 1, "not said": 1}


def test_second_persons_and_controlled_amounts_are_told(eventful: Scene) -> None:
    facts = told(eventful)
    named = pseudonyms(KEY)
    assert {p.second for p in facts.pairs} == {named("person", COLLEAGUE)}
    assert {p.role for p in facts.pairs} == {"checker", "witness"}
    assert all(p.apart >= 0 and not p.same_person for p in facts.pairs)
    amounts = {a.field: a.amount for a in facts.amounts}
    assert amounts["count_taken"] == "1 1" and amounts["drawn_volume"] == "0.75 mL"
    assert amounts["wasted_volume"] == amounts["witness_wasted_volume"] == "0.25 mL"
    (release,) = facts.releases
    assert (release.reason, release.by_preparer) == ("indication_unclear", 1)


def test_no_name_and_no_identifier_gets_into_the_facts(eventful: Scene) -> None:
    facts = told(eventful)
    text = repr([values(row) for table in TABLES for row in facts.rows(table)])
    patient = eventful.ward.patients[eventful.whole.patient]
    for hidden in (patient.name, patient.record_number, NURSE, COLLEAGUE, eventful.order_id):
        assert hidden not in text


def test_one_that_ends_leaves_its_findings_with_that_fate(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("take_the_product")
    scene.attempt({"product": "]d201095200073002131727093010NX5567"})
    scene.wait(seconds=40)
    scene.station.end(scene.id, "order_changed", NURSE)
    facts = told(scene)
    finding = facts.findings[0]
    assert finding.reason == "product_mismatch"
    assert {(f.fate, f.wait) for f in facts.findings} == {("abandoned", 40)}
    assert finding.expected == "ondansetron" and finding.read
    assert facts.preparation.ending == "abandoned"
    assert facts.preparation.ended_because == "order_changed"


def test_every_step_of_every_workflow_has_a_stage() -> None:
    for workflow in library.workflows().values():
        flow = KeptFlow(workflow.text, GIVING)
        stages = [flow.at(step.name).stage for step in workflow.steps]
        order = [STAGES.index(stage) for stage in stages]
        assert order == sorted(order), workflow.name
        assert any(flow.at(step.name).gives for step in workflow.steps), workflow.name
    assert base_place("draw_up/refused") == "draw_up"
    assert base_place("draw_up/reverify/refused") == "draw_up/reverify"


def test_the_week_is_the_iso_week_of_the_units_own_clock(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    moment = datetime(2027, 1, 3, 23, 30, tzinfo=UTC)  # a Sunday: week 53 of 2026 by ISO 8601
    scene.now = moment
    scene.open()
    whole = told(scene).preparation
    assert (whole.week, whole.month, whole.weekday, whole.hour) == ("2026-W53", "2027-01", 7, 23)


def test_columns_are_text_whole_or_number_only() -> None:
    for table in TABLES:
        assert set(columns(table).values()) <= {"text", "whole", "number"}


# -- the export ----------------------------------------------------------------------------------


def read(folder: Folder) -> dict[str, list[tuple[object, ...]]]:
    return {table: sorted(rows, key=repr) for table, rows in rows_of(folder).items()}


def test_an_export_in_parts_gives_the_same_rows_as_one_in_one_go(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    parts, whole = Folder(tmp_path / "parts"), Folder(tmp_path / "whole")
    parts.path.mkdir()
    (parts.path / "key").write_text("11" * 32, encoding="ascii")
    shutil.copytree(parts.path, whole.path)
    with Trail.open(scene.folder / "trail.db", read_only=True) as trail:
        scene.open()
        scene.to("draw_up")
        assert export(trail, parts, giving=GIVING).open == 1
        scene.finish()
        assert export(trail, parts, giving=GIVING).ended == 1
        scene.wait(hours=7)
        scene.change_order(due=scene.now)
        scene.open()
        scene.finish()
        export(trail, parts, giving=GIVING, batch=1)
        before = parts.exported()
        again = export(trail, parts, giving=GIVING)
        assert again.entries == 0 and parts.exported() == before
        export(trail, whole, giving=GIVING)
    assert read(parts) == read(whole)
    assert not parts.changed()
    assert not list(parts.path.rglob("*open*.parquet"))


def test_an_export_holds_no_lock_on_a_trail_that_is_written_to(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("draw_up")
    with Trail.open(scene.folder / "trail.db", read_only=True) as trail:
        start = Read(unit="W7E", through=0, digest=trail.origin.genesis.hex())
        links = linked(trail, start)
        next(links)
        db = sqlite3.connect(scene.folder / "trail.db")
        scene.on()
        # The log can be folded back while the export is in the middle: nobody holds it.
        assert db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
        db.close()
        assert len(list(links)) == scene.trail.head().seq - 2


def test_a_changed_entry_stops_the_export(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("draw_up")
    file = scene.folder / "trail.db"
    scene.trail.close()
    db = sqlite3.connect(file)
    db.execute("DROP TRIGGER entries_no_update")
    db.execute("UPDATE entries SET body = replace(body, 'IV', 'IM') WHERE seq = 1")
    db.commit()
    db.close()
    with pytest.raises(TrailDamaged):  # noqa: SIM117
        with Trail.open(file, read_only=True) as trail:
            export(trail, Folder(tmp_path / "facts"), giving=GIVING)
    assert Folder(tmp_path / "facts").exported() == Exported()


def test_a_trail_that_was_cut_back_is_told_from_its_facts(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    file, old = scene.folder / "trail.db", tmp_path / "old.db"
    source, target = sqlite3.connect(file), sqlite3.connect(old)
    source.backup(target)
    source.close()
    target.close()
    scene.to("draw_up")
    folder = Folder(tmp_path / "facts")
    with Trail.open(file, read_only=True) as trail:
        export(trail, folder, giving=GIVING)
    with Trail.open(old, read_only=True) as trail, pytest.raises(FactsFault, match="cut off"):
        export(trail, folder, giving=GIVING)


def test_a_cut_short_export_counts_for_nothing(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.finish()
    folder = Folder(tmp_path / "facts")
    with Trail.open(scene.folder / "trail.db", read_only=True) as trail:
        export(trail, folder, giving=GIVING)
        rows = read(folder)
        (folder.path / "exported.json").unlink()  # as if it had not come to the last move
        assert folder.exported() == Exported()
        export(trail, folder, giving=GIVING)
    assert read(folder) == rows
    assert not folder.changed()
    (folder.path / folder.exported().files[0].path).write_bytes(b"other")
    assert len(folder.changed()) == 1


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(FactsFault, match="other things"):
        Folder(tmp_path).exported()


def test_a_first_list_that_was_cut_short_leaves_a_folder_to_go_on_with(
    eventful: Scene, tmp_path: Path
) -> None:
    """While it is half written, and after a kill just then, nothing counts and nothing is lost."""
    into = Folder(tmp_path / "facts")
    into.key()
    (into.path / "exported.json.half").write_text('{"format":', encoding="utf-8")
    assert into.exported() == Exported()
    assert export(eventful.trail, into, giving=GIVING).entries == eventful.trail.head().seq
    assert into.changed() == []
