"""All published worked examples of dose sums: the exact value, and the printed answer."""

import json
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from checklist.dose.containers import containers, waste
from checklist.dose.conversion import convert
from checklist.dose.dilution import diluent_volume, diluted, stock_volume
from checklist.dose.electrolyte import equivalent_mass, milliequivalents, millimoles
from checklist.dose.limit import capped
from checklist.dose.rate import (
    amount_over,
    dose_rate_at,
    drops,
    drops_at,
    duration,
    pump_rate,
    pump_rate_for_each_kg,
    rate,
    volume_over,
)
from checklist.dose.reconstitution import diluent_for, displacement_of, made_up, total_volume
from checklist.dose.root import PLACES
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.strength import in_each_mL, millilitres_for_one_gram, of_each_mL
from checklist.dose.surface import Formula, surface, surface_dose
from checklist.dose.volume import amount_in, volume_for
from checklist.dose.weight import single_dose, weight_dose
from checklist.dose.working import DoseFault, Working
from checklist.quantity import Concentration, Quantity, Rounding

# Each example names its source, place and licence in the file.
EXAMPLES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "data" / "worked_examples.json").read_text(encoding="utf-8")
)["examples"]
of = Quantity.of
Inputs = dict[str, Quantity]

# Printed answers that the stated figures do not give. They must not be reproduced.
NOT_REPRODUCED = {
    "bsa_dose-002": "rounds weight and surface on the way",
    "bsa_dose-007": "cuts the figures off before the root",
    "bsa_dose-008": "carries on a surface whose figures were cut off",
    "infusion_rate_ml_h-002": "rounds 35 min to 0.583 h on the way",
    "max_dose_check-008": "rounds the weight, the daily amount and the dose on the way",
    "mmol_meq-006": "rounds the mass of 1 mEq on the way",
    "mmol_meq-022": "prints 0.9 mmol for 300 mg at 356.37 mg/mmol, which is 0.84; unexplained",
    "ug_kg_min-002": "states 3 microgram/kg/min and 86 kg, but reckons with 2.5 and 85",
    "ug_kg_min-007": "forgets that 2 mL of stock went in, and prints half the dose rate",
    "unit_conversion-010": "refers to 14.79 mL to the tablespoon, but reckons with 15",
    "units_dose-013": "prints 1000 units/h where 18 x 80 is 1440; perhaps a ceiling not stated",
    "units_dose-016": "rounds a dose to nothing",
    "units_dose-018": "the key's letter points to another answer than its own sum, which is right",
    "units_dose-019": "takes the strength of the finished bag for the amount to add",
    "volume_from_strength-019": "states 250 mg in 2 mL, but reckons with 3 mL",
    "weight_based_dose-017": "cuts the figures off instead of rounding",
}


def test_the_published_examples_are_all_here() -> None:
    assert len(EXAMPLES) == len({e["id"] for e in EXAMPLES}) == 180
    assert len({e["category"] for e in EXAMPLES}) == 17
    assert {e["id"] for e in EXAMPLES if not e["agrees"]} == set(NOT_REPRODUCED)
    assert {e["calc"] for e in EXAMPLES} == set(SUMS)
    assert all(e["source"]["title"] and e["licence"] for e in EXAMPLES)


def code(unit: str) -> str:
    """The books' U is a drug's own unit, their gtt a drop; the codes of those names are not."""
    known = {"U": "{unit}", "gtt": "{drop}"}
    return "/".join(known.get(part, part) for part in unit.split("/"))


def strength(given: Inputs) -> Concentration:
    for amount, per in (
        ("strength_amount", "strength_volume"),
        ("bag_amount", "bag_volume"),
        ("ratio_amount", "ratio_volume"),
    ):
        if amount in given:
            return Concentration(amount=given[amount], per=given[per])
    each = given["percent"] if "percent" in given else given["concentration"]
    return of_each_mL(each)


def by_weight(given: Inputs) -> Quantity:
    names = ("dose_per_weight", "dose_per_weight_day", "dose_per_lb", "dose_rate_per_weight")
    dose = next(given[name] for name in names if name in given)
    value = weight_dose(dose, given["weight"], given.get("lb_per_kg")).exact
    return single_dose(value, given["doses_per_day"]).exact if "doses_per_day" in given else value


