"""Published and computed tables of dose sums, row by row, with the status that each row has."""

import csv
import json
import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from checklist import library
from checklist.ampoule import greatest_content
from checklist.dose import figures
from checklist.dose.conversion import convert
from checklist.dose.electrolyte import milliequivalents, millimoles
from checklist.dose.figures import uses, usual, usual_set
from checklist.dose.rate import drops, drops_at, pump_rate
from checklist.dose.reconstitution import made_up, total_volume
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.sheets.amounts import USES
from checklist.dose.volume import volume_for
from checklist.dose.weight import weight_dose
from checklist.dose.working import Working
from checklist.number import half_up
from checklist.quantity import Concentration, Quantity, Rounding
from checklist.table import Citation, TableFault

DATA = Path(__file__).parent / "data"
TEXT = (Path(__file__).parent.parent / "workflows" / "limits" / "dose.toml").read_text("utf-8")
TABLE = library.dose_figures()
of, parse = Quantity.of, Quantity.parse
strength = Concentration.parse


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_row_of_the_tables_has_a_source_and_a_status() -> None:
    for name in ("unit_conversions", "electrolyte_equivalents", "displacement_volumes",
                 "drop_factors", "rounding_rules"):  # fmt: skip
        for row in rows(f"{name}.csv"):
            assert row["source"]
            assert row["status"] in ("confirmed", "computed", "common practice", "from memory")


CODES = {"mcg": "ug", "nanogram": "ng", "inch": "[in_i]"}


@pytest.mark.parametrize("row", rows("unit_conversions.csv"), ids=lambda r: r["from"])
def test_a_conversion_has_the_factor_of_the_table(row: dict[str, str]) -> None:
    """Computed factors; the pound by the international agreement of 1959, from memory."""
    unit, goal = (CODES.get(row[side], row[side]) for side in ("from", "to"))
    if goal == "lb":
        pound = next(f.factor for f in TABLE.factors if f.factor.unit == "g/[lb_av]")
        found = convert(of(1, unit), "[lb_av]", pound).exact.magnitude
        assert Fraction(half_up(found * 10**8), 10**8) == Fraction(row["factor"])
    else:
        assert convert(of(1, unit), goal).exact == of(Fraction(row["factor"]), goal)


@pytest.mark.parametrize("row", rows("electrolyte_equivalents.csv"), ids=lambda r: r["formula"])
def test_a_gram_of_a_salt_has_the_millimoles_of_the_table(row: dict[str, str]) -> None:
    """Molar masses from standard tables, from memory but for potassium chloride; the table
    rounds to three decimals."""
    (salt,) = [salt for salt in TABLE.salts if salt.name == row["salt"]]
    assert salt.molar_mass == of(Fraction(row["molar_mass_g_mol"]), "mg/mmol")
    assert salt.valence == int(row["valence"])
    assert salt.formula == row["formula"]
    gram = of(1, "g")
    moles = millimoles(gram, salt.molar_mass).exact
    charge = milliequivalents(gram, salt.molar_mass, salt.valence).exact
    assert thousandths(moles) == Fraction(row["mmol_per_g"])
    assert thousandths(charge) == Fraction(row["mEq_per_g"])


def thousandths(quantity: Quantity) -> Fraction:
    return Fraction(half_up(quantity.magnitude * 1000), 1000)


@pytest.mark.parametrize("row", rows("drop_factors.csv"), ids=lambda r: r["drops_per_mL"])
def test_a_drop_set_of_the_table_is_usual(row: dict[str, str]) -> None:
    """IV drip rate teaching page, or common practice, as the row says; at 60 drops to the mL the
    drops a minute are the mL in an hour."""
    size = of(row["drops_per_mL"], "{drop}/mL")
    found = usual_set(size, TABLE)
    assert found is not None
    assert found.name == row["set"]
    assert found.citation.status == row["status"]
    if size == of(60, "{drop}/mL"):
        assert drops_at(of(37, "mL/h"), size).exact == of(37, "{drop}/min")


def test_a_set_that_is_not_usual_is_told_apart() -> None:
    assert usual_set(of(21, "{drop}/mL"), TABLE) is None


