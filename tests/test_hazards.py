"""The hazard register: hazard, barrier, workflow and test hang together, nothing left alone."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from checklist import hazard, library
from checklist.checks import REASONS
from checklist.hazard import FILE, HazardFaults, codes_of, concerns, matrix, orphans, read
from checklist.requirement import stops
from checklist.verdict import Tier
from checklist.workflow import ending_words
from tests.test_cli import call

HERE = Path(__file__).parent
FLOWS = library.workflows()
REQUIRED = library.required()
REGISTER = library.hazards()
CELLS = matrix(REGISTER, FLOWS.values(), REQUIRED)
# The letters of the trade's catalogue and the containers here that they stand for.
LETTERS = {
    "G": "glass_ampoule", "P": "plastic_ampoule", "S": "single_dose_vial", "M": "multi_dose_vial",
    "V": "powder_vial", "W": "powder_ampoule", "F": "prefilled_syringe",
    "C": "cartridge_in_holder", "N": "insulin_pen", "B": "bag_additive", "X": "mixed_syringe",
    "O": "enteral_liquid",
}  # fmt: skip
# Where this register differs from the trade's table, and why. Own judgement, no source.
OTHERWISE = {
    ("H12", "V"): "the filter for a diluent from glass is asked for with the diluent",
    ("H25", "F"): "a part dose of a device is measured on its own scale or refused",
    ("H25", "O"): "the tip of a mouth syringe is a hazard of its own, H38",
    ("H37", "P"): "the nebule is a container of its own here and has it",
}


def test_there_are_the_54_hazards_in_order_with_cause_harm_and_source() -> None:
    assert list(REGISTER.hazards) == [f"H{n:02}" for n in range(1, 55)]
    for one in REGISTER.hazards.values():
        assert one.cause.endswith(".") and one.harm.endswith(".") and one.source
        assert not re.search(r"\b(forgot|careless|wrong|failed)\b", f"{one.title} {one.cause}"), one


def test_no_hazard_is_without_a_barrier_and_no_barrier_without_a_hazard() -> None:
    assert list(orphans(REGISTER, CELLS, FLOWS.values(), REQUIRED)) == []


def test_every_hazard_has_a_barrier_that_stops_or_is_known_to_have_none() -> None:
    """The small mouth dose at the tip has none in the trade's catalogue either."""
    soft = {one.id for one in REGISTER.hazards.values() if not any(stops(c) for c in one.barriers)}
    assert soft == {"H38"}


def test_the_containers_of_each_hazard_are_at_least_those_of_the_trades_table() -> None:
    with (HERE / "data" / "hazard_containers.csv").open(encoding="utf-8") as file:
        table = {row["hazard"]: row["containers"].split() for row in csv.DictReader(file)}
    missing = [
        (id_, letter)
        for id_, letters in table.items()
        for letter in letters
        if letter in LETTERS
        and not any(
            concerns(REGISTER.hazards[id_], flow, REQUIRED)
            for flow in FLOWS.values()
            if flow.container == LETTERS[letter]
        )
    ]
    assert [pair for pair in missing if not OTHERWISE.get(pair)] == []


def test_every_reason_of_the_catalogue_is_raised_in_a_workflow_or_left_out_with_why() -> None:
    with (HERE / "data" / "reason_codes.csv").open(encoding="utf-8") as file:
        catalogue = {row["code"]: row for row in csv.DictReader(file)}
    raised = {code for flow in FLOWS.values() for code in codes_of(flow)}
    assert len(catalogue) == 259
    assert set(catalogue) - raised == set(REGISTER.left_out)
    assert not set(REGISTER.left_out) & set(REASONS)
    for code in raised & set(catalogue):
        tier = {"H": Tier.HARD, "S": Tier.SOFT, "I": Tier.INFORMATION}[catalogue[code]["tier"]]
        assert REASONS[code].tier is tier or code == "interrupted", code
        assert REASONS[code].firm == (catalogue[code]["firm"] == "yes"), code


def test_an_event_that_is_left_out_as_a_reason_is_a_reason_to_end() -> None:
    """Every container offers it while something is open, and the account follows."""
    for code in ("spill", "hazardous_spill", "exposure", "sharps_injury_clean"):
        assert code in REGISTER.left_out
        for flow in FLOWS.values():
            opened = [s.name for s in flow.steps].index(flow.opens)
            for step in flow.steps[opened:]:
                phase = next(p for p in flow.phases if step in p.steps)
                if phase.name in ("afterwards", "kit_box"):
                    continue
                assert code in ending_words(flow, phase.name), (flow.name, phase.name, code)


def test_every_reason_that_stops_is_planted_in_some_test() -> None:
    """The fourth side of the matrix: a barrier that no test ever provokes is unproven."""
    named = {
        word
        for file in HERE.glob("test_*.py")
        if file.name not in ("test_hazards.py", "test_mutation.py", "test_proof.py")
        for word in re.findall(r'"([a-z]+(?:_[a-z]+)*)"', file.read_text(encoding="utf-8"))
    }
    raised = {code for flow in FLOWS.values() for code in codes_of(flow)}
    assert sorted(code for code in raised if stops(code) and code not in named) == []


def test_the_command_prints_the_matrix_and_tells_of_tests(tmp_path: Path) -> None:
    code, out, err = call("workflow", "hazards")
    assert code == 0 and not err
    assert len(re.findall(r"^H[0-9]{2} ", out, flags=re.M)) == 54
    assert out.splitlines()[-1].startswith("next: ")
    code, out, _ = call("workflow", "hazards", "h12", "--tests", HERE)
    assert code == 0
    assert "filter_missing (stops)" in out and "glass_ampoule: " in out
    assert "test_seeded_errors" in out
    told = json.loads(call("workflow", "hazards", "--json", "--tests", HERE)[1])
    assert {row["hazard"] for row in told} == set(REGISTER.hazards)
    assert len(told) == len(CELLS)
    assert call("workflow", "hazards", "H99")[0] == 2


SHIPPED = (library.folder("workflows") / FILE).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"filter_missing"', '"filter_mising"', ("no check gives", "did you mean")),
        ('id = "H02"', 'id = "H01"', ("H01", "stands twice")),
        ('where = ["glass"]', 'where = ["glas"]', ("`glas`", "did you mean `glass`")),
        ("severity = 5", "severity = 6", ("severity", "less than or equal to 5")),
        ('code = "near_miss_offer"', 'code = "filter_missing"', ("gives it after all",)),
        (
            'barriers = ["core_visible',
            'barriers = ["air_present", "core_visible',
            ("does not name",),
        ),
        ('hazard = "H52"\n', 'hazard = "H77"\n', ("no such hazard",)),
    ],
)
def test_a_fault_of_the_register_is_a_sentence(
    old: str, new: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    assert old in SHIPPED
    file = tmp_path / FILE
    file.write_text(SHIPPED.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(HazardFaults) as found:
        read(file, REQUIRED)
    for word in words:
        assert word in str(found.value), found.value


def test_a_gap_that_is_closed_has_to_be_taken_out() -> None:
    gap = hazard.Gap(hazard="H14", where="stopper", why="nobody looked")
    more = hazard.Register(
        hazards=REGISTER.hazards, gaps=(*REGISTER.gaps, gap), left_out=REGISTER.left_out
    )
    found = list(orphans(more, CELLS, FLOWS.values(), REQUIRED))
    assert len(found) == 1 and "H14" in found[0] and "closed" in found[0]