def kilograms(given: Inputs) -> Quantity:
    if "lb_per_kg" not in given:
        return given["weight"]
    return convert(given["weight"], "kg", given["lb_per_kg"]).exact


def mosteller(given: Inputs) -> Working:
    return surface(given["height"], given["weight"], factor=given.get("lb_per_kg"))


def whole(given: Inputs, name: str) -> int:
    assert given[name].magnitude.denominator == 1
    return given[name].magnitude.numerator


def part_vial(given: Inputs) -> Working:
    made = made_up(
        given["amount"], diluent=given["diluent"], displacement=given["displacement"]
    ).strength
    return diluted(made, given["withdrawn"], given["final_volume"])


def concentration(given: Inputs) -> Working:
    """The total volume is what was printed; a diluent printed beside it may equal it."""
    return made_up(
        given["amount"], total=given["volume"], diluent=given.get("diluent_added")
    ).working


def diluted_ratio(given: Inputs) -> Working:
    each = diluted(strength(given), given["v1"], given["v2"]).exact
    return millilitres_for_one_gram(of_each_mL(each))


def units_as_mass(given: Inputs) -> Working:
    mass = convert(by_weight(given), "mg", given["units_per_mass"]).exact
    return volume_for(mass, strength(given))


def whole_course(given: Inputs) -> Quantity:
    return surface_dose(given["dose_per_bsa"], given["bsa"]).exact * given["number_of_doses"]


# Every sum of the file, done with the functions under test.
SUMS: dict[str, Callable[[Inputs], Working | Quantity]] = {
    "volume": lambda g: volume_for(g["dose"], strength(g)),
    "amount": lambda g: amount_in(g["volume"], strength(g)),
    "volume_per_day": lambda g: volume_for(g["dose"], strength(g)).exact * g["doses_per_day"],
    "convert": lambda g: g["value"],  # the unit wanted is that of the answer: see below
    "identity": lambda g: g["value"],
    "concentration_of": lambda g: in_each_mL(strength(g)),
    "ratio_from_percent": lambda g: millilitres_for_one_gram(strength(g)),
    "weight_dose": by_weight,
    "weight_dose_day": by_weight,
    "weight_dose_rate": by_weight,
    "weight_volume": lambda g: volume_for(by_weight(g), strength(g)),
    "weight_volume_per_lb": lambda g: volume_for(by_weight(g), strength(g)),
    "weight_volume_units_mg": units_as_mass,
    "dose_from_daily": lambda g: single_dose(g["daily_dose"], g["doses_per_day"]),
    "capped_volume": lambda g: volume_for(capped(by_weight(g), g["max_dose"]).exact, strength(g)),
    "containers_weight": lambda g: of(by_weight(g).ratio(g["container_amount"]), "{vial}"),
    "waste": lambda g: waste(g["container_amount"], g["used"]),
    "bsa_mosteller": mosteller,
    "bsa_mosteller_dose": lambda g: surface_dose(g["dose_per_bsa"], mosteller(g)),
    "bsa_dubois": lambda g: surface(g["height"], g["weight"], by=Formula.DU_BOIS),
    "bsa_course": whole_course,
    "mmol": lambda g: millimoles(g["amount"], g["molar_mass"]),
    "mmol_per_volume": lambda g: millimoles(in_each_mL(strength(g)).exact, g["molar_mass"]),
    "meq": lambda g: milliequivalents(g["amount"], g["molar_mass"], whole(g, "valence")),
    "equivalent_mass": lambda g: equivalent_mass(g["molar_mass"], whole(g, "valence")),
    "concentration": concentration,
    "reconstituted_concentration": lambda g: (
        made_up(g["amount"], diluent=g["diluent"], displacement=g["displacement"]).working
    ),
    "total_volume": lambda g: total_volume(g["diluent"], g["displacement"]),
    "displacement": lambda g: displacement_of(g["final_volume"], g["diluent"]),
    "diluent_for_concentration": lambda g: diluent_for(
        g["amount"], of_each_mL(g["target_concentration"]), g["displacement"]
    ),
    "part_vial_dilution": part_vial,
    "dilution_v1": lambda g: stock_volume(of_each_mL(g["c1"]), of_each_mL(g["c2"]), g["v2"]),
    "dilution_diluent": lambda g: diluent_volume(of_each_mL(g["c1"]), of_each_mL(g["c2"]), g["v2"]),
    "dilution_ratio": diluted_ratio,
    "rate": lambda g: rate(g["volume"], g["time"]),
    "rate_dose": lambda g: pump_rate(g["dose_rate"], strength(g)),
    "rate_weight": lambda g: pump_rate(g["dose_rate_per_weight"], strength(g), kilograms(g)),
    "volume_rate_per_weight": lambda g: pump_rate_for_each_kg(
        g["dose_rate_per_weight"], strength(g)
    ),
    "dose_rate_per_weight": lambda g: dose_rate_at(
        g["rate"], strength(g), "ug/kg/min", kilograms(g)
    ),
    "weight_amount_over_time": lambda g: amount_over(
        g["dose_rate_per_weight"], g["time"], kilograms(g)
    ),
    "drip": lambda g: drops(g["volume"], g["time"], g["drop_factor"]),
    "drip_from_rate": lambda g: drops_at(g["rate"], g["drop_factor"]),
    "duration": lambda g: duration(g["volume"], g["rate"]),
    "volume_over_time": lambda g: volume_over(g["rate"], g["time"]),
}


