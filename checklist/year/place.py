"""The wards of the invented hospital, and a station on one that remembers what it played."""

from __future__ import annotations

import hashlib
import json
import random
import re
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from checklist import library
from checklist.intake.ward import Ward
from checklist.interop.scanner import SOUND
from checklist.order import Order
from checklist.people import Role, StaffMember
from checklist.preparation import Preparation
from checklist.station import Compiled, Station
from checklist.trail import Trail
from checklist.unit import Unit
from checklist.year.plan import Plan, UnitPlan

DRAWN_FROM = datetime.fromisoformat("2026-11-25T14:00:00+00:00")
"""The moment for which the orders of the demonstration ward are written."""
HANDS = (Role.PREPARER, Role.CHECKER, Role.WITNESS)
"""What each invented nurse may do."""
ROUTES = ("IV", "IM", "SC", "PO", "NG", "INH", "controlled", "high_alert")
STOCK = 400
_COMPILED = Compiled()
"""The shipped workflows are the same at every station of this process: made ready once."""


def wards(plan: Plan, into: Path) -> None:
    """Write the folder of each unit's ward, made from the demonstration ward's files."""
    base = library.folder("demo_db")
    for number, unit in enumerate(plan.units, start=1):
        folder = into / unit.code
        folder.mkdir(parents=True, exist_ok=True)
        for name in ("formulary.toml", "orders.json", "compatibility.toml"):
            (folder / name).write_bytes((base / name).read_bytes())
        text = (base / "unit.toml").read_text(encoding="utf-8")
        for key, value in (("code", unit.code), ("name", unit.name)):
            text = re.sub(rf'(?m)^{key} = ".*"$', f"{key} = {json.dumps(value)}", text, count=1)
        # A made year is nobody's work, so codes alone will do and no PIN is hashed.
        text = re.sub(r"(?m)^sign_in_with = .*$", 'sign_in_with = "code only"', text, count=1)
        stations = json.dumps([f"{unit.code}-1", f"{unit.code}-2"])
        text = re.sub(r"(?m)^stations = .*$", f"stations = {stations}", text, count=1)
        text = re.sub(r"(?m)^(0952[0-9]{10}) = [0-9]+", rf"\1 = {STOCK}", text)
        (folder / "unit.toml").write_text(text, encoding="utf-8")
        people = "\n".join(_person(plan, one) for one in nurses(plan, unit, number))
        (folder / "staff.toml").write_text(people, encoding="utf-8")


def nurses(plan: Plan, unit: UnitPlan, number: int) -> tuple[StaffMember, ...]:
    """The invented nurses of a unit, all in date for everything; the learner is the last."""
    until = dict.fromkeys(ROUTES, date(plan.year + 1, 12, 31))
    codes = [f"RN-{number}{at:02d}" for at in range(1, unit.nurses + 1)]
    if plan.learner and plan.learner.unit == unit.code:
        codes.append(plan.learner.code)
    return tuple(
        StaffMember(code=code, name=f"Invented {code}", roles=HANDS, competent=until)
        for code in codes
    )


def _person(plan: Plan, one: StaffMember) -> str:
    roles = json.dumps([role.value for role in one.roles])
    until = ", ".join(f"{route} = {day}" for route, day in one.competent.items())
    return (
        f'[[person]]\ncode = "{one.code}"\nname = "{one.name}"\nroles = {roles}\n'
        f"competent = {{ {until} }}\n"
    )


def moved(order: Order, id_: str, by: timedelta) -> Order:
    """An order of the demonstration ward, under another id and so much later or earlier."""

    def to(at: datetime | None) -> datetime | None:
        return None if at is None else at + by

    return replace(
        order, id=id_, due=to(order.due), starts=to(order.starts), stops=to(order.stops),
        last_given=to(order.last_given),
    )  # fmt: skip


class YearStation(Station):
    """A station that plays one preparation after the other and is alone with its trail.

    Being alone, it knows without asking the trail what stands open and what was taken from the
    cupboard; a test holds its answers to those of a plain station.
    """

    def __init__(self, trail: Trail, ward: Ward, *, seed: str, start: datetime) -> None:
        self.moment = start
        # Ids are drawn from the seed, so that the same year is made again to the last digest.
        self._draw = random.Random(f"ids/{seed}")
        self._day = ""
        self._base = ward
        super().__init__(
            trail,
            ward,
            workflows=library.workflows(),
            limits=library.limits(),
            required=library.required(),
            name=ward.unit.stations[0],
            clock=lambda: self.moment,
            new_id=lambda: f"{self._draw.getrandbits(64):016x}",
            reload=lambda _: self.ward,
            scanner=SOUND,
            compiled=_COMPILED,
        )

    def come(self, by: str, id_: str = "") -> None:
        """Sign the person in where that is still needed: for this step where it is a second's."""
        if not id_:
            self.sign_in(by)
            return
        prep = self.find(id_)
        if by == prep.preparer:
            return
        step = self.rules_of(prep.workflow).layout.base(prep.place).place
        if not self._attendance.is_second(by, prep.id, step):
            self.sign_in(by, second_for=id_)

    def lay(self, order: Order, by: timedelta) -> None:
        """Put one order on the record, with the patients' weights as fresh as they were."""
        days = timedelta(days=by.days)
        patients = {
            code: one if one.weighed_on is None else replace(one, weighed_on=one.weighed_on + days)
            for code, one in self._base.patients.items()
        }
        self.ward = replace(
            self.ward, unit=self._unit(), orders={order.id: order}, patients=patients
        )

    def _unit(self) -> Unit:
        """The unit's settings of the day: the cupboard is filled up and counted each morning."""
        unit, day = self._base.unit, f"{self.moment:%Y-%m-%d}"
        if day == self._day:
            return self.ward.unit
        self._day = day
        figure = STOCK + self.moment.timetuple().tm_yday
        stock = dict.fromkeys(unit.register, figure)
        text = re.sub(rf"(?m)^(0952[0-9]{{10}}) = {STOCK}\b", rf"\1 = {figure}", unit.text)
        found = hashlib.sha256(text.encode()).hexdigest()
        return replace(unit, register=stock, text=text, digest=found)

    def _others_open(self, prep: Preparation, by: StaffMember) -> tuple[str, ...]:
        return ()