# Published pairs of diluent added and volume available, beside the displacement in the table:
# Pharmaceutical aspects of injectable administration, section 12.1 (amoxicillin); cefazolin for
# injection, US prescribing information (the label's own strength in the last column). The strength
# by the volumes is computed to 0.1 mg/mL; the first is printed as 48.
MADE_UP = [
    ("amoxicillin", "250 mg", "5", "5.2", "48.1", ""),
    ("amoxicillin", "250 mg", "4.8", "5", "50", ""),
    ("cefazolin", "500 mg", "2", "2.2", "227.3", "225"),
    ("cefazolin", "1 g", "2.5", "3", "333.3", "330"),
    ("cefazolin", "10 g", "45", "51", "196.1", "200"),
    ("cefazolin", "10 g", "96", "102", "98", "100"),
]


@pytest.mark.parametrize(("drug", "vial", "added", "available", "by_volumes", "label"), MADE_UP)
def test_a_vial_made_up_has_the_published_volume_and_the_label_wins(
    drug: str, vial: str, added: str, available: str, by_volumes: str, label: str
) -> None:
    (row,) = [
        r for r in rows("displacement_volumes.csv")
        if (r["drug"], r["vial"], r["status"]) == (drug, vial, "confirmed")
    ]  # fmt: skip
    taken, diluent = of(row["displacement_mL"], "mL"), of(added, "mL")
    assert total_volume(diluent, taken).exact == of(available, "mL")
    plain = made_up(parse(vial), diluent=diluent, displacement=taken)
    tenth = of("0.1", "mg/mL")
    assert plain.strength.per_mL.rounded(tenth).value == of(by_volumes, "mg/mL")
    assert plain.difference is None
    if label:
        stated = strength(f"{label} mg/mL")
        found = made_up(parse(vial), diluent=diluent, displacement=taken, label=stated)
        assert found.strength == stated
        assert found.difference == stated.per_mL.ratio(plain.strength.per_mL) - 1


# The words of the table, the use and the value they hold for, and what the row's note shows.
ROUNDED = [
    ("drops per minute", "drops", "13.3 {drop}/min", "13 {drop}/min"),
    ("mL/h on a pump", "pump", "80.5 mL/h", "81 mL/h"),
    ("injection volume 1 mL or more", "injection", "1.75 mL", "1.8 mL"),
    ("injection volume 1 mL or more", "injection", "2.25 mL", "2.3 mL"),
    ("injection volume 1 mL or more", "injection", "1 mL", "1 mL"),
    ("injection volume below 1 mL", "injection", "0.666 mL", "0.67 mL"),
    ("oral liquid above 10 mL", "oral liquid", "12.5 mL", "13 mL"),
    ("oral liquid below 10 mL", "oral liquid", "9.96 mL", "10 mL"),
    ("body weight", "body weight", "3356.6/100 kg", "33.6 kg"),
    ("insulin", "insulin", "12.5 {unit}", "13 {unit}"),
    ("child, high-alert drug", "child injection", "0.678 mL", "0.67 mL"),
]


@pytest.mark.parametrize(("words", "use", "value", "outcome"), ROUNDED)
def test_a_usual_rounding_is_that_of_the_table(
    words: str, use: str, value: str, outcome: str
) -> None:
    """Nursing course handout: rounding rules for drug calculations for adults, or common practice,
    as the row says."""
    (row,) = [r for r in rows("rounding_rules.csv") if r["quantity"] == words]
    figure, unit = value.split(" ")
    above, _, below = figure.partition("/")
    exact = of(Fraction(above) / Fraction(below or 1), unit)
    step = usual(use, exact, TABLE)
    assert step is not None
    assert step.citation.status == row["status"]
    assert step.how.value == row["direction"]
    found = rounded(
        Working(value=exact, exact=exact, lines=()), RoundingRule(step=step.step, how=step.how)
    )
    assert found.value == Quantity.from_code(outcome)


def test_every_use_can_be_asked_for_by_name() -> None:
    assert uses(TABLE) == USES


VECTORS: list[dict[str, Any]] = json.loads(
    (DATA / "dose_arithmetic_vectors.json").read_text(encoding="utf-8")
)["vectors"]


