"""Sites of injection: patient groups by age, and the largest volume for one site."""

import csv
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.quantity import DimensionMismatch, Quantity
from checklist.site import Age, AgeSpan, Level, SiteLimit, known, level, limit, read
from checklist.site import group as group_of
from checklist.table import TableFault

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "workflows" / "limits" / "site.toml").read_text("utf-8")
TABLE = read(TEXT)
GROUPS = [group.name for group in TABLE.groups]
SITES = [site.name for site in TABLE.sites]


def ml(figures: str) -> Quantity:
    return Quantity.from_code(f"{Fraction(figures)} mL")


def found(route: str, site: str | None, group: str | None) -> SiteLimit:
    kept = limit(route, site, group, TABLE)
    assert kept is not None
    return kept


# Each row of the data file names the page of its published range; the warn and refuse columns are
# proposals within that range.
with (ROOT / "tests" / "data" / "max_volume_by_site.csv").open(newline="", encoding="utf-8") as _f:
    PUBLISHED = list(csv.DictReader(_f))

# How the words of the pages are said here: patient -> group, site -> site.
_GROUPS = {
    "adult or child": "adult child", "any adult, one site": "adult", "child, one site": "child",
    "child over 2 years": "child", "newborn or preterm": "newborn",
}  # fmt: skip


def _said(row: dict[str, str]) -> list[tuple[str, str]]:
    groups = _GROUPS.get(row["patient"], row["patient"]).split()
    sites = row["site"].split(" (")[0].replace("any", "ventrogluteal").split(", ")
    return [(group, site) for group in groups for site in sites]


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda r: f"{r['route']}-{r['patient']}-{r['site']}")
def test_every_row_is_kept(row: dict[str, str]) -> None:
    for group, site in _said(row):
        kept = found(row["route"], site, group)
        assert kept.own
        assert kept.warn_above == ml(row["warn_above_mL"])
        assert kept.refuse_above == ml(row["refuse_above_mL"])
        assert {citation.status for citation in kept.citations} == {row["status"]}


# Published ranges: deltoid 0.5-2 mL, ventrogluteal 1-5 mL, dorsogluteal 1-4 mL in adults (teaching
# pages named in the data file): the site that takes least decides when none is stated.
STRICTER = [
    ("IM", None, "adult", "1", "2"),
    ("IM", "", "adult", "1", "2"),
    ("IM", "left knee", "adult", "1", "2"),  # not a word on the list
    ("IM", "forearm", "adult", "3", "5"),  # the row for any one site
    ("IM", "dorsogluteal", "adult", "3", "4"),
    ("IM", None, "child", "0.5", "1"),
    ("IM", None, "toddler", "0.5", "1"),
    ("IM", "deltoid", "infant", "0.5", "1"),  # no row of its own: the infant's figures stand in
    ("IM", "ventrogluteal", "newborn", "0.25", "0.5"),
    ("SC", "forearm", "adult", "1", "1.5"),
    ("SC", None, "newborn", "0.5", "1"),
    ("ID", None, "adult", "0.1", "0.1"),
]


@pytest.mark.parametrize(("route", "site", "group", "warn", "refuse"), STRICTER)
def test_the_lower_figure_wins_when_the_site_does_not_decide(
    route: str, site: str | None, group: str, warn: str, refuse: str
) -> None:
    kept = found(route, site, group)
    assert (kept.warn_above, kept.refuse_above) == (ml(warn), ml(refuse))


def test_a_limit_says_whether_it_is_the_sites_own() -> None:
    assert found("IM", "deltoid", "adult").own
    assert not found("IM", "deltoid", "infant").own
    assert not found("IM", None, "adult").own
    assert found("IM", "Vastus  Lateralis", "adult").site == "anterolateral thigh"


def test_a_site_to_avoid_says_why() -> None:
    assert "large nerve" in found("IM", "dorsogluteal", "adult").avoid
    assert found("IM", "ventrogluteal", "adult").avoid == ""


