"""What a health record sends in the tests: FHIR Bundles and HL7 v2 messages, to be spoiled."""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from checklist.exchange.exact_json import written
from checklist.exchange.reading import taken_from
from checklist.exchange.structure import R4
from checklist.exchange.taken import Taken
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Bare, Fault, Findings

ZONE = "Europe/London"
UCUM = "http://unitsofmeasure.org"
WORDS = Exchange(
    record_number_in=("https://larkmoor.example/record-number", "LARKMOOR"),
    band_number_in=("https://larkmoor.example/wristband",),
    drugs={"https://larkmoor.example/drugs|2041": "ondansetron", "LMD|2041": "ondansetron"},
    routes={"https://larkmoor.example/routes|V": "IV"},
    units={"L|MG": "mg"},
    allergies={"https://larkmoor.example/allergies|0": "none known", "LMA|0": "none known"},
    classes={"penicillin v": "penicillins"},
    fluids={
        "https://larkmoor.example/drugs|3005": "glucose",
        "https://larkmoor.example/drugs|3009": "sodium chloride",
    },
    vessels={
        "https://larkmoor.example/forms|BAG": "bag",
        "https://larkmoor.example/forms|PUMP": "pump syringe",
    },
)


decimals = st.builds(
    lambda whole, part: f"{whole}.{part}".rstrip("0").rstrip("."),
    st.integers(0, 9_999_999),
    st.text("0123456789", min_size=0, max_size=6),
).filter(lambda text: Fraction(text) > 0)
"""Amounts above zero as people write them: up to 7 figures before the point and 6 after it."""


def dose(value: Any = 4, code: str = "mg", **more: Any) -> dict[str, Any]:
    """An amount of FHIR."""
    return {"value": value, "unit": code, "system": UCUM, "code": code, **more}


def patient(**changes: Any) -> dict[str, Any]:
    """A Patient of the invented hospital."""
    return {
        "resourceType": "Patient",
        "id": "b7",
        "identifier": [
            {"system": "https://larkmoor.example/record-number", "value": "30012415"},
            {"system": "https://larkmoor.example/wristband", "value": "952000000000003034"},
        ],
        "name": [{"use": "official", "family": "Brask", "given": ["Ottoline"]}],
        "gender": "female",
        "birthDate": "1987-12-19",
        **changes,
    }


def request(**changes: Any) -> dict[str, Any]:
    """A MedicationRequest for that patient."""
    return {
        "resourceType": "MedicationRequest",
        "id": "ORD-103",
        "status": "active",
        "intent": "order",
        "medicationCodeableConcept": {"text": "ondansetron"},
        "subject": {"reference": "Patient/b7"},
        "requester": {"reference": "Practitioner/DR-4"},
        "reasonCode": [{"text": "nausea"}],
        "dosageInstruction": [
            {
                "timing": {
                    "event": ["2026-11-25T14:15:00Z"],
                    "repeat": {"frequency": 1, "period": 8, "periodUnit": "h"},
                },
                "route": {"text": "intravenous"},
                "doseAndRate": [{"doseQuantity": dose()}],
            }
        ],
        **changes,
    }


def dosage(**changes: Any) -> dict[str, Any]:
    """The order with its one dosage changed; None takes an element away."""
    one = request()
    whole = {**one["dosageInstruction"][0], **changes}
    whole = {key: value for key, value in whole.items() if value is not None}
    return {**one, "dosageInstruction": [whole]}


def weight(value: Any = 82.4, **changes: Any) -> dict[str, Any]:
    """A body weight of that patient."""
    return {
        "resourceType": "Observation",
        "id": "w1",
        "status": "final",
        "code": {"coding": [{"system": "http://loinc.org", "code": "29463-7"}]},
        "subject": {"reference": "Patient/b7"},
        "effectiveDateTime": "2026-11-25T07:10:00Z",
        "valueQuantity": dose(value, "kg"),
        **changes,
    }


def allergy(**changes: Any) -> dict[str, Any]:
    """An allergy of that patient."""
    terms = "http://terminology.hl7.org/CodeSystem/allergyintolerance-clinical"
    return {
        "resourceType": "AllergyIntolerance",
        "id": "a1",
        "clinicalStatus": {"coding": [{"system": terms, "code": "active"}]},
        "code": {"text": "penicillin V"},
        "patient": {"reference": "Patient/b7"},
        "reaction": [{"manifestation": [{"text": "rash"}]}],
        **changes,
    }


def bundle(*resources: Mapping[str, Any], **changes: Any) -> dict[str, Any]:
    """A Bundle of these, or of one patient with one order."""
    entries = [{"resource": one} for one in resources or (patient(), request())]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries, **changes}


def text_of(data: Any) -> str:
    """JSON text; a Bare in it is a number with just these figures."""
    return written(_exact(data))


def _exact(data: Any) -> Any:
    if isinstance(data, float):
        return Bare(repr(data))
    if isinstance(data, dict):
        return {key: _exact(value) for key, value in data.items()}
    return [_exact(one) for one in data] if isinstance(data, list) else data


def read(
    folder: Path,
    data: Any,
    *,
    words: Exchange = WORDS,
    leave_out: tuple[str, ...] = (),
    release: str = R4,
) -> tuple[Taken, tuple[Fault, ...]]:
    """What is taken of a Bundle, or of a message given as text, and the doubts about it."""
    path = folder / "sent"
    path.write_bytes((data if isinstance(data, str) else text_of(data)).encode())
    findings = Findings("sent")
    taken = taken_from(path, words, ZONE, findings, leave_out=leave_out, release=release)
    return taken, tuple(findings.faults)


MESSAGE = (
    r"MSH|^~\&|LARKORDERS|LARKMOOR|W7E|LARKMOOR|20261125134500+0000||RDE^O11^RDE_O11|88101|P|2.5.1"
    "\r"
    "PID|1||30012415^^^LARKMOOR^MR||Brask^Ottoline||19871219|F\r"
    "AL1|1|DA|^penicillin V^LMA|MO|rash\r"
    "ORC|NW|ORD-103^LARKORDERS||||||||||DR-4^Quillfeather^A\r"
    "TQ1|1||Q8H||||20261125141500+0000\r"
    "RXE||2041^ondansetron injection^LMD|4||mg^milligram^UCUM|||||||||PH-2^Marrow^P\r"
    "RXR|IV^Intravenous^HL70162\r"
    "OBX|1|NM|29463-7^Body weight^LN||82.4|kg^kilogram^UCUM|||||F|||202611250710\r"
)


def published() -> dict[str, Any]:
    """Example resources of the standard, with their source under "source"."""
    path = Path(__file__).parent / "data" / "fhir_r4_examples.json"
    examples: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return examples
