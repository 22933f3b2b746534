"""Control charts against the printed centres, limits and signals of published data sets."""

import math
from collections.abc import Sequence
from statistics import fmean, stdev
from typing import Any

import pytest

from checklist.review.baseline import Baseline, Exclusion, freeze, limits, sigma
from checklist.review.chart import Chart, Phase, draw, since_last
from checklist.review.control_limit import D4, mean_range
from checklist.review.run_rule import runs
from checklist.review.series import Bounds, Design, GapCentre, GapCount, Kind, Point
from checklist.review.special_cause import ANHOEJ, SHEWHART
from tests.published import all_same, digits, not_reproduced, read, same


def points(data: Sequence[float], sizes: Sequence[float] | None = None) -> list[Point]:
    """Points labelled by their place, from 1 as in print."""
    over = sizes or [1] * len(data)
    pairs = enumerate(zip(data, over, strict=True), 1)
    return [Point(label=str(place), count=x, size=n) for place, (x, n) in pairs]


def frozen(
    design: Design,
    series: Sequence[Point],
    first: Sequence[int] | None = None,
    out: Sequence[int] = (),
) -> Baseline:
    """The baseline of the points with these places, from 1, less the ones left out."""
    kept = series if first is None else [series[place - 1] for place in first]
    gone = [Exclusion(label=str(place), reason="known cause") for place in out]
    return freeze(design, kept, reason="as printed", excluded=gone)


def outside(chart: Chart) -> list[int]:
    return [int(mark.label) for mark in chart.marks if mark.beyond]


def on(design: Design, series: Sequence[Point], baseline: Baseline) -> Chart:
    return draw(design, series, [Phase(start="1", reason="as printed", baseline=baseline)])


@pytest.mark.parametrize("name", ["p_orange_juice", "p_orange_juice_phase2", "c_circuit_boards"])
def test_frozen_limits_and_their_revision_are_the_printed_ones(name: str) -> None:
    example = read(name)
    printed = example["published"]
    design = Design(kind=Kind(example["chart"]))
    series = points(example["data"], example["denominators"])
    base = frozen(design, series, example["baseline"])
    low, high = limits(base, series[0].size) or (0, 0)
    assert digits(base.centre, printed["centre"])
    assert digits(low, printed["lcl"])
    assert digits(high, printed["ucl"])
    signals = outside(on(design, series, base))
    first = set(example["baseline"])
    assert [p for p in signals if p in first] == printed.get("signals_rule1", [])
    if "signals_rule1_in_new" in printed:
        assert [p for p in signals if p not in first] == printed["signals_rule1_in_new"]
    if "revised_exclude" in printed:
        again = frozen(design, series, example["baseline"], printed["revised_exclude"])
        low, high = limits(again, series[0].size) or (0, 0)
        assert digits(again.centre, printed["revised_centre"])
        assert digits(low, printed["revised_lcl"])
        assert digits(high, printed["revised_ucl"])


def test_the_handbook_prints_the_same_p_chart_but_for_one_digit() -> None:
    example = read("p_orange_juice")
    printed = example["cross_published"]["NIST 6.3.3.2"]
    base = frozen(Design(kind=Kind.P), points(example["data"][:30], example["denominators"][:30]))
    low, high = limits(base, 50) or (0, 0)
    assert all_same((base.centre, low), (printed["centre"], printed["lcl"]), printed["decimals"])
    (listed,) = not_reproduced("p_orange_juice")
    assert same(high, listed["recomputed"], listed["decimals"])
    assert listed["published"] == printed["ucl"] != listed["recomputed"]


