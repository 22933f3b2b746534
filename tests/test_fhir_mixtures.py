"""A drug in a fluid and how it runs in, from FHIR: each figure as it stands, or a doubt."""

from __future__ import annotations

import copy
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checklist.intake.fault import Bare
from checklist.intake.ward import load_ward
from tests.records import WORDS, bundle, decimals, dosage, dose, patient, published, read
from tests.scene import START, demo_ward
from tests.test_fhir_figures import ANY_FOLDER, ANYTHING, places
from tests.test_given_back import of, played, told
from tests.test_orders_taken import orders, sent, take
from tests.wards import DEMO, edit

CODES = "https://larkmoor.example"
MIXTURE = "entry[1].resource.contained[0]"
TIMING = "entry[1].resource.dosageInstruction[0].timing"
ROW = "entry[1].resource.dosageInstruction[0].doseAndRate[0]"


def coded(code: str, kind: str = "drugs") -> dict[str, Any]:
    """A word of the invented hospital's record."""
    return {"coding": [{"system": f"{CODES}/{kind}", "code": code}]}


def ratio(above: dict[str, Any], below: dict[str, Any]) -> dict[str, Any]:
    """A ratio of FHIR."""
    return {"numerator": above, "denominator": below}


DRUG = {
    "itemCodeableConcept": {"text": "potassium chloride"},
    "strength": ratio(dose(20, "mmol"), dose(500, "mL")),
}
FLUID = {
    "itemCodeableConcept": coded("3009"),
    "isActive": False,
    "strength": ratio(dose(Bare("0.9"), "g"), dose(100, "mL")),
}
DOSE = [{"doseQuantity": dose(20, "mmol")}]
HOURS = {"event": ["2026-11-25T14:20:00Z"], "repeat": {"duration": 4, "durationUnit": "h"}}


