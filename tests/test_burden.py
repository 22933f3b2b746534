"""Each workflow stays usable: what it asks is counted, printed, and kept from growing unseen."""

from __future__ import annotations

import sys

import pytest

from checklist import library
from tests.burden import Burden, burden, table

# For an order without traits. Screens are the goal of the glass ampoule (24); what a container
# asks beyond it is its own matter: a mixed powder is two items, a vial for many doses has a past.
BUDGET = {
    "glass_ampoule": Burden(screens=24, scans=8, numbers=10, words=4, presses=23, lines=48),
    "plastic_ampoule": Burden(screens=22, scans=8, numbers=10, words=4, presses=23, lines=43),
    "nebule": Burden(screens=18, scans=8, numbers=8, words=4, presses=18, lines=34),
    "single_dose_vial": Burden(screens=22, scans=8, numbers=10, words=4, presses=24, lines=45),
    "multi_dose_vial": Burden(screens=23, scans=8, numbers=11, words=4, presses=27, lines=45),
    "powder_vial": Burden(screens=27, scans=9, numbers=14, words=6, presses=34, lines=52),
    "powder_ampoule": Burden(screens=29, scans=9, numbers=14, words=6, presses=32, lines=55),
}


@pytest.mark.parametrize("name", BUDGET)
def test_a_workflow_asks_no_more_than_its_budget(name: str) -> None:
    asked, most = burden(library.workflows()[name]), BUDGET[name]
    for what in Burden.__dataclass_fields__:
        assert getattr(asked, what) <= getattr(most, what), (what, asked)


def test_no_screen_has_more_than_six_lines_to_look_at() -> None:
    for name in BUDGET:
        for step in library.workflows()[name].steps:
            assert sum(f.kind.value == "seen" for f in step.fields) <= 6, (name, step.name)


def test_the_burdens_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    shown = table(library.workflows()[name] for name in BUDGET)
    with capsys.disabled():
        sys.stdout.write(f"\n{shown}")
    assert shown.count("\n") == len(BUDGET) + 1
