"""A ward at work for the tests: a real trail file, a clock that is set by hand, right answers."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from checklist import library
from checklist.answer import Answer
from checklist.intake.ward import Ward, load_ward
from checklist.interop.scanner import SOUND
from checklist.mixture import content_of, instruction, strength_of
from checklist.observation import Channel
from checklist.order import Call, Order
from checklist.preparation import ITEM
from checklist.screen import Outcome
from checklist.station import Compiled
from checklist.target import target
from checklist.trail import Trail
from checklist.vial import discard_by
from checklist.workflow import Workflow
from tests.people import Attended, pins_for

START = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)
NURSE, COLLEAGUE, TRAINEE, CARE_ASSISTANT = "RN-12", "RN-27", "TN-3", "CA-5"

LABELS = {
    "ORD-101": "]d201095200073001141728083110LM4476",
    "ORD-102": "]d201095200073003121728022910FK3905",
    "ORD-103": "]d201095200073004111727073110OX5528",
    "ORD-104": "]d201095200073006191728013110KT9034",
    "ORD-105": "]d201095200073007181727060010GE6630",
    "ORD-201": "]d201095200073020191728053110MC2204",
    "ORD-202": "]d201095200073020261727113010DX7719",
    "ORD-203": "]d201095200073020331728033110HP5081",
    "ORD-204": "]d201095200073020401727123110TR6640",
    "ORD-205": "]d201095200073020571728083110BP3308",
    "ORD-206": "]d201095200073020641728013110CF9915",
    "ORD-207": "]d201095200073020711727093010HY4172",
    "ORD-208": "]d201095200073008171727083110SB0457",
    "ORD-209": "]d201095200073005101728043010KE6602",
    "ORD-301": "]d201095200073030161728083110EN3110",
    "ORD-302": "]d201095200073030231728022910EN6021",
    "ORD-303": "]d201095200073030301727113010FYK618",
    "ORD-304": "]d201095200073030471727103110HM4408",
    "ORD-305": "]d201095200073030541728063010IA1290",
    "ORD-306": "]d201095200073030781728033110II7734",
    "ORD-307": "]d201095200073030851727093010AD5521",
    "ORD-308": "]d201095200073031081727073110LP0093",
    "ORD-309": "]d201095200073031151728013110MP3360",
    "ORD-310": "PH-310",
}
CALLS: dict[str, Call] = {}
DILUENTS = {
    "water for injections": "]d201095200073020881729063010WI8350",
    "lidocaine 1 %": "]d201095200073020951728123110LI2277",
    "sodium chloride 0.9 % with benzyl alcohol": "]d201095200073021011728123110BS0110",
}


@cache
def demo_ward() -> Ward:
    """The demonstration ward, read once."""
    return load_ward(library.folder("demo_db"))


COMPILED = Compiled()
"""The shipped workflows made ready, once in a process."""


@dataclass
class Scene:
    """One preparation being made, with the right answer at hand for every step.

    `ward` may be changed between steps: it stands for the files that others keep. `begun` is the
    id of a preparation that already stands in the folder's trail, "" to begin a new trail.
    """

    folder: Path
    order_id: str = "ORD-103"
    ward: Ward = field(default_factory=demo_ward)
    now: datetime = START
    station_name: str = "W7E-1"
    workflows: Mapping[str, Workflow] | None = None
    begun: str = ""

    def __post_init__(self) -> None:
        file = self.folder / "trail.db"
        self.trail = (
            Trail.open(file)
            if self.begun
            else Trail.create(file, trail_id="T-1", unit="W7E", at=self.now)
        )
        # Two scenes at one trail never give the same id.
        self._numbers = itertools.count(1_000 * self.trail.head().seq + 1)
        pins = pins_for(self.ward, self.folder / "credentials.json")
        self.station = Attended(
            self.trail,
            self.ward,
            workflows=self.workflows or library.workflows(),
            limits=library.limits(),
            required=library.required(),
            name=self.station_name,
            clock=lambda: self.now,
            scanner=SOUND,
            new_id=lambda: f"id-{next(self._numbers):06d}",
            reload=lambda ward: self.ward,
            credentials=pins,
            compiled=None if self.workflows else COMPILED,
        )
        self.id = self.begun
        self.outcomes: list[Outcome] = []

    # -- changing the surroundings -----------------------------------------------------------

    @property
    def call(self) -> Call | None:
        """What a leader called for, where no order is written."""
        return CALLS.get(self.order_id)

    @property
    def whole(self) -> Order:
        """The order line as the medication record has it, or what was called for."""
        if self.call is not None:
            return self.call.order(id_=self.order_id, at=self.now)
        return self.ward.orders[self.order_id]

    @property
    def item(self) -> str:
        """The item of a mixture that the present step is for; "" where there is only one."""
        return self.place.partition("/")[0].partition(ITEM)[2] if self.id else ""

    @property
    def order(self) -> Order:
        """What is ordered of the drug that the present step is for."""
        return self.station.find(self.id).of(self.item).order if self.item else self.whole

    def change_order(self, **changes: Any) -> None:
        """Rewrite the order in the medication record."""
        orders = {**self.ward.orders, self.order_id: replace(self.whole, **changes)}
        self._set(replace(self.ward, orders=orders))

    def change_patient(self, **changes: Any) -> None:
        """Change what is on record about the order's patient."""
        code = self.whole.patient
        patients = {**self.ward.patients, code: replace(self.ward.patients[code], **changes)}
        self._set(replace(self.ward, patients=patients))

    def change_unit(self, **changes: Any) -> None:
        """Change a setting of the unit."""
        self._set(replace(self.ward, unit=replace(self.ward.unit, **changes)))

    def change_settings(self, **values: Any) -> None:
        """Choose otherwise where the sources disagree, as unit.toml would."""
        known = library.settings()
        given = {**self.ward.unit.settings, **values}
        self.change_unit(settings=known.in_force(given), eased=known.eased(given))

    def change_drug(self, **changes: Any) -> None:
        """Change the ordered drug in the formulary."""
        formulary = self.ward.formulary
        name = self.order.drug
        drugs = {**formulary.drugs, name: replace(formulary.drugs[name], **changes)}
        self._set(replace(self.ward, formulary=replace(formulary, drugs=drugs)))

    def change_product(self, code: str, **changes: Any) -> None:
        """Change a product in the formulary."""
        formulary = self.ward.formulary
        products = {**formulary.products, code: replace(formulary.products[code], **changes)}
        self._set(replace(self.ward, formulary=replace(formulary, products=products)))

    def _set(self, ward: Ward) -> None:
        self.ward = ward
        self.station.ward = ward

    def wait(self, **span: float) -> None:
        """Let time pass."""
        self.now += timedelta(**span)

    # -- working ------------------------------------------------------------------------------

    def open(self, *, by: str = NURSE, container: str = "") -> Outcome:
        outcome = (
            self.station.open(self.order_id, by, container=container)
            if self.call is None
            else self.station.open_call(self.call, by)
        )
        self.id = outcome.screen.prep.id
        return outcome

    @property
    def place(self) -> str:
        return self.station.find(self.id).place

    def hands(self) -> str:
        """The staff code of whoever the present step is for."""
        spot = self.station.screen(self.id).spot
        assert spot is not None
        return COLLEAGUE if spot.step.who.value in ("checker", "witness") else NURSE

    def hands_of(self, step: str) -> str:
        """The staff code of whoever a step is for."""
        prep = self.station.find(self.id)
        spot = self.station.rules_of(prep.workflow).layout.spots[step]
        return COLLEAGUE if spot.step.who.value in ("checker", "witness") else prep.preparer

    def right(self) -> dict[str, str]:
        """The right raw answers for the present step."""
        screen = self.station.screen(self.id)
        return {f.name: self._right(f.name) for f in screen.fields if self._right(f.name) != ""}

    def _right(self, name: str) -> str:
        given = RIGHT.get(name, "y")
        return given(self) if callable(given) else given

    def attempt(
        self, changes: Mapping[str, str | None] | None = None, *, by: str = "", wait: int = 20
    ) -> Outcome:
        """Try the present step with the right answers, some changed or (None) left out."""
        self.wait(seconds=wait)
        raw: dict[str, str] = {**self.right()}
        for name, value in (changes or {}).items():
            if value is None:
                raw.pop(name, None)
            else:
                raw[name] = value
        answers = {n: Answer(v, Channel.TYPED) for n, v in raw.items()}
        outcome = self.station.attempt(self.id, answers, by or self.hands())
        self.outcomes.append(outcome)
        return outcome

    def to(self, step: str) -> None:
        """Go on rightly until `step` is the present one; soft cautions are released."""
        for _ in range(60):
            if self.place == step:
                return
            self.on()
        raise AssertionError(f"never reached {step}; stands at {self.place}")

    def on(self) -> Outcome:
        """One right move."""
        outcome = self.attempt()
        if outcome.screen.stands == "caution":
            outcome = self.station.proceed(self.id, "looked_again", self.hands())
        assert outcome.entry.event.kind in ("passed", "proceeded"), (
            outcome.entry.event.place,
            [t.code for t in outcome.told],
        )
        return outcome

    def finish(self) -> Outcome:
        """Go on rightly to the end."""
        outcome = self.on()
        while not outcome.screen.prep.closed:
            outcome = self.on()
        return outcome

    def volume(self) -> str:
        """The volume that is right for this dose, as it would be typed."""
        prep = self.station.find(self.id).of(self.item)
        rules = self.station.rules_of(prep.workflow)
        spot = rules.layout.base(prep.place)
        person = self.station.person(NURSE)
        aim = target(prep, self.station.surroundings(prep, person, spot))
        assert aim is not None
        return str(aim.set).partition(" ")[0]


