"""The labels of the invented year and of every order of the demonstration ward.

Each is made by the road that prints: the draft of a real preparation at its own moment. The writing
rules are held over each; of those with different content each is rendered once and looked over.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from checklist import library, notation
from checklist.intake.ward import load_ward
from checklist.printing.job import Asked, Draft, draft
from checklist.printing.press import DOSES
from checklist.screen import Outcome
from checklist.stock import Kind
from checklist.trail import Trail
from checklist.vial import vial_items
from checklist.year import year as played_year
from checklist.year.place import YearStation, nurses, wards
from checklist.year.plan import read_plan
from checklist.year.play import Player, Turn
from checklist.year.year import FOLDER, Part, parts, play_part
from tests import way_answers  # noqa: F401  (the right answers for bags, mixtures and bottles)
from tests.paper import whole
from tests.scene import NURSE, Scene, demo_ward

FULL = bool(os.environ.get("CHECKLIST_FULL"))
SEED, WHOLE_YEAR = 1, 5_000
PLAN = read_plan(library.folder("demo_db") / FOLDER)
ASKS = "label_says_everything"
# What a label's content is told by; names of people, times and the code differ from one to the
# next and change nothing about the form.
OWN = {"prepared", "use_before", "prepared_by", "checked_by", "code", "number", "initials"}
OWN |= {"opened", "discard_after", "mixed"}

# Orders of the demonstration ward that come to no label of ours, with why.
NO_LABEL = {
    "ORD-105": "given too lately", "ORD-106": "written so that it can be misread",
    "ORD-107": "no longer in force", "ORD-305": "a pen", "ORD-306": "a pen",
    "ORD-307": "a filled device with its own label", "ORD-310": "labelled by the pharmacy",
}  # fmt: skip

_LOOKED: set[tuple[object, ...]] = set()
"""The contents that were rendered in this process."""


class Watched(YearStation):
    """A station of the year that makes the draft of each label before the nurse enters it."""

    drafts: list[Draft]

    def attempt(self, id_: str, *given: Any, **more: Any) -> Outcome:
        spot = self.screen(id_).spot
        if spot is not None and ASKS in spot.step.checks:
            self.drafts.extend(_drafts(self, id_))
        return super().attempt(id_, *given, **more)


def _drafts(station: Any, id_: str) -> Iterator[Draft]:
    """The label of the dose, and that of its vial where one stays in use."""
    prep = station.find(id_)
    by = station.person(prep.preparer)
    yield draft(station, id_, by, Asked())
    rules = station.rules_of(prep.workflow)
    spot = rules.layout.spots[rules.workflow.steps[0].name]
    if vial_items(prep, station.surroundings(prep, by, spot)):
        yield draft(station, id_, by, Asked(vial=True))


def content(made: Draft) -> tuple[object, ...]:
    said = tuple((item, text) for item, text in made.face.texts if item not in OWN)
    return (made.kind, made.size, made.form, said)


def well_written(made: Draft) -> None:
    """Assert the writing rules over each item by itself, apart from the look before printing."""
    texts = list(made.face.texts)
    for item, text in texts:
        scopes = [notation.DOSE] if item in DOSES else []
        scopes += [notation.DRUG] if item == "drug" else []
        scopes += [notation.ROUTE] if item == "route" else []
        assert notation.faults(text, scopes) == (), (item, text)
    items = {item for item, _ in texts}
    assert {"drug", "code"} <= items and len(items - {"code", "number"}) >= made.due
    if made.kind is Kind.VIAL:
        assert not {"patient_name", "identifiers"} & items
    else:
        assert {"patient_name", "identifiers", "dose", "volume", "use_before", "route"} <= items


def looked_over(drafts: list[Draft], tell: Callable[[str, object], None]) -> None:
    """Hold the rules over all, render each content once, and hand the counts to the report."""
    for one in drafts:
        well_written(one)
    distinct = {content(one): one for one in drafts}
    new = set(distinct) - _LOOKED
    for key in new:
        one = distinct[key]
        whole(one.job().laid, code=one.code, kind=one.symbol)
    _LOOKED.update(new)
    tell("labels", [len(drafts), len(new)])


@pytest.mark.parametrize("order", [one for one in demo_ward().orders if one not in NO_LABEL])
def test_the_label_of_a_demonstration_order(
    order: str, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    scene = Scene(tmp_path, order_id=order)
    scene.open()
    while (spot := scene.station.screen(scene.id).spot) is None or ASKS not in spot.step.checks:
        scene.on()
    assert scene.station.find(scene.id).preparer == NURSE
    looked_over(list(_drafts(scene.station, scene.id)), record_property)


def test_every_other_order_comes_to_no_label(tmp_path: Path) -> None:
    """Stopped at the order, or the workflow asks for none."""
    for order in NO_LABEL:
        folder = tmp_path / order
        folder.mkdir()
        scene = Scene(folder, order_id=order)
        try:
            scene.open()
            scene.finish()
        except AssertionError as stopped:
            assert "read_the_order" in str(stopped), order
            continue
        prep = scene.station.find(scene.id)
        steps = scene.station.rules_of(prep.workflow).workflow.steps
        assert not any(ASKS in step.checks for step in steps), order


@pytest.mark.skipif(FULL, reason="the whole year is played instead")
def test_labels_of_each_thing_made_in_the_year(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Each order of the year, by turns in its units, with slips, breaks and new beginnings."""
    wards(PLAN, tmp_path / "wards")
    Watched.drafts = []
    for number, unit in enumerate(PLAN.units, start=1):
        draw = random.Random(f"labels/{unit.code}")
        start = datetime(PLAN.year, 3 * number, 5, 9, tzinfo=UTC)
        made = [one for at, one in enumerate(PLAN.made, start=1) if at % 3 == number % 3]
        file = tmp_path / f"{unit.code}.db"
        with Trail.create(file, trail_id=unit.code, unit=unit.code, at=start) as trail:
            ward = load_ward(tmp_path / "wards" / unit.code)
            station = Watched(trail, ward, seed=unit.code, start=start)
            player = Player(station, PLAN, draw)
            codes = [one.code for one in nurses(PLAN, unit, number)]
            for line, one in enumerate(made):
                by, second = draw.sample(codes, 2)
                turn = Turn(made=one, by=by, second=second, slips=1, breaks=1)
                player.play(turn, f"{unit.code}-{line:05d}")
                station.moment += timedelta(minutes=7)
    drugs = {dict(one.face.texts)["drug"].lower() for one in Watched.drafts}
    assert len(drugs) >= 10, drugs
    looked_over(Watched.drafts, record_property)


@pytest.mark.skipif(not FULL, reason="set CHECKLIST_FULL=1 to play the whole year")
@pytest.mark.parametrize(
    "part",
    parts(PLAN, WHOLE_YEAR) if FULL else [],
    ids=lambda part: f"{part.unit}-{part.month:02d}",
)
def test_every_label_of_the_year(
    part: Part,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    record_property: Callable[[str, object], None],
) -> None:
    wards(PLAN, tmp_path / "wards")
    (tmp_path / "trails").mkdir()
    Watched.drafts = []
    monkeypatch.setattr(played_year, "YearStation", Watched)
    play_part(tmp_path, part, seed=SEED, planted=True)
    assert len(Watched.drafts) > part.count // 2
    looked_over(Watched.drafts, record_property)