@pytest.mark.parametrize(
    ("route", "site", "group"),
    [("IV", "forearm", "adult"), ("im", "deltoid", "adult"), ("IM", "deltoid", None),
     ("IM", "deltoid", "grown-up"), ("", None, "adult")],
)  # fmt: skip
def test_nothing_is_guessed_without_a_figure_for_route_and_group(
    route: str, site: str, group: str | None
) -> None:
    assert limit(route, site, group, TABLE) is None


def test_the_lower_figures_of_two_rows_come_together() -> None:
    """Our own rule: of all the rows that hold, the lower of each figure counts."""
    text = TEXT.replace(
        'warn_above = "3 mL"\nrefuse_above = "5 mL"\npublished = "5 mL for',
        'warn_above = "0.8 mL"\nrefuse_above = "5 mL"\npublished = "5 mL for',
    )
    kept = limit("IM", "deltoid", "adult", read(text))
    assert kept is not None
    assert (kept.warn_above, kept.refuse_above) == (ml("0.8"), ml("2"))
    assert len(kept.citations) == len(kept.published) == 2


@pytest.mark.parametrize(
    ("volume", "stands"),
    [("1", Level.WITHIN), ("1.001", Level.ABOVE_USUAL), ("2", Level.ABOVE_USUAL),
     ("2.001", Level.ABOVE_LIMIT)],
)  # fmt: skip
def test_a_volume_stands_above_a_figure_only_when_it_is_more(volume: str, stands: Level) -> None:
    assert level(ml(volume), found("IM", "deltoid", "adult")) is stands


def test_an_amount_that_is_no_volume_is_refused() -> None:
    with pytest.raises(DimensionMismatch):
        level(Quantity.of("1", "mg"), found("IM", "deltoid", "adult"))


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(["ID", "SC", "IM"]),
    st.sampled_from([*SITES, "somewhere", ""]),
    st.sampled_from(GROUPS),
)
def test_a_stated_site_never_lowers_the_limit(route: str, site: str, group: str) -> None:
    stated, unstated = found(route, site, group), found(route, None, group)
    assert unstated.warn_above <= stated.warn_above
    assert unstated.refuse_above <= stated.refuse_above
    assert stated.warn_above <= stated.refuse_above
    assert stated.citations and stated.published


# CDC/ACIP age groups as restated by Immunize.org, July 2020: first 28 days; 1-12 months;
# 1-2 years; 3-18 years; 19 years and over.
AGES = [
    (date(2024, 3, 10), date(2024, 3, 10), "newborn"),
    (date(2024, 3, 10), date(2024, 4, 7), "newborn"),  # day 28
    (date(2024, 3, 10), date(2024, 4, 8), "infant"),
    (date(2024, 3, 10), date(2025, 3, 9), "infant"),
    (date(2024, 3, 10), date(2025, 3, 10), "toddler"),
    (date(2024, 3, 10), date(2027, 3, 9), "toddler"),
    (date(2024, 3, 10), date(2027, 3, 10), "child"),
    (date(2007, 3, 10), date(2026, 3, 9), "child"),
    (date(2007, 3, 10), date(2026, 3, 10), "adult"),
    (date(2024, 2, 29), date(2025, 2, 28), "infant"),
    (date(2024, 2, 29), date(2025, 3, 1), "toddler"),
]


@pytest.mark.parametrize(("birth", "day", "group"), AGES)
def test_the_group_changes_on_the_birthday(birth: date, day: date, group: str) -> None:
    assert group_of(Age.between(birth, day), TABLE) == group


