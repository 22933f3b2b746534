"""Staff as the engine knows them: a code, a role and what they may do until when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


class Role(StrEnum):
    """What a person is on the unit."""

    NURSE = "nurse"
    TRAINEE = "trainee"
    PHARMACIST = "pharmacist"
    PHYSICIAN = "physician"
    EDUCATOR = "educator"
    QI_LEAD = "qi_lead"
    ADMINISTRATOR = "administrator"
    CARE_ASSISTANT = "care_assistant"


@dataclass(frozen=True, slots=True, kw_only=True)
class StaffMember:
    """A member of staff.

    `code` is the opaque reference that stands in the trail; `name` never does. `competent` maps a
    task (a route code such as "IV", or "controlled", "high_alert") to the last day it is in date.
    """

    code: str
    name: str
    role: Role
    competent: Mapping[str, date] = field(default_factory=dict)
    badge: str = ""
    active: bool = True
