"""orders.json: the patients of a ward and their order lines, as the medication record sends them.

    {
      "patients": [{
        "code": "P-301",                       # stands in the trail; says nothing about the person
        "name": "...",
        "birth_date": "1958-03-14",
        "record_number": "30011742",           # of the form that unit.toml gives
        "band_numbers": ["952000000000003011"],
        "sex": "female",                       # female, male, other; or left out
        "allergies": [{"substance": "penicillin", "drug_class": "penicillins", "reaction": "rash"}],
        "weight": "82 kg", "weighed_on": "2026-11-24"
      }],
      "orders": [{
        "id": "ORD-101", "patient": "P-301", "drug": "morphine",
        "dose": "7.5 mg",                      # or by body weight: "5 mg/kg"
        "route": "intravenous", "site": "", "strength": "10 mg in 1 mL",
        "form": "solution for injection", "frequency": "once", "interval": "4 hours",
        "due": "2026-11-25T14:20:00Z",         # also starts, stops, last_given; with Z or an offset
        "status": "active", "prescriber": "DR-4", "indication": "pain",
        "time_critical": false, "verbal": false, "read_back": false, "double_check": false,
        "reviewed_by": "PH-2",
        "hold": {"what": "breaths per minute", "unit": "1/min", "lowest": "12", "max_age": "1 h"},
        "infusion": {                          # when it does not go straight from the syringe
          "into": "bag",                       # bag, bottle, burette, pump syringe; or left out
          "carrier": "sodium chloride", "carrier_strength": "0.9 %", "volume": "100 mL",
          "duration": "1 hour",                # and, or instead, "rate": "100 mL/h"
          "first_out": false, "gravity": false
        },
        "second": {"drug": "haloperidol", "dose": "2.5 mg", "strength": ""}
      }]
    }

`allergies` left out (or null) means that the status is not recorded; [] means none known. Every
number is text in quotes. Only `id` and `patient` of an order are needed: what else is missing
stays empty, so that a check can refuse it where a nurse can act. A dose, strength, interval or
route that cannot be read in one way does not stop the file: it stays empty too, and the sentence
that says why goes into `Order.unreadable`. The text itself is kept in `Order.written`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import Field

from checklist import ucum
from checklist.intake.amount import strength_of
from checklist.intake.fault import Findings, NotAsWritten, Record, said_place
from checklist.intake.infusion import (
    ComponentRecord,
    InfusionRecord,
    clear,
    component_of,
    infusion_of,
)
from checklist.intake.page import MAX_RECORDS, page, records
from checklist.intake.route import route_of
from checklist.intake.staff import code_of_trail
from checklist.interop.gtin import checks_out
from checklist.number import quoted
from checklist.order import Allergy, HoldRule, Order, Patient
from checklist.quantity import Quantity

STATUSES = ("active", "held", "stopped", "replaced", "completed", "cancelled")
SEXES = ("female", "male", "other")
ORDER_ID = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
"""As long as the longest id of a FHIR resource; a UUID has 36 characters."""
WRITTEN = ("drug", "dose", "route", "strength", "frequency")
"""The fields whose own text is kept for the notation check."""

Line = Annotated[str, Field(max_length=120)]
Filled = Annotated[str, Field(min_length=1, max_length=120)]


class _Allergy(Record):
    substance: Filled
    drug_class: Line = ""
    reaction: Line = ""


class _Patient(Record):
    code: Filled
    name: Filled
    birth_date: Filled
    record_number: Filled
    band_numbers: list[Filled] = Field(default_factory=list)
    sex: Line = ""
    allergies: list[_Allergy] | None = None
    weight: Line = ""
    weighed_on: Line = ""


class _Hold(Record):
    what: Filled
    unit: Filled
    lowest: Line = ""
    highest: Line = ""
    max_age: Line = ""


class _Order(Record):
    id: Filled
    patient: Filled
    drug: Line = ""
    dose: Line = ""
    route: Line = ""
    site: Line = ""
    strength: Line = ""
    form: Line = ""
    frequency: Line = ""
    interval: Line = ""
    due: Line = ""
    starts: Line = ""
    stops: Line = ""
    status: Filled = "active"
    prescriber: Line = ""
    indication: Line = ""
    time_critical: bool = False
    verbal: bool = False
    read_back: bool = False
    reviewed_by: Line = ""
    double_check: bool = False
    hold: _Hold | None = None
    last_given: Line = ""
    infusion: InfusionRecord | None = None
    second: ComponentRecord | None = None


class _Orders(Record):
    patients: list[Any]
    orders: list[Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Orders:
    """The patients and the order lines of one file, each by its code, and the file's digest."""

    patients: Mapping[str, Patient]
    orders: Mapping[str, Order]
    digest: str


