"""A ward's own settings: what it asks for beyond the trade's floor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

from checklist.people import Role
from checklist.quantity import Quantity
from checklist.verdict import Tier


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """The settings in force on one unit; each is recorded in the opening entry.

    `raised` maps a reason code to the unit's tier, never below the trade's. `record_number` and
    `location` are patterns (Python re) that tell a record number and a room or bed apart from a
    name. `recalled` holds "product code/lot" pairs on the stop list. `register` maps a controlled
    product's code to the number of containers that its register says are in stock.
    """

    code: str
    name: str
    hospital: str = ""
    timezone: str = "UTC"
    areas: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()
    identifiers_required: int = 2
    record_number: str = r"[0-9]{6,10}"
    location: str = r"(?i)(room|bed|bay|ward|cubicle)\b.*|[0-9]{1,3}[A-Za-z]?"
    double_check_scope: tuple[str, ...] = ("high_alert", "controlled")
    preparer_roles: tuple[Role, ...] = (Role.NURSE, Role.PHYSICIAN, Role.PHARMACIST)
    checker_roles: tuple[Role, ...] = (Role.NURSE, Role.PHYSICIAN, Role.PHARMACIST)
    witness_roles: tuple[Role, ...] = (Role.NURSE, Role.PHYSICIAN, Role.PHARMACIST)
    neck_wipe_required: bool = True
    giver_must_be_preparer: bool = True
    pharmacist_review_expected: bool = True
    prepared_to_start_limit: Quantity = Quantity.of("1", "h")
    weight_max_age: Quantity = Quantity.of("7", "d")
    record_late_after: Quantity = Quantity.of("30", "min")
    window_time_critical: Quantity = Quantity.of("30", "min")
    window_frequent: Quantity = Quantity.of("60", "min")
    window_daily: Quantity = Quantity.of("120", "min")
    many_containers: int = 3
    rounding_warn: Fraction = Fraction(5, 100)
    rounding_limit: Fraction = Fraction(10, 100)
    smallest_volume: Quantity = Quantity.of("0.1", "mL")
    second_person_cautions: tuple[str, ...] = ()
    recalled: frozenset[str] = frozenset()
    register: Mapping[str, int] = field(default_factory=dict)
    raised: Mapping[str, Tier] = field(default_factory=dict)
    text: str = ""
    digest: str = ""

    def local(self, at: datetime) -> datetime:
        """A moment on the ward's own clock."""
        return at.astimezone(ZoneInfo(self.timezone))

    def asks_second_person(self, *, high_alert: bool, controlled: bool) -> bool:
        """Whether the unit's rule asks a second person for such a drug."""
        scope = self.double_check_scope
        return (high_alert and "high_alert" in scope) or (controlled and "controlled" in scope)
