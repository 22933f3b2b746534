"""staff.toml: who works on the ward, in which roles, and what each is in date for.

One [[person]] table each:

    [[person]]
    code = "RN-12"                      # stands in the trail: capitals, figures, hyphens
    name = "..."                        # never stands in the trail
    roles = ["preparer", "checker"]     # preparer, checker, witness, leader, educator, qi_lead,
                                        # pharmacist, administrator, trainee; [] for none
    badge = "952000000000000101"        # what the badge carries; may be left out
    active = true                       # true when left out
    competent = { IV = 2027-03-31, controlled = 2026-12-31 }

`competent` gives the last day in date, without quotes, for a route code, "controlled" or
"high_alert". What each role allows stands in `checklist people roles`; "witness" is for those whom
the unit's policy lets witness. PINs are kept in a file of their own. A badge of 18 figures is a GS1
service relation number and has a check digit.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import Field

from checklist.intake.fault import Findings, Record, said_place
from checklist.intake.page import MAX_TOML, page, toml
from checklist.intake.route import ROUTES
from checklist.interop.gtin import checks_out
from checklist.people import Role, StaffMember

CODE = r"[A-Z][A-Z0-9-]{0,15}"
"""A code that stands in the trail for a person."""
TASKS = (*ROUTES, "controlled", "high_alert")

Line = Annotated[str, Field(min_length=1, max_length=80)]


class _Person(Record):
    code: Line
    name: Line
    roles: list[Line]
    badge: Line | None = None
    active: bool = True
    competent: dict[str, date] = Field(default_factory=dict)


class _Staff(Record):
    person: list[Any]


def staff_of(path: Path, findings: Findings) -> Mapping[str, StaffMember]:
    """The staff by code; empty, with faults, when the file cannot be read."""
    found = page(path, findings, longest=MAX_TOML)
    tables = toml(found.text, findings) if found else None
    top = findings.check(_Staff, tables, said_place("")) if tables is not None else None
    if top is None:
        return {}
    people: dict[str, StaffMember] = {}
    codes: dict[str, str] = {}
    badges: dict[str, str] = {}
    for number, raw in enumerate(top.person, start=1):
        place = f"person {number}"
        one = findings.check(_Person, raw, said_place(place))
        if one is None:
            continue
        place = f"{place} ({one.code})"
        person = _member(one, findings, place)
        findings.once(f"{place}, code", one.code, codes, "The code")
        if one.badge:
            findings.once(f"{place}, badge", one.badge, badges, "The badge")
        if person is not None:
            people[one.code] = person
    return MappingProxyType(people)


def _member(one: _Person, findings: Findings, place: str) -> StaffMember | None:
    """The member of staff; None, with a fault, when a role is not known."""
    code_of_trail(findings, f"{place}, code", one.code)
    if one.badge and re.fullmatch(r"[0-9]{18}", one.badge) and not checks_out(one.badge):
        findings.add(
            f"{place}, badge",
            f"The last figure of {one.badge} does not fit the others. Read the badge again.",
        )
    for task in one.competent:
        findings.listed(f"{place}, competent", task, TASKS)
    known = [role.value for role in Role]
    sound = [findings.listed(f"{place}, roles", role, known) for role in one.roles]
    if not all(sound):
        return None
    for role in sorted({role for role in one.roles if one.roles.count(role) > 1}):
        findings.add(f"{place}, roles", f'"{role}" stands twice. Keep one.')
    return StaffMember(
        code=one.code,
        name=one.name,
        roles=tuple(Role(role) for role in one.roles),
        competent=MappingProxyType(dict(one.competent)),
        badge=one.badge or "",
        active=one.active,
    )


def code_of_trail(findings: Findings, place: str, code: str) -> None:
    """A fault when the code is not of the form that stands in the trail for a person."""
    if not re.fullmatch(CODE, code):
        findings.add(
            place,
            f'"{code}" is not a code. Begin with a capital letter and use at most 16 capitals,'
            ' figures and hyphens, like "RN-12".',
        )