def orders_of(path: Path, findings: Findings) -> Orders | None:
    """The patients and orders; None, with faults, when the file cannot be read at all."""
    found = page(path, findings, longest=MAX_RECORDS)
    data = records(found.text, findings) if found else None
    top = findings.check(_Orders, data, said_place("")) if data is not None else None
    if found is None or top is None:
        return None
    patients: dict[str, Patient] = {}
    seen: dict[str, dict[str, str]] = {"code": {}, "record_number": {}, "band_numbers": {}}
    for number, raw in enumerate(top.patients, start=1):
        place = _numbered("patient", number, raw, "code")
        patient = _patient(raw, place, findings)
        if patient is not None and _apart(patient, place, seen, findings):
            patients[patient.code] = patient
    # A patient with faults is still known here, or each of their orders would bring one more.
    named = (raw.get("code") for raw in top.patients if isinstance(raw, dict))
    known = {code for code in named if isinstance(code, str)}
    orders: dict[str, Order] = {}
    ids: dict[str, str] = {}
    for number, raw in enumerate(top.orders, start=1):
        place = _numbered("order", number, raw, "id")
        order = _order(raw, place, findings)
        if order is None or not findings.once(f"{place}, id", order.id, ids, "The id"):
            continue
        if order.patient not in known:
            # No code is offered: the nearest one is another patient's.
            sentence = "is not a patient of this file. Look at the order in the record."
            findings.add(f"{place}, patient", f"{quoted(order.patient)} {sentence}")
        orders[order.id] = order
    return Orders(
        patients=MappingProxyType(patients),
        orders=MappingProxyType(orders),
        digest=found.digest,
    )


def _numbered(what: str, number: int, raw: object, key: str) -> str:
    name = raw.get(key) if isinstance(raw, dict) else None
    return f"{what} {number} ({name})" if isinstance(name, str) else f"{what} {number}"


def _patient(raw: object, place: str, findings: Findings) -> Patient | None:
    one = findings.check(_Patient, raw, said_place(place))
    if one is None:
        return None
    code_of_trail(findings, f"{place}, code", one.code)
    if one.code == one.record_number:
        sentence = "It is the record number, and the code stands in the trail. Give another code."
        findings.add(f"{place}, code", sentence)
    if one.sex:
        findings.listed(f"{place}, sex", one.sex, SEXES)
    for band in one.band_numbers:
        if re.fullmatch(r"[0-9]{18}", band) and not checks_out(band):
            sentence = f"The last figure of {band} does not fit the others. Read the band again."
            findings.add(f"{place}, band_numbers", sentence)
    birth = findings.read(f"{place}, birth_date", day_of, one.birth_date)
    weight = findings.read(f"{place}, weight", weight_of, one.weight)
    weighed = findings.read(f"{place}, weighed_on", day_of, one.weighed_on)
    if bool(one.weight) != bool(one.weighed_on):
        sentence = "Weight and weighed_on go together. Write both, or leave both out."
        findings.add(f"{place}, weight", sentence)
    if birth is not None and weighed is not None and not birth <= weighed:
        findings.add(f"{place}, weighed_on", "It is before the date of birth. Look at both again.")
    if birth is None:
        return None
    return Patient(
        code=one.code,
        name=one.name,
        birth_date=birth,
        record_number=one.record_number,
        band_numbers=tuple(one.band_numbers),
        sex=one.sex,
        allergies=None
        if one.allergies is None
        else tuple(Allergy(**allergy.model_dump()) for allergy in one.allergies),
        weight=weight,
        weighed_on=weighed,
    )


def _apart(
    patient: Patient, place: str, seen: dict[str, dict[str, str]], findings: Findings
) -> bool:
    """Whether no other patient has this one's code; shared numbers are faults as well."""
    number, bands = patient.record_number, seen["band_numbers"]
    findings.once(f"{place}, record_number", number, seen["record_number"], "The number")
    for band in patient.band_numbers:
        findings.once(f"{place}, band_numbers", band, bands, "The number")
    return findings.once(f"{place}, code", patient.code, seen["code"], "The code")


