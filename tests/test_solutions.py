"""Strengths, salts, powders, dilutions and bags: as books print them, or refused."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from checklist.dose.bag import bag_strength
from checklist.dose.dilution import diluent_volume, diluted, stock_volume
from checklist.dose.electrolyte import (
    equivalent_mass,
    equivalents_of,
    mass_of,
    milliequivalents,
    millimoles,
)
from checklist.dose.reconstitution import (
    MAX_DIFFERENCE,
    diluent_for,
    displacement_of,
    made_up,
    total_volume,
)
from checklist.dose.strength import (
    in_each_mL,
    millilitres_for_one_gram,
    mixed_strength,
    of_each_mL,
    percent,
)
from checklist.dose.volume import amount_in, volume_for
from checklist.dose.working import DoseFault, Working
from checklist.quantity import Concentration, DimensionMismatch, Quantity

of, parse = Quantity.of, Quantity.parse
strength = Concentration.parse
Act = Callable[[], object]


def test_a_percentage_and_a_ratio_are_written_out() -> None:
    """Grams in 100 mL; FDA (2017): 1:1000 is 1 mg/mL."""
    saline = in_each_mL(strength("0.9 %", expand=True))
    assert saline.lines == (
        "strength = amount on the label ÷ volume on the label",
        "0.9 g = 900 mg",
        "strength = 900 mg ÷ 100 mL",
        "strength = 9 mg/mL",
    )
    assert in_each_mL(strength("1:1000", expand=True)).value == parse("1 mg/mL")
    assert in_each_mL(strength("1000 units in 10 mL")).value == parse("100 units/mL")
    assert percent(strength("50 mg/mL")).value == of(5, "g/dL")
    assert millilitres_for_one_gram(strength("1:1000", expand=True)).value == of(1000, "mL/g")
    for units in (percent, millilitres_for_one_gram):
        with pytest.raises(DimensionMismatch):
            units(strength("100 units/mL"))


def test_a_strength_of_each_mL_is_an_amount_in_a_volume() -> None:
    assert of_each_mL(parse("10 mg/mL")) == strength("20 mg in 2 mL")
    for other in ("10 mg", "10 mL/h", "10 mg/kg"):
        with pytest.raises((DimensionMismatch, ValueError)):
            of_each_mL(parse(other))
    with pytest.raises(DoseFault):
        mixed_strength(of(0, "mg"), of(1, "mL"))
    with pytest.raises(DoseFault):
        mixed_strength(of(1, "mg"), of(0, "mL"))


# -- salts: molar masses from standard tables, potassium chloride confirmed, others from memory


def test_millimoles_and_milliequivalents_are_shown_with_molar_mass_and_valence() -> None:
    """4 g of magnesium sulfate heptahydrate: 246.47 g/mol, valence 2, about 32.46 mEq."""
    working = milliequivalents(of(4, "g"), parse("246.47 g/mol"), 2)
    assert working.lines == (
        "amount = mass ÷ molar mass × valence",
        "246.47 g/mol = 246.47 mg/mmol",
        "4 g = 4,000 mg",
        "amount = 4,000 mg ÷ 246.47 mg/mmol × 2 mEq/mmol",
        "amount = about 32.46 mEq",
    )
    assert millimoles(of("7.455", "g"), parse("74.55 g/mol")).value == of(100, "mmol")
    assert equivalents_of(of(20, "mmol"), 2).value == of(40, "meq")
    assert mass_of(of(20, "mmol"), parse("74.55 g/mol")).value == of(1491, "mg")
    assert mass_of(of(20, "meq"), parse("40.08 g/mol"), 2).value == of("400.8", "mg")
    assert equivalent_mass(parse("40.08 g/mol"), 2).value == of("20.04", "mg/meq")


@pytest.mark.parametrize("valence", [0, -1, 5])
def test_a_valence_is_one_to_four(valence: int) -> None:
    molar = parse("74.55 g/mol")
    acts: tuple[Act, ...] = (
        lambda: milliequivalents(of(1, "g"), molar, valence),
        lambda: equivalents_of(of(1, "mmol"), valence),
        lambda: mass_of(of(1, "meq"), molar, valence),
        lambda: equivalent_mass(molar, valence),
    )
    for act in acts:
        with pytest.raises(DoseFault, match="valence is 1 to 4"):
            act()


def test_moles_equivalents_and_masses_are_not_taken_for_one_another() -> None:
    molar = parse("74.55 g/mol")
    acts: tuple[Act, ...] = (
        lambda: millimoles(of(1, "mmol"), molar),
        lambda: millimoles(of(1, "{unit}"), molar),
        lambda: millimoles(of(1, "g"), of("74.55", "g")),
        lambda: mass_of(of(1, "meq"), molar),
        lambda: mass_of(of(1, "mmol"), molar, 1),
        lambda: equivalents_of(of(1, "g"), 1),
    )
    for act in acts:
        with pytest.raises((DimensionMismatch, ValueError)):
            act()
    zeros: tuple[Act, ...] = (
        lambda: millimoles(of(0, "g"), molar),
        lambda: millimoles(of(1, "g"), of(0, "g/mol")),
        lambda: mass_of(of(0, "mmol"), molar),
    )
    for zero in zeros:
        with pytest.raises(DoseFault):
            zero()


# -- powders


def test_a_powder_takes_up_room() -> None:
    """600 mg with a displacement of 0.4 mL: 4.6 mL added make 5 mL at 120 mg/mL, and 5.6 mL make
    100 mg/mL; taking 5 mL added for 120 mg/mL gives 7.4 % too little. Computed; the published range
    of that error is 4 to 12 %."""
    made = made_up(parse("600 mg"), diluent=parse("4.6 mL"), displacement=parse("0.4 mL"))
    assert made.strength == strength("120 mg/mL")
    assert volume_for(parse("150 mg"), made.strength).value == parse("1.25 mL")
    assert made.working.lines == (
        "total volume = diluent plus displacement",
        "total volume = 4.6 mL plus 0.4 mL",
        "total volume = 5 mL",
        "strength = amount ÷ total volume",
        "strength = 600 mg ÷ 5 mL",
        "strength = 120 mg/mL",
    )
    wanted = diluent_for(parse("600 mg"), strength("100 mg/mL"), parse("0.4 mL"))
    assert wanted.value == parse("5.6 mL")
    assert wanted.lines[1] == "diluent = 600 mg ÷ 100 mg × 1 mL − 0.4 mL = 6 mL − 0.4 mL"
    full = made_up(parse("600 mg"), diluent=parse("5 mL"), displacement=parse("0.4 mL"))
    short = amount_in(parse("1.25 mL"), full.strength).exact
    assert 1 - short.ratio(parse("150 mg")) == Fraction(2, 27)


def test_diluent_alone_is_not_enough() -> None:
    knowns: tuple[dict[str, Any], ...] = (
        {"diluent": parse("5 mL")}, {"displacement": parse("0.4 mL")}, {},
    )  # fmt: skip
    for known in knowns:
        with pytest.raises(DoseFault, match="takes up room"):
            made_up(parse("600 mg"), **known)
    none = made_up(parse("1000 mg"), diluent=parse("20 mL"), displacement=of(0, "mL"))
    assert none.strength == strength("50 mg/mL")  # vancomycin: its label treats it as nil


def test_the_label_s_strength_wins_and_the_difference_is_shown() -> None:
    """Cefazolin 500 mg, US prescribing information: 2 mL added, 2.2 mL available, 225 mg/mL."""
    made = made_up(
        parse("500 mg"), diluent=parse("2 mL"), displacement=parse("0.2 mL"),
        label=strength("225 mg/mL"),
    )  # fmt: skip
    assert made.strength == strength("225 mg/mL")
    assert made.difference == Fraction(-1, 100)
    assert made.working.lines[-2:] == (
        "the label states 225 mg/mL: 1 % less than by the volumes",
        "strength = 225 mg/mL, as the label has it",
    )
    alone = made_up(parse("500 mg"), label=strength("225 mg/mL"))
    assert alone.difference is None
    assert "nothing to compare it with" in alone.working.lines[0]
    same = made_up(parse("500 mg"), total=parse("2 mL"), label=strength("250 mg/mL"))
    assert "the same as by the volumes" in same.working.lines[-2]
    more = made_up(parse("500 mg"), total=parse("2 mL"), label=strength("255 mg/mL"))
    assert "2 % more than by the volumes" in more.working.lines[-2]


def test_a_label_too_far_from_the_volumes_is_refused() -> None:
    """10 % is the threshold of a concentration error: Parshuram and others, CMAJ 2008."""
    assert Fraction(10, 100) == MAX_DIFFERENCE
    made_up(parse("500 mg"), total=parse("2 mL"), label=strength("225 mg/mL"))
    with pytest.raises(DoseFault, match="more than 10 % apart"):
        made_up(parse("500 mg"), total=parse("2 mL"), label=strength("224 mg/mL"))
    with pytest.raises(DimensionMismatch):
        made_up(parse("500 mg"), total=parse("2 mL"), label=strength("250 units/mL"))


def test_volumes_that_do_not_add_up_are_refused() -> None:
    known: dict[str, Any] = {"diluent": parse("9.5 mL"), "total": parse("10 mL")}
    assert displacement_of(known["total"], known["diluent"]).value == parse("0.5 mL")
    made_up(parse("1 g"), displacement=parse("0.5 mL"), **known)
    with pytest.raises(DoseFault, match="do not make 10 mL"):
        made_up(parse("1 g"), displacement=parse("0.6 mL"), **known)
    with pytest.raises(DoseFault, match="is more than the total volume"):
        displacement_of(parse("9 mL"), parse("9.5 mL"))
    with pytest.raises(DoseFault, match="cannot be made"):
        diluent_for(parse("600 mg"), strength("1500 mg/mL"), parse("0.4 mL"))
    with pytest.raises(DoseFault, match="not below nothing"):
        total_volume(parse("5 mL"), parse("1 mL") - parse("2 mL"))


# -- dilutions and bags


def test_a_dilution_says_how_much_stock_and_how_much_diluent() -> None:
    """100 mg/mL to 50 mL of 20 mg/mL: a published example, 10 mL of stock."""
    working = diluent_volume(strength("100 mg/mL"), strength("20 mg/mL"), parse("50 mL"))
    assert working.lines == (
        "stock = wanted strength × final volume ÷ stock strength",
        "stock = 20 mg/mL × 50 mL ÷ 100 mg/mL",
        "stock = 10 mL",
        "diluent = final volume − stock",
        "diluent = 50 mL − 10 mL",
        "diluent = 40 mL",
    )
    back = diluted(strength("100 mg/mL"), parse("10 mL"), parse("50 mL"))
    assert back.lines[-1] == "strength = 20 mg/mL"


def test_a_dilution_never_makes_a_solution_stronger() -> None:
    for act in (stock_volume, diluent_volume):
        with pytest.raises(DoseFault, match="Diluting cannot make it"):
            act(strength("20 mg/mL"), strength("100 mg/mL"), parse("50 mL"))
        with pytest.raises(DimensionMismatch):
            act(strength("20 mg/mL"), strength("10 units/mL"), parse("50 mL"))
    with pytest.raises(DoseFault, match="is more than the final 10 mL"):
        diluted(strength("20 mg/mL"), parse("11 mL"), parse("10 mL"))


# 20 mmol in 10 mL into 500 mL: plain, with 10 mL removed first, and with 10 % overfill counted.
# Formula: common practice, no source; the three figures to a tenth, computed.
BAGS = [
    ({"added": "10 mL"}, "39.2", "bag plus added"),
    ({"added": "10 mL", "removed": "10 mL"}, "40", "bag − removed plus added"),
    ({"added": "10 mL", "overfill": "50 mL"}, "35.7", "bag plus overfill plus added"),
    ({}, "40", "bag"),
]


@pytest.mark.parametrize(("volumes", "mmol", "formula"), BAGS)
def test_a_bag_has_the_strength_of_all_its_liquid(
    volumes: dict[str, str], mmol: str, formula: str
) -> None:
    parts: dict[str, Any] = {name: parse(text) for name, text in volumes.items()}
    working: Working = bag_strength(of(20, "mmol"), parse("500 mL"), per="L", **parts)
    assert working.value.rounded(of("0.1", "mmol/L")).value == of(mmol, "mmol/L")
    assert working.lines[0] == f"liquid in the bag = {formula}"
    each = bag_strength(of(20, "mmol"), parse("0.5 L"), **parts)
    assert each.value == working.value
    assert each.value.unit == "mmol/mL"


def test_a_bag_cannot_lose_more_than_it_holds() -> None:
    with pytest.raises(DoseFault, match="cannot be taken out"):
        bag_strength(of(20, "mmol"), parse("500 mL"), removed=parse("501 mL"))
    with pytest.raises(DoseFault, match="is more than nothing"):
        bag_strength(of(20, "mmol"), parse("500 mL"), removed=parse("500 mL"))
    with pytest.raises(DoseFault, match="The volume added"):
        bag_strength(of(1, "mg"), parse("500 mL"), added=parse("1 mL") - parse("2 mL"))
    with pytest.raises(DimensionMismatch):
        bag_strength(of(1, "mg"), parse("500 mL"), added=parse("1 mg"))
