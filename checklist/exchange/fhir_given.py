"""A closed preparation as FHIR: administration, provenance and audit event, in one Bundle.

Codes: FHIR R4 (4.0.1), value sets medication-admin-status, med-admin-perform-function,
provenance-agent-type, provenance-entity-role, audit-event-type, object-role, audit-entity-type,
audit-event-outcome, v3-ActReason.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from checklist.chain import Head
from checklist.exchange.closed import Closed, Drug
from checklist.exchange.fhir_coded import UCUM
from checklist.intake.exchange import BETWEEN, Exchange
from checklist.intake.fault import Bare
from checklist.label import ROUTE_WORDS
from checklist.number import decimals, plain
from checklist.observation import ProductRead
from checklist.order import Order, Patient
from checklist.preparation import GIVEN
from checklist.quantity import Quantity
from checklist.ucum import shown
from checklist.workflow import Who

TERMS = "http://terminology.hl7.org/CodeSystem"
GTIN = "https://www.gs1.org/gtin"
"""The system of a GTIN as an identifier, from memory."""
TEST = {"system": f"{TERMS}/v3-ActReason", "code": "HTEST", "display": "test health data"}
"""The mark of data that are of nobody's care, as the standard's own examples bear it."""
PARTS = {Who.CHECKER: "verifier", Who.WITNESS: "witness"}
Resource = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is told beside the preparation itself.

    `head` is the head of the trail now. `patient` and `staff` (names by code) are given only where
    names may be told. `practice` marks all of it as test data.
    """

    trail: str
    unit: str
    head: Head
    words: Exchange
    at: datetime
    patient: Patient | None = None
    staff: Mapping[str, str] | None = None
    practice: bool = False


def bundle_of(closed: Closed, about: About) -> Resource:
    """The Bundle, in FHIR R4. Numbers are Bare, with the figures of the trail."""
    given = [_administration(closed, about, drug) for drug in closed.drugs]
    resources = [*given, _provenance(closed, about, given), _audit(closed, about, given)]
    if about.practice:
        for one in resources:
            one["meta"] = {"security": [TEST]}
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": _instant(about.at),
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }


# -- the administration --------------------------------------------------------------------------


def _administration(closed: Closed, about: About, drug: Drug) -> Resource:
    """What went in of one drug, or that nothing did, and why."""
    status = "completed" if closed.place == GIVEN else "stopped" if closed.went_in else "not-done"
    found: Resource = {
        "resourceType": "MedicationAdministration",
        "id": _id(closed, about, f"administration {drug.item}"),
        "contained": [_medication(drug)],
        "status": status,
        "medicationReference": {"reference": "#drug"},
        "subject": _patient(closed.order, about),
    }
    if status != "completed":
        found["statusReason"] = [{"text": _why(closed)}]
    if closed.at is not None:
        found["effectiveDateTime"] = _instant(closed.at)
    else:
        found["effectivePeriod"] = _period(closed)
    found["performer"] = _performers(closed, about)
    if not closed.order.called:
        found["request"] = _request(closed.order, about)
    if closed.went_in:
        found |= _dosage(closed, about, drug)
    return found


def _medication(drug: Drug) -> Resource:
    """The drug with the lot that it came from."""
    found: Resource = {
        "resourceType": "Medication",
        "id": "drug",
        "code": {"text": drug.order.drug},
    }
    if drug.product:
        found["identifier"] = [_product(drug.product)]
    batch = {"lotNumber": drug.lot, "expirationDate": drug.expiry and drug.expiry.isoformat()}
    if any(batch.values()):
        found["batch"] = {key: value for key, value in batch.items() if value}
    return found


def _dosage(closed: Closed, about: About, drug: Drug) -> Resource:
    """Dose, route and site, each as it is in the trail; only for a dose that can be written.

    A dosage has a dose or a rate (FHIR R4, rule mad-1).
    """
    amount = drug.volume if drug.given is None and not drug.item else drug.given
    if amount is None or decimals(amount.magnitude) is None:
        return {"note": [{"text": "How much went in stands in no figure of the trail."}]}
    found: Resource = {}
    if drug.item and drug.volume is not None:
        found["text"] = f"in {drug.volume} of two drugs, from {drug.strength or 'one of them'}"
    elif drug.volume is not None:
        found["text"] = " of ".join(filter(None, (str(drug.volume), drug.strength)))
    elif drug.strength:
        found["text"] = drug.strength
    if closed.site:
        found["site"] = {"text": closed.site}
    if closed.order.route:
        found["route"] = _route(closed.order.route, about.words)
    return {"dosage": {**found, "dose": quantity(amount)}}