def ordered(
    drug: dict[str, Any] = DRUG,
    fluid: dict[str, Any] = FLUID,
    *,
    vessel: str = "BAG",
    rows: Any = DOSE,
    timing: dict[str, Any] = HOURS,
    medication: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """ORD-401 of the demonstration ward as the hospital's record sends it, with changes."""
    order = dosage(doseAndRate=rows, timing=timing)
    del order["medicationCodeableConcept"]
    mixture = {
        "resourceType": "Medication",
        "id": "mixture",
        "form": coded(vessel, "forms"),
        "ingredient": [drug, fluid],
        **(medication or {}),
    }
    return {
        **order,
        "id": "ORD-401",
        "contained": [mixture],
        "medicationReference": {"reference": "#mixture"},
    }


def line_of(folder: Path, order: dict[str, Any]) -> dict[str, Any]:
    """The order line that is taken, without a doubt."""
    taken, faults = read(folder, bundle(patient(), order))
    assert not faults, faults
    return taken.orders[0]


def test_a_mixture_is_taken_with_the_figures_of_the_file(tmp_path: Path) -> None:
    taken, faults = read(tmp_path, bundle(patient(), ordered()))
    assert not faults
    line = taken.orders[0]
    assert (line["drug"], line["dose"]) == ("potassium chloride", "20 mmol")
    assert line["infusion"] == {
        "into": "bag", "carrier": "sodium chloride", "carrier_strength": "0.9 g in 100 mL",
        "volume": "500 mL", "duration": "4 h",
    }  # fmt: skip
    assert any("volume comes on top" in one for one in taken.remarks)


def test_what_is_taken_is_the_infusion_of_the_ward(tmp_path: Path) -> None:
    """Read by the reader of orders.json it is what the demonstration ward has by hand."""
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    ampoule = {
        "itemCodeableConcept": {"text": "norepinephrine"},
        "strength": ratio(dose(4), dose(50, "mL")),
    }
    glucose = {
        "itemCodeableConcept": coded("3005"),
        "strength": ratio(dose(5, "g"), dose(100, "mL")),
    }
    rate = {"doseQuantity": dose(4), "rateQuantity": dose(Bare("0.1"), "ug/kg/min")}
    pump = ordered(ampoule, glucose, vessel="PUMP", rows=[rate], timing={"event": HOURS["event"]})
    file = sent(tmp_path, bundle(patient(), {**ordered(), "id": "A"}, {**pump, "id": "B"}))
    code, out, err = take(file, "--into", ward)
    assert code == 0, err
    assert "A: bag, sodium chloride 0.9 g in 100 mL, 500 mL, over 4 h" in out
    assert "B: pump syringe, glucose 5 g in 100 mL, 50 mL, 0.1 microgram/kg/min" in out
    read_, by_hand = load_ward(ward).orders, demo_ward().orders
    assert read_["A"].infusion == by_hand["ORD-401"].infusion
    assert read_["B"].infusion == by_hand["ORD-406"].infusion
    assert read_["B"].dose == by_hand["ORD-406"].dose


def test_the_infusion_of_the_demonstration_is_taken(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    code, out, err = take(DEMO / "records" / "infusion.fhir.json", "--into", ward)
    assert code == 0, err
    assert "ORD-132: bag, sodium chloride 0.9 g in 100 mL, 500 mL, over 4 h" in out
    by_hand = demo_ward().orders["ORD-401"].infusion
    assert load_ward(ward).orders["ORD-132"].infusion == by_hand


RATES: dict[str, tuple[dict[str, Any], dict[str, str]]] = {
    "mL in an hour": ({"rateQuantity": dose(125, "mL/h")}, {"rate": "125 mL/h"}),
    "drug in an hour": ({"rateQuantity": dose(5, "mmol/h")}, {"rate": "5 mmol/h"}),
    "zeros at the end": ({"rateQuantity": dose(Bare("62.50"), "mL/h")}, {"rate": "62.5 mL/h"}),
    "so much in one hour": (
        {"rateRatio": ratio(dose(Bare("62.5"), "mL"), dose(1, "h"))},
        {"rate": "62.5 mL/h"},
    ),
    "drug in one minute": (
        {"rateRatio": ratio(dose(Bare("0.08"), "mmol"), dose(1, "min"))},
        {"rate": "0.08 mmol/min"},
    ),
    "all of it in a time": (
        {"rateRatio": ratio(dose(500, "mL"), dose(90, "min"))},
        {"duration": "90 min"},
    ),
}


@pytest.mark.parametrize(("rate", "wanted"), RATES.values(), ids=RATES)
def test_each_form_of_a_rate_is_taken(
    tmp_path: Path, rate: dict[str, Any], wanted: dict[str, str]
) -> None:
    row = {"doseQuantity": dose(20, "mmol"), **rate}
    line = line_of(tmp_path, ordered(rows=[row], timing={"event": HOURS["event"]}))
    run = line["infusion"]
    assert {key: run[key] for key in ("rate", "duration") if key in run} == wanted


@ANY_FOLDER
@given(decimals, decimals, decimals)
def test_the_figures_of_a_mixture_are_those_of_the_file(
    tmp_path: Path, amount: str, volume: str, rate: str
) -> None:
    """No figure of a dose, a volume or a rate goes through a float."""
    drug = {**DRUG, "strength": ratio(dose(Bare(amount), "mmol"), dose(Bare(volume), "mL"))}
    row = {
        "doseQuantity": dose(Bare(amount), "mmol"),
        "rateQuantity": dose(Bare(rate), "mL/h"),
    }
    line = line_of(tmp_path, ordered(drug, rows=[row], timing={"event": HOURS["event"]}))
    assert line["dose"] == f"{amount} mmol"
    assert line["infusion"]["volume"] == f"{volume} mL"
    assert line["infusion"]["rate"] == f"{rate} mL/h"


def _row(**changes: Any) -> list[dict[str, Any]]:
    return [{"doseQuantity": dose(20, "mmol"), **changes}]


NO_LENGTH = {"event": HOURS["event"]}
REFUSED: dict[str, tuple[dict[str, Any], str, str]] = {
    "a fluid not in the table": (
        ordered(fluid={**FLUID, "itemCodeableConcept": {"text": "sodium chloride"}}),
        f"{MIXTURE}.ingredient",
        "fluids and vessels in exchange.toml",
    ),
    "two fluids": (ordered(drug=FLUID), f"{MIXTURE}.ingredient", "2 of them are fluids"),
    "three in one": (
        ordered(medication={"ingredient": [DRUG, DRUG, FLUID]}),
        f"{MIXTURE}.ingredient",
        "mixture of 3",
    ),
    "a vessel not in the table": (ordered(vessel="JUG"), f"{MIXTURE}.form", "made up in"),
    "the fluid as the drug": (
        ordered(fluid={**FLUID, "isActive": True}),
        f"{MIXTURE}.ingredient[1].isActive",
        "as the active drug",
    ),
    "the drug as no drug": (
        ordered({**DRUG, "isActive": False}),
        f"{MIXTURE}.ingredient[0].isActive",
        "as inactive",
    ),
    "another drug by its code": (
        ordered(medication={"code": coded("2041")}),
        f"{MIXTURE}.code",
        "another drug",
    ),
    "no strength": (
        ordered({"itemCodeableConcept": {"text": "potassium chloride"}}),
        f"{MIXTURE}.ingredient[0].strength",
        "how much in how much",
    ),
    "a strength in each tablet": (
        ordered({**DRUG, "strength": ratio(dose(20, "mmol"), dose(1, "g"))}),
        f"{MIXTURE}.ingredient[0].strength.denominator",
        "not a volume",
    ),
    "another dose than in the mixture": (
        ordered(rows=_row(doseQuantity=dose(40, "mmol"))),
        f"{ROW}.doseQuantity",
        "the mixture holds 20 mmol in 500 mL",
    ),
    "a dose by weight beside it": (
        ordered(rows=_row(doseQuantity=dose(1, "mmol/kg"))),
        f"{ROW}.doseQuantity",
        "the mixture holds",
    ),
    "a rate alone": (
        ordered(rows=[{"rateQuantity": dose(125, "mL/h")}], timing=NO_LENGTH),
        ROW,
        "no dose in figures",
    ),
    "neither rate nor time": (ordered(rows=_row(), timing=NO_LENGTH), ROW, "neither a rate"),
    "a rate from one to another": (
        ordered(rows=_row(rateRange={"low": dose(1, "mL/h"), "high": dose(2, "mL/h")})),
        f"{ROW}.rateRange",
        "no one rate",
    ),
    "a dose from one to another": (
        ordered(rows=[{"doseRange": {"low": dose(1, "mmol"), "high": dose(2, "mmol")}}]),
        f"{ROW}.doseRange",
        "no one dose",
    ),
    "a rate that is none": (
        ordered(rows=_row(rateQuantity=dose(125, "mL"))),
        f"{ROW}.rateQuantity.value",
        "not so much in a time",
    ),
    "a part of it in several hours": (
        ordered(rows=_row(rateRatio=ratio(dose(100, "mL"), dose(3, "h"))), timing=NO_LENGTH),
        f"{ROW}.rateRatio",
        "for one hour or minute",
    ),
    "its time twice": (
        ordered(rows=_row(rateRatio=ratio(dose(500, "mL"), dose(4, "h")))),
        ROW,
        "there twice",
    ),
    "a time in a unit that is none": (
        ordered(timing={"repeat": {"duration": 4, "durationUnit": "x"}}),
        f"{TIMING}.repeat.duration",
        "not a unit code",
    ),
    "a time without a unit": (
        ordered(timing={"repeat": {"duration": 4}}),
        f"{TIMING}.repeat.duration",
        "no unit of time",
    ),
    "no time at all": (
        ordered(timing={"repeat": {"duration": 0, "durationUnit": "h"}}),
        f"{TIMING}.repeat.duration",
        "no amount",
    ),
    "no volume at all": (
        ordered({**DRUG, "strength": ratio(dose(20, "mmol"), dose(0, "mL"))}),
        f"{MIXTURE}.ingredient[0].strength.denominator",
        "no amount",
    ),
    "mL for each kg": (
        ordered(rows=_row(rateQuantity=dose(2, "mL/kg/h")), timing=NO_LENGTH),
        f"{ROW}.rateQuantity.value",
        "mL for each kg",
    ),
    "no rate at all": (
        ordered(rows=_row(rateQuantity=dose(0, "mL/h")), timing=NO_LENGTH),
        f"{ROW}.rateQuantity.value",
        "not so much in a time",
    ),
    "a longest time": (
        ordered(timing={"repeat": {"duration": 4, "durationMax": 6, "durationUnit": "h"}}),
        f"{TIMING}.repeat.durationMax",
        "not taken",
    ),
}


@pytest.mark.parametrize(("order", "place", "words"), REFUSED.values(), ids=REFUSED)
def test_another_form_is_refused_with_its_path(
    tmp_path: Path, order: dict[str, Any], place: str, words: str
) -> None:
    _, faults = read(tmp_path, bundle(patient(), order))
    assert any(one.place.startswith(place) and words in one.sentence for one in faults), faults


@ANY_FOLDER
@given(st.data())
def test_a_mixture_with_anything_in_a_place_is_taken_or_refused(
    tmp_path: Path, data: st.DataObject
) -> None:
    """Never a crash, and never another dose: it stands in two places that have to agree."""
    sent_ = copy.deepcopy(bundle(patient(), ordered()))
    *way, last = data.draw(st.sampled_from(list(places(sent_))))
    node: Any = sent_
    for key in way:
        node = node[key]
    node[last] = data.draw(ANYTHING)
    taken, faults = read(tmp_path, sent_)
    if not faults:
        assert {one["dose"] for one in taken.orders if "dose" in one} <= {"20 mmol"}


def test_the_published_mixture_is_taken_once_it_says_its_dose(tmp_path: Path) -> None:
    """FHIR R4's own example 0337, dopamine in a fluid, is over and has neither dose nor form.

    With those two and the UCUM code of its rate put in, its figures are taken as they stand.
    """
    example = published()["medicationrequest0337"]
    fluid = example["contained"][0]["ingredient"][1]["itemCodeableConcept"]["coding"][0]
    words = replace(WORDS, fluids={f"{fluid['system']}|{fluid['code']}": "glucose"})
    active: dict[str, Any] = {**example, "status": "active"}
    del active["dosageInstruction"][0]["route"]
    _, faults = read(tmp_path, bundle(patient(id="pat1"), active), words=words)
    sentences = " ".join(f"{one.place}: {one.sentence}" for one in faults)
    for said in ("made up in", "no dose in figures", "rateQuantity.code"):
        assert said in sentences, said
    active["contained"][0]["form"] = coded("BAG", "forms")
    (row,) = active["dosageInstruction"][0]["doseAndRate"]
    row["doseQuantity"] = dose(400)
    row["rateQuantity"]["code"] = "ug/min"
    taken, faults = read(tmp_path, bundle(patient(id="pat1"), active), words=words)
    assert not faults, faults
    (line,) = taken.orders
    assert (line["drug"], line["dose"]) == ("Dopamine", "400 mg")
    assert line["infusion"] == {
        "into": "bag", "carrier": "glucose", "carrier_strength": "5 g in 100 mL",
        "volume": "500 mL", "duration": "33.33 h", "rate": "200 microgram/min",
    }  # fmt: skip


def ferris(folder: Path, **changes: Any) -> Path:
    """A file with ORD-401 for its patient on the demonstration ward."""
    who = patient(
        identifier=[{"system": f"{CODES}/record-number", "value": "30012088"}],
        name=[{"text": "Ferris Dunmow"}],
        birthDate="1944-09-02",
        gender="male",
    )
    prescriber = {"identifier": {"system": f"{CODES}/staff", "value": "DR-4"}}
    return sent(folder, bundle(who, {**ordered(**changes), "requester": prescriber}))


def test_what_only_the_ward_says_of_an_infusion_stays(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    edit(ward / "orders.json", '"duration": "4 hours"', '"duration": "4 hours", "gravity": true')
    slower = {**HOURS, "repeat": {"duration": 6, "durationUnit": "h"}}
    code, out, err = take(ferris(tmp_path, timing=slower), "--into", ward)
    assert code == 0, err
    assert "infusion, duration: 4 hours, then 6 h" in out
    assert "reviewed by: PH-2, then nothing" in out
    line = orders(ward)["ORD-401"]
    assert line["infusion"]["gravity"] is True and line["infusion"]["duration"] == "6 h"


def test_a_mixture_that_is_the_same_is_prepared_and_given_and_goes_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Other words for the same infusion change nothing of it, so that its review stays."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    before = orders(ward)["ORD-401"]
    code, out, err = take(ferris(tmp_path), "--into", ward)
    assert code == 0, err
    assert "infusion" not in out and "reviewed" not in out
    line = orders(ward)["ORD-401"]
    assert (line["infusion"], line["reviewed_by"]) == (before["infusion"], "PH-2")
    scene = played(tmp_path, "ORD-401", ward=load_ward(ward), now=START)
    (found,) = of(told(scene, ward=ward), "MedicationAdministration")
    given_ = found["dosage"]["dose"]
    assert (given_["value"].text, given_["code"]) == ("20", "mmol")
    assert found["request"] == {"reference": "MedicationRequest/ORD-401"}
