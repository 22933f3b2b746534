"""Powders and vials in a pharmacy's files: taken in from tables or a sheet, or told as faults."""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

import pytest

from checklist.formulary import Formulary, Mixing, Product
from checklist.intake.fault import Fault, Findings
from checklist.intake.formulary_csv import formulary_of_csv
from checklist.quantity import Concentration, Quantity
from tests.scene import demo_ward
from tests.wards import FORMULARY, copied, edit, faults_of, load

PENICILLIN, CEFTRIAXONE, HEPARIN = "09520007302057", "09520007302064", "09520007302033"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demonstration ward that a test may spoil."""
    return copied(tmp_path)


def test_a_powder_is_read_with_all_that_its_leaflet_tells() -> None:
    item = demo_ward().formulary.products[PENICILLIN]
    assert item.powder == Quantity.of("600", "mg")
    assert item.said == "benzylpenicillin 600 mg"
    assert item.mixing == (
        Mixing(
            routes=("IV", "IM"),
            diluents=("water for injections", "sodium chloride 0.9 %"),
            volume=Quantity.of("4.6", "mL"),
            displacement=Quantity.of("0.4", "mL"),
            methods=("swirled", "rolled"),
            least=Quantity.of("10", "s"),
            most=Quantity.of("10", "min"),
            life=Quantity.of("1", "h"),
            source="invented leaflet, 2026-03",
        ),
    )


def test_strength_and_content_of_a_powder_are_those_of_its_first_way() -> None:
    item = demo_ward().formulary.products[CEFTRIAXONE]
    assert item.strength == Concentration.parse("100 mg/mL")
    assert item.content == Quantity.of("10", "mL")
    assert item.strength.amount_in(item.content) == item.powder


def test_a_vial_for_many_doses_is_read_with_preservative_and_life() -> None:
    products = demo_ward().formulary.products
    assert products[HEPARIN].preservative == "benzyl alcohol"
    assert products[HEPARIN].life_in_use is None
    assert products["09520007302040"].life_in_use == Quantity.of("14", "d")
    assert products["PH-104"].said == "sodium chloride 0.9 %"


# What stands there, what is put in its place, where the fault is, words of its sentence.
CASES: list[tuple[str, str, str, str]] = [
    ('powder = "600 mg"\n', "", "powder", "has the amount in one container"),
    ('powder = "600 mg"', 'powder = "0 mg"', "powder", "above zero"),
    ('powder = "600 mg"', "powder = 600", "powder", "stands without quotes"),
    ('powder = "600 mg"', 'powder = "600mg"', "powder", "no space before the unit"),
    ('powder = "600 mg"', 'powder = "600 mg"\nstrength = "120 mg/mL"', "strength", "once it is"),
    ('powder = "600 mg"', 'powder = "600 mg"\ncontent = "5 mL"', "content", "once it is mixed"),
    ('strength = "8 mg in 2 mL"\n', 'powder = "8 mg"\n', "powder", "Only a powder has this"),
    ('strength = "8 mg in 2 mL"\n', "", "strength", "is not there"),
    ('diluents = ["water for injections", "sodium chloride 0.9 %"]\n', "", "diluents", "a fluid"),
    ('routes = ["IV", "IM"]\n  diluents', 'routes = []\n  diluents', "routes", "a route, like IV"),
    ('routes = ["IV", "IM"]\n  diluents', 'routes = ["SC"]\n  diluents', "routes", "not for SC"),
    ('routes = ["IV", "IM"]\n  diluents', 'routes = ["IX"]\n  diluents', "routes", "not on the"),
    ('volume = "4.6 mL"', 'volume = "4,6 mL"', "volume", "comma"),
    ('volume = "4.6 mL"', 'volume = "4.6 mg"', "volume", "not a volume"),
    ('displacement = "0.4 mL"', 'displacement = "0.4 mg"', "displacement", "or 0 mL"),
    ('methods = ["swirled", "rolled"]', 'methods = ["swirled", "rold"]', "methods", '"rolled"'),
    ('methods = ["swirled", "rolled"]', 'methods = "swirled"', "methods", "not a list"),
    ('most = "10 min"', 'most = "5 s"', "most", "shorter than least"),
    ('life = "1 hour"', 'life = "1 mL"', "life", "not a length of time"),
    ('source = "invented leaflet, 2026-03"\n', "", "source", "Name the leaflet"),
    ('displacement = "0.4 mL"', 'displacment = "0.4 mL"', "displacment", '"displacement"'),
    ('strength = "100 mg/mL"', 'strength = "10 mg/mL"', "strength", "Look at the three again"),
    ('strength = "100 mg/mL"', 'strength = "1 g/mL"', "strength", "Look at the three again"),
    ('strength = "100 mg/mL"', 'strength = "100 units/mL"', "strength", "another kind of amount"),
    ('strength = "100 mg/mL"', 'strength = "100 mg"', "strength", "has no volume"),
    ('routes = ["IM"]\n  diluents', 'routes = ["IV"]\n  diluents', "routes", "two ways of mixing"),
    ('life_in_use = "14 days"', 'life_in_use = "14 mL"', "life_in_use", "not a length of time"),
    ('life_in_use = "14 days"', "life_in_use = 14", "life_in_use", "stands without quotes"),
    ('luer_fit = true', 'luer_fit = "yes"', "luer_fit", "neither true nor false"),
    ('preservative = "benzyl alcohol"', 'preservative = ""', "preservative", "empty"),
    ('container = "nebule"', 'container = "nebul"', "container", '"nebule"'),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "place", "words"), CASES)
def test_what_cannot_be_taken_is_named_with_its_place(
    folder: Path, old: str, new: str, place: str, words: str
) -> None:
    edit(folder / FORMULARY, old, new)
    told = faults_of(folder)
    found = [f for f in told if place in f.place and words in f.sentence]
    assert found, [str(fault) for fault in told]
    assert found[0].file == FORMULARY


def test_mixing_of_a_liquid_is_a_fault(folder: Path) -> None:
    mixing = '[[product.mixing]]\nroutes = ["IV"]\ndiluents = ["water for injections"]\n'
    old = 'strength = "8 mg in 2 mL"\ncontent = "2 mL"\nroutes = ["IV", "IM"]\n'
    edit(folder / FORMULARY, old, f"{old}\n{mixing}")
    assert any("Only a powder is mixed" in f.sentence for f in faults_of(folder))


def test_a_powder_may_leave_out_what_its_leaflet_does_not_tell(folder: Path) -> None:
    edit(folder / FORMULARY, '  volume = "4.6 mL"\n  displacement = "0.4 mL"\n', "")
    way = load(folder).formulary.products[PENICILLIN].mixing[0]
    assert way.volume is None and way.displacement is None and way.strength is None


COLUMNS = (
    "edition", "code", "drug", "container", "strength", "content", "routes", "powder",
    "mixing_routes", "mixing_diluents", "mixing_volume", "mixing_displacement",
    "mixing_strength", "mixing_methods", "mixing_kept", "mixing_source",
)  # fmt: skip
POWDER = {
    "edition": "E",
    "code": CEFTRIAXONE,
    "drug": "ceftriaxone",
    "container": "powder_vial",
    "routes": "IV|IM",
    "powder": "1 g",
    "mixing_routes": "IV",
    "mixing_diluents": "water for injections",
    "mixing_volume": "9.6 mL",
    "mixing_strength": "100 mg/mL",
    "mixing_methods": "shaken|swirled",
    "mixing_kept": "yes",
    "mixing_source": "leaflet, 2026",
}
INTO_MUSCLE = POWDER | {
    "mixing_routes": "IM",
    "mixing_diluents": "lidocaine 1 %",
    "mixing_volume": "3.5 mL",
    "mixing_strength": "250 mg/mL",
    "mixing_kept": "no",
}
LIQUID = {
    "edition": "E",
    "code": "09520007302026",
    "drug": "dexamethasone",
    "container": "single_dose_vial",
    "strength": "8 mg in 2 mL",
    "content": "2 mL",
    "routes": "IV",
}


def _sheet(folder: Path, *rows: dict[str, str]) -> tuple[Formulary | None, list[Fault]]:
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    path = folder / "formulary.csv"
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
    findings = Findings(path.name)
    read = formulary_of_csv(path, findings)
    return (read[0] if read else None), findings.faults


def _only(formulary: Formulary | None) -> Product:
    assert formulary is not None
    return formulary.products[CEFTRIAXONE]


def test_two_rows_of_a_powder_are_two_ways_to_mix_it(tmp_path: Path) -> None:
    formulary, faults = _sheet(tmp_path, POWDER, LIQUID, INTO_MUSCLE)
    assert not faults
    ways = _only(formulary).mixing
    assert [way.routes for way in ways] == [("IV",), ("IM",)]
    assert [way.diluents for way in ways] == [("water for injections",), ("lidocaine 1 %",)]
    assert [way.kept for way in ways] == [True, False]
    assert ways[0].methods == ("shaken", "swirled")


SHEETS: list[tuple[dict[str, str], str, str]] = [
    ({"mixing_volume": "3,5 mL"}, "row 3, column mixing_volume", "comma"),
    ({"mixing_routes": "IV"}, "row 3, column mixing_routes", "two ways of mixing"),
    ({"mixing_kept": "maybe"}, "row 3, column mixing_kept", "neither yes nor no"),
    ({"mixing_methods": "stirred"}, "row 3, column mixing_methods", "not on the list"),
    ({"mixing_strength": "25 mg/mL"}, "row 3, column mixing_strength", "Look at the three"),
    ({"mixing_source": ""}, "row 3, column mixing_source", "Name the leaflet"),
    ({"powder": "2 g"}, "row 3, column powder", "differs from row 2"),
    ({"routes": "IV"}, "row 3, column routes", "differs from row 2"),
    ({"strength": "100 mg/mL"}, "row 3, column strength", "differs from row 2"),
]


@pytest.mark.parametrize(("changes", "place", "words"), SHEETS)
def test_a_second_way_that_does_not_fit_is_named_by_its_own_row(
    tmp_path: Path, changes: dict[str, str], place: str, words: str
) -> None:
    _, faults = _sheet(tmp_path, POWDER, INTO_MUSCLE | changes)
    told = [f for f in faults if f.place == place and words in f.sentence]
    assert told, [str(fault) for fault in faults]


def test_a_second_row_without_a_way_to_mix_is_a_code_that_stands_twice(tmp_path: Path) -> None:
    bare = {k: v for k, v in POWDER.items() if not k.startswith("mixing_")}
    _, faults = _sheet(tmp_path, POWDER, bare)
    assert any("stands twice" in f.sentence for f in faults)


def test_an_unknown_column_of_mixing_is_told_with_the_nearest(tmp_path: Path) -> None:
    path = tmp_path / "formulary.csv"
    path.write_text("edition,code,drug,container,strength,content,mixing_volum\n", encoding="utf-8")
    findings = Findings(path.name)
    assert formulary_of_csv(path, findings) is None
    assert any('"mixing_volume"' in f.sentence for f in findings.faults)