@pytest.mark.parametrize("name", ["p_variable_n", "u_dyed_cloth"])
def test_stepped_limits_are_the_printed_ones_at_each_point(name: str) -> None:
    example = read(name)
    printed = example["published"]
    chart = draw(
        Design(kind=Kind(example["chart"])), points(example["data"], example["denominators"])
    )
    phase = chart.phases[0]
    assert same(phase.baseline.centre, printed["centre"], 9)
    assert all_same([mark.low or 0 for mark in chart.marks], printed["lcl"], 9)
    assert all_same([mark.high or 0 for mark in chart.marks], printed["ucl"], 9)
    assert outside(chart) == printed["signals_rule1"]
    if "longest_run" in printed:
        assert phase.runs.longest == printed["longest_run"]
        assert phase.runs.crossings == printed["crossings"]


@pytest.mark.parametrize("name", ["c_nist_wafers", "u_pc_manufacture", "xmr_nist_flowrate"])
def test_level_limits_are_the_printed_ones(name: str) -> None:
    example = read(name)
    printed, decimals = example["published"], example["published"]["decimals"]
    kind = {"c": Kind.C, "u": Kind.U, "xmr": Kind.XMR}[example["chart"]]
    chart = draw(Design(kind=kind), points(example["data"], example.get("denominators")))
    mark = chart.marks[0]
    assert same(chart.phases[0].baseline.centre, printed["centre"], decimals)
    assert same(mark.low or 0, printed["lcl"], decimals)
    assert same(mark.high or 0, printed["ucl"], decimals)
    assert outside(chart) == printed["signals_rule1"]


def test_the_moving_range_limit_of_the_flow_rates_is_listed_with_why() -> None:
    example = read("xmr_nist_flowrate")
    ranges = draw(Design(kind=Kind.XMR), points(example["data"])).phases[0].ranges
    assert ranges is not None
    assert same(ranges.centre, example["published"]["mr_centre"], 4)
    (listed,) = not_reproduced("xmr_nist_flowrate")
    assert same(ranges.high, listed["recomputed"], listed["decimals"])
    assert listed["published"] == example["published"]["mr_ucl"] != listed["recomputed"]


def test_a_chart_split_in_two_has_the_printed_limits_in_each_part() -> None:
    example = read("c_split_cdi")
    phases = [Phase(start="1", reason="before"), Phase(start="25", reason="new cleaning")]
    by_chart = {
        "c": (Design(kind=Kind.C), points(example["data"]), 1),
        "u_per_10000_last_point": (
            Design(kind=Kind.U),
            points(example["data"], example["denominators"]),
            10_000,
        ),
    }
    for name, (design, series, times) in by_chart.items():
        chart = draw(design, series, phases)
        for phase, printed in zip(chart.phases, example["published"][name], strict=True):
            last = phase.marks[-1]
            found = (phase.baseline.centre, last.low or 0, last.high or 0)
            values = [printed["centre"], printed["lcl"], printed["ucl"]]
            assert all_same([times * value for value in found], values, 1)


def test_a_run_chart_draws_the_printed_medians() -> None:
    example = read("c_split_cdi")
    printed = example["published"]
    design = Design(kind=Kind.RUN, rules=ANHOEJ)
    series = points(example["data"])
    assert draw(design, series).marks[0].line == printed["run_median_all"]
    first = frozen(design, series, range(1, 25))
    assert first.centre == printed["run_median_first24"]
    phase = on(design, series, first).phases[0]
    assert phase.runs.longest == printed["longest_run_vs_first24_median"]
    assert phase.signals
    phases = [Phase(start="1", reason="before"), Phase(start="25", reason="new cleaning")]
    split = draw(design, series, phases)
    assert [p.baseline.centre for p in split.phases] == printed["run_median_parts"]
    assert {mark.low for mark in split.marks} == {None}


def _panels() -> list[Any]:
    region = read("u_infections_region")
    return [{"unit": "all", "type": "all", **region}, *read("u_infections_panels")["panels"]]


