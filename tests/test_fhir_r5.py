"""Orders in FHIR R5: the same orders as in R4, each doubt with the path that R5 has for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given

from checklist.exchange.fhir_order import STATUS, STATUS_R5
from checklist.exchange.structure import R5
from checklist.intake.fault import Bare
from tests.records import allergy, bundle, decimals, dosage, dose, patient, read, request, weight
from tests.test_fhir_figures import ANY_FOLDER
from tests.test_fhir_mixtures import ordered
from tests.test_orders_taken import sent, take

ORDER = "entry[1].resource"


def in_r5(old: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """An order of these tests in R5, with changes. Names: FHIR R5 (5.0.0), MedicationRequest."""
    new = {key: value for key, value in old.items() if key not in _OTHER}
    if "medicationReference" in old:
        new["medication"] = {"reference": old["medicationReference"]}
    else:
        new["medication"] = {"concept": old["medicationCodeableConcept"]}
    new["reason"] = [{"concept": one} for one in old["reasonCode"]]
    new["contained"] = [_medication(one) for one in old.get("contained", ())]
    new = {**new, **changes}
    return {key: value for key, value in new.items() if value not in (None, [])}


_OTHER = ("medicationCodeableConcept", "medicationReference", "reasonCode", "contained")


def _medication(old: dict[str, Any]) -> dict[str, Any]:
    new = {key: value for key, value in old.items() if key not in ("form", "ingredient")}
    ingredients = [
        {
            **{key: one[key] for key in one if key not in ("itemCodeableConcept", "strength")},
            "item": {"concept": one["itemCodeableConcept"]},
            "strengthRatio": one["strength"],
        }
        for one in old["ingredient"]
    ]
    return {**new, "doseForm": old["form"], "ingredient": ingredients}


def allergy_in_r5() -> dict[str, Any]:
    """The allergy of these tests in R5."""
    return allergy(reaction=[{"manifestation": [{"concept": {"text": "rash"}}]}])


@pytest.mark.parametrize("order", [request(), ordered()], ids=["a dose", "a mixture"])
def test_an_order_is_taken_as_from_r4(tmp_path: Path, order: dict[str, Any]) -> None:
    before, faults = read(tmp_path, bundle(patient(), order, allergy(), weight()))
    assert not faults
    data = bundle(patient(), in_r5(order), allergy_in_r5(), weight())
    after, faults = read(tmp_path, data, release=R5)
    assert not faults, faults
    assert (after.orders, after.patients) == (before.orders, before.patients)
    assert after.patients[0]["allergies"][0]["reaction"] == "rash"


@ANY_FOLDER
@given(decimals)
def test_the_figures_of_a_dose_are_those_of_the_file(tmp_path: Path, text: str) -> None:
    order = in_r5(dosage(doseAndRate=[{"doseQuantity": dose(Bare(text))}]))
    taken, faults = read(tmp_path, bundle(patient(), order), release=R5)
    assert not faults and taken.orders[0]["dose"] == f"{text} mg"


def test_what_is_given_as_needed_says_for_what(tmp_path: Path) -> None:
    old = dosage(asNeededCodeableConcept={"text": "nausea"})
    new = in_r5(dosage(asNeeded=True, asNeededFor=[{"text": "nausea"}]))
    before, _ = read(tmp_path, bundle(patient(), old))
    after, faults = read(tmp_path, bundle(patient(), new), release=R5)
    assert not faults
    assert after.orders[0]["frequency"] == before.orders[0]["frequency"]
    assert "as needed for nausea" in after.orders[0]["frequency"]


def test_an_order_whose_time_is_over_is_over(tmp_path: Path) -> None:
    """R5 has one status more than R4: FHIR R5, value set medicationrequest-status (9 codes)."""
    assert set(STATUS_R5) - set(STATUS) == {"ended"} and len(STATUS_R5) == 9
    taken, faults = read(tmp_path, bundle(patient(), in_r5(request(), status="ended")), release=R5)
    assert not faults
    assert taken.orders == [{"id": "ORD-103", "patient": "30012415", "status": "completed"}]


NAMED = {"concept": {"text": "ondansetron"}}
REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "a status misspelt": (in_r5(request(), status="actve"), f"{ORDER}.status"),
    "reported only": (in_r5(request(), reported=True), ORDER),
    "told by somebody else": (
        in_r5(request(), informationSource=[{"reference": "Patient/b7"}]),
        ORDER,
    ),
    "a drug twice": (
        in_r5(request(), medication={**NAMED, "reference": {"reference": "Medication/x"}}),
        f"{ORDER}.medication.reference",
    ),
    "a drug not in the file": (
        in_r5(request(), medication={"reference": {"reference": "Medication/x"}}),
        f"{ORDER}.medication.reference",
    ),
    "a period of the order": (
        in_r5(request(), effectiveDosePeriod={"end": "2026-11-30"}),
        f"{ORDER}.effectiveDosePeriod",
    ),
    "a vessel not known": (
        in_r5(ordered(vessel="JUG")),
        f"{ORDER}.contained[0].doseForm",
    ),
    "an element of R4": (request(), f"{ORDER}.medicationCodeableConcept"),
}


@pytest.mark.parametrize(("order", "place"), REFUSED.values(), ids=REFUSED)
def test_a_doubt_says_where_it_is(tmp_path: Path, order: dict[str, Any], place: str) -> None:
    _, faults = read(tmp_path, bundle(patient(), order), release=R5)
    assert place in [one.place for one in faults], faults


def test_the_release_is_named_on_the_command_line(tmp_path: Path) -> None:
    file = sent(tmp_path, bundle(patient(), in_r5(request())))
    code, _, err = take(file)
    assert code == 2 and "name its release" in err
    code, out, err = take(file, "--release", "R5")
    assert code == 0, err
    assert "ondansetron  4 mg  intravenous" in out
    code, _, err = take(file, "--release", "R6")
    assert code == 2 and "write R4 or R5" in err
