"""Needles: sizes, and the gauge and length for a route, a site and a patient."""

import csv
import re
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import site as sites
from checklist.needle import (
    SEXES,
    UNKNOWN_DEPTH,
    Kind,
    Needle,
    Recommendation,
    Use,
    for_drawing,
    gauge_of,
    gauges_coloured,
    outer,
    read,
    recommended,
    suits,
)
from checklist.quantity import Quantity
from checklist.site import Age
from checklist.table import TableFault

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "workflows" / "limits" / "needle.toml").read_text("utf-8")
TABLE = read(TEXT)
SITES = sites.read((ROOT / "workflows" / "limits" / "site.toml").read_text("utf-8"))
DAY = date(2026, 6, 15)
THIGH, DELTOID, ARM, HIP = "anterolateral thigh", "deltoid", "upper arm", "ventrogluteal"


def rows(name: str) -> list[dict[str, str]]:
    with (ROOT / "tests" / "data" / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def aged(text: str) -> Age:
    """An age such as "28 d" or "3 a", counted back from DAY."""
    count, unit = text.split()
    if unit == "d":
        return Age.between(DAY - timedelta(days=int(count)), DAY)
    months = DAY.year * 12 + DAY.month - 1 - int(count) * (12 if unit == "a" else 1)
    return Age.between(date(months // 12, months % 12 + 1, DAY.day), DAY)


def kg(weight: str) -> Quantity | None:
    return Quantity.of(weight, "kg") if weight else None


def mm(figures: str) -> Quantity:
    return Quantity.from_code(f"{Fraction(figures)} mm")


def advised(
    route: str, site: str, age: str, weight: str = "", sex: str = "", *,
    use: Use = Use.MEDICINE, viscous: bool = False,
) -> Recommendation | None:  # fmt: skip
    place = sites.known(site, SITES) if site else None
    assert place is not None or not site
    return recommended(
        route, place, age=aged(age) if age else None, weight=kg(weight), sex=sex, table=TABLE,
        use=use, viscous=viscous,
    )  # fmt: skip


def ends(text: str) -> tuple[str, str]:
    low, _, high = text.partition("-")
    return low, high or low


# CDC/ACIP, needle length by age, weight and site, as restated by Immunize.org: each row of the
# data file names its page. Beside each row stand patients at both of its ends.
PATIENTS = [
    (Use.VACCINE, "IM", THIGH, ["0 d", "28 d"], [("", "")]),
    (Use.VACCINE, "IM", THIGH, ["29 d", "1 mo", "11 mo"], [("", "")]),
    (Use.VACCINE, "IM", THIGH, ["12 mo", "35 mo"], [("", "")]),
    (Use.VACCINE, "IM", DELTOID, ["12 mo", "2 a"], [("", "")]),
    (Use.VACCINE, "IM", DELTOID, ["3 a", "10 a"], [("", "")]),
    (Use.VACCINE, "IM", THIGH, ["3 a", "10 a"], [("", "")]),
    (Use.VACCINE, "IM", DELTOID, ["11 a", "18 a"], [("", "")]),
    (Use.VACCINE, "IM", THIGH, ["11 a", "18 a"], [("", "")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a", "90 a"], [("40", "female"), ("59.9", "male")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a"], [("60", "female"), ("69.9", "male"), ("65", "")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a"], [("70", "female"), ("90", "female")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a"], [("70", "male"), ("118", "male")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a"], [("90.1", "female"), ("150", "female")]),
    (Use.VACCINE, "IM", DELTOID, ["19 a"], [("118.1", "male")]),
    (Use.VACCINE, "SC", THIGH, ["0 d", "11 mo"], [("", "")]),
    (Use.VACCINE, "SC", ARM, ["12 mo", "80 a"], [("", "")]),
]
PUBLISHED = rows("im_needle_length_cdc.csv")


@pytest.mark.parametrize(
    ("row", "patients"), list(zip(PUBLISHED, PATIENTS, strict=True)),
    ids=[f"{row['age']}-{row['site']}-{row['weight_sex']}" for row in PUBLISHED],
)  # fmt: skip
def test_every_published_row_is_given_at_both_its_ends(
    row: dict[str, str], patients: tuple[Use, str, str, list[str], list[tuple[str, str]]]
) -> None:
    use, route, site, ages, bodies = patients
    shortest, longest = map(mm, ends(row["length_mm"]))
    thickest, thinnest = map(int, ends(row["gauge"]))
    for age in ages:
        for weight, sex in bodies:
            advice = advised(route, site, age, weight, sex, use=use)
            assert advice is not None
            assert advice.lengths == (shortest, longest)
            assert advice.gauges == (thickest, thinnest)
            assert [citation.status for citation in advice.citations] == [row["status"]]


# Injection chart after Kozier and Erb; insulin pen advice after Frid et al. 2016; IM for children
# as restated by Immunize.org: tests/data/needle_by_route.csv names the page of each.
GENERAL = [
    ("ID", "forearm", "30 a", Use.MEDICINE, False, (25, 27), ("6", "13")),
    ("SC", "abdomen", "30 a", Use.MEDICINE, False, (23, 27), ("10", "16")),
    ("SC", "", "30 a", Use.MEDICINE, False, (23, 27), ("10", "16")),
    ("SC", "abdomen", "30 a", Use.PEN, False, (31, 32), ("4", "5")),
    ("SC", "abdomen", "30 a", Use.INSULIN, False, (28, 31), None),
    ("IM", HIP, "30 a", Use.MEDICINE, False, (19, 25), ("25", "50")),
    ("IM", HIP, "30 a", Use.MEDICINE, True, (18, 21), ("25", "50")),
    ("IM", HIP, "5 a", Use.MEDICINE, False, (22, 25), ("16", "25")),
]


@pytest.mark.parametrize(("route", "site", "age", "use", "viscous", "gauges", "lengths"), GENERAL)
def test_a_medicine_has_the_needle_of_its_route(
    route: str, site: str, age: str, use: Use, viscous: bool,
    gauges: tuple[int, int], lengths: tuple[str, str] | None,
) -> None:  # fmt: skip
    advice = advised(route, site, age, use=use, viscous=viscous)
    assert advice is not None
    assert advice.gauges == gauges
    assert advice.lengths == (lengths and tuple(map(mm, lengths)))


def test_the_general_rows_are_those_of_the_chart() -> None:
    """Each row of tests/data/needle_by_route.csv names its page, or says common practice."""
    chart = {row["route_or_task"]: row for row in rows("needle_by_route.csv")}
    for task, advice in [
        ("ID", advised("ID", "", "30 a")),
        ("SC insulin pen", advised("SC", "", "30 a", use=Use.PEN)),
        ("IM adult", advised("IM", HIP, "30 a")),
        ("IM infant or child", advised("IM", HIP, "3 a")),
        ("withdraw from vial", for_drawing("multi_dose_vial", TABLE)),
        ("withdraw from glass ampoule", for_drawing("glass_ampoule", TABLE)),
    ]:
        assert advice is not None and advice.gauges and advice.lengths
        gauge = [int(figure) for figure in re.findall(r"\d+", chart[task]["gauge"])]
        length = [mm(figure) for figure in re.findall(r"\d+", chart[task]["length_mm"])]
        assert list(advice.gauges) == gauge[:2]
        assert list(advice.lengths) == length[:2]


def test_the_depth_of_the_muscle_gives_the_length_for_a_medicine_too() -> None:
    """Our own rule: gauge by the chart after Kozier and Erb, length by CDC/ACIP where it tells."""
    advice = advised("IM", DELTOID, "30 a", "55", "female")
    assert advice is not None
    assert (advice.gauges, advice.lengths) == ((19, 25), (mm("16"), mm("25")))
    assert len(advice.citations) == 2
    newborn = advised("IM", THIGH, "3 d")
    assert newborn and newborn.lengths == (mm("16"), mm("16"))


@pytest.mark.parametrize(
    ("site", "weight", "sex"), [(DELTOID, "", "male"), (DELTOID, "80", ""), ("", "80", "male")]
)
def test_a_length_is_not_guessed_when_a_fact_is_missing(site: str, weight: str, sex: str) -> None:
    advice = advised("IM", site, "30 a", weight, sex)
    assert advice is not None
    assert advice.gauges == (19, 25)
    assert advice.lengths is None
    assert UNKNOWN_DEPTH in advice.note


NOTHING = [
    ("IM", DELTOID, "6 mo", "", "", Use.VACCINE, False),  # no row for the arm of an infant
    ("IM", "", "6 mo", "", "", Use.VACCINE, False),  # the site would decide
    ("IM", DELTOID, "", "80", "male", Use.VACCINE, False),  # the age would decide
    ("IM", DELTOID, "30 a", "80", "", Use.VACCINE, False),  # the sex would decide
    ("IM", DELTOID, "30 a", "80", "other", Use.VACCINE, False),
    ("IM", DELTOID, "30 a", "", "male", Use.VACCINE, False),  # the weight would decide
    ("IM", HIP, "30 a", "80", "male", Use.VACCINE, False),
    ("IM", HIP, "5 a", "20", "male", Use.MEDICINE, True),  # no row for a thick drug in a child
    ("IM", HIP, "", "", "", Use.MEDICINE, False),
    ("IV", "", "30 a", "", "", Use.VACCINE, False),
    ("SC", "abdomen", "30 a", "", "", Use.VACCINE, False),
    ("PO", "", "30 a", "", "", Use.MEDICINE, False),
]


@pytest.mark.parametrize(("route", "site", "age", "weight", "sex", "use", "viscous"), NOTHING)
def test_nothing_is_recommended_where_the_tables_do_not_say(
    route: str, site: str, age: str, weight: str, sex: str, use: Use, viscous: bool
) -> None:
    assert advised(route, site, age, weight, sex, use=use, viscous=viscous) is None


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(["ID", "SC", "IM", "IV", "PO"]),
    st.sampled_from([*(site.name for site in SITES.sites), ""]),
    st.one_of(st.none(), st.integers(0, 36_000)),
    st.one_of(st.none(), st.integers(5, 2_000)),
    st.sampled_from([*SEXES, ""]),
    st.sampled_from(list(Use)),
    st.booleans(),
)
def test_every_recommendation_is_whole_and_cited(
    route: str, site: str, days: int | None, weight: int | None, sex: str, use: Use, viscous: bool
) -> None:
    """Knowing less never gives another answer than knowing more: it gives less or nothing."""
    place = sites.known(site, SITES)
    age = None if days is None else Age(days=days, months=days * 16 // 487)
    body = None if weight is None else Quantity.of(Fraction(weight, 10), "kg")

    def ask(age: Age | None, weight: Quantity | None, sex: str) -> Recommendation | None:
        return recommended(
            route, place, age=age, weight=weight, sex=sex, table=TABLE, use=use, viscous=viscous
        )

    full = ask(age, body, sex)
    if full is not None:
        assert full.citations
        assert full.gauges is None or full.gauges[0] <= full.gauges[1]
        assert full.lengths is None or full.lengths[0] <= full.lengths[1]
    for less in (ask(None, body, sex), ask(age, None, sex), ask(age, body, "")):
        if less is not None:
            assert full is not None
            assert less.gauges == full.gauges
            assert less.lengths in (None, full.lengths)


def advice_for(use: Use = Use.MEDICINE) -> Recommendation:
    advice = advised("IM", DELTOID, "30 a", "80", "male", use=use)
    assert advice is not None
    return advice


# 22 to 25 gauge and 25 to 38 mm: CDC/ACIP, adult man of 70 to 118 kg, deltoid.
SUITS = [
    (Needle(kind=Kind.INJECTION, gauge=23, length=mm("25")), ()),
    (Needle(kind=Kind.INJECTION, gauge=22, length=Quantity.of("1.5", "[in_i]")), ()),  # 38.1 mm
    (
        Needle(kind=Kind.INJECTION, gauge=21, length=mm("25")),
        ("21 gauge is too thick here: 22 to 25 gauge is wanted.",),
    ),
    (
        Needle(kind=Kind.INJECTION, gauge=27, length=mm("16")),
        (
            "27 gauge is too thin here: 22 to 25 gauge is wanted.",
            "16 mm is too short here: 25 mm to 38 mm is wanted.",
        ),
    ),
    (
        Needle(kind=Kind.INJECTION, gauge=23, length=mm("50")),
        ("50 mm is too long here: 25 mm to 38 mm is wanted.",),
    ),
    (
        Needle(kind=Kind.INJECTION),
        (
            "The gauge is not known. Read it on the pack: 22 to 25 gauge is wanted.",
            "The length is not known. Read it on the pack: 25 mm to 38 mm is wanted.",
        ),
    ),
    (
        Needle(kind=Kind.FILTER, gauge=23, length=mm("25"), pore=Quantity.of("5", "um")),
        ("This is a filter needle. Take an injection needle.",),
    ),
]


@pytest.mark.parametrize(("needle", "reasons"), SUITS)
def test_a_needle_that_does_not_suit_says_why(needle: Needle, reasons: tuple[str, ...]) -> None:
    assert suits(needle, advice_for(Use.VACCINE)) == reasons


@pytest.mark.parametrize(
    ("inches", "table"),
    [
        ("1/4", 6),
        ("3/8", 10),
        ("1/2", 13),
        ("5/8", 16),
        ("1", 25),
        ("5/4", 32),
        ("3/2", 38),
        ("2", 50),
    ],
)
def test_a_length_in_inches_is_the_length_in_mm_that_the_tables_print_beside_it(
    inches: str, table: int
) -> None:
    """CDC/ACIP and Kozier print these pairs; an inch is 25.4 mm (UCUM)."""
    advice = advice_for()
    exact = Recommendation(
        kinds=advice.kinds, gauges=None, lengths=(mm(str(table)), mm(str(table))),
        pore_most=None, note="", citations=advice.citations,
    )  # fmt: skip
    length = Quantity.of(Fraction(inches), "[in_i]")
    assert suits(Needle(kind=Kind.INJECTION, length=length), exact) == ()
    assert suits(Needle(kind=Kind.INJECTION, length=mm(str(table + 2))), exact)


def test_a_needle_free_port_takes_no_needle() -> None:
    """Common practice, no source."""
    advice = advised("IV", "", "30 a")
    assert advice is not None and advice.kinds == ()
    (reason,) = suits(Needle(kind=Kind.INJECTION, gauge=21, length=mm("38")), advice)
    assert "No needle is used here" in reason


PORES = [("5", True), ("1.2", True), ("5.1", False), ("10", False), ("0", False), (None, False)]


@pytest.mark.parametrize(("pore", "fits"), PORES)
def test_glass_is_drawn_through_a_filter_of_five_micrometre_or_less(
    pore: str | None, fits: bool
) -> None:
    """ASHP 2008 and INS 2011, standard 28.6, as quoted: filter needle or straw of 5 micron."""
    advice = for_drawing("glass_ampoule", TABLE)
    assert advice is not None
    size = None if pore is None else Quantity.of(pore, "um")
    straw = Needle(kind=Kind.STRAW, pore=size)
    filtered = Needle(kind=Kind.FILTER, gauge=19, length=mm("38"), pore=size)
    assert (suits(straw, advice) == ()) is fits
    assert (suits(filtered, advice) == ()) is fits
    plain = Needle(kind=Kind.BLUNT, gauge=18, length=mm("38"), pore=size)
    assert suits(plain, advice) == (
        "This is a blunt fill needle. Take a filter needle or a filter straw.",
    )


def test_a_plastic_ampoule_has_no_row() -> None:
    assert for_drawing("plastic_ampoule", TABLE) is None


# ISO 6009:2016, Table 1: each row of the data file names its page, or says from memory.
SIZES = rows("needle_iso6009.csv")


@pytest.mark.parametrize("row", SIZES, ids=lambda row: row["gauge"])
def test_a_gauge_has_the_diameter_and_colour_of_the_standard(row: dict[str, str]) -> None:
    gauge, diameter = int(row["gauge"]), mm(row["outer_diameter_mm"])
    assert outer(gauge, TABLE) == diameter
    assert gauge_of(diameter, TABLE) == gauge
    size = next(size for size in TABLE.sizes if size.gauge == gauge)
    assert size.colour == row["hub_colour"].replace("?", "")
    assert size.citation.status == row["status"]


def test_a_colour_never_tells_a_gauge() -> None:
    """ISO 6009: 20 and 30 gauge are yellow, 16 and 31 gauge are white (in part from memory)."""
    assert gauges_coloured("yellow", TABLE) == (30, 20)
    assert gauges_coloured("white", TABLE) == (31, 16)
    assert gauges_coloured("", TABLE) == ()
    assert outer(9, TABLE) is None
    assert gauge_of(mm("0.99"), TABLE) is None


def test_every_site_of_the_table_is_a_site_of_the_site_table() -> None:
    for row in TABLE.injections:
        for name in row.sites:
            site = sites.known(name, SITES)
            assert site is not None and site.name == name


BROKEN = [
    ('use = "vaccine"', 'use = "jab"', 'injection 1: use is "jab". Write one of: medicine'),
    ("thickest = 22", "thickest = 26", "injection 1: thickest is a larger gauge than thinnest"),
    ("thickest = 22", 'thickest = "22"', "injection 1: thickest is not a whole number"),
    ("thickest = 22", "", "injection 1: thickest is not there"),
    ('longest = "32 mm"', 'longest = "3.2 mm"', "injection 3: shortest is more than longest"),
    ('longest = "32 mm"', "longest = 32", "injection 3: longest is not a text"),
    ('weight_to = "90 kg"', 'weight_upto = "90 kg"', "injection 11: weight_upto is not a word"),
    ('weight_to = "90 kg"', 'weight_to = "90 mm"', 'injection 11: weight_to is "90 mm"'),
    ('sexes = ["female"]', 'sexes = "female"', "injection 11: sexes is not a list of texts"),
    ("viscous = false", 'viscous = "no"', "injection 21: viscous is neither true nor false"),
    ('pore_most = "5 um"', 'pore_most = "5"', 'drawing 2: pore_most is "5"'),
    ('"glass_ampoule", ', '"bottle", ', 'drawing 2: containers is "bottle". Write one of'),
    ('gauge = 33\nouter = "0.2 mm"', 'gauge = 33\nouter = "2 mm"', "size is out of order"),
]


@pytest.mark.parametrize(("was", "becomes", "sentence"), BROKEN)
def test_a_fault_in_the_file_is_told_with_its_place(was: str, becomes: str, sentence: str) -> None:
    assert was in TEXT
    with pytest.raises(TableFault) as told:
        read(TEXT.replace(was, becomes, 1))
    assert any(sentence in fault for fault in told.value.faults), told.value.faults
