"""Ampoules: how much more than the label one may hold, and when a filter is needed."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import needle
from checklist.ampoule import (
    Form,
    Material,
    Need,
    excess,
    filtering,
    greatest_content,
    is_nominal,
    over_label,
    read,
)
from checklist.number import half_up
from checklist.quantity import DimensionMismatch, Quantity
from checklist.table import TableFault

LIMITS = Path(__file__).parent.parent / "workflows" / "limits"
TEXT = (LIMITS / "ampoule.toml").read_text("utf-8")
TABLE = read(TEXT)

# USP 29-NF 24, general chapter <1151>, table Recommended Excess Volume (2006).
_FILE = Path(__file__).parent / "data" / "excess_volume_usp1151.csv"
with _FILE.open(newline="", encoding="utf-8") as _rows:
    LISTED = [row for row in csv.DictReader(_rows) if row["labelled_size_mL"] != ">=50"]


def ml(figures: str) -> Quantity:
    return Quantity.from_code(f"{Fraction(figures)} mL")


@pytest.mark.parametrize("row", LISTED, ids=lambda row: row["labelled_size_mL"])
@pytest.mark.parametrize("kind", ["mobile", "viscous"])
def test_every_listed_size_holds_what_the_chapter_recommends(
    row: dict[str, str], kind: str
) -> None:
    label, viscous = ml(row["labelled_size_mL"]), kind == "viscous"
    over = excess(label, viscous, TABLE)
    assert over.volume == ml(row[f"excess_{kind}_mL"])
    assert over.listed
    assert over.citation is not None and over.citation.status == "confirmed"
    assert greatest_content(label, viscous, TABLE) == ml(row[f"contents_{kind}_mL"])
    percent = over_label(label, viscous, TABLE) * 100
    assert Fraction(half_up(percent * 100), 100) == Fraction(
        row[f"overdose_pct_if_all_drawn_{kind}"]
    )


@pytest.mark.parametrize(
    ("label", "viscous", "content"),
    [("50", False, "51"), ("50", True, "51.5"), ("100", False, "102"), ("250", True, "257.5")],
)
def test_from_fifty_millilitres_on_the_excess_is_a_share(
    label: str, viscous: bool, content: str
) -> None:
    """USP <1151>, 2006: 2 % and 3 % for 50.0 mL or more."""
    assert greatest_content(ml(label), viscous, TABLE) == ml(content)
    assert excess(ml(label), viscous, TABLE).listed


# The chapter is silent between its rows; that the smaller row counts is our own rule.
BETWEEN = [
    ("3", False, "3.15"),
    ("3", True, "3.25"),
    ("1.5", False, "1.6"),
    ("4.999", False, "5.149"),
    ("25", False, "25.6"),
    ("49", True, "50.2"),
    ("0.4", False, "0.4"),
    ("0.4", True, "0.4"),
]


@pytest.mark.parametrize(("label", "viscous", "content"), BETWEEN)
def test_between_the_rows_the_smaller_excess_counts(
    label: str, viscous: bool, content: str
) -> None:
    assert greatest_content(ml(label), viscous, TABLE) == ml(content)
    assert not excess(ml(label), viscous, TABLE).listed


def test_a_full_draw_of_a_two_millilitre_ampoule_is_more_than_the_dose() -> None:
    """USP <1151>, 2006: a 2 mL ampoule may hold 2.15 mL, 7.5 % too much."""
    assert greatest_content(ml("2"), False, TABLE) - ml("2") == ml("0.15")
    assert over_label(ml("2"), False, TABLE) == Fraction(75, 1000)


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 200_000), st.integers(1, 200_000), st.booleans())
def test_a_larger_label_never_holds_less(a: int, b: int, viscous: bool) -> None:
    low, high = (ml(f"{figure}/1000") for figure in sorted((a, b)))
    less, more = (greatest_content(label, viscous, TABLE) for label in (low, high))
    assert low <= less <= more
    assert greatest_content(low, False, TABLE) <= greatest_content(low, True, TABLE)
    # Never more than the largest share that the chapter names: 20 % and 24 %, at 0.5 mL.
    assert over_label(low, viscous, TABLE) <= Fraction(24 if viscous else 20, 100)


def test_a_label_in_litres_is_the_same_label() -> None:
    assert greatest_content(Quantity.of("0.1", "L"), False, TABLE) == ml("102")


@pytest.mark.parametrize("label", ["0", "-1"])
def test_a_label_that_is_not_above_zero_is_refused(label: str) -> None:
    with pytest.raises(ValueError, match="above zero"):
        greatest_content(ml(label), False, TABLE)


def test_a_label_that_is_no_volume_is_refused() -> None:
    with pytest.raises(DimensionMismatch):
        greatest_content(Quantity.of("1", "mg"), False, TABLE)


def test_the_nominal_sizes_are_those_of_the_standard() -> None:
    """ISO 9187-1:2010, from memory."""
    sizes = [ml(figure) for figure in ("1", "2", "3", "5", "10", "20", "25", "30")]
    assert list(TABLE.nominal) == sizes
    assert TABLE.nominal_citation.status == "from memory"
    assert is_nominal(ml("5"), TABLE)
    assert not is_nominal(ml("4"), TABLE)


FILTERS = [
    # ASHP 2008 and INS 2011, standard 28.6, as quoted: 5 micron filter for a glass ampoule
    (Material.GLASS, Form.SOLUTION, Need.REQUIRED, "5"),
    # from memory: a filter may hold back these
    (Material.GLASS, Form.EMULSION, Need.BY_LABEL, None),
    (Material.GLASS, Form.SUSPENSION, Need.BY_LABEL, None),
    (Material.GLASS, Form.LIPOSOMAL, Need.BY_LABEL, None),
    (Material.GLASS, Form.PROTEIN, Need.BY_LABEL, None),
    # common practice, no source
    (Material.PLASTIC, Form.SOLUTION, Need.NOT_NEEDED, None),
    (Material.PLASTIC, Form.EMULSION, Need.NOT_NEEDED, None),
]


@pytest.mark.parametrize(("material", "form", "need", "pore"), FILTERS)
def test_glass_is_filtered_and_plastic_is_not(
    material: Material, form: Form, need: Need, pore: str | None
) -> None:
    rule = filtering(material, form, TABLE)
    assert rule is not None
    assert rule.need is need
    assert rule.pore_most == (None if pore is None else Quantity.of(pore, "um"))
    assert rule.citation.title


def test_every_material_and_form_has_a_rule() -> None:
    assert all(filtering(material, form, TABLE) for material in Material for form in Form)


def test_a_form_without_a_rule_is_not_compared() -> None:
    table = read(
        TEXT.replace(
            '"emulsion", "liposomal", "protein"]\nneed = "only', '"emulsion"]\nneed = "only'
        )
    )
    assert filtering(Material.GLASS, Form.PROTEIN, table) is None


def test_the_needle_table_asks_for_the_same_filter() -> None:
    advice = needle.for_drawing(
        "glass_ampoule", needle.read((LIMITS / "needle.toml").read_text("utf-8"))
    )
    rule = filtering(Material.GLASS, Form.SOLUTION, TABLE)
    assert advice is not None and rule is not None
    assert advice.pore_most == rule.pore_most


BROKEN = [
    ('mobile = "0.3 mL"', "mobile = 0.3", "excess 4: mobile is a bare decimal"),
    ('mobile = "0.3 mL"', 'mobile = "0.30 mL"', 'excess 4: mobile is "0.30 mL"'),
    ('mobile = "0.3 mL"', 'mobile = "0.03 mL"', "excess does not grow at 5 mL"),
    ('mobile = "0.3 mL"', 'mobile = "0.6 mL"', "excess does not grow at 10 mL"),
    ('mobile = "0.1 mL"', 'mobile = "0.13 mL"', "excess gives a thick liquid less"),
    ('from = "50 mL"', 'from = "30 mL"', "large begins before the last row"),
    ('mobile = "2 %"', 'mobile = "two %"', 'large: mobile is "two %"'),
    ('sizes = ["1 mL", "2 mL"', 'sizes = ["1 mL", "2 mg"', 'nominal: sizes is "2 mg"'),
    ('pore_most = "5 um"\n', "", "filter 1: pore_most goes with a filter"),
    ('need = "not needed"', 'need = "never"', 'filter 3: need is "never". Write one of'),
    ('materials = ["plastic"]', 'materials = ["glass"]', "filter has two rows for one material"),
    (
        'materials = ["plastic"]',
        'materials = ["glass", "glass"]',
        "materials names one thing twice",
    ),
    ("[nominal]", "[[nominal]]", "nominal is not a table"),
    ("[large]", "[small]", "large is not there"),
    ("[sources.memory]", "[sources.mind]", 'filter 2: source is "memory", which [sources]'),
    ("[sources.memory]\ntitle", "[sources.memory]\nname", "sources, memory: title is not there"),
    ('title = "Ampoules"', "title = 3", "title is not a text"),
]


@pytest.mark.parametrize(("was", "becomes", "sentence"), BROKEN)
def test_a_fault_in_the_file_is_told_with_its_place(was: str, becomes: str, sentence: str) -> None:
    assert was in TEXT
    with pytest.raises(TableFault) as told:
        read(TEXT.replace(was, becomes, 1))
    assert any(sentence in fault for fault in told.value.faults), told.value.faults


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "title is not there"),
        ("title = 1\n" * 2, "cannot be read as TOML"),
        ("#" * 200_001, "longer than 200,000 characters"),
        ("x = " + "[" * 100_000, "cannot be read as TOML"),
        ("excess = 1\nlarge = 1\nfilter = []\nsources = 1", "excess is not a list of tables"),
    ],
)
def test_a_file_that_is_no_table_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(TableFault) as told:
        read(text)
    assert any(sentence in fault for fault in told.value.faults), told.value.faults


@settings(max_examples=100, deadline=None)
@given(st.integers(0, len(TEXT) - 1), st.sampled_from(['"', "0", "\n", "[", "= ", "x", ""]))
def test_a_damaged_file_is_read_or_refused_and_nothing_else(place: int, piece: str) -> None:
    damaged = TEXT[:place] + piece + TEXT[place + 1 :]
    try:
        table = read(damaged)
    except TableFault as told:
        assert told.faults
    else:
        assert all(row.mobile <= row.viscous for row in table.excess)