def quantity(amount: Quantity) -> Resource:
    """An amount with its exact figures and its UCUM code."""
    return {
        "value": Bare(plain(amount.magnitude)),
        "unit": shown(amount.unit, amount.magnitude != 1),
        "system": UCUM,
        "code": amount.unit,
    }


def _route(code: str, words: Exchange) -> Resource:
    """The route in words, and by the ward's own code where its table has one."""
    codings = [
        dict(zip(("system", "code"), key.split(BETWEEN, 1), strict=True))
        for key, route in words.routes.items()
        if route == code and ":" in key.partition(BETWEEN)[0]
    ]
    text = {"text": ROUTE_WORDS.get(code, code)}
    return {"coding": codings, **text} if codings else text


def _why(closed: Closed) -> str:
    because = closed.because.replace("_", " ")
    return f"{closed.place}: {because}" if because else closed.place


# -- people and things ---------------------------------------------------------------------------


def _person(code: str, about: About) -> Resource:
    """A member of staff by the code; with the name only where names may be told."""
    found: Resource = {
        "type": "Practitioner",
        "identifier": {"type": {"text": f"staff code on {about.unit}"}, "value": code},
    }
    name = (about.staff or {}).get(code, "")
    return {**found, "display": name} if name else found


def _patient(order: Order, about: About) -> Resource:
    """The patient by the ward's opaque code; by record number and name where they may be told."""
    patient = about.patient
    if patient is None:
        told = {"type": {"text": f"patient code on {about.unit}"}, "value": order.patient}
        return {"type": "Patient", "identifier": told}
    systems = [one for one in about.words.record_number_in if ":" in one]
    number: Resource = {
        "type": {"coding": [{"system": f"{TERMS}/v2-0203", "code": "MR"}]},
        "value": patient.record_number,
    }
    if systems:
        number["system"] = systems[0]
    return {"type": "Patient", "identifier": number, "display": patient.name}


def _request(order: Order, about: About) -> Resource:
    """The order by the number that it came with."""
    if about.words.order_number_in:
        known = {"system": about.words.order_number_in[0], "value": order.id}
        return {"type": "MedicationRequest", "identifier": known}
    return {"reference": f"MedicationRequest/{order.id}"}


def _performers(closed: Closed, about: About) -> list[Resource]:
    """Who gave it, who prepared it where that is another, and each second person."""
    parts = [(closed.giver or closed.preparer, "performer")]
    if closed.preparer not in (closed.giver, parts[0][0]):
        parts.append((closed.preparer, ""))
    parts += [(code, PARTS[who]) for code, who in closed.seconds.items()]
    return [
        {
            "function": _concept("med-admin-perform-function", code) if code else _prepared(),
            "actor": _person(person, about),
        }
        for person, code in parts
    ]


def _prepared() -> Resource:
    return {"text": "prepared the dose"}


def _concept(system: str, code: str) -> Resource:
    return {"coding": [{"system": f"{TERMS}/{system}", "code": code}]}


# -- provenance and audit ------------------------------------------------------------------------


def _provenance(closed: Closed, about: About, given: list[Resource]) -> Resource:
    """Who made the administration's record, from which order, and where its trail stands."""
    agents = [("performer", closed.preparer)]
    agents += [("verifier" if w is Who.CHECKER else "attester", p) for p, w in _second(closed)]
    if closed.giver and closed.giver not in dict(_second(closed)) | {closed.preparer: ""}:
        agents.append(("performer", closed.giver))
    head = about.head
    return {
        "resourceType": "Provenance",
        "id": _id(closed, about, "provenance"),
        "target": [{"reference": f"urn:uuid:{one['id']}"} for one in given],
        "occurredPeriod": _period(closed),
        "recorded": _instant(closed.last.event.at),
        "activity": {"text": "preparation and giving of a dose"},
        "agent": [
            {"type": _concept("provenance-participant-type", kind), "who": _person(person, about)}
            for kind, person in agents
        ],
        "entity": [
            *(
                []
                if closed.order.called
                else [{"role": "source", "what": _request(closed.order, about)}]
            ),
            {"role": "source", "what": _entry(about, closed.last.seq, closed.last.digest)},
            {"role": "source", "what": _entry(about, head.seq, head.digest, head=True)},
        ],
    }