@pytest.mark.parametrize("panel", _panels(), ids=lambda p: f"{p['unit']}-{p['type']}")
def test_each_panel_has_its_printed_limits_runs_and_signals(panel: Any) -> None:
    printed = panel["published"]
    chart = draw(Design(kind=Kind.U), points(panel["data"], panel["denominators"]))
    phase = chart.phases[0]
    assert same(phase.baseline.centre, printed["centre"], 9)
    assert same(fmean(mark.low or 0 for mark in chart.marks), printed["mean_lcl"], 9)
    assert same(fmean(mark.high or 0 for mark in chart.marks), printed["mean_ucl"], 9)
    found = phase.runs
    assert [found.useful, found.longest, found.longest_limit] == [
        printed["n_useful"],
        printed["longest_run"],
        printed["longest_run_max"],
    ]
    assert [found.crossings, found.crossings_limit] == [
        printed["crossings"],
        printed["crossings_min"],
    ]
    assert bool(found.too_long or found.too_few_crossings) == printed["runs_signal"]
    printed_outside = printed.get("n_sigma_signals", len(printed.get("signals_rule1", [])))
    assert bool(outside(chart)) == bool(printed_outside)


def test_the_viscosity_chart_and_its_revision_are_the_printed_ones() -> None:
    example = read("xmr_viscosity")
    printed = example["published"]
    design = Design(kind=Kind.XMR)
    series = points(example["data"])
    base = frozen(design, series, example["baseline"])
    low, high = limits(base, 1) or (0, 0)
    found = (base.centre, sigma(base, 1) or 0, low, high)
    names = ("centre", "sigma", "lcl", "ucl")
    assert all(digits(v, printed[name]) for v, name in zip(found, names, strict=True))
    assert [p for p in outside(on(design, series, base)) if p <= 20] == printed["signals_rule1"]
    again = frozen(design, series, example["baseline"], printed["revised_exclude"])
    low, high = limits(again, 1) or (0, 0)
    found = (again.centre, sigma(again, 1) or 0, low, high)
    assert all(digits(v, printed[f"revised_{name}"]) for v, name in zip(found, names, strict=True))


def test_the_standard_deviation_gives_the_other_printed_limits_which_are_not_ours() -> None:
    example = read("xmr_viscosity")
    printed = example["published"]
    first = example["data"][:20]
    # c4 of 20 values, which takes the bias out of a standard deviation (any handbook of charts).
    c4 = math.sqrt(2 / 19) * math.gamma(10) / math.gamma(9.5)
    one, mean = stdev(first) / c4, fmean(first)
    found = (one, mean - 3 * one, mean + 3 * one)
    names = ("sd_based_sigma", "sd_based_lcl", "sd_based_ucl")
    assert all(digits(v, printed[name]) for v, name in zip(found, names, strict=True))
    base = frozen(Design(kind=Kind.XMR), points(first))
    assert (limits(base, 1) or (0, 0))[1] < printed["sd_based_ucl"]


def test_the_loan_chart_has_its_printed_limits_ranges_and_signals() -> None:
    example = read("xmr_loan_cost")
    printed = example["published"]
    design = Design(kind=Kind.XMR)
    series = points(example["data"])
    base = frozen(design, series, example["baseline"])
    chart = on(design, series, base)
    low, high = limits(base, 1) or (0, 0)
    ranges = chart.phases[0].ranges
    assert ranges is not None
    found = (base.centre, low, high, ranges.centre, ranges.high)
    values = [printed[key] for key in ("centre", "lcl", "ucl", "mr_centre", "mr_ucl")]
    assert all_same(found, values, 9)
    assert outside(chart) == printed["signals_rule1"]
    runs_found = chart.phases[0].runs
    assert [runs_found.longest, runs_found.crossings] == [
        printed["longest_run"],
        printed["crossings"],
    ]


