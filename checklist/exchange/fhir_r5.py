"""The same Bundle in FHIR R5 (5.0.0), for a record that asks for it.

What differs from R4, in what is written here:

- MedicationAdministration: medicationReference is medication.reference, effective[x] is
  occurence[x] (written so in 5.0.0), performer.actor is actor.reference.
- AuditEvent: type and subtype are category and code, period is occurredPeriod, outcome and its
  words are outcome.code and outcome.detail, purposeOfEvent is authorization; agents have no altId,
  entities no type, and the codes of roles and details are CodeableConcepts; source.site refers.
- Provenance: the same elements.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from checklist.exchange.fhir_given import TERMS, Resource


def as_r5(bundle: Resource) -> Resource:
    """A Bundle of `fhir_given.bundle_of` in R5; the one given stays as it is."""
    entries = [
        {**one, "resource": _CHANGES[one["resource"]["resourceType"]](one["resource"])}
        for one in bundle["entry"]
    ]
    return {**bundle, "entry": entries}


def _administration(old: Resource) -> Resource:
    renamed = {
        "medicationReference": "medication",
        "effectiveDateTime": "occurenceDateTime",
        "effectivePeriod": "occurencePeriod",
    }
    new = {renamed.get(key, key): value for key, value in old.items()}
    new["medication"] = {"reference": old["medicationReference"]}
    new["performer"] = [{**one, "actor": {"reference": one["actor"]}} for one in old["performer"]]
    return new


def _audit(old: Resource) -> Resource:
    names = ("resourceType", "id", "meta", "action")
    kept: Resource = {key: old[key] for key in names if key in old}
    return {
        **kept,
        "category": [{"coding": [old["type"]]}],
        "code": {"coding": old["subtype"]},
        "occurredPeriod": old["period"],
        "recorded": old["recorded"],
        "outcome": {
            "code": {"system": f"{TERMS}/audit-event-outcome", "code": old["outcome"]},
            "detail": [{"text": old["outcomeDesc"]}],
        },
        "authorization": old["purposeOfEvent"],
        "agent": [
            {key: value for key, value in one.items() if key != "altId"} for one in old["agent"]
        ],
        "source": {
            "site": {"display": old["source"]["site"]},
            "observer": old["source"]["observer"],
        },
        "entity": [_entity(one) for one in old["entity"]],
    }


def _entity(old: Resource) -> Resource:
    new: dict[str, Any] = {"what": old["what"], "role": {"coding": [old["role"]]}}
    if "detail" in old:
        new["detail"] = [{**one, "type": {"text": one["type"]}} for one in old["detail"]]
    return new


_CHANGES: Mapping[str, Callable[[Resource], Resource]] = {
    "MedicationAdministration": _administration,
    "AuditEvent": _audit,
    "Provenance": dict,
}