def exact_of(vector: dict[str, Any]) -> Quantity:
    """The vector's sum, done with the functions under test."""
    words = re.sub(r"(\d),(\d)", r"\1\2", vector["input"])
    figures = re.findall(r"[\d.]+(?:/[\d.]+)?", words)
    if vector["kind"] == "drops_per_min":
        volume, time, per_mL = figures
        unit = "min" if " min" in words else "h"
        return drops(of(volume, "mL"), of(time, unit), of(per_mL, "{drop}/mL")).exact
    if vector["kind"] == "mL_per_h":
        dose, weight, amount, volume = figures
        bag = strength(f"{amount} mg in {volume} mL")
        return pump_rate(of(dose, "ug/kg/min"), bag, of(weight, "kg")).exact
    if vector["kind"] == "weight":
        pounds, dose = figures
        factor = next(f.factor for f in TABLE.factors if f.factor.unit == "g/[lb_av]")
        return weight_dose(of(dose, "mg/kg"), of(pounds, "[lb_av]"), factor).exact
    if vector["kind"] == "mmol":
        return millimoles(of("1.5", "g"), of("74.55", "mg/mmol")).exact
    if vector["kind"] == "mEq":
        return milliequivalents(of(4, "g"), of("246.47", "mg/mmol"), 2).exact
    if " to " in words:
        return of(figures[0], "mL/h" if "mL/h" in words else "mL")
    dose, unit, _, label = words.split(" ", 3)
    label = label.partition(" (")[0]
    return volume_for(parse(f"{dose} {unit}"), strength(label)).exact


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: str(v["input"]))
def test_a_vector_of_the_tables_is_reached(vector: dict[str, Any]) -> None:
    """Computed vectors; 105 mL/h and 20 mmol in 10 mL are published too, as their rows say."""
    if vector["kind"] == "overdraw":
        most = greatest_content(of(2, "mL"), False, library.limits().ampoules)
        assert most == parse(vector["exact"])
        excess = most - of(2, "mL")
        assert vector["expected"] == f"reject: {excess} (7.5 %) too much"
        assert excess.ratio(of(2, "mL")) == Fraction("0.075")
        return
    exact = exact_of(vector)
    stated, printed = vector["exact"], Fraction(vector["expected"])
    if vector["kind"] in ("mmol", "mEq"):  # shown in the file with sixteen figures
        assert abs(exact.magnitude - Fraction(stated)) < Fraction(1, 10**13)
    else:
        assert exact.magnitude == Fraction(stated)
    places = len(vector["expected"].partition(".")[2])
    assert Fraction(half_up(exact.magnitude * 10**places), 10**places) == printed


def test_the_file_of_figures_is_read_whole() -> None:
    assert TABLE.title
    assert len(TABLE.salts) == 7
    cited: list[Citation] = [row.citation for row in TABLE.roundings]
    cited += [row.citation for row in TABLE.drop_sets]
    cited += [row.citation for row in TABLE.factors]
    cited += [row.citation for row in TABLE.salts]
    assert all(one.title and one.status for one in cited)
    assert {row.how for row in TABLE.roundings} <= set(Rounding)


AMISS = [
    ('how = "half up"', 'how = "sideways"', "sideways"),
    ('step = "0.01 mL"', 'step = "0 mL"', "above zero"),
    ('below = "1 mL"', 'below = "2 mL"', "has a gap"),
    ('from = "0 mL"\nbelow = "1 mL"', 'from = "0.1 mL"\nbelow = "1 mL"', "has a gap"),
    ('from = "1 mL"\nstep = "0.1 mL"', 'from = "1 {unit}"\nstep = "1 {unit}"', "mixes kinds"),
    ('drops = "10 {drop}/mL"', 'drops = "10 mL"', "drops"),
    ('molar_mass = "74.55 mg/mmol"', 'molar_mass = "74.55 mg"', "molar_mass"),
    ("valence = 2", "valence = 0", "valence"),
    ('factor = "2.2 [lb_av]/kg"', 'factor = "2.2 lbs/kg"', "factor"),
    ('source = "handout"', 'source = "hearsay"', "hearsay"),
]


@pytest.mark.parametrize(("good", "bad", "said"), AMISS)
def test_a_file_of_figures_with_a_fault_is_refused(good: str, bad: str, said: str) -> None:
    assert good in TEXT
    with pytest.raises(TableFault, match=re.escape(said)):
        figures.read(TEXT.replace(good, bad, 1))
