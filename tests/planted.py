"""Planted errors and right answers told apart: how one is set up, played and judged.

A right preparation is walked once to each step and kept there; a test takes up a copy of it, so
that hundreds of planted errors do not mean hundreds of walks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

from checklist.checks import CHECKS
from checklist.observation import (
    Channel,
    Identifier,
    IdentifierKind,
    Kind,
    ProductRead,
    Reading,
    Value,
)
from checklist.preparation import ITEM
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from tests.scene import NURSE, START, Scene

Act = Callable[[Scene], None]


def nothing(scene: Scene) -> None:
    """No change of the surroundings."""


def order(**changes: object) -> Act:
    """Rewrite the order."""
    return lambda scene: scene.change_order(**changes)


def patient(**changes: object) -> Act:
    """Change what is on record about the patient."""
    return lambda scene: scene.change_patient(**changes)


def unit(**changes: object) -> Act:
    """Change a limit or list of the unit."""
    return lambda scene: scene.change_unit(**changes)


def settings(**values: object) -> Act:
    """Choose otherwise where the sources disagree."""
    return lambda scene: scene.change_settings(**values)


def drug(**changes: object) -> Act:
    """Change the ordered drug in the formulary."""
    return lambda scene: scene.change_drug(**changes)


def product(code: str, **changes: object) -> Act:
    """Change a product in the formulary."""
    return lambda scene: scene.change_product(code, **changes)


def after(**span: float) -> Act:
    """Let time pass."""
    return lambda scene: scene.wait(**span)


def both(*acts: Act) -> Act:
    """One change after another."""

    def act(scene: Scene) -> None:
        for one in acts:
            one(scene)

    return act


@dataclass(frozen=True)
class Seed:
    """One planted error: where it is made, which code catches it, the way out.

    `change` happens before the order is opened when `early`, else just before the step. A seed
    without a code is a right answer that varies.
    """

    order: str
    step: str
    code: str = ""
    way: Remedy = Remedy.RECHECK
    seen: dict[str, str | None] = field(default_factory=dict)
    change: Act = nothing
    early: bool = False
    by: str = ""
    tier: str = "hard"


@dataclass(frozen=True)
class _Kept:
    """A preparation as it stood at a step: the bytes of its trail, the time, its id."""

    files: dict[str, bytes]
    now: datetime
    id: str


class Shelf:
    """Right preparations of the demonstration orders, each walked once and kept at every step."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: dict[str, dict[str, _Kept]] = {}

    def at(self, order_id: str, step: str, folder: Path) -> Scene:
        """A scene of its own in `folder` that stands at the step."""
        if order_id not in self._kept:
            self._kept[order_id] = self._walk(order_id)
        kept = self._kept[order_id][step]
        for name, content in kept.files.items():
            (folder / name).write_bytes(content)
        return Scene(folder, order_id=order_id, now=kept.now, begun=kept.id)

    def steps(self, order_id: str) -> tuple[str, ...]:
        """The steps that a right preparation goes through."""
        if order_id not in self._kept:
            self._kept[order_id] = self._walk(order_id)
        return tuple(self._kept[order_id])

    def _walk(self, order_id: str) -> dict[str, _Kept]:
        place = self._folder / order_id
        place.mkdir()
        scene, kept = Scene(place, order_id=order_id), dict[str, _Kept]()
        outcome = scene.open()
        while not outcome.screen.prep.closed:
            files = {file.name: file.read_bytes() for file in place.glob("trail.db*")}
            kept[scene.place] = _Kept(files, scene.now, scene.id)
            outcome = scene.on()
        return kept


def stood(seed: Seed, shelf: Shelf, folder: Path) -> Scene:
    """The scene just before the planted answer."""
    if not seed.early:
        scene = shelf.at(seed.order, seed.step, folder)
        seed.change(scene)
        return scene
    scene = Scene(folder, order_id=seed.order)
    seed.change(scene)
    scene.open()
    scene.to(seed.step)
    return scene


def caught(seed: Seed, shelf: Shelf, folder: Path) -> None:
    """The error is stopped at its step by its code, and its way out leads back or out."""
    scene = stood(seed, shelf, folder)
    before = scene.station.find(scene.id).seen
    outcome = scene.attempt(seed.seen, by=seed.by)
    told = {t.code: t.tier for t in outcome.told}
    assert told.get(seed.code) == seed.tier, told
    assert outcome.screen.stands == ("caution" if seed.tier == "soft" else "refused"), told
    assert outcome.screen.prep.place.startswith(f"{seed.step}/")
    assert outcome.screen.prep.seen == before
    assert "check_failed" not in told
    assert seed.way in outcome.screen.ways, outcome.screen.ways
    after_ = scene.station.remedy(scene.id, seed.way, seed.by or scene.hands_of(seed.step))
    assert after_.entry.event.kind == "remedied"
    assert seed.code in after_.entry.event.body["answers"]
    layout = scene.station.rules_of(after_.screen.prep.workflow).layout
    assert not layout.is_before(seed.step, after_.screen.prep.place)