def _drawn(scene: Scene) -> str:
    reading = scene.station.find(scene.id).of(scene.item).latest("drawn_volume")
    return str(reading.value).partition(" ")[0] if reading else scene.volume()


def _rest(scene: Scene) -> str:
    from fractions import Fraction

    from checklist.number import plain

    content = _content(scene).to("mL").magnitude
    drawn = Fraction(scene.volume())
    count = -(-drawn // content)
    return plain(content * count - drawn)


def _label(scene: Scene) -> str:
    """The code on the item in the hand: that of the drug which the present step is for."""
    return LABELS[f"{scene.order_id}{ITEM}{scene.item}" if scene.item else scene.order_id]


def _product(scene: Scene) -> Any:
    label = _label(scene)
    return scene.ward.formulary.products[label[5:19] if _scanned(scene) else label]


def _scanned(scene: Scene) -> bool:
    """Whether the item has a code that brings lot and expiry along."""
    return _label(scene).startswith("]d2")


def _strength(scene: Scene) -> Any:
    """The strength in force: the label's, or that of the powder once mixed."""
    return strength_of(_product(scene), scene.order.route)


def _content(scene: Scene) -> Any:
    """The volume of one container, mixed where it is a powder."""
    return content_of(_product(scene), scene.order.route)


def _typed(quantity: object) -> str:
    """A quantity or strength as a nurse would type it: no thousands mark, no second form."""
    return str(quantity).partition(" (")[0].replace(",", "")


def _mixing(scene: Scene) -> Any:
    return instruction(_product(scene), scene.order.route)


def _diluent_code(scene: Scene) -> str:
    return DILUENTS[_mixing(scene).diluents[0]]


def _from_glass(scene: Scene) -> bool:
    fluid = scene.ward.formulary.products[_diluent_code(scene)[5:19]]
    return fluid.container == "glass_ampoule"


def _discard_by(scene: Scene) -> str:
    prep = scene.station.find(scene.id)
    opened, expiry = prep.latest("vial_opened_on"), prep.latest("expiry")
    today = scene.ward.unit.local(scene.now).date()
    begun = opened.value if opened else today
    assert isinstance(begun, date) and expiry is not None and isinstance(expiry.value, date)
    return str(discard_by(begun, _product(scene), expiry.value, scene.ward.unit))


def _dose(scene: Scene) -> str:
    patient = scene.ward.patients[scene.order.patient]
    dose = scene.order.dose
    if dose is None:
        assert scene.order.dose_per_weight is not None and patient.weight is not None
        dose = scene.order.dose_per_weight * patient.weight
    return _typed(dose)


def _estimate(scene: Scene) -> str:
    from fractions import Fraction

    share = Fraction(scene.volume()) / _content(scene).to("mL").magnitude
    if share > Fraction(13, 10):
        return "more than one container"
    if share > Fraction(75, 100):
        return "about one container"
    if share >= Fraction(25, 100):
        return "about half a container"
    return "much less than half a container"


def _patient(name: str) -> Callable[[Scene], str]:
    def read(scene: Scene) -> str:
        patient = scene.ward.patients[scene.order.patient]
        return str(getattr(patient, name))

    return read


def _expiry(scene: Scene) -> str:
    reading = scene.station.find(scene.id).of(scene.item).latest("expiry")
    assert reading is not None
    return str(reading.value)


def _keeps_air(scene: Scene) -> bool:
    """Whether the maker's bubble stays: for the whole of a syringe whose leaflet says so."""
    return bool(_product(scene).keeps_air) and scene.volume() == _typed(_content(scene))[:-3]


def _size(scene: Scene) -> str:
    from fractions import Fraction

    dose = _quantity(scene)
    volume: Fraction = _strength(scene).volume_for(dose).to("mL").magnitude
    return next(s for s in ("1", "3", "5", "10", "20") if Fraction(s) >= volume)


def _quantity(scene: Scene) -> Any:
    from checklist.quantity import Quantity

    return Quantity.parse(_dose(scene))


def _time(scene: Scene) -> str:
    return f"{scene.ward.unit.local(scene.now):%H:%M}"


# What a careful nurse would answer, by field; a field not named here is a line to look at.
RIGHT: dict[str, str | Callable[[Scene], str]] = {
    "first_identifier": _patient("record_number"),
    "second_identifier": _patient("birth_date"),
    "label_identifier": _patient("record_number"),
    "checker_label_identifier": _patient("record_number"),
    "bedside_identifier": _patient("record_number"),
    "assessment": "16",
    "product": _label,
    "product_again": _label,
    "emptied": _label,
    "expiry": lambda s: "" if _scanned(s) else "31 Mar 2027",
    "lot": lambda s: "" if _scanned(s) else "LB-77",
    "name_on_label": lambda s: s.order.drug,
    "count_before": lambda s: str(s.ward.unit.register.get(_product(s).code, 10)),
    "count_taken": "1",
    "count_after": lambda s: str(s.ward.unit.register.get(_product(s).code, 10) - 1),
    "witness_count_after": lambda s: str(s.ward.unit.register.get(_product(s).code, 10) - 1),
    "syringe_kind": "luer lock",
    "syringe_size": _size,
    "graduation": lambda s: {"1": "0.01", "3": "0.1", "5": "0.2"}.get(_size(s), "0.5"),
    "estimate": _estimate,
    "own_volume": Scene.volume,
    "checker_drug": lambda s: s.order.drug,
    "checker_strength": lambda s: _typed(_strength(s)),
    "checker_expiry": _expiry,
    "checker_volume": Scene.volume,
    "filter_kind": "filter needle",
    "pore": "5",
    "read_drug": lambda s: s.order.drug,
    "read_strength": lambda s: _typed(_strength(s)),
    "bubble_free": lambda s: "a bubble is left" if _keeps_air(s) else "no bubble left",
    "drawn_volume": Scene.volume,
    "fill_volume": lambda s: (
        _typed(_product(s).content) if _product(s).scale_step is not None else ""
    ),
    "added": "nothing",
    "needle_from": lambda s: "the box of this item" if _product(s).needle else "stock",
    "holder_mark": lambda s: _product(s).holder,
    "flush": "]d201095200073031221728083110FL1001",
    "flush_expiry": "",
    "moved_how": lambda s: _product(s).resuspend_how,
    "moved_for": lambda s: _typed(_product(s).resuspend_for).partition(" ")[0],
    "kit_lot": lambda s: LABELS[s.order_id][-6:],
    "activated": "once, all the way",
    "use_before_day": "26 Nov 2026",
    "use_before_time": "18:00",
    "name_is_on": "on the barrel",
    "pen_identifier": _patient("name"),
    "opened_on": "12 Nov 2026",
    "own_amount": _dose,
    "amount_left": "180 units",
    "primed": "3 units",
    "window": _dose,
    "checker_window": _dose,
    "assessed_at": _time,
    "held_for": "10",
    "tip": lambda s: "cap, no needle" if s.order.route == "IV" else "new injection needle",
    "gauge": lambda s: "" if s.order.route == "IV" else "20" if _product(s).viscous else "23",
    "needle_length": lambda s: {"IV": "", "SC": "16"}.get(s.order.route, "25"),
    "use_on_label": lambda s: "for inhalation" if s.order.route == "INH" else "for injection",
    "plastic_path": "syringe straight on its neck",
    "measured_with": "straight from the nebule",
    "dose_kind": "for many doses",
    "vial_state": "opened before",
    "vial_opened_on": "20 Nov 2026",
    "vial_patient": "",
    "vial_discard_by": _discard_by,
    "drawn_with": "needle, bevel up at a slant",
    "air_in": "as much air as drug",
    "pushed_back": "bubbles, before the needle left",
    "leaflet": "leaflet of March 2026",
    "diluent_planned": lambda s: _typed(_mixing(s).volume) if _mixing(s) else "5",
    "diluent": _diluent_code,
    "diluent_expiry": "",
    "diluent_lot": "",
    "diluent_read": lambda s: _mixing(s).diluents[0],
    "checker_diluent": lambda s: _mixing(s).diluents[0],
    "diluent_path": lambda s: "filter needle or filter straw" if _from_glass(s) else "needle",
    "diluent_drawn": lambda s: _typed(_mixing(s).volume),
    "diluent_added": "all of it is in, the same in each",
    "pressure": "as much air let out again",
    "powder_stayed": "all of it wet, nothing blew out",
    "mixed_by": lambda s: (*_mixing(s).methods, "swirled")[0],
    "dissolved": "all dissolved",
    "own_strength": lambda s: _typed(_strength(s)),
    "made_strength": lambda s: _typed(_strength(s)),
    "read_amount": lambda s: _typed(_product(s).powder),
    "checker_amount": lambda s: _typed(_product(s).powder),
    "rest_of_vial": "discarded",
    "wasted_volume": _rest,
    "waste_method": "absorbent kit",
    "witness_wasted_volume": _rest,
    "label_made": "printed",
    "label_drug": lambda s: s.order.drug,
    "label_dose": _dose,
    "label_volume": _drawn,
    "checker_drawn_volume": _drawn,
    "checker_drawn_drug": lambda s: s.order.drug,
    "checker_drawn_strength": lambda s: _typed(_strength(s)),
    "identified_by": "asked for name and birth date, read the band",
    "bedside_drug": lambda s: s.order.drug,
    "bedside_dose": _dose,
    "given_volume": _drawn,
    "time_given": _time,
    "site_given": "left arm",
    "custody": "in my hand all the time",
    "discarded_volume": lambda s: str(_product(s).content).partition(" ")[0],
    "witness_discarded_volume": lambda s: str(_product(s).content).partition(" ")[0],
}
