"""Right answers for infusions, mixtures, liquids and emergencies; importing it adds them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from checklist.infusion import PUMP_STEP, Plan, plan
from checklist.label_parts import ENTERAL
from checklist.order import Call
from checklist.preparation import FIRST, SECOND
from checklist.quantity import Quantity
from checklist.target import target
from tests.scene import CALLS, LABELS, NURSE, RIGHT, Scene, _patient, _product, _typed

POTASSIUM = "]d201095200073009161728033110PK5506"
TRANEXAMIC = "]d201095200073040751728063010TX4075"
AMIODARONE = "]d201095200073040821727113010AM4082"
GENTAMICIN = "]d201095200073007181727060010GE6630"
NOREPINEPHRINE = "]d201095200073040991728013110NA4099"
PREMIX = "]d201095200073041051727083110KP4105"
SALINE_500 = "]d201095200073040131728093010SC4013"
SALINE_100 = "]d201095200073040201728093010SC4020"
GLUCOSE_250 = "]d201095200073040371728053110GL4037"
GLUCOSE_100 = "]d201095200073040441728053110GL4044"
GLUCOSE_50_PERCENT = "]d201095200073040511728053110GL4051"
SALINE_BOTTLE = "]d201095200073040681728043010SB4068"
HALOPERIDOL = "]d201095200073041121728083110HL4112"
HYOSCINE = "]d201095200073041291727123110HY4129"
CYCLIZINE = "]d201095200073041361728022910CY4136"
PARACETAMOL = "]d201095200073041431727073110PA4143"
SPIRONOLACTONE = "]d201095200073041501727073110SP4150"
OXYCODONE = "]d201095200073041671727083110OX4167"
ATROPINE = "]d201095200073041741728083110AT4174"

_USUAL = dict(RIGHT)


def usual(scene: Scene, name: str) -> str:
    """What is answered where a dose stays in the syringe it was drawn into."""
    given = _USUAL[name]
    return given(scene) if callable(given) else given


CALLS["CALL-1"] = Call(
    leader="DR-4",
    patient="P-302",
    drug="atropine",
    dose=Quantity.of("600", "ug"),
    route="IV",
)
LABELS.update(
    {
        "ORD-401": POTASSIUM,
        "ORD-401@carrier": SALINE_500,
        "ORD-402": TRANEXAMIC,
        "ORD-402@carrier": SALINE_100,
        "ORD-403": AMIODARONE,
        "ORD-403@carrier": GLUCOSE_250,
        "ORD-404": GENTAMICIN,
        "ORD-404@carrier": SALINE_BOTTLE,
        "ORD-405": GENTAMICIN,
        "ORD-405@carrier": SALINE_100,
        "ORD-406": NOREPINEPHRINE,
        "ORD-406@carrier": GLUCOSE_100,
        "ORD-407": PREMIX,
        "ORD-411": HYOSCINE,
        "ORD-411@first": HYOSCINE,
        "ORD-411@second": CYCLIZINE,
        "ORD-412": LABELS["ORD-101"],
        "ORD-412@first": HALOPERIDOL,
        "ORD-412@second": LABELS["ORD-101"],
        "CALL-1": ATROPINE,
        "ORD-421": PARACETAMOL,
        "ORD-422": SPIRONOLACTONE,
        "ORD-423": OXYCODONE,
    }
)


def _around(scene: Scene) -> tuple[Any, Any]:
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    return prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot)


def made(scene: Scene) -> Plan:
    """The infusion worked out, with what is to be answered at the present step."""
    prep, around = _around(scene)
    if scene.whole.infusion is not None and prep.place == "work_out_the_mixture":
        from checklist.observation import Channel, Reading

        prep = prep.joined({"overfill": Reading("", "drawn out first", Channel.CHOSEN)})
    found = plan(prep, around)
    assert found is not None
    return found


def _mL(quantity: Any) -> str:
    return _typed(quantity.to("mL")).removesuffix(" mL")


def _final_strength(scene: Scene) -> str:
    strength = made(scene).strength
    return f"{_typed(strength.amount)} in {_typed(strength.per)}"


def rate(scene: Scene) -> str:
    """The rate as it is set: mL/h to a tenth, or whole drops a minute of a 20-drop set."""
    found = made(scene)
    assert found.rate is not None
    if scene.whole.infusion is not None and scene.whole.infusion.gravity:
        per_minute = found.rate.magnitude * int(drop_factor(scene)) / 60
        return f"{(per_minute + Fraction(1, 2)).__floor__()} drops/min"
    return _typed(found.rate.rounded(PUMP_STEP).value)


def drop_factor(scene: Scene) -> str:
    """A burette's set has fine drops, a plain one large ones."""
    run = scene.whole.infusion
    return "60" if run is not None and run.into == "burette" else "20"