def worked(example: dict[str, Any], unit: str) -> Working:
    """The example's sum as a working whose exact value is in the unit of the printed answer."""
    given = {name: of(Fraction(n), code(u)) for name, (n, u) in example["inputs"].items()}
    if example["calc"] == "convert":
        factors = [given[name] for name in ("lb_per_kg", "mL_per_tbs") if name in given]
        return convert(given["value"], unit, *factors)
    found = SUMS[example["calc"]](given)
    if isinstance(found, Quantity):
        return Working(value=found.to(unit), exact=found.to(unit), lines=())
    within = None if found.within is None else found.within.to(unit)
    exact = found.exact.to(unit)
    return Working(value=exact, exact=exact, lines=found.lines, within=within)


def rule(rounding: str, unit: str) -> RoundingRule | None:
    """The rounding that the printed answer states; None for an exact answer."""
    if rounding == "exact":
        return None
    how = {"up": Rounding.UP, "down": Rounding.DOWN}.get(rounding.split()[0], Rounding.HALF_UP)
    return RoundingRule(step=of(Fraction(rounding.split()[-1]), unit), how=how, refuse_above=None)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: str(e["id"]))
def test_a_published_worked_example_is_reached(example: dict[str, Any]) -> None:
    figure, unit = example["answer"][0], code(example["answer"][1])
    working, printed = worked(example, unit), of(Fraction(figure), unit)
    recomputed = example["recomputed"]
    if recomputed.startswith("~") and working.within is not None:
        decimals = Fraction(recomputed.removeprefix("~"))
        assert abs(working.exact.magnitude - decimals) <= Fraction(1, 10**PLACES)
    else:
        assert working.exact == of(Fraction(recomputed.removeprefix("~").rstrip(".")), unit)
    stated = rule(example["answer_rounding"], unit)
    try:
        reached = (rounded(working, stated) if stated else working).value
    except DoseFault:  # nothing is rounded to nothing
        reached = working.exact
    assert (reached == printed) == (example["id"] not in NOT_REPRODUCED)


def test_an_inch_is_what_the_example_states() -> None:
    """The one example with inches states 2.54 cm, which is the inch's definition."""
    (example,) = [e for e in EXAMPLES if "cm_per_in" in e["inputs"]]
    figure, unit = example["inputs"]["cm_per_in"]
    assert of(1, "[in_i]") == of(Fraction(figure), unit.partition("/")[0])


def test_containers_for_a_dose_by_weight_go_up_to_a_whole_one() -> None:
    for example in EXAMPLES:
        if example["calc"] != "containers_weight":
            continue
        given = {name: of(Fraction(n), code(u)) for name, (n, u) in example["inputs"].items()}
        found = containers(by_weight(given), given["container_amount"], "{vial}")
        assert found.value == of(Fraction(example["answer"][0]), "{vial}")
