"""Staff as the engine knows them: a code, the roles held and what is in date until when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum


class Role(StrEnum):
    """What a person does in this program; a job title is nobody's leave to do anything.

    A person holds any number of roles. What each allows stands in `permission`.
    """

    PREPARER = "preparer"
    CHECKER = "checker"
    WITNESS = "witness"
    LEADER = "leader"
    EDUCATOR = "educator"
    QI_LEAD = "qi_lead"
    PHARMACIST = "pharmacist"
    ADMINISTRATOR = "administrator"
    TRAINEE = "trainee"

    @property
    def said(self) -> str:
        """The role in words."""
        return {Role.QI_LEAD: "QI lead", Role.LEADER: "emergency leader"}.get(self, self.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class StaffMember:
    """A member of staff.

    `code` is the opaque reference that stands in the trail; `name` never does. `competent` maps a
    task (a route code such as "IV", or "controlled", "high_alert") to the last day it is in date.
    """

    code: str
    name: str
    roles: tuple[Role, ...] = ()
    competent: Mapping[str, date] = field(default_factory=dict)
    badge: str = ""
    active: bool = True

    @property
    def on_record_as(self) -> str:
        """The roles in words, for a sentence: "preparer and checker"."""
        if not self.active:
            return "not active"
        *most, last = [role.said for role in self.roles] or ["somebody without a role"]
        return f"{', '.join(most)} and {last}" if most else last
