"""Figures of a FHIR Bundle as they stand, the standard's own examples, and anything at all."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from checklist import ucum
from checklist.exchange.exact_json import plain, written
from checklist.exchange.frequency import of_code, often
from checklist.exchange.taken import amount, figures
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Bare, NotAsWritten
from checklist.number import NumberFault, number
from checklist.quantity import Quantity
from tests.records import (
    WORDS,
    allergy,
    bundle,
    decimals,
    dosage,
    dose,
    patient,
    published,
    read,
    request,
    weight,
)

ANY_FOLDER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@ANY_FOLDER
@given(decimals)
@example("0.1")
@example("7.5")
@example("1234567.654321")
@example("0.000001")
def test_the_figures_of_a_dose_are_those_of_the_file(tmp_path: Path, text: str) -> None:
    """0.1 is no binary float; and so many figures are beyond what a float would keep."""
    order = dosage(doseAndRate=[{"doseQuantity": dose(Bare(text))}])
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults
    assert taken.orders[0]["dose"] == f"{text} mg"


@given(decimals, st.integers(1, 4))
def test_zeros_at_the_end_fall_away_and_nothing_else(text: str, zeros: int) -> None:
    longer = f"{text if '.' in text else f'{text}.'}{'0' * zeros}"
    assert figures(longer) == text
    assert figures(text) == text


def test_zeros_that_fall_away_are_told(tmp_path: Path) -> None:
    order = dosage(doseAndRate=[{"doseQuantity": dose(Bare("4.00"))}])
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults and taken.orders[0]["dose"] == "4 mg"
    assert any('"4.00" is taken as 4 mg' in one for one in taken.remarks)


@pytest.mark.parametrize("text", ["1e3", "7.5E0", "-4", "00.5", "0.1234567", "12345678", "NaN"])
def test_other_forms_of_a_number_are_refused(tmp_path: Path, text: str) -> None:
    raw = json.dumps(bundle(patient(), dosage(doseAndRate=[{"doseQuantity": dose(99)}])))
    (tmp_path / "sent").write_text(raw.replace("99", text))
    _, faults = read(tmp_path, raw.replace("99", text))
    assert faults


@pytest.mark.parametrize("code", sorted(ucum.ATOMS))
def test_every_unit_is_written_so_that_it_means_the_same_when_it_is_read(code: str) -> None:
    for value in ("1", "2.5"):
        try:
            text = amount(value, code)
        except (NumberFault, ucum.UnitFault):
            assert code in ("1", "k[iU]"), "only these have no words that people type"
            continue
        assert Quantity.parse(text).code == f"{value} {code}"


# -- the standard's own examples -----------------------------------------------------------------

EXAMPLES = {
    # Its dose is 1 to 2 tablets; but it is completed, and nothing more of it is looked at.
    "medicationrequest0301": "",
    # Three dosages, in the enzyme unit.
    "medicationrequest0321": "several dosages",
    # 7 mg once a day.
    "medicationrequest0331": "",
    "medicationrequest0337": "",
}


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_published_orders_are_read_or_refused_for_what_they_are(tmp_path: Path, name: str) -> None:
    who = patient(id="pat1")
    taken, faults = read(tmp_path, bundle(who, published()[name]), words=WORDS)
    wanted = EXAMPLES[name]
    if wanted:
        assert any(wanted in one.sentence for one in faults)
    else:
        assert not faults
        assert taken.orders[0]["id"] == f"medrx{name[-4:]}"
    if name == "medicationrequest0331":
        order = taken.orders[0]
        assert (order["dose"], order["drug"]) == ("7 mg", "Warfarin Sodium")
        assert (order["frequency"], order["interval"]) == ("every 1 day", "1 day")


def test_published_orders_that_are_over_would_be_refused_if_they_were_not(tmp_path: Path) -> None:
    for name, words in (
        ("medicationrequest0301", "no one dose"),
        ("medicationrequest0337", "runs in"),
    ):
        order = {**published()[name], "status": "active"}
        _, faults = read(tmp_path, bundle(patient(id="pat1"), order))
        assert any(words in one.sentence for one in faults), name


def test_the_published_allergy_is_read_and_the_weight_in_pounds_refused(tmp_path: Path) -> None:
    found = published()
    taken, faults = read(tmp_path, bundle(patient(id="pat1"), found["allergyintolerance-example"]))
    assert not faults
    assert taken.patients[0]["allergies"] == [
        {"substance": "Cashew nuts", "drug_class": "", "reaction": "Anaphylactic reaction"}
    ]
    _, faults = read(tmp_path, bundle(patient(id="pat1"), found["observation-example"]))
    (fault,) = faults
    assert fault.place == "entry[1].resource.valueQuantity.value"


def test_the_published_patient_is_read_with_a_name_put_in(tmp_path: Path) -> None:
    """Its record number is told by its type alone; the name that is no longer in use is passed."""
    who = published()["patient-example"]
    for name, family in zip(who["name"], ("Tarn", "Wold", "Fell"), strict=True):
        name |= {"family": family, "given": ["Aubrey"]}
    order = request(subject={"reference": "Patient/example"})
    taken, faults = read(tmp_path, bundle(who, order), words=Exchange())
    assert not faults, faults
    (line,) = taken.patients
    assert (line["name"], line["birth_date"]) == ("Aubrey Tarn", "1974-12-25")
    assert (line["record_number"], line["sex"]) == ("12345", "male")


# -- how often -----------------------------------------------------------------------------------


def test_how_often_comes_from_codes_and_figures_alike() -> None:
    assert of_code("Q6H") == often("1", "6", "h")
    assert of_code("BID") == often("2", "1", "d")
    assert often("1", "8", "h").words == "every 8 hours"
    for word in ("QD", "QOD", "HS", "Q0H", "6H", "", "Q6J"):
        with pytest.raises(NotAsWritten):
            of_code(word)


# -- numbers as they stand -----------------------------------------------------------------------


@given(decimals)
def test_json_is_written_with_the_same_figures(text: str) -> None:
    assert f'"value": {text}' in written({"value": Bare(text)})
    assert Fraction(plain(Bare(text))) == number(text)


def test_a_float_is_never_written() -> None:
    with pytest.raises(TypeError):
        written({"value": 0.1})
    for text in ("1.", "01", "NaN", "", "1 2", ".5"):
        with pytest.raises(TypeError):
            written(Bare(text))


# -- anything at all -----------------------------------------------------------------------------

WORD = st.sampled_from(
    [
        "resourceType", "Bundle", "collection", "entry", "resource", "Patient", "Observation",
        "MedicationRequest", "AllergyIntolerance", "identifier", "name", "id", "status", "active",
        "dosageInstruction", "doseAndRate", "doseQuantity", "value", "code", "system", "mg", "text",
        "timing", "repeat", "event", "period", "subject", "reference", "coding", "contained",
    ]
)  # fmt: skip
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | WORD | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORD, inner, max_size=6),
    max_leaves=25,
)


@ANY_FOLDER
@given(ANYTHING)
def test_no_json_at_all_breaks_the_reader(tmp_path: Path, data: Any) -> None:
    read(tmp_path, json.dumps(data), words=Exchange())


def places(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every value of a resource."""
    rows = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in rows:
        yield (*path, key)
        if isinstance(value, (dict, list)):
            yield from places(value, (*path, key))


@ANY_FOLDER
@given(st.data())
def test_an_order_with_anything_in_a_place_is_taken_or_refused(
    tmp_path: Path, data: st.DataObject
) -> None:
    """Anything in the place of one value: never a crash, and never another amount of drug."""
    sent = bundle(patient(), request(), allergy(), weight())
    *way, last = data.draw(st.sampled_from(list(places(sent))))
    node: Any = sent
    for key in way:
        node = node[key]
    value = data.draw(ANYTHING)
    node[last] = value
    taken, faults = read(tmp_path, sent)
    if not faults and last != "value":
        assert {one["dose"] for one in taken.orders if "dose" in one} <= {"4 mg", "4 g"}
    if not faults and last == "value" and way[-1] == "doseQuantity":
        assert taken.orders[0]["dose"] == f"{value} mg"