def _second(closed: Closed) -> list[tuple[str, Who]]:
    return list(closed.seconds.items())


def _entry(about: About, seq: int, digest: bytes, *, head: bool = False) -> Resource:
    """An entry of the trail by its digest, which holds all before it fast."""
    which = "head" if head else "last entry of the preparation"
    return {
        "identifier": {
            "type": {"text": "SHA-256 digest of an entry, over the digest of the one before"},
            "value": digest.hex(),
        },
        "display": f"entry {seq} of trail {about.trail}, {which}",
    }


def _audit(closed: Closed, about: About, given: list[Resource]) -> Resource:
    """The preparation as one event: who, what, when, how it came out, and where it is recorded."""
    done = closed.place == GIVEN
    entities = [_entity(1, 1, _patient(closed.order, about))]
    if not closed.order.called:
        entities.append(_entity(2, 20, _request(closed.order, about)))
    details = {
        "preparation": closed.id,
        "workflow": closed.workflow,
        "first entry": str(closed.first.seq),
        "last entry": str(closed.last.seq),
        "last digest": closed.last.digest.hex(),
        "stops": str(closed.stops),
        "cautions": str(closed.cautions),
        "breaks": str(closed.breaks),
        "begun anew": str(closed.restarts),
    }
    for one in given:
        reference = {"reference": f"urn:uuid:{one['id']}"}
        entities.append({**_entity(2, 4, reference), "detail": _details(details)})
    entities += [_container(one) for one in closed.containers]
    agents = [("preparer", closed.preparer, True)]
    agents += [(who.value, person, False) for person, who in _second(closed)]
    if closed.giver and closed.giver not in {person for _, person, _ in agents}:
        agents.append(("giver", closed.giver, False))
    return {
        "resourceType": "AuditEvent",
        "id": _id(closed, about, "audit"),
        "type": {
            "system": "http://dicom.nema.org/resources/ontology/DCM",
            "code": "110110",
            "display": "Patient Record",
        },
        "subtype": [{"system": f"{TERMS}/iso-21089-lifecycle", "code": "originate"}],
        "action": "C",
        "period": _period(closed),
        "recorded": _instant(closed.ended_at),
        "outcome": "0" if done else "4",
        "outcomeDesc": closed.place if done else _why(closed),
        "purposeOfEvent": [_concept("v3-ActReason", "TREAT")],
        "agent": [
            {
                "role": [{"text": part}],
                "who": _person(person, about),
                "altId": person,
                "requestor": asked,
            }
            for part, person, asked in agents
        ],
        "source": {
            "site": f"{about.unit}, {closed.station}",
            "observer": {
                "type": "Device",
                "identifier": {"type": {"text": "trail"}, "value": about.trail},
                "display": f"checklist {closed.software}",
            },
        },
        "entity": entities,
    }


def _entity(kind: int, role: int, what: Resource) -> Resource:
    return {
        "what": what,
        "type": {"system": f"{TERMS}/audit-entity-type", "code": str(kind)},
        "role": {"system": f"{TERMS}/object-role", "code": str(role)},
    }


def _container(item: ProductRead) -> Resource:
    lot = {"display": f"lot {item.lot}"} if item.lot else {}
    return _entity(2, 4, {"identifier": _product(item.code), **lot})


def _product(code: str) -> Resource:
    """A product by its GTIN, or by the formulary's own code."""
    known = {"system": GTIN} if len(code) == 14 and code.isdigit() else {}
    return {**known, "value": code}


def _details(told: Mapping[str, str]) -> list[Resource]:
    return [{"type": name, "valueString": value} for name, value in told.items()]


# -- shared --------------------------------------------------------------------------------------


def _id(closed: Closed, about: About, what: str) -> str:
    """The same id whenever the same preparation is given back, so that nothing comes in twice."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"{about.trail}/{closed.id}/{what.strip()}"))


def _period(closed: Closed) -> Resource:
    return {"start": _instant(closed.opened_at), "end": _instant(closed.ended_at)}


def _instant(at: datetime) -> str:
    """A moment in UTC with as many figures as it has."""
    text = (
        at.astimezone(UTC)
        .replace(tzinfo=None)
        .isoformat(timespec="seconds" if not at.microsecond else "auto")
    )
    return f"{text}Z"