@settings(max_examples=150, deadline=None)
@given(st.dates(date(1900, 1, 1), date(2026, 1, 1)), st.integers(0, 36_000))
def test_every_age_belongs_to_one_group_and_never_goes_back(birth: date, days: int) -> None:
    ages = [Age.between(birth, birth + timedelta(days=count)) for count in (days, days + 1)]
    for age in ages:
        assert sum(row.ages.tells(age) is True for row in TABLE.groups) == 1
    before, after = (GROUPS.index(group_of(age, TABLE) or "") for age in ages)
    assert after - before in (0, 1)
    assert 0 <= ages[1].months - ages[0].months <= 1
    # From outside: a mean month has 487/16 days (30.4375), and no age strays a month from it.
    assert abs(ages[0].months - days * 16 // 487) <= 1


STATED = [
    ("10 d", "newborn"),
    ("0 d", "newborn"),
    ("0 mo", None),  # days 0 to 30: newborn or infant
    ("1 mo", None),  # a month may have 28 days
    ("2 mo", "infant"),
    ("11 mo", "infant"),
    ("12 mo", "toddler"),
    ("1 a", "toddler"),
    ("3 a", "child"),
    ("18 a", "child"),
    ("19 a", "adult"),
]


@pytest.mark.parametrize(("age", "group"), STATED)
def test_a_stated_age_has_a_group_only_when_it_is_sure(age: str, group: str | None) -> None:
    assert group_of(Age.stated(Quantity.from_code(age)), TABLE) == group


def test_an_age_that_cannot_be_placed_is_refused() -> None:
    with pytest.raises(ValueError, match="Give the birth date"):
        Age.stated(Quantity.of("28", "d"))
    with pytest.raises(ValueError, match="is after"):
        Age.between(date(2026, 1, 2), date(2026, 1, 1))
    with pytest.raises(DimensionMismatch):
        Age.stated(Quantity.of("70", "kg"))
    assert group_of(None, TABLE) is None


def test_an_open_span_holds_any_age_and_a_bounded_one_cannot_tell_an_unknown_age() -> None:
    assert AgeSpan().tells(None) is True
    assert AgeSpan(least=Quantity.of("19", "a")).tells(None) is None
    assert AgeSpan(below=Quantity.of("29", "d")).tells(Age.stated(Quantity.of("1", "mo"))) is None
    assert AgeSpan(below=Quantity.of("29", "d")).tells(Age.stated(Quantity.of("2", "mo"))) is False


def test_a_site_is_known_by_any_of_its_words() -> None:
    for word in ("anterolateral thigh", "vastus lateralis", " Left Thigh ", "thigh right"):
        site = known(word, TABLE)
        assert site is not None
        assert site.name == "anterolateral thigh"
    assert known("thumb", TABLE) is None
    assert known("left", TABLE) is None


BROKEN = [
    ('warn_above = "0.25 mL"', 'warn_above = "0.75 mL"', "limit 13: warn_above is more than"),
    ('warn_above = "0.25 mL"', "warn_above = 0.25", "limit 13: warn_above is a bare decimal"),
    ('age_below = "29 d"', 'age_below = "29 days"', 'group 1: age_below is "29 days"'),
    ('groups = ["infant"]', 'groups = ["baby"]', 'limit 11: groups is "baby". Write one of'),
    ('sites = ["ventrogluteal"]', 'sites = ["hip"]', 'limit 5: sites is "hip". Write one of'),
    ('sites = ["ventrogluteal"]', "sites = []", "limit 5: sites is not a list of texts"),
    ('route = "ID"', 'route = "id"', 'limit 1: route is "id". Write one of: ID, SC, IM'),
    ('also = ["arm", "triceps"]', 'also = ["thigh"]', "site has one word for two sites"),
    ('name = "deltoid"', 'name = "Deltoid"', "site 1: name has a capital"),
    ('status = "from memory"', 'state = "from memory"', "limit 13: status is not there"),
    ('status = "from memory"', 'state = "from memory"', "limit 13: state is not a word"),
    ('source = "memory"', 'source = "book"', 'limit 13: source is "book"'),
    ("edition = 1\n", "edition = 0\n", "edition is not a whole number of 1 or more"),
]


@pytest.mark.parametrize(("was", "becomes", "sentence"), BROKEN)
def test_a_fault_in_the_file_is_told_with_its_place(was: str, becomes: str, sentence: str) -> None:
    assert was in TEXT
    with pytest.raises(TableFault) as told:
        read(TEXT.replace(was, becomes, 1))
    assert [fault for fault in told.value.faults if f"site.toml, {sentence}" in fault] or [
        fault for fault in told.value.faults if f"site.toml: {sentence}" in fault
    ]
