r"""exchange.toml: how a ward's health record says what this program says in its own words.

    prescriber_in = ["https://larkmoor.example/staff"]
    record_number_in = ["https://larkmoor.example/record-number", "LARKMOOR"]
    band_number_in = ["https://larkmoor.example/wristband"]
    order_number_in = []

    [drugs]                                  # "system|code" = the drug's name in the formulary
    "https://larkmoor.example/drugs|1042" = "morphine"
    [routes]                                 # ... = a route as an order writes it
    "https://larkmoor.example/routes|V" = "intravenous"
    [units]                                  # ... = a unit as people type it
    "L|MG" = "mg"
    [allergies]                              # ... = a substance, or "none known"
    "https://larkmoor.example/allergies|0" = "none known"
    [classes]                                # a substance = the drug class that it belongs to
    "penicillin V" = "penicillins"
    [fluids]                                 # "system|code" = a carrier fluid of the formulary
    "https://larkmoor.example/drugs|3007" = "glucose"
    [vessels]                                # a mixture's form = bag, bottle, burette, pump syringe
    "https://larkmoor.example/forms|B" = "bag"

The file may be left out, and so may each part of it. The four lists name the place that gave out a
number: `identifier.system` of FHIR, or the assigning authority of HL7 v2. Without a list, the
record number is the one of the type MR (HL7 table 0203), an order's number is the id of the
resource, and a prescriber's code is the id at the end of the reference.

A code stands with its system before it: the URI of FHIR or the name of the coding system in HL7 v2.
Codes of SNOMED CT are its international body's; whoever writes them here needs a licence where they
work (FHIR R4, value set route-codes, copyright note). No code of it ships with this program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Annotated

from pydantic import Field

from checklist import ucum
from checklist.formulary import Formulary
from checklist.intake.fault import Findings, NotAsWritten, Record, nearest, said_place
from checklist.intake.infusion import VESSELS
from checklist.intake.page import MAX_TOML, page, toml
from checklist.intake.route import route_of
from checklist.number import quoted

FILE = "exchange.toml"
NONE_KNOWN = "none known"
"""What the code of "no known allergies" means in the table of allergies."""
BETWEEN = "|"
"""Stands between a code's system and the code."""

Line = Annotated[str, Field(min_length=1, max_length=200)]
Words = dict[str, Line]


class _Exchange(Record):
    prescriber_in: list[Line] = Field(default_factory=list)
    record_number_in: list[Line] = Field(default_factory=list)
    band_number_in: list[Line] = Field(default_factory=list)
    order_number_in: list[Line] = Field(default_factory=list)
    drugs: Words = Field(default_factory=dict)
    routes: Words = Field(default_factory=dict)
    units: Words = Field(default_factory=dict)
    allergies: Words = Field(default_factory=dict)
    classes: Words = Field(default_factory=dict)
    fluids: Words = Field(default_factory=dict)
    vessels: Words = Field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """What the health record's codes and numbers mean here. Empty where there is no such file.

    The keys of all but `classes` are system, stroke, code. The values of `routes` are route codes
    such as "IV", those of `units` UCUM codes. The keys of `classes` are substances in small
    letters. `fluids` and `vessels` say what a mixture is made with, and in.
    """

    prescriber_in: tuple[str, ...] = ()
    record_number_in: tuple[str, ...] = ()
    band_number_in: tuple[str, ...] = ()
    order_number_in: tuple[str, ...] = ()
    drugs: Mapping[str, str] = field(default_factory=dict)
    routes: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    allergies: Mapping[str, str] = field(default_factory=dict)
    classes: Mapping[str, str] = field(default_factory=dict)
    fluids: Mapping[str, str] = field(default_factory=dict)
    vessels: Mapping[str, str] = field(default_factory=dict)


def exchange_of(path: Path, findings: Findings, formulary: Formulary | None) -> Exchange | None:
    """The ward's table; an empty one where there is no file, None, with faults, for a bad one."""
    if not path.exists():
        return Exchange()
    found = page(path, findings, longest=MAX_TOML)
    tables = toml(found.text, findings) if found else None
    one = findings.check(_Exchange, tables, said_place("")) if tables is not None else None
    if one is None:
        return None
    if not tables:
        findings.add("", "There is nothing in it. Fill it in, or take the file away.")
    for name in ("drugs", "routes", "units", "allergies", "fluids", "vessels"):
        for key in getattr(one, name):
            _coded(findings, name, key)
    if formulary is not None:
        for table in ("drugs", "fluids"):
            for key, drug in getattr(one, table).items():
                if formulary.drug(drug) is None:
                    known = nearest(drug, formulary.drugs)
                    findings.add(f"{table}, {key}", f"{quoted(drug)} is not a drug here. {known}")
    for key, vessel in one.vessels.items():
        findings.listed(f"vessels, {key}", vessel, VESSELS)
    routes = {k: findings.read(f"routes, {k}", _route, v) for k, v in one.routes.items()}
    units = {k: findings.read(f"units, {k}", ucum.written, v) for k, v in one.units.items()}
    if findings.faults:
        return None
    return Exchange(
        prescriber_in=tuple(one.prescriber_in),
        record_number_in=tuple(one.record_number_in),
        band_number_in=tuple(one.band_number_in),
        order_number_in=tuple(one.order_number_in),
        drugs=MappingProxyType(dict(one.drugs)),
        routes=MappingProxyType({key: code for key, code in routes.items() if code}),
        units=MappingProxyType({key: code for key, code in units.items() if code}),
        allergies=MappingProxyType(dict(one.allergies)),
        classes=MappingProxyType({k.casefold(): v for k, v in one.classes.items()}),
        fluids=MappingProxyType(dict(one.fluids)),
        vessels=MappingProxyType(dict(one.vessels)),
    )


def _coded(findings: Findings, table: str, key: str) -> None:
    """A fault of a key that does not name a system and a code."""
    system, between, code = key.partition(BETWEEN)
    if not (system.strip() and between and code.strip()) or key != key.strip():
        findings.add(f"{table}, {key}", 'The key is no coded word. Write it like "system|code".')


def _route(text: str) -> str:
    code = route_of(text)
    if not code:
        raise NotAsWritten(f"The route {quoted(text)} is not known here. Write it in full.")
    return code
