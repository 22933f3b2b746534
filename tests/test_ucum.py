"""Units: the codes, their factors, and the words that people type for them."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from checklist.ucum import ATOMS, KINDS, MAX_BELOW, UnitFault, unit, written

DATA = Path(__file__).parent / "data"

# Factors as in the tables of the Unified Code for Units of Measure (UCUM), https://ucum.org; the
# inch is 2.54 cm there ([in_i]), a year and a month are not turned into days on purpose.
FACTORS = {
    ("kg", "g"): 1000, ("g", "mg"): 1000, ("mg", "ug"): 1000, ("ug", "ng"): 1000,
    ("L", "mL"): 1000, ("L", "dL"): 10, ("mL", "uL"): 1000,
    ("k[iU]", "[iU]"): 1000, ("10*6.[iU]", "[iU]"): 10**6, ("10*6.{unit}", "{unit}"): 10**6,
    ("mol", "mmol"): 1000, ("mmol", "umol"): 1000, ("eq", "meq"): 1000,
    ("min", "s"): 60, ("h", "min"): 60, ("d", "h"): 24, ("wk", "d"): 7, ("a", "mo"): 12,
    ("m", "cm"): 100, ("cm", "mm"): 10, ("mm", "um"): 1000, ("[in_i]", "mm"): Fraction(127, 5),
}  # fmt: skip

# Every other unit stands alone: nothing but a stated factor or a label leads from it.
ALONE = {
    "[USP'U]", "mosm", "m2", "Cel", "1", "{drop}", "{vial}", "{ampoule}", "{tablet}", "{dose}",
    "[lb_av]", "[oz_av]", "[tsp_us]", "[tbs_us]", "[foz_us]",
}  # fmt: skip


@pytest.mark.parametrize(("large", "small"), FACTORS)
def test_a_factor_is_the_published_one(large: str, small: str) -> None:
    assert ATOMS[large].kind == ATOMS[small].kind
    assert ATOMS[large].factor / ATOMS[small].factor == FACTORS[large, small]


def test_every_unit_has_a_checked_factor_or_stands_alone() -> None:
    assert {code for pair in FACTORS for code in pair} | ALONE == set(ATOMS)
    for code in ALONE:
        assert [other for other in ATOMS.values() if other.kind == ATOMS[code].kind] == [
            ATOMS[code]
        ]


# Codes the open ucum-lhc validator 7.1 accepts; two of them are refused here on purpose.
LEFT_OUT = {"U": "enzyme unit", "%": "does not say of what"}


def _codes() -> list[str]:
    with (DATA / "ucum_codes.csv").open(encoding="utf-8", newline="") as lines:
        return [row["ucum"] for row in csv.DictReader(lines)]


@pytest.mark.parametrize("code", _codes())
def test_every_listed_code_is_read_or_left_out_for_a_reason(code: str) -> None:
    if code in LEFT_OUT:
        with pytest.raises(UnitFault, match=LEFT_OUT[code]):
            unit(code)
    else:
        assert unit(code).code == code


# mcg, IU and cc are no UCUM codes (ucum-lhc validator 7.1); [drp] is fixed at 1/20 mL there.
@pytest.mark.parametrize(
    "code",
    ["mcg", "IU", "cc", "[drp]", "[drp]/min", "ml", "MG", "", "/", "mg/", "/d", "mg//mL", "mg mL",
     "mg.mL", "mg*mL", "mg/1", "mg/kg/min/m2/h", "mg\n", " mg", "µg", "parsec", "mg/" * 2000],
)  # fmt: skip
def test_any_other_code_is_refused_with_a_sentence(code: str) -> None:
    with pytest.raises(UnitFault) as refused:
        unit(code)
    assert str(refused.value).endswith(".")
    assert len(str(refused.value)) < 160


@pytest.mark.parametrize("code", [None, 5, b"mg", 2.5])
def test_a_code_is_text(code: object) -> None:
    with pytest.raises(TypeError):
        unit(code)


def test_three_units_may_stand_under_the_stroke() -> None:
    assert len(unit("mg/kg/min/m2").below) == MAX_BELOW
    with pytest.raises(UnitFault):
        unit("mg/kg/min/m2/mL")


def test_above_and_below_the_stroke_are_kept_apart() -> None:
    assert unit("mg/kg").dimension == ("mass", ("mass",))
    assert unit("1").dimension == ("number", ())
    assert unit("mg/kg/d").dimension == unit("g/wk/kg").dimension
    assert unit("mg/kg/d").dimension != unit("mg/kg").dimension
    assert unit("mg/kg").factor == Fraction(1, 10**6)


WRITTEN = {
    "mg": "mg", "g": "g", "kg": "kg", "mcg": "ug", "microgram": "ug", "micrograms": "ug",
    "nanogram": "ng", "nanograms": "ng", "mL": "mL", "L": "L", "millilitres": "mL",
    "milliliters": "mL", "unit": "{unit}", "units": "{unit}", "million units": "10*6.{unit}",
    "international units": "[iU]", "USP units": "[USP'U]", "mmol": "mmol", "mEq": "meq",
    "mg/mL": "mg/mL", "mcg/kg/min": "ug/kg/min", "microgram/kg/min": "ug/kg/min",
    "units/h": "{unit}/h", "units per hour": "{unit}/h", "mL/h": "mL/h", "drops/min": "{drop}/min",
    "mg/m2": "mg/m2", "mmol/L": "mmol/L", "mg/kg/day": "mg/kg/d", "tablets": "{tablet}",
    "h": "h", "hours": "h", "min": "min", "days": "d", "weeks": "wk", "cm": "cm", "pounds":
    "[lb_av]", "inches": "[in_i]", "mOsm/L": "mosm/L",
}  # fmt: skip


@pytest.mark.parametrize("word", WRITTEN)
def test_a_written_unit_has_its_code(word: str) -> None:
    assert written(word) == WRITTEN[word]


# Words on the published lists of misread forms: Joint Commission, Official Do Not Use List (2017);
# ISMP error-prone lists (2005, 2017 and 2021 printings, as restated, the last from memory).
MISREAD = {
    "U": "units", "u": "units", "IU": "units", "iu": "units", "ug": "microgram",
    "µg": "microgram", "μg": "microgram", "ng": "nanogram", "cc": "mL", "ml": "mL", "mLs": "mL",
    "l": "L", "mgs": "mg", "mcgs": "microgram", "gms": "g", "mEqs": "mEq", "kgs": "kg",
    "mg.": "mg", "M": "million units", "gtt": "drops", "gr": "the metric unit",
}  # fmt: skip


@pytest.mark.parametrize("word", MISREAD)
def test_a_misread_word_is_refused_with_what_to_write(word: str) -> None:
    for text in (word, f"{word}/h", f"mg/{word}"):
        with pytest.raises(UnitFault, match=f"is easily misread. Write {MISREAD[word]}."):
            written(text)


@pytest.mark.parametrize("word", ["", "parsec", "mg mL", "mg//mL", "mg/", " mg", "%", "% w/v", "1"])
def test_a_word_off_the_list_is_refused(word: str) -> None:
    with pytest.raises(UnitFault):
        written(word)


def test_no_word_stands_for_two_units_and_no_misread_word_is_accepted() -> None:
    words = [word for atom in ATOMS.values() for word in atom.typed]
    assert len(words) == len(set(words))
    assert not set(words) & set(MISREAD)


def test_a_shown_unit_can_be_typed_back() -> None:
    for atom in ATOMS.values():
        if atom.code != "1":
            assert written(atom.shown) == written(atom.shown_many) == atom.code
            assert written(atom.said) == written(atom.said_many) == atom.code


def test_no_shown_unit_is_a_misread_word() -> None:
    for atom in ATOMS.values():
        assert not {atom.shown, atom.shown_many} & set(MISREAD)


def test_every_kind_has_its_words() -> None:
    assert {atom.kind for atom in ATOMS.values()} == set(KINDS)
