"""Syringes: how exactly each size measures a volume, and which size is to be taken."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.number import half_up
from checklist.quantity import Concentration, DimensionMismatch, Quantity
from checklist.syringe import (
    Choice,
    Fit,
    Kind,
    Use,
    dead_space,
    fill_share,
    holds,
    kinds_for,
    on_line,
    ranked,
    read,
    reading_error,
    scale_factor,
    tolerance,
    widest_line,
    with_dead_space,
)
from checklist.table import TableFault

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "workflows" / "limits" / "syringe.toml").read_text("utf-8")
TABLE = read(TEXT)


def rows(name: str) -> list[dict[str, str]]:
    with (Path(__file__).parent / "data" / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def ml(figures: str) -> Quantity:
    return Quantity.from_code(f"{Fraction(figures)} mL")


def luer(volume: str) -> tuple[Choice, ...]:
    return ranked(ml(volume), TABLE.sizes_of(Kind.LUER_SLIP), TABLE)


# ISO 7886-1, tolerance on graduated capacity; the 75 rows are computed from the formula that
# P. Phillips, Syringe accuracy estimates (Surgical Materials Testing Laboratory, 2016) restates.
VECTORS = rows("syringe_tolerance_vectors.csv")


@pytest.mark.parametrize("row", VECTORS, ids=lambda row: f"{row['dose_mL']}-{row['syringe_mL']}")
def test_the_tolerance_is_that_of_the_standard(row: dict[str, str]) -> None:
    dose, size = ml(row["dose_mL"]), ml(row["syringe_mL"])
    allowed = tolerance(dose, size, TABLE)
    assert allowed == ml(row["tolerance_mL"])
    assert hundredths(allowed.ratio(dose)) == Fraction(row["tolerance_pct_of_dose"])
    assert hundredths(fill_share(dose, size)) == Fraction(row["fill_pct"])
    line = next(s.line for s in TABLE.sizes_of(Kind.LUER_SLIP) if s.nominal == size)
    assert on_line(dose, line) is (row["lands_on_graduation"] == "true")


def hundredths(share: Fraction) -> Fraction:
    """A share in percent, rounded to two decimals as the table prints it."""
    return Fraction(half_up(share * 100 * 100), 100)


def test_the_published_worked_example_is_reached() -> None:
    """Phillips 2016: 4 mL out of a 10 mL syringe may be out by 1.5 % of 10 mL and 1 % of 4 mL."""
    assert tolerance(ml("4"), ml("10"), TABLE) == ml("0.15") + ml("0.04")


def test_from_half_of_the_size_on_the_tolerance_hangs_on_the_volume_alone() -> None:
    """ISO 7886-1, as restated by Phillips 2016: the two rules meet at half of the size."""
    below, half = tolerance(ml("4.99"), ml("10"), TABLE), tolerance(ml("5"), ml("10"), TABLE)
    assert below == ml("0.15") + ml("0.0499")
    assert half == ml("0.2")


@pytest.mark.parametrize(
    "row", rows("syringe_iso7886_1.csv"), ids=lambda r: r["nominal_min_mL_incl"]
)
def test_every_band_of_sizes_has_the_figures_of_the_standard(row: dict[str, str]) -> None:
    """ISO 7886-1, Table 1; the status of each figure stands in the file and in the table."""
    least = ml(row["nominal_min_mL_incl"])
    sizes = [least if least > ml("0") else ml("1")]
    if row["nominal_max_mL_excl"]:
        sizes.append(ml(row["nominal_max_mL_excl"]) - ml("0.001"))
    for size in sizes:
        assert dead_space(size, TABLE) == ml(row["max_dead_space_mL"])
        assert widest_line(size, TABLE) == ml(row["max_scale_interval_mL"])
        share = Fraction(row["tol_from_half_pct_of_expelled"]) / 100
        assert tolerance(size, size, TABLE) == size * share
        tenth = size / 10
        assert tolerance(tenth, size, TABLE) == (
            size * Fraction(row["tol_below_half_pct_of_nominal"]) / 100
            + tenth * Fraction(row["tol_below_half_plus_pct_of_expelled"]) / 100
        )


@pytest.mark.parametrize(
    "row", rows("syringe_usual_graduations.csv"), ids=lambda r: r["nominal_mL"]
)
def test_every_size_has_its_usual_lines(row: dict[str, str]) -> None:
    """Each row of the data file names its page, or says common practice."""
    kind = Kind.INSULIN if "insulin" in row["note"] else Kind.LUER_LOCK
    nominal = ml(row["nominal_mL"])
    (size, *_) = [size for size in TABLE.sizes_of(kind) if size.nominal == nominal]
    assert size.line == ml(row["graduation_mL"])
    assert size.citation.status == row["status"]


def test_the_dead_space_limit_is_that_of_the_market_study() -> None:
    """Cambruzzi and Macfarlane 2021 (abstract) name the limits for these four sizes."""
    limits = [("1", "0.07"), ("2.5", "0.07"), ("5", "0.075"), ("10", "0.1")]
    for size, limit in limits:
        assert dead_space(ml(size), TABLE) == ml(limit)


def test_flushing_a_tiny_dose_more_than_doubles_it() -> None:
    """Published dose example in paediatric anaesthesia: 0.05 mL and 0.07 mL make 0.12 mL."""
    assert with_dead_space(ml("0.05"), ml("1"), TABLE) == ml("0.12")


def test_a_u500_dose_on_a_u100_scale_is_fivefold() -> None:
    """Hospital pharmacy training note, February 2024: U-500 in a U-100 syringe, five times."""
    u100, u500 = (Concentration.parse(f"{units} units/mL") for units in (100, 500))
    scales = {size.made_for: size for size in TABLE.sizes_of(Kind.INSULIN)}
    assert scale_factor(scales[u100], u500) == 5
    assert scale_factor(scales[u500], u100) == Fraction(1, 5)
    assert scale_factor(scales[u100], u100) == scale_factor(scales[u500], u500) == 1
    assert scale_factor(TABLE.sizes_of(Kind.LUER_SLIP)[0], u100) is None
    with pytest.raises(DimensionMismatch):
        scale_factor(scales[u100], Concentration.parse("1 mg/mL"))


@pytest.mark.parametrize(
    ("use", "kinds"),
    [
        (Use.INJECTION, (Kind.LUER_SLIP, Kind.LUER_LOCK)),  # ISO 80369-7, from memory
        (Use.INSULIN, (Kind.INSULIN,)),  # ISO 8537, from memory
        (Use.ENTERAL, (Kind.ENTERAL,)),  # hospital pharmacy training note, February 2024
        (Use.NEURAXIAL, (Kind.NEURAXIAL,)),  # ISO 80369-6, from memory
    ],
)
def test_each_use_has_its_own_kinds_of_syringe(use: Use, kinds: tuple[Kind, ...]) -> None:
    assert kinds_for(use, TABLE) == kinds


def test_half_a_line_is_the_reading_error() -> None:
    """Common practice, no source: the eye reads to half a line."""
    assert reading_error(ml("0.5"), ml("0.1")) == Fraction(1, 10)
    assert reading_error(ml("3"), ml("0.2")) == Fraction(1, 30)


# The order follows from the tolerances above and the limits of the training note (20 to 80 %
# full), of USP <697> (not above three times the volume) and of the lines.
BEST = [
    ("3", "5", Fit.SUITABLE),  # a full 3 mL syringe is worse: ISO 7886-1 gives 5 % against 4 %
    ("1.5", "2", Fit.SUITABLE),
    ("0.5", "1", Fit.SUITABLE),
    ("0.3", "1", Fit.WITH_CARE),
    ("7", "10", Fit.SUITABLE),
    ("18", "30", Fit.SUITABLE),
    ("60", "60", Fit.WITH_CARE),
    ("21.7", "30", Fit.REJECTED),
]


@pytest.mark.parametrize(("volume", "size", "verdict"), BEST)
def test_the_best_syringe_comes_first(volume: str, size: str, verdict: Fit) -> None:
    first = luer(volume)[0]
    assert (first.size, first.verdict) == (ml(size), verdict)


def test_what_no_single_syringe_measures_is_measured_in_two() -> None:
    """Training note, February 2024: 21.7 mL is 21 mL in a 30 mL and 0.7 mL in a 1 mL syringe."""
    assert {choice.verdict for choice in luer("21.7")} == {Fit.REJECTED}
    for part, size in (("21", "30"), ("0.7", "1")):
        assert (luer(part)[0].size, luer(part)[0].verdict) == (ml(size), Fit.SUITABLE)


def test_every_size_that_is_not_taken_says_why() -> None:
    told = {str(choice.size): choice.reasons for choice in luer("0.5")}
    assert told["1 mL"] == ()
    (reason,) = told["3 mL"]
    assert reason == (
        "A 3 mL luer slip syringe would be only about 16.67 % full. From 20 % on it measures"
        " better."
    )
    assert told["5 mL"] == (
        "A 5 mL luer slip syringe has a line every 0.2 mL; 0.5 mL falls between two lines.",
    )
    assert {str(c.size): c.reasons for c in luer("1")}["20 mL"] == (
        "A 20 mL luer slip syringe has a line every 1 mL; 1 mL covers fewer than 2 lines.",
    )
    told = {str(choice.size): choice.reasons for choice in luer("3")}
    assert told["2 mL"] == ("A 2 mL luer slip syringe is too small for 3 mL.",)
    (reason,) = told["3 mL"]
    assert reason == (
        "A 3 mL luer slip syringe would be 100 % full. Keep it to 80 % or less, so that the"
        " plunger stays in."
    )
    assert told["10 mL"] == ("A 10 mL luer slip syringe holds more than 3 times 3 mL.",)


def test_a_kind_without_a_figure_is_ranked_by_its_lines_alone() -> None:
    first, *rest = ranked(ml("5"), TABLE.sizes_of(Kind.ENTERAL), TABLE)
    assert (first.size, first.tolerance) == (ml("10"), None)
    assert all(choice.tolerance is None for choice in rest)


def test_a_small_enteral_dose_is_taken_with_care() -> None:
    """Arenas-Lopez et al. 2017: 1 mL enteral syringes were outside 10 % below 0.25 mL."""
    for volume, said in (("0.24", True), ("0.25", False)):
        reasons = ranked(ml(volume), TABLE.sizes_of(Kind.ENTERAL), TABLE)[0].reasons
        assert ("Enteral syringes measure less exactly below 0.25 mL." in reasons) is said


volumes = st.integers(1, 60_000).map(lambda thousandths: ml(f"{thousandths}/1000"))


@settings(max_examples=100, deadline=None)
@given(volumes, st.sampled_from(list(Kind)))
def test_the_ranking_keeps_every_size_and_its_own_order(volume: Quantity, kind: Kind) -> None:
    sizes = TABLE.sizes_of(kind)
    choices = ranked(volume, sizes, TABLE)
    assert sorted((c.size.code, c.graduation.code) for c in choices) == sorted(
        (s.nominal.code, s.line.code) for s in sizes
    )
    order = [list(Fit).index(choice.verdict) for choice in choices]
    assert order == sorted(order)
    for choice in choices:
        assert (choice.reasons == ()) is (choice.verdict is Fit.SUITABLE)
        usable = choice.verdict is not Fit.REJECTED
        assert usable is (
            holds(volume, choice.size)
            and on_line(volume, choice.graduation)
            and volume >= choice.graduation * 2
        )
        if choice.verdict is Fit.SUITABLE:
            assert Fraction(1, 5) <= choice.fill <= Fraction(4, 5)
            assert choice.size <= volume * 3


@settings(max_examples=100, deadline=None)
@given(volumes, volumes)
def test_a_larger_volume_never_has_a_larger_share_of_error(a: Quantity, b: Quantity) -> None:
    low, high = sorted((a, b), key=lambda volume: volume.magnitude)
    size = ml("60")
    shares = [tolerance(volume, size, TABLE).ratio(volume) for volume in (low, high)]
    assert shares[0] >= shares[1] >= Fraction(4, 100)


@pytest.mark.parametrize("volume", ["0", "-1"])
def test_a_volume_that_is_not_above_zero_is_refused(volume: str) -> None:
    for ask in (
        lambda v: ranked(v, TABLE.sizes, TABLE),
        lambda v: tolerance(v, ml("1"), TABLE),
        lambda v: reading_error(v, ml("1")),
    ):
        with pytest.raises(ValueError, match="above zero"):
            ask(ml(volume))


def test_a_volume_that_the_syringe_does_not_hold_has_no_tolerance() -> None:
    with pytest.raises(ValueError, match=r"5\.1 mL does not fit into a 5 mL syringe"):
        tolerance(ml("5.1"), ml("5"), TABLE)


def test_an_amount_that_is_no_volume_is_refused() -> None:
    with pytest.raises(DimensionMismatch):
        tolerance(Quantity.of("1", "mg"), ml("5"), TABLE)


def test_every_figure_names_its_source() -> None:
    cited = [size.citation for size in TABLE.sizes] + [kind.citation for kind in TABLE.kinds]
    cited += [band.citation for band in TABLE.accuracy]
    cited += [band.citation for band in (*TABLE.scales, *TABLE.dead_spaces)]
    for citation in (*cited, *TABLE.limits.values()):
        assert citation.title and citation.edition and citation.status


BROKEN = [
    ('line = "0.2 mL"', "line = 0.2", "size 5: line is a bare decimal."),
    ('line = "0.2 mL"', 'line = "0,2 mL"', 'size 5: line is "0,2 mL". Write an amount'),
    ('line = "0.2 mL"', 'line = "0.2 mg"', 'size 5: line is "0.2 mg". Write an amount'),
    ('line = "0.2 mL"', 'line = "0.3 mL"', "whose last line is not its size"),
    ('line = "0.2 mL"', 'line = "1 mL"', "lines wider apart than the standard allows"),
    ('nominal = "20 mL"', 'nominal = "0 mL"', "Write an amount above zero"),
    ('nominal = "20 mL"', "", "nominal is not there"),
    ('made_for = "500 units/mL"', 'made_for = "500 U/mL"', "made_for cannot be read"),
    ('made_for = "500 units/mL"', "", "an insulin scale, and no other, has made_for"),
    ('kinds = ["enteral"]', 'kinds = ["oral"]', 'kinds is "oral". Write one of: luer slip'),
    ('name = "neuraxial"', 'name = "enteral"', "has to name each of these once"),
    ('below = "5 mL"\nof', 'below = "4 mL"\nof', "accuracy.band has a gap"),
    ('share = "80 %"', 'share = "80"', 'share is "80". Write a percentage as in "1.5 %"'),
    ('share = "80 %"', 'share = "8 %"', "fill_least is not below fill_most"),
    ("times = 3", "times = true", "times is not a whole number"),
    ('source = "usp_697"', 'source = "usp"', 'source is "usp", which [sources] does not have'),
    ('status = "confirmed"\n\n[oversize]', 'status = "sure"\n\n[oversize]', 'status is "sure"'),
    ("[fill_most]", "[fill_more]", "fill_most is not there"),
    ("[fill_most]", "[fill_more]", "fill_more is not a word of this table"),
    ('title = "Syringes"', 'title = ""', "title is not a text"),
    ('title = "Syringes"', 'title = "Syringes', "cannot be read as TOML"),
]


@pytest.mark.parametrize(("was", "becomes", "sentence"), BROKEN)
def test_a_fault_in_the_file_is_told_with_its_place(was: str, becomes: str, sentence: str) -> None:
    assert was in TEXT
    with pytest.raises(TableFault) as told:
        read(TEXT.replace(was, becomes, 1))
    assert [fault for fault in told.value.faults if sentence in fault]
    assert all(fault.startswith("syringe.toml") for fault in told.value.faults)


def test_all_faults_are_told_at_once() -> None:
    text = TEXT
    for was, becomes, _ in (BROKEN[1], BROKEN[12], BROKEN[14], BROKEN[15], BROKEN[19]):
        text = text.replace(was, becomes, 1)
    with pytest.raises(TableFault) as told:
        read(text, file="ward.toml")
    assert len(told.value.faults) == 5
    assert all(fault.startswith("ward.toml") for fault in told.value.faults)
