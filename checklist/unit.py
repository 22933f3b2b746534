"""A ward's own settings: what it asks for beyond the trade's floor."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from fractions import Fraction
from zoneinfo import ZoneInfo

from checklist.quantity import Quantity
from checklist.stock import Stock
from checklist.verdict import Tier

NDC = "ndc"
"""The name of the one national product number that is known without a pattern."""
# What "at once" comes to on a clock. Common practice, no source.
AT_ONCE = Quantity.of("15", "min")


class SignIn(StrEnum):
    """How a person is known at a station."""

    PIN = "code and pin"
    CODE = "code only"
    """A code or badge is taken as it comes, and proves nothing."""


class CheckFigure(StrEnum):
    """How the last figure of a national number follows from the others."""

    MOD_11 = "mod 11"
    """The figures before it times 7, 6, 5 and so on from the right, added up, modulo 11; ten is no
    check figure. Source: PZN, IFA (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberForm:
    """A national product number: the pattern of what its code carries, and its check figure.

    A group in the pattern is the number itself, else the whole is. `check` is None for none.
    """

    pattern: str
    check: CheckFigure | None = None

    def number(self, text: str) -> str | None:
        """The number in a text of this form; None for another text."""
        found = re.fullmatch(self.pattern, text)
        return found[found.re.groups and 1] if found else None

    def checks_out(self, number: str) -> bool:
        """Whether the check figure fits the others; True where there is none."""
        if self.check is None:
            return True
        if not re.fullmatch(r"[0-9]{2,8}", number):
            return False
        weighed = zip(reversed(number[:-1]), range(7, 0, -1), strict=False)
        return sum(int(figure) * weight for figure, weight in weighed) % 11 == int(number[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """The settings in force on one unit; each is recorded in the opening entry.

    `settings` holds every choice of workflows/settings.toml, the unit's own or as shipped; `eased`
    the soft reason codes that are mere notes under them. The other limits may only be tightened.
    `raised` maps a reason code to the unit's tier, never below the trade's. `record_number` and
    `location` are patterns (Python re) that tell a record number and a room or bed apart from a
    name. `wristband` is the pattern of what the hospital's own wristbands carry, "" where that is a
    GSRN or the record number; `numbers` are national product numbers, by the unit's own names.
    `recalled` holds "product code/lot" pairs on the stop list. `register` maps a controlled
    product's code to the number of containers that its register says are in stock, `liquids` that
    of a controlled liquid to what is left in its open bottle; `liquid_loss` is what may be missing.
    `stock` says what labels the unit prints on.
    A closed trail is kept for `keep_years` after its last entry.
    After `pin_tries` wrong PINs on end a person is shut out for `pin_lock`; a PIN has at least
    `pin_shortest` characters. A tablet that nobody touches for `idle_lock` is locked.
    """

    code: str
    name: str
    hospital: str = ""
    timezone: str = "UTC"
    areas: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()
    record_number: str = r"[0-9]{6,10}"
    location: str = r"(?i)(room|bed|bay|ward|cubicle)\b.*|[0-9]{1,3}[A-Za-z]?"
    wristband: str = ""
    numbers: Mapping[str, NumberForm] = field(default_factory=dict)
    sign_in_with: SignIn = SignIn.PIN
    pin_tries: int = 5
    pin_lock: Quantity = Quantity.of("15", "min")
    pin_shortest: int = 6
    idle_lock: Quantity = Quantity.of("15", "min")
    pharmacist_review_expected: bool = True
    weight_max_age: Quantity = Quantity.of("7", "d")
    record_late_after: Quantity = Quantity.of("30", "min")
    window_time_critical: Quantity = Quantity.of("30", "min")
    window_frequent: Quantity = Quantity.of("60", "min")
    window_daily: Quantity = Quantity.of("120", "min")
    many_containers: int = 3
    keep_years: int = 6
    packages_most: int = 3
    liquid_loss: Quantity = Quantity.of("1", "mL")
    rounding_warn: Fraction = Fraction(5, 100)
    rounding_limit: Fraction = Fraction(10, 100)
    smallest_volume: Quantity = Quantity.of("0.1", "mL")
    second_person_cautions: tuple[str, ...] = ()
    recalled: frozenset[str] = frozenset()
    register: Mapping[str, int] = field(default_factory=dict)
    liquids: Mapping[str, Quantity] = field(default_factory=dict)
    raised: Mapping[str, Tier] = field(default_factory=dict)
    settings: Mapping[str, str | int | tuple[str, ...]] = field(default_factory=dict)
    eased: frozenset[str] = frozenset()
    stock: Stock = field(default_factory=Stock)
    text: str = ""
    digest: str = ""

    def local(self, at: datetime) -> datetime:
        """A moment on the ward's own clock."""
        return at.astimezone(ZoneInfo(self.timezone))

    def word(self, key: str) -> str:
        """The value of a setting that is one of several words."""
        value = self.settings[key]
        assert isinstance(value, str), key
        return value

    def words(self, key: str) -> tuple[str, ...]:
        """The value of a setting that is any of several words."""
        value = self.settings[key]
        assert isinstance(value, tuple), key
        return value

    def count(self, key: str) -> int:
        """The value of a setting that is a whole number."""
        value = self.settings[key]
        assert isinstance(value, int), key
        return value

    def asks_second_person(
        self, *, high_alert: bool, controlled: bool, intravenous: bool, child: bool
    ) -> bool:
        """Whether the unit's rule asks a second person for such a dose."""
        asked = {
            "high_alert": high_alert,
            "controlled": controlled,
            "all_iv": intravenous,
            "paediatric": child,
        }
        return any(asked[word] for word in self.words("double_check_scope"))

    def to_start(self, route: str) -> Quantity:
        """How long after opening a dose by this route may be begun; a product's own life aside."""
        word = self.word(f"prepared_to_start_limit_{'iv' if route == 'IV' else 'other'}")
        return AT_ONCE if word == "at_once" else Quantity.parse(word)
