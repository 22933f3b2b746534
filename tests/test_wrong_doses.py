"""Doses that are wrong in the ways doses go wrong: each is noticed somewhere on the ampoule's path.

The kinds are those of the published error types: a factor of ten, one unit taken for another, the
figure of the milligrams taken for millilitres, a weight in pounds taken for kilograms. A forgotten
displacement cannot happen with a glass ampoule; `tests/test_powders.py` plants it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from checklist.checks import REASONS
from checklist.label import label
from checklist.quantity import Quantity, Rounding
from tests.scene import START, Scene

of = Quantity.of
ONDANSETRON, MORPHINE, GENTAMICIN = "ORD-103", "ORD-101", "ORD-105"
TEN, UNIT, AMOUNT_FOR_VOLUME, POUNDS = (
    "wrong by ten", "wrong by unit", "mg for mL", "pounds for kg",
)  # fmt: skip


def nothing(scene: Scene) -> None:
    """No change."""


def order(**changes: object) -> Callable[[Scene], None]:
    return lambda scene: scene.change_order(**changes)


def weight(value: str) -> Callable[[Scene], None]:
    """Another weight on record, for a dose that is due and may be given."""

    def change(scene: Scene) -> None:
        due = START + timedelta(minutes=10)
        scene.change_order(last_given=START - timedelta(hours=9), due=due)
        scene.change_patient(weight=Quantity.from_code(value))

    return change


class Wrong(NamedTuple):
    """One wrong figure: its kind, where it is made, what was entered, and the code that sees it."""

    kind: str
    order: str
    step: str
    seen: dict[str, str]
    code: str
    change: Callable[[Scene], None] = nothing


WRONG = [
    # the order itself: 40 mg or 0.4 mg ordered where 4 mg is usual
    Wrong(TEN, ONDANSETRON, "read_the_order", {}, "dose_above_limit", order(dose=of(40, "mg"))),
    Wrong(TEN, ONDANSETRON, "read_the_order", {}, "dose_outside_range",
          order(dose=of("0.4", "mg"))),
    Wrong(TEN, ONDANSETRON, "read_the_order", {}, "order_notation_error_prone",
          order(written={"dose": "4.0 mg"})),
    Wrong(TEN, MORPHINE, "read_the_order", {}, "order_notation_error_prone",
          order(written={"dose": ".75 mg"})),
    # the sum: the volume is 2 mL, and 0.75 mL of morphine
    Wrong(TEN, ONDANSETRON, "work_out_the_volume", {"own_volume": "0.2"}, "calculation_mismatch"),
    Wrong(TEN, ONDANSETRON, "work_out_the_volume", {"own_volume": "20"}, "volume_exceeds_content"),
    Wrong(TEN, MORPHINE, "work_out_the_volume", {"own_volume": "7.5"}, "calculation_mismatch"),
    Wrong(TEN, MORPHINE, "second_person_works_it_out", {"checker_volume": "0.075"},
          "double_check_disagrees"),
    Wrong(TEN, MORPHINE, "set_the_dose", {"drawn_volume": "0.08"}, "volume_under_target"),
    Wrong(TEN, ONDANSETRON, "set_the_dose", {"drawn_volume": "20"}, "volume_exceeds_content"),
    Wrong(TEN, ONDANSETRON, "write_the_label", {"label_dose": "40 mg"}, "label_mismatch"),
    Wrong(TEN, ONDANSETRON, "write_the_label", {"label_volume": "0.2"}, "label_mismatch"),
    Wrong(TEN, ONDANSETRON, "compare_at_the_bedside", {"bedside_dose": "40 mg"},
          "bedside_mismatch"),
    # one unit taken for another
    Wrong(UNIT, ONDANSETRON, "read_the_order", {}, "dose_above_limit", order(dose=of(4, "g"))),
    Wrong(UNIT, ONDANSETRON, "read_the_order", {}, "dose_outside_range", order(dose=of(4, "ug"))),
    Wrong(UNIT, MORPHINE, "read_the_order", {}, "order_notation_error_prone",
          order(written={"dose": "7.5 ug"})),
    Wrong(UNIT, ONDANSETRON, "work_out_the_volume", {"own_volume": "2 L"}, "calculation_mismatch"),
    Wrong(UNIT, ONDANSETRON, "read_the_label_again", {"read_strength": "4 microgram in 2 mL"},
          "strength_mismatch"),
    Wrong(UNIT, ONDANSETRON, "write_the_label", {"label_dose": "4 microgram"}, "label_mismatch"),
    Wrong(UNIT, ONDANSETRON, "compare_at_the_bedside", {"bedside_dose": "4 g"},
          "bedside_mismatch"),
    # the figure of the milligrams taken for millilitres, or the other way round
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "work_out_the_volume", {"own_volume": "4 mg"},
          "unit_mismatch"),
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "work_out_the_volume", {"own_volume": "4"},
          "calculation_mismatch"),
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "set_the_dose", {"drawn_volume": "4"},
          "volume_exceeds_content"),
    Wrong(AMOUNT_FOR_VOLUME, MORPHINE, "second_person_works_it_out", {"checker_volume": "7.5"},
          "double_check_disagrees"),
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "write_the_label", {"label_dose": "2 mL"},
          "label_mismatch"),
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "write_the_label", {"label_volume": "4"},
          "label_mismatch"),
    Wrong(AMOUNT_FOR_VOLUME, ONDANSETRON, "compare_at_the_bedside", {"bedside_dose": "2 mL"},
          "bedside_mismatch"),
    # 64 kg are 141 pounds: in the nurse's own sum, in the record's unit, in the record's figure
    Wrong(POUNDS, GENTAMICIN, "work_out_the_volume", {"own_volume": "5.3"},
          "calculation_mismatch", weight("64 kg")),
    Wrong(POUNDS, GENTAMICIN, "read_the_order", {}, "weight_missing", weight("141 [lb_av]")),
    # Limits per kg grow with a weight that is wrong on record; here the number of ampoules tells.
    Wrong(POUNDS, GENTAMICIN, "take_the_product", {}, "many_containers_for_dose",
          weight("141 kg")),
]  # fmt: skip


def arrive(scene: Scene, step: str) -> None:
    """Go on rightly until `step` is the present one."""
    scene.open()
    scene.to(step)


@pytest.mark.parametrize("wrong", WRONG, ids=lambda w: f"{w.kind}, {w.step}, {w.code}")
def test_a_wrong_dose_is_noticed(wrong: Wrong, tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=wrong.order)
    wrong.change(scene)
    arrive(scene, wrong.step)
    outcome = scene.attempt(wrong.seen)
    assert outcome.screen.stands in ("refused", "caution")
    assert wrong.code in {told.code for told in outcome.told}
    assert REASONS[wrong.code].remedies


@pytest.mark.parametrize("order_id", [ONDANSETRON, MORPHINE, GENTAMICIN])
def test_the_right_dose_of_each_order_is_not_stopped(order_id: str, tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=order_id)
    if order_id == GENTAMICIN:
        weight("64 kg")(scene)
    arrive(scene, "work_out_the_volume")
    assert scene.attempt().entry.event.kind == "passed"


def test_every_kind_of_wrong_dose_is_there_and_caught_at_more_than_one_step() -> None:
    for kind in (TEN, UNIT, AMOUNT_FOR_VOLUME, POUNDS):
        assert len({wrong.step for wrong in WRONG if wrong.kind == kind}) >= 3


# -- the product's own rounding ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("way", "step", "volume"),
    [
        (Rounding.HALF_UP, None, "0.78"),
        (Rounding.DOWN, None, "0.77"),
        (Rounding.UP, None, "0.78"),
        (Rounding.DOWN, "0.05", "0.75"),
        (Rounding.HALF_UP, "0.05", "0.8"),
        (Rounding.HALF_UP, "0.025", "0.78"),  # not a whole number of lines: the line holds
    ],
)
def test_a_product_says_how_its_volume_is_rounded(
    way: Rounding, step: str | None, volume: str, tmp_path: Path
) -> None:
    """7.75 mg of 10 mg in 1 mL is 0.775 mL, in a 1 mL syringe with a line every 0.01 mL. Down for a
    high-alert drug: common practice, no source."""
    scene = Scene(tmp_path, order_id=MORPHINE)
    scene.change_order(dose=of("7.75", "mg"))
    code = next(
        p.code for p in scene.ward.formulary.of_drug("morphine") if p.container == "glass_ampoule"
        and p.strength.per_mL == of(10, "mg/mL")
    )  # fmt: skip
    own = of(step, "mL") if step is not None else None
    scene.change_product(code, rounding=way, rounding_step=own)
    arrive(scene, "work_out_the_volume")
    assert scene.volume() == volume
    assert scene.attempt({"own_volume": volume}).entry.event.kind == "passed"


def test_a_drug_may_allow_less_rounding_than_the_unit(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=MORPHINE)
    scene.change_order(dose=of("7.75", "mg"))
    scene.change_drug(max_rounding=of("0.02", "mg"))
    arrive(scene, "work_out_the_volume")
    outcome = scene.attempt()
    assert [told.code for told in outcome.told] == ["rounding_out_of_tolerance"]
    assert "More than 0.3 %" in outcome.told[0].why  # 0.02 mg of 7.75 mg, to a tenth


def test_the_label_s_back_page_has_the_working_from_the_weight_to_the_line(tmp_path: Path) -> None:
    """1.5 mg/kg for 64 kg is 96 mg, and 2.4 mL of 80 mg in 2 mL: computed."""
    scene = Scene(tmp_path, order_id=GENTAMICIN)
    weight("64 kg")(scene)
    arrive(scene, "set_the_dose")
    prep = scene.station.find(scene.id)
    rules = scene.station.rules_of(prep.workflow)
    person = scene.station.person(prep.preparer)
    around = scene.station.surroundings(prep, person, rules.layout.base(prep.place))
    back = label(prep, around).back
    assert back[:3] == (
        "dose = dose per kg × body weight",
        "dose = 1.5 mg/kg × 64 kg",
        "dose = 96 mg",
    )
    assert "volume = 96 mg ÷ 80 mg × 2 mL" in back
    assert back[-1] == "rounding changes nothing"