def total(scene: Scene) -> str:
    """Both drugs of a mixture together, in mL."""
    prep, around = _around(scene)
    aims = [target(prep.of(item), around) for item in (FIRST, SECOND)]
    volumes = [aim.set for aim in aims if aim is not None]
    return _mL(volumes[0] + volumes[1])


def _read(scene: Scene, name: str, item: str = "") -> Any:
    reading = scene.station.find(scene.id).of(item).latest(name)
    assert reading is not None
    return reading.value


def _level(scene: Scene) -> str:
    after = scene.station.find(scene.id).latest("level_after")
    return _mL(after.value if after else _read(scene, "level_before"))


def write_order(scene: Scene, **changes: Any) -> str:
    """The leader writes the call into the record, and the pharmacist reviews it."""
    usual_: dict[str, Any] = {"id": "ORD-491", "called": False, "reviewed_by": "PH-2"}
    written = replace(scene.whole, **{**usual_, **changes})
    orders = {**scene.ward.orders, written.id: written}
    scene.ward = replace(scene.ward, orders=orders)
    return written.id


def _premixed(scene: Scene) -> bool:
    return scene.whole.infusion is not None and not scene.whole.infusion.into


def _second(scene: Scene) -> Any:
    assert scene.whole.second is not None
    return scene.whole.second


RIGHT.update(
    {
        "overfill": "drawn out first",
        "own_final_volume": lambda s: _mL(made(s).volume),
        "own_final_strength": _final_strength,
        "drop_factor": drop_factor,
        "own_rate": rate,
        "checker_carrier": lambda s: s.whole.infusion.carrier if s.whole.infusion else "",
        "checker_final_volume": lambda s: _mL(made(s).volume),
        "checker_rate": rate,
        "bag_state": "not running, clamped and off the line",
        "removed_volume": Scene.volume,
        "turned_over": "10",
        "label_carrier": lambda s: s.whole.infusion.carrier if s.whole.infusion else "",
        "label_final_volume": lambda s: _mL(made(s).volume),
        "label_final_strength": _final_strength,
        "checker_bag_drug": lambda s: s.order.drug,
        "checker_bag_volume": lambda s: _mL(made(s).volume),
        "checker_bag_strength": _final_strength,
        "checker_bag_identifier": _patient("record_number"),
        "set_kind": lambda s: (
            "vented set"
            if s.whole.infusion is not None and s.whole.infusion.into == "bottle"
            else "plain set"
        ),
        "in_the_line": "nothing",
        "set_rate": rate,
        "checker_set_rate": rate,
        "pump_size": "50",
        "pump_syringe_size": "50",
        "chamber": "nothing, it is empty",
        "drawn_first": lambda s: s.station.find(s.id).of(FIRST).order.drug,
        "own_total": total,
        "between_needle": "new needle",
        "checker_first_volume": lambda s: _mL(_read(s, "drawn_volume", FIRST)),
        "drawn_volume": lambda s: (
            total(s) if s.whole.second and not s.item else usual(s, "drawn_volume")
        ),
        "label_second_drug": lambda s: _second(s).drug,
        "label_second_dose": lambda s: _typed(_second(s).dose),
        "bedside_second_drug": lambda s: _second(s).drug,
        "bedside_second_dose": lambda s: _typed(_second(s).dose),
        "checker_total": lambda s: _mL(_read(s, "drawn_volume")),
        "checker_both": lambda s: s.station.find(s.id).of(SECOND).order.drug,
        "leader": lambda s: s.whole.prescriber,
        "heard_drug": lambda s: s.whole.drug,
        "heard_dose": lambda s: _typed(s.whole.dose),
        "said_back": "said back, and the leader said yes",
        "kit_expiry": "31 Jan 2027",
        "whereabouts": "in my hand until it is given",
        "written_line": write_order,
        "looked_at": lambda s: LABELS[s.order_id],
        "checker_given_volume": lambda s: _mL(_read(s, "given_volume")),
        "new_seal": "S-40881",
        "bottle_state": "opened before",
        "bottle_opened_on": "20 Nov 2026",
        "tip_kind": lambda s: (
            "low-dose tip" if Fraction(s.volume()) < 2 else "standard enteral tip"
        ),
        "syringe_kind": lambda s: (
            "enteral" if s.whole.route in ENTERAL else usual(s, "syringe_kind")
        ),
        "level_before": lambda s: _mL(
            s.ward.unit.liquids.get(_product(s).code, Quantity.of("182", "mL"))
        ),
        "level_after": lambda s: _mL(_read(s, "level_before") - _read(s, "drawn_volume")),
        "witness_level": _level,
        "tube_proof": "acid drawn back, measured now",
        "flush_volume": "10",
        "syringe_size": lambda s: "5" if s.whole.second else usual(s, "syringe_size"),
        "graduation": lambda s: "0.1" if s.whole.second else usual(s, "graduation"),
        "made_up_volume": lambda s: _mL(made(s).volume),
        "label_volume": lambda s: _mL(made(s).volume) if _premixed(s) else usual(s, "label_volume"),
    }
)