def passed(seed: Seed, shelf: Shelf, folder: Path) -> Scene:
    """The answer, right in its own way, is not refused and not even cautioned."""
    scene = stood(seed, shelf, folder)
    refused = scene.station.find(scene.id).refusals
    outcome = scene.attempt(seed.seen, by=seed.by)
    assert outcome.entry.event.kind == "passed", [(t.code, t.found) for t in outcome.told]
    assert scene.station.find(scene.id).refusals == refused
    return scene


def in_other_words(scene: Scene) -> dict[str, str | None]:
    """The right answers of the present step as another nurse would give them.

    Choices by their number, lines answered "yes", drug names in capitals, volumes with their unit,
    the patient's name for the record number.
    """
    said: dict[str, str | None] = {}
    person = scene.ward.patients[scene.order.patient]
    for asked in scene.station.screen(scene.id).fields:
        answer = scene.right().get(asked.name, "")
        if asked.kind is Kind.SEEN:
            said[asked.name] = "yes"
        elif asked.kind is Kind.CHOICE and answer in asked.answers:
            said[asked.name] = str(asked.answers.index(answer) + 1)
        elif asked.kind is Kind.TEXT and asked.name.endswith(("drug", "diluent", "diluent_read")):
            said[asked.name] = answer.upper()
        elif asked.kind is Kind.QUANTITY and asked.unit == "mL" and answer:
            said[asked.name] = f"{answer.removesuffix(' mL')} mL"
        elif asked.kind is Kind.IDENTIFIER and answer == person.record_number:
            said[asked.name] = person.name
    return said


def passed_in_other_words(order_id: str, shelf: Shelf, folder: Path) -> int:
    """Every step of a right preparation, answered in other words, passes; how many there were."""
    steps = shelf.steps(order_id)
    for number, step in enumerate(steps):
        place = folder / str(number)
        place.mkdir()
        scene = shelf.at(order_id, step, place)
        outcome = scene.attempt(in_other_words(scene), wait=41)
        told = [(t.code, t.found) for t in outcome.told]
        assert outcome.entry.event.kind == "passed", (step, told)
    return len(steps)


def raises_nothing(order_id: str, shelf: Shelf, folder: Path, *, rounds: int = 8) -> int:
    """No check of any step raises on well-typed answers drawn at random; how many were asked."""
    chance, asked = Random(order_id), 0
    for number, step in enumerate(shelf.steps(order_id)):
        place = folder / str(number)
        place.mkdir()
        scene = shelf.at(order_id, step, place)
        prep = scene.station.find(scene.id)
        spot = scene.station.rules_of(prep.workflow).layout.spots[prep.place]
        around = scene.station.surroundings(prep, scene.station.person(NURSE), spot)
        judged = prep.of(step.partition(ITEM)[2])
        for _ in range(rounds):
            seen = {
                f.name: Reading("raw", chance.choice(f.answers or _VALUES[f.kind]), Channel.TYPED)
                for f in spot.step.fields
                if not (f.optional and chance.random() < 0.5)
            }
            for name in spot.step.checks:
                CHECKS[name](seen, judged, around)
                asked += 1
    return asked


def _amounts(*texts: str) -> tuple[Value, ...]:
    return tuple(Quantity.parse(text) for text in texts)


_VALUES: dict[Kind, tuple[Value, ...]] = {
    Kind.PRODUCT: tuple(ProductRead(code=code) for code in ("PH-104", "09520007302088", "none")),
    Kind.IDENTIFIER: (
        Identifier(IdentifierKind.NAME, "Nobody Here"),
        Identifier(IdentifierKind.LOCATION, "bed 4"),
        Identifier(IdentifierKind.RECORD_NUMBER, "30013852"),
    ),
    Kind.QUANTITY: _amounts("0.1 mL", "4.6 mL", "7000 mL", "5 mg", "3 mm", "9 s"),
    Kind.COUNT: tuple(Quantity.of(many, "1") for many in (0, 1, 999)),
    Kind.CONCENTRATION: tuple(
        Concentration.parse(text) for text in ("1 mg/mL", "600 mg in 4.6 mL", "5 units/mL")
    ),
    Kind.TEXT: ("x", "Water for Injections", "benzylpenicillin"),
    Kind.DATE: (date(1901, 1, 1), date(2026, 11, 25), date(2199, 12, 31)),
    Kind.TIME: (START, START - timedelta(days=9000)),
    Kind.SEEN: (True, False),
}


def right_through(order_id: str, station: str, seconds: int, folder: Path) -> None:
    """A whole right preparation at one pace passes without a refusal or caution."""
    scene = Scene(folder, order_id=order_id, station_name=station)
    scene.open()
    outcome = scene.attempt(wait=seconds)
    while not outcome.screen.prep.closed:
        told = [(t.code, t.found) for t in outcome.told]
        assert outcome.entry.event.kind == "passed", (outcome.entry.event.place, told)
        outcome = scene.attempt(wait=seconds)
    assert outcome.screen.prep.place == "given"
    assert scene.trail.verify().whole
