"""Orders in a FHIR Bundle: taken with the figures as they stand, or refused with a path."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from checklist.exchange.fhir_order import INTENT, STATUS
from checklist.intake.fault import Bare
from tests.records import allergy, bundle, dosage, dose, patient, read, request, weight

DOSAGE = "entry[1].resource.dosageInstruction[0]"


def doubts(folder: Path, *resources: dict[str, Any], **changes: Any) -> list[str]:
    """The doubts about a Bundle as "path: sentence"."""
    _, faults = read(folder, bundle(*resources, **changes))
    return [f"{one.place}: {one.sentence}" for one in faults]


# -- what is taken -------------------------------------------------------------------------------


def test_an_order_with_patient_allergy_and_weight_is_taken_as_orders_json_has_it(
    tmp_path: Path,
) -> None:
    taken, faults = read(tmp_path, bundle(patient(), request(), allergy(), weight()))
    assert not faults
    assert taken.patients == [
        {
            "name": "Ottoline Brask",
            "birth_date": "1987-12-19",
            "record_number": "30012415",
            "band_numbers": ["952000000000003034"],
            "sex": "female",
            "allergies": [
                {"substance": "penicillin V", "drug_class": "penicillins", "reaction": "rash"}
            ],
            "weight": "82.4 kg",
            "weighed_on": "2026-11-25",
        }
    ]
    (order,) = taken.orders
    assert {key: value for key, value in order.items() if value} == {
        "id": "ORD-103",
        "patient": "30012415",
        "drug": "ondansetron",
        "dose": "4 mg",
        "route": "intravenous",
        "frequency": "every 8 hours",
        "interval": "8 hours",
        "due": "2026-11-25T14:15:00Z",
        "status": "active",
        "prescriber": "DR-4",
        "indication": "nausea",
    }


def test_a_dose_by_weight_is_taken(tmp_path: Path) -> None:
    order = dosage(doseAndRate=[{"doseQuantity": dose(Bare("1.5"), "mg/kg")}])
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults and taken.orders[0]["dose"] == "1.5 mg/kg"


def test_references_by_any_name_lead_to_the_patient(tmp_path: Path) -> None:
    url = "https://larkmoor.example/fhir/Patient/b7"
    for reference in ("Patient/b7", url, "Patient/b7/_history/3"):
        data = bundle(patient(), request(subject={"reference": reference}))
        data["entry"][0]["fullUrl"] = url
        assert not read(tmp_path, data)[1], reference
    data = bundle(patient(id="x"), request(subject={"reference": "urn:uuid:1-2-3"}))
    data["entry"][0]["fullUrl"] = "urn:uuid:1-2-3"
    assert not read(tmp_path, data)[1]


def test_the_strength_is_that_of_the_one_ingredient(tmp_path: Path) -> None:
    ratio = {"numerator": dose(Bare("4")), "denominator": dose(2, "mL")}
    drug = {
        "resourceType": "Medication",
        "id": "d",
        "code": {"coding": [{"system": "https://larkmoor.example/drugs", "code": "2041"}]},
        "ingredient": [{"itemCodeableConcept": {"text": "ondansetron"}, "strength": ratio}],
    }
    order = request(contained=[drug], medicationReference={"reference": "#d"})
    del order["medicationCodeableConcept"]
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults
    assert (taken.orders[0]["drug"], taken.orders[0]["strength"]) == ("ondansetron", "4 mg in 2 mL")
    del order["contained"]
    order["medicationReference"] = {"reference": "Medication/d"}
    taken, faults = read(tmp_path, bundle(patient(), order, drug))
    assert not faults and taken.orders[0]["strength"] == "4 mg in 2 mL"


def test_the_newest_weight_counts_and_none_that_is_not_final(tmp_path: Path) -> None:
    old = weight(80, id="w0", effectiveDateTime="2026-11-24T07:00:00Z")
    never = weight(99, id="w2", status="entered-in-error", effectiveDateTime="2026-11-26")
    taken, faults = read(tmp_path, bundle(patient(), weight(), old, never))
    assert not faults
    assert (taken.patients[0]["weight"], taken.patients[0]["weighed_on"]) == (
        "82.4 kg",
        "2026-11-25",
    )


def test_no_known_allergies_and_nothing_recorded_are_told_apart(tmp_path: Path) -> None:
    none = {"coding": [{"system": "https://larkmoor.example/allergies", "code": "0"}]}
    assert read(tmp_path, bundle(patient(), allergy(code=none)))[0].patients[0]["allergies"] == []
    assert read(tmp_path, bundle(patient()))[0].patients[0]["allergies"] is None


# -- what is refused, with its path --------------------------------------------------------------

REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("a status misspelt", request(status="actve"), "entry[1].resource.status", "R4 has no such"),
    ("a draft", request(status="draft"), "entry[1].resource.status", "nothing may be given"),
    ("a status of R5", request(status="ended"), "entry[1].resource.status", "R4 has no such"),
    ("a plan", request(intent="plan"), "entry[1].resource.intent", "It is no order"),
    ("an intent misspelt", request(intent="oder"), "entry[1].resource.intent", "no such word"),
    ("not to be given", request(doNotPerform=True), "entry[1].resource.doNotPerform", "not to be"),
    ("reported only", request(reportedBoolean=True), "entry[1].resource", "not ordered"),
    (
        "two dosages",
        request(dosageInstruction=request()["dosageInstruction"] * 2),
        "entry[1].resource.dosageInstruction",
        "several dosages",
    ),
    (
        "no dosage",
        request(dosageInstruction=[]),
        "entry[1].resource.dosageInstruction",
        "no dosage",
    ),
    ("words alone", dosage(doseAndRate=None, text="4 mg"), f"{DOSAGE}.doseAndRate", "no dose in"),
    (
        "two doses",
        dosage(doseAndRate=[{"doseQuantity": dose()}] * 2),
        f"{DOSAGE}.doseAndRate",
        "several doses",
    ),
    (
        "a range",
        dosage(doseAndRate=[{"doseRange": {"low": dose(2), "high": dose(4)}}]),
        f"{DOSAGE}.doseAndRate[0].doseRange",
        "from 2 mg to 4 mg is no one dose",
    ),
    (
        "a rate",
        dosage(doseAndRate=[{"rateQuantity": dose(100, "mL/h")}]),
        f"{DOSAGE}.doseAndRate[0].rateQuantity",
        "runs in",
    ),
    (
        "a unit in words",
        dosage(doseAndRate=[{"doseQuantity": {"value": 4, "unit": "mg"}}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.code",
        "no UCUM code",
    ),
    (
        "mcg",
        dosage(doseAndRate=[{"doseQuantity": dose(4, "mcg")}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.code",
        "code ug",
    ),
    (
        "the enzyme unit",
        dosage(doseAndRate=[{"doseQuantity": dose(4, "U")}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.code",
        "enzyme unit",
    ),
    (
        "a volume",
        dosage(doseAndRate=[{"doseQuantity": dose(4, "mL")}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.value",
        "how much drug",
    ),
    (
        "less than",
        dosage(doseAndRate=[{"doseQuantity": dose(4, comparator="<")}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.comparator",
        "no amount",
    ),
    (
        "nothing",
        dosage(doseAndRate=[{"doseQuantity": dose(0)}]),
        f"{DOSAGE}.doseAndRate[0].doseQuantity.value",
        "no amount",
    ),
    (
        "a greatest dose",
        dosage(maxDosePerAdministration=dose(8)),
        f"{DOSAGE}.maxDosePerAdministration",
        "not taken",
    ),
    ("a route not known", dosage(route={"text": "by magic"}), f"{DOSAGE}.route", "not known"),
    (
        "two routes",
        dosage(
            route={
                "coding": [{"system": "https://larkmoor.example/routes", "code": "V"}],
                "text": "oral",
            }
        ),
        f"{DOSAGE}.route",
        "different routes",
    ),
    (
        "meals",
        dosage(timing={"repeat": {"frequency": 1, "period": 1, "periodUnit": "d", "when": ["AC"]}}),
        f"{DOSAGE}.timing.repeat.when",
        "not taken",
    ),
    (
        "two times",
        dosage(timing={"event": ["2026-11-25T14:15:00Z", "2026-11-25T22:15:00Z"]}),
        f"{DOSAGE}.timing.event",
        "several times",
    ),
    (
        "a day alone",
        dosage(timing={"event": ["2026-11-25"]}),
        f"{DOSAGE}.timing.event[0]",
        "no moment",
    ),
    (
        "somebody else's order",
        request(subject={"reference": "Patient/z"}),
        "entry[1].resource.subject",
        "not in the file",
    ),
    (
        "a modifier",
        request(modifierExtension=[{"url": "x", "valueBoolean": True}]),
        "entry[1].resource.modifierExtension",
        "change what",
    ),
    (
        "a modifier inside",
        dosage(modifierExtension=[{"url": "x", "valueBoolean": True}]),
        f"{DOSAGE}.modifierExtension",
        "change what",
    ),
    (
        "for after the stay",
        request(
            category=[
                {
                    "coding": [
                        {
                            "system": "http://terminology.hl7.org/CodeSystem/medicationrequest-category",
                            "code": "discharge",
                        }
                    ]
                }
            ]
        ),
        "entry[1].resource.category[0]",
        "not for the ward",
    ),
    ("an unknown element", request(dose="4 mg"), "entry[1].resource.dose", "no such element"),
    (
        "a prescriber's name",
        request(requester={"reference": "Practitioner/A. Quillfeather"}),
        "entry[1].resource.requester",
        "not a code",
    ),
    (
        "a hidden character",
        request(reasonCode=[{"text": "nau\u202esea"}]),
        "entry[1].resource.reasonCode[0].text",
        "cannot be seen",
    ),
]


@pytest.mark.parametrize(
    ("order", "place", "words"), [one[1:] for one in REFUSED], ids=[one[0] for one in REFUSED]
)
def test_a_doubt_says_where_it_is(
    tmp_path: Path, order: dict[str, Any], place: str, words: str
) -> None:
    told = doubts(tmp_path, patient(), order)
    assert any(one.startswith(f"{place}: ") and words in one for one in told), told


PEOPLE: list[tuple[str, dict[str, Any], str]] = [
    ("no record number", patient(identifier=[]), "entry[0].resource.identifier"),
    ("a part of a day", patient(birthDate="1987-12"), "entry[0].resource.birthDate"),
    ("no date of birth", patient(birthDate=None), "entry[0].resource.birthDate"),
    ("no name", patient(name=[{"use": "old", "text": "X Y"}]), "entry[0].resource.name"),
    ("a word of no list", patient(gender="femal"), "entry[0].resource.gender"),
    ("a record out of use", patient(active=False), "entry[0].resource.active"),
    ("somebody who died", patient(deceasedBoolean=True), "entry[0].resource"),
]


@pytest.mark.parametrize(("who", "place"), [one[1:] for one in PEOPLE], ids=[p[0] for p in PEOPLE])
def test_a_patient_in_doubt_is_not_taken(tmp_path: Path, who: dict[str, Any], place: str) -> None:
    who = {key: value for key, value in who.items() if value is not None}
    assert any(one.startswith(f"{place}: ") for one in doubts(tmp_path, who, request()))


LISTS: list[tuple[str, dict[str, Any], str]] = [
    ("another type", {"type": "transaction"}, "type"),
    ("a type of no list", {"type": "colection"}, "type"),
    ("a next page", {"link": [{"relation": "next", "url": "http://x"}]}, "link[0]"),
    ("rules of its own", {"implicitRules": "http://x"}, "implicitRules"),
    ("no Bundle", {"resourceType": "Patient"}, "resourceType"),
]


@pytest.mark.parametrize(("changes", "place"), [o[1:] for o in LISTS], ids=[o[0] for o in LISTS])
def test_a_bundle_that_is_no_list_is_refused(
    tmp_path: Path, changes: dict[str, Any], place: str
) -> None:
    assert any(one.startswith(f"{place}: ") for one in doubts(tmp_path, **changes))


def test_every_doubt_is_told_in_one_go(tmp_path: Path) -> None:
    told = doubts(
        tmp_path,
        patient(gender="f"),
        request(status="actve"),
        request(id="B", doNotPerform=True, intent="plan"),
        allergy(code={"text": "no known allergies"}),
        weight(status="fnal"),
    )
    for place in (
        "entry[0].resource.gender",
        "entry[1].resource.status",
        "entry[2].resource.doNotPerform",
        "entry[2].resource.intent",
    ):
        assert any(one.startswith(f"{place}: ") for one in told), place


def test_an_allergy_in_doubt_is_refused(tmp_path: Path) -> None:
    none = {"coding": [{"system": "https://larkmoor.example/allergies", "code": "0"}]}
    terms = "http://terminology.hl7.org/CodeSystem/allergyintolerance-clinical"
    spoilt = {"coding": [{"system": terms, "code": "activ"}]}
    for nodes in (
        [allergy(code={"text": "No known drug allergies"})],
        [allergy(), allergy(id="a2", code=none)],
        [allergy(clinicalStatus=spoilt)],
    ):
        assert doubts(tmp_path, patient(), *nodes)


def test_an_allergy_that_is_refuted_is_not_taken_and_is_told(tmp_path: Path) -> None:
    terms = "http://terminology.hl7.org/CodeSystem/allergyintolerance-verification"
    word = {"coding": [{"system": terms, "code": "refuted"}]}
    taken, faults = read(tmp_path, bundle(patient(), allergy(verificationStatus=word)))
    assert not faults and taken.patients[0]["allergies"] is None
    assert any("refuted" in one for one in taken.remarks)


def test_an_order_is_left_out_only_by_its_id(tmp_path: Path) -> None:
    data = bundle(patient(), request(), request(id="B", doNotPerform=True))
    taken, faults = read(tmp_path, data, leave_out=("B",))
    assert not faults
    assert [one["id"] for one in taken.orders] == ["ORD-103"] and taken.left_out == ["B"]


def test_the_words_of_the_standard_are_all_known() -> None:
    """FHIR R4, value sets medicationrequest-status (8 codes) and medicationrequest-intent (8)."""
    assert len(STATUS) == 8 and len(INTENT) == 8
    assert STATUS["on-hold"] == "held" and not STATUS["draft"] and not STATUS["unknown"]


@pytest.mark.parametrize("status", ["cancelled", "completed", "stopped", "entered-in-error"])
def test_of_an_order_that_is_over_only_that_is_taken(tmp_path: Path, status: str) -> None:
    order = request(status=status, dosageInstruction=[])
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults
    assert set(taken.orders[0]) == {"id", "patient", "status"}