def test_the_simulated_series_has_its_printed_limits_and_runs() -> None:
    example = read("run_rules_simulated")
    printed = example["published"]
    chart = draw(Design(kind=Kind.XMR), points(example["data"]))
    base = chart.phases[0].baseline
    one = sigma(base, 1) or 0
    low, high = limits(base, 1) or (0, 0)
    found = (base.centre, low, high, base.centre - 2 * one, base.centre + 2 * one)
    names = ("centre", "lcl", "ucl", "lcl_2s", "ucl_2s")
    assert all_same(found, [printed[name] for name in names], printed["decimals"])
    runs_found = chart.phases[0].runs
    limits_found = (runs_found.longest, runs_found.longest_limit)
    assert limits_found == (printed["longest_run"], printed["longest_run_max"])
    assert runs_found.crossings == printed["crossings"]
    assert runs_found.crossings_limit == printed["crossings_min"]
    assert bool(runs_found.too_long) == printed["runs_signal"]
    assert len(outside(chart)) == printed["n_sigma_signals"]


def test_the_chart_corrected_after_laney_has_its_printed_limits() -> None:
    example = read("pprime_nhs_waits")
    printed = example["published"]
    series = points(example["data"], example["denominators"])
    plain = draw(Design(kind=Kind.P), series)
    primed = draw(Design(kind=Kind.P_PRIME), series)
    last, other = plain.marks[-1], primed.marks[-1]
    assert same(plain.phases[0].baseline.centre, printed["centre"], 4)
    limits_found = (last.low or 0, last.high or 0)
    assert all_same(limits_found, [printed["p_lcl_last"], printed["p_ucl_last"]], 5)
    limits_found = (other.low or 0, other.high or 0)
    assert all_same(limits_found, [printed["pprime_lcl_last"], printed["pprime_ucl_last"]], 5)
    assert (len(outside(plain)) > 10) == printed["p_signals_many"]
    assert outside(primed) == printed["pprime_signals_rule1"]
    single = draw(Design(kind=Kind.XMR), series)
    mark = single.marks[0]
    found = (single.phases[0].baseline.centre, mark.low or 0, mark.high or 0)
    values = [printed[name] for name in ("i_centre", "i_lcl", "i_ucl")]
    assert all_same(found, values, printed["i_decimals"])


def test_the_valve_chart_has_its_printed_limits_and_runs() -> None:
    example = read("t_valve_failures")
    printed = example["published"]
    chart = draw(Design(kind=Kind.T), points(example["data"]))
    mark = chart.marks[0]
    assert all_same(
        (mark.line, mark.low or 0, mark.high or 0),
        [printed["centre"], printed["lcl"], printed["ucl"]],
        printed["decimals"],
    )
    found = chart.phases[0].runs
    assert [found.longest, found.crossings] == [printed["longest_run"], printed["crossings"]]


def test_the_surgery_charts_have_their_printed_limits_and_signal() -> None:
    example = read("g_t_surgery_deaths")
    printed = example["published"]
    design = Design(kind=Kind.G, bounds=Bounds.SIGMA)
    chart = draw(design, points(example["data"]))
    mark = chart.marks[0]
    found = (mark.line, mark.low or 0, mark.high or 0)
    assert all_same(found, [printed[k] for k in ("g_centre_median", "g_lcl", "g_ucl")], 1)
    # The first gap ends with the second death.
    signal = printed["signal_death_number"] - 1
    assert outside(chart) == [signal]
    screened = draw(Design(kind=Kind.T, screened=True), points(example["data_days"]))
    mark = screened.marks[0]
    found = (mark.line, mark.low or 0, mark.high or 0)
    assert all_same(found, [printed[k] for k in ("t_centre", "t_lcl", "t_ucl")], 1)
    assert outside(screened) == [signal]
    # Without the screening that the printed limit needs, it is 106.0.
    assert same(draw(Design(kind=Kind.T), points(example["data_days"])).marks[0].high or 0, 106, 1)


