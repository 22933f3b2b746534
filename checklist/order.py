"""The order and the patient it is for, as they came from the medication record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from checklist.quantity import Concentration, Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Allergy:
    """A recorded allergy or intolerance: to a substance and, where known, its drug class."""

    substance: str
    drug_class: str = ""
    reaction: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Patient:
    """A patient. `code` is opaque and stands in the trail; the other data never do.

    `allergies` is None when the status is not recorded, empty when "none known" is recorded.
    `band_numbers` are the numbers that a wristband may carry for this patient.
    """

    code: str
    name: str
    birth_date: date
    record_number: str
    band_numbers: tuple[str, ...] = ()
    sex: str = ""
    allergies: tuple[Allergy, ...] | None = None
    weight: Quantity | None = None
    weighed_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldRule:
    """Withhold when the value of `what` is outside [`lowest`, `highest`], in `unit`.

    `max_age` is how old the value may be when the dose is given. Each of them may be None.
    """

    what: str
    unit: str
    lowest: Quantity | None = None
    highest: Quantity | None = None
    max_age: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """The second drug of an order line that asks for two in one syringe."""

    drug: str
    dose: Quantity
    strength: Concentration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Infusion:
    """How a dose is to run in: into what, with which carrier fluid, how much and how fast.

    `into` is "bag", "bottle", "burette" or "pump syringe", and "" for a bag that comes ready
    mixed. `carrier` is the fluid's name, `carrier_strength` its strength. `volume` is the labelled
    volume of a bag or bottle, and the volume to make up to of a burette or pump syringe.
    `duration` is the time for all of it; `rate` is mL in a time, or an amount in a time, per kg or
    not. One of the two is enough. `first_out` asks for the drug's own volume to be drawn out of
    the fluid before the drug goes in; `gravity` for drops instead of a pump.
    """

    into: str = ""
    carrier: str = ""
    carrier_strength: Concentration | None = None
    volume: Quantity | None = None
    duration: Quantity | None = None
    rate: Quantity | None = None
    first_out: bool = False
    gravity: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One order line.

    Fields that the order does not carry are empty or None: whether they are needed is a check's
    business, so that a gap is refused where a nurse can act on it. `written` keeps the order's
    own text of dose, route and frequency, which the notation check reads. `dose` is the amount for
    one administration; `dose_per_weight` (for example mg/kg) is given instead when the dose hangs
    on body weight. `last_given` is the latest dose of this line in the medication record.
    `infusion` says how the dose runs in when it is not given from the syringe, `second` is the
    drug that goes into the same syringe. `called` marks what a leader called for in an emergency:
    no line of the record yet.
    """

    id: str
    patient: str
    drug: str = ""
    dose: Quantity | None = None
    dose_per_weight: Quantity | None = None
    route: str = ""
    site: str = ""
    strength: Concentration | None = None
    form: str = ""
    frequency: str = ""
    interval: Quantity | None = None
    due: datetime | None = None
    starts: datetime | None = None
    stops: datetime | None = None
    status: str = "active"
    prescriber: str = ""
    indication: str = ""
    time_critical: bool = False
    verbal: bool = False
    read_back: bool = False
    reviewed_by: str = ""
    double_check: bool = False
    hold: HoldRule | None = None
    last_given: datetime | None = None
    infusion: Infusion | None = None
    second: Component | None = None
    called: bool = False
    written: Mapping[str, str] = field(default_factory=dict)
    unreadable: Mapping[str, str] = field(default_factory=dict)


CALLED = "CALL-"
"""How the id of a call begins, which stands in place of an order line that is not written yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """What the leader of an emergency calls for, before anything is written.

    `leader` is a staff code, `patient` a patient's code, `route` a route code such as "IV".
    """

    leader: str
    patient: str
    drug: str
    dose: Quantity
    route: str

    def order(self, *, id_: str, at: datetime) -> Order:
        """The call as an order line of its own, due at once."""
        return Order(
            id=id_,
            patient=self.patient,
            drug=self.drug,
            dose=self.dose,
            route=self.route,
            due=at,
            prescriber=self.leader,
            indication="emergency",
            verbal=True,
            called=True,
        )