def _order(raw: object, place: str, findings: Findings) -> Order | None:
    one = findings.check(_Order, raw, said_place(place))
    if one is None:
        return None
    if not re.fullmatch(ORDER_ID, one.id):
        sentence = f"{quoted(one.id)} is not an id. Use letters, figures, points and hyphens."
        findings.add(f"{place}, id", sentence)
    findings.listed(f"{place}, status", one.status, STATUSES)
    unreadable: dict[str, str] = {}
    dose = clear("dose", ordered_dose, one.dose, unreadable)
    times = {
        key: findings.read(f"{place}, {key}", moment_of, getattr(one, key))
        for key in ("due", "starts", "stops", "last_given")
    }
    by_weight = dose is not None and bool(ucum.unit(dose.unit).below)
    return Order(
        id=one.id,
        patient=one.patient,
        drug=one.drug.strip(),
        dose=None if by_weight else dose,
        dose_per_weight=dose if by_weight else None,
        route=clear("route", _route, one.route, unreadable) or "",
        site=" ".join(one.site.lower().split()),
        strength=clear("strength", strength_of, one.strength, unreadable),
        form=one.form,
        frequency=one.frequency,
        interval=clear("interval", _interval, one.interval, unreadable),
        **times,
        called=False,
        infusion=infusion_of(one.infusion, f"{place}, infusion", findings, unreadable),
        second=component_of(one.second, ordered_dose, unreadable),
        status=one.status,
        prescriber=one.prescriber,
        indication=one.indication,
        time_critical=one.time_critical,
        verbal=one.verbal,
        read_back=one.read_back,
        reviewed_by=one.reviewed_by,
        double_check=one.double_check,
        hold=_hold(one.hold, f"{place}, hold", findings) if one.hold else None,
        written=MappingProxyType({key: getattr(one, key) for key in WRITTEN if getattr(one, key)}),
        unreadable=MappingProxyType(unreadable),
    )


def ordered_dose(text: str) -> Quantity:
    """An amount of drug for one administration, or an amount per kg of body weight."""
    read = Quantity.parse(text)
    kind, below = ucum.unit(read.unit).dimension
    if not read.magnitude > 0:
        raise NotAsWritten(f"The dose {quoted(text)} is no amount. Have the dose written out.")
    if kind in ("volume", "number", "ampoule", "vial", "tablet", "dose"):
        raise NotAsWritten(
            f"The dose {quoted(text)} does not say how much drug. Have it written in mg or units."
        )
    if below not in ((), ("mass",)):
        raise NotAsWritten(
            f"The dose {quoted(text)} is not that of one time. Have one dose written out."
        )
    return read


def _route(text: str) -> str:
    code = route_of(text)
    if not code:
        raise NotAsWritten(
            f"The route {quoted(text)} is not known here. Have it written in full, like"
            " intravenous."
        )
    return code


def _interval(text: str) -> Quantity:
    return _over_zero(text, "h", "4 hours")


def weight_of(text: str) -> Quantity:
    """A body weight in a unit of mass."""
    return _over_zero(text, "kg", "82 kg")


def _over_zero(text: str, unit: str, example: str) -> Quantity:
    """An amount above zero of the same kind as `unit`."""
    read = Quantity.parse(text)
    if not read.alike(Quantity.of(1, unit)) or not read.magnitude > 0:
        raise NotAsWritten(f"{quoted(text)} does not fit here. Write it like {example}.")
    return read


def _hold(one: _Hold, place: str, findings: Findings) -> HoldRule | None:
    """The hold rule; None, with a fault, when its bounds cannot be read."""

    def bound(text: str) -> Quantity:
        return Quantity.of(text, one.unit)

    lowest = findings.read(f"{place}, lowest", bound, one.lowest)
    highest = findings.read(f"{place}, highest", bound, one.highest)
    age = findings.read(f"{place}, max_age", _interval, one.max_age)
    if not one.lowest and not one.highest:
        findings.add(place, "It has neither lowest nor highest. Write the value to withhold at.")
    if lowest is not None and highest is not None and not lowest <= highest:
        findings.add(place, "Its lowest is above its highest. Look at both again.")
    return HoldRule(what=one.what, unit=one.unit, lowest=lowest, highest=highest, max_age=age)


def day_of(text: str) -> date:
    """A day written as year, month, day."""
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise NotAsWritten(f"{quoted(text)} is not a day. Write year, month, day, like 2026-11-24.")


def moment_of(text: str) -> datetime:
    """A moment with its offset from UTC, as UTC."""
    form = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?::[0-9]{2})?(Z|[+-][0-9]{2}:[0-9]{2})?"
    if found := re.fullmatch(form, text):
        if not found[1]:
            raise NotAsWritten(
                f"{quoted(text)} does not say in which time zone. Add Z or the offset from UTC."
            )
        try:
            return datetime.fromisoformat(text).astimezone(UTC)
        except (ValueError, OverflowError):
            pass
    raise NotAsWritten(f"{quoted(text)} is not a time. Write it like 2026-11-25T14:20:00Z.")