def test_the_births_chart_needs_the_printed_number_for_a_signal() -> None:
    example = read("g_births")
    design = Design(kind=Kind.G, bounds=Bounds.SIGMA)
    base = frozen(design, points(example["data"]))
    needed = example["published"]["ucl_needs_at_least"]
    assert since_last(base, needed).signal
    assert not since_last(base, needed - 1).signal
    share = 100 * example["n_events"] / example["n_total"]
    assert same(share, example["published"]["overall_percent_decimals1"], 1)


def test_exact_gap_limits_are_those_of_the_geometric_distribution() -> None:
    stats = pytest.importorskip("scipy.stats")
    example = read("g_t_surgery_deaths")
    mean = fmean(example["data"])
    for gap, shift in ((GapCount.WITH_EVENT, 0), (GapCount.BETWEEN, -1)):
        base = frozen(Design(kind=Kind.G, gap=gap), points(example["data"]))
        chance = 1 / (mean - shift)
        low, high = limits(base, 1) or (0, 0)
        assert low == stats.geom.ppf(0.00135, chance, loc=shift)
        assert high == stats.geom.ppf(0.99865, chance, loc=shift)
    assert high > 190


def test_three_middles_of_the_gaps_are_in_print() -> None:
    data = read("g_t_surgery_deaths")["data"]
    middles = {
        centre: frozen(Design(kind=Kind.G, centre=centre), points(data)).centre
        for centre in GapCentre
    }
    assert same(middles[GapCentre.MEDIAN], 24, 1)
    assert same(middles[GapCentre.MEAN], 31.67, 2)
    assert same(middles[GapCentre.MEAN_0_693], 21.95, 2)


@pytest.mark.parametrize(
    ("kind", "count", "size"),
    [(Kind.P, 9, 120), (Kind.NP, 9, 120), (Kind.U, 9, 2.5), (Kind.C, 9, 1)],
)
def test_exact_limits_leave_the_printed_tail_beyond_them(
    kind: Kind, count: int, size: float
) -> None:
    stats = pytest.importorskip("scipy.stats")
    series = points([count, count + 3, count - 3], [size] * 3)
    base = frozen(Design(kind=kind, bounds=Bounds.EXACT), series)
    over = size if kind in (Kind.P, Kind.U) else 1
    low, high = (round(limit * over) for limit in limits(base, size) or (0, 0))
    law = stats.binom(size, 9 / 120) if kind in (Kind.P, Kind.NP) else stats.poisson(9)
    assert law.sf(high) <= 0.00135 < law.sf(high - 1)
    assert law.cdf(low - 1) <= 0.00135 < law.cdf(low)


def test_screening_drops_large_ranges_once() -> None:
    assert mean_range([0, 1, 0, 1, 0, 1, 0, 30, 0]) == fmean([1] * 6 + [30, 30])
    assert mean_range([0, 1, 0, 1, 0, 1, 0, 30, 0], screened=True) == 1
    assert D4 * fmean([1] * 6 + [30, 30]) < 30
    assert mean_range([2, 2, 2], screened=True) == 0


def test_an_np_chart_is_a_p_chart_times_its_size() -> None:
    example = read("p_orange_juice")
    series = points(example["data"][:30], example["denominators"][:30])
    p, np = (draw(Design(kind=kind), series) for kind in (Kind.P, Kind.NP))
    for one, other in zip(p.marks, np.marks, strict=True):
        assert other.line == pytest.approx(50 * one.line)
        assert (other.low, other.high) == pytest.approx((50 * (one.low or 0), 50 * (one.high or 0)))
        assert (other.beyond, other.rules) == (one.beyond, one.rules)
        assert other.sigmas == pytest.approx(one.sigmas)


def test_runs_on_a_chart_are_runs_about_its_line() -> None:
    example = read("p_variable_n")
    chart = draw(
        Design(kind=Kind.P, rules=SHEWHART), points(example["data"], example["denominators"])
    )
    values = [mark.value for mark in chart.marks]
    assert chart.phases[0].runs == runs(values, chart.marks[0].line)
