"""What is run in, mixed, swallowed or called for: its length, and what all these ways share."""

from __future__ import annotations

import sys
from dataclasses import astuple
from pathlib import Path

import pytest

from checklist import library
from checklist.checks import REASONS
from checklist.verdict import Tier
from tests import test_bags, test_emergency, test_enteral, test_mixtures
from tests.burden import burden, table
from tests.planted import Shelf, passed_in_other_words, raises_nothing

TABLES = (test_bags, test_mixtures, test_enteral, test_emergency)
ORDERS = (
    *test_bags.EVERY,
    test_mixtures.AMPOULES,
    test_mixtures.VIAL_FIRST,
    test_enteral.MOUTH,
    test_enteral.TUBE,
    test_enteral.CONTROLLED,
    test_emergency.CALL,
)
OWN = ("additive", "running", "line", "together", "enteral", "emergency")

# For an order without traits. A bag is two items and a rate beyond the ampoule; a mixture is two
# ampoules; the kit leaves out what can wait and asks for it afterwards.
BUDGET = {
    "bag_additive.single_dose_vial": (32, 9, 16, 6, 31, 59),
    "bag_additive.glass_ampoule": (34, 9, 16, 6, 30, 62),
    "infusion_bottle.single_dose_vial": (32, 9, 16, 6, 31, 60),
    "infusion_bottle.glass_ampoule": (34, 9, 16, 6, 30, 63),
    "burette.single_dose_vial": (33, 9, 17, 6, 30, 60),
    "burette.glass_ampoule": (35, 9, 17, 6, 29, 63),
    "pump_syringe.single_dose_vial": (33, 9, 19, 6, 30, 62),
    "pump_syringe.glass_ampoule": (35, 9, 19, 6, 29, 65),
    "premixed_bag": (14, 7, 6, 4, 13, 29),
    "mixed_syringe.single_dose_vial.single_dose_vial": (35, 10, 16, 8, 36, 60),
    "mixed_syringe.single_dose_vial.glass_ampoule": (37, 10, 16, 8, 35, 65),
    "mixed_syringe.glass_ampoule.glass_ampoule": (39, 10, 16, 8, 34, 68),
    "enteral_liquid": (23, 8, 10, 4, 22, 38),
    "emergency_kit.single_dose_vial": (19, 5, 8, 6, 19, 20),
    "emergency_kit.glass_ampoule": (21, 5, 8, 6, 18, 26),
}


@pytest.mark.parametrize("name", BUDGET)
def test_a_workflow_asks_no_more_than_its_budget(name: str) -> None:
    asked = astuple(burden(library.workflows()[name]))
    assert all(a <= most for a, most in zip(asked, BUDGET[name], strict=True)), asked


def test_every_workflow_of_these_ways_has_a_budget() -> None:
    ways = {name.partition(".")[0] for name in BUDGET}
    assert {n for n in library.workflows() if n.partition(".")[0] in ways} == set(BUDGET)


def test_no_screen_has_more_than_six_lines_to_look_at() -> None:
    for name in BUDGET:
        for step in library.workflows()[name].steps:
            assert sum(f.kind.value == "seen" for f in step.fields) <= 6, (name, step.name)


def test_the_burdens_and_the_planted_errors_are_printed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    shown = table(library.workflows()[name] for name in BUDGET)
    planted = {t.__name__.partition("test_")[2]: len(t.SEEDS) for t in TABLES}
    with capsys.disabled():
        sys.stdout.write(f"\n{shown}planted errors: {planted}\n")
    assert sum(planted.values()) >= 90


@pytest.mark.parametrize("order_id", ORDERS)
def test_every_step_passes_when_it_is_answered_in_other_words(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert passed_in_other_words(order_id, shelf, tmp_path) >= 14


@pytest.mark.parametrize("order_id", ORDERS)
def test_no_check_raises_on_a_well_typed_answer(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert raises_nothing(order_id, shelf, tmp_path) > 100


def test_every_reason_that_stops_is_planted_somewhere() -> None:
    planted = {seed.code for module in TABLES for seed in module.SEEDS.values()}
    assert planted <= REASONS.keys()
    for module in OWN:
        source = Path(f"checklist/checks/{module}.py").read_text(encoding="utf-8")
        for code, reason in REASONS.items():
            if f'"{code}"' in source and reason.tier is not Tier.INFORMATION:
                assert code in planted, (module, code)
