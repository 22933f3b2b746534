"""A chart's own false-alarm chance: stable data alarm at that rate, and a real shift is found."""

import random

import pytest

from checklist.review.baseline import freeze
from checklist.review.chart import Chart, Phase, draw
from checklist.review.rehearsal import of_chart
from checklist.review.series import Design, GapCount, Kind, Point
from checklist.review.special_cause import ANHOEJ, SHEWHART
from checklist.review.unusable import Unusable

WEEKS, FIRST = 52, 20


def binomial(draw_: random.Random, size: int, share: float) -> int:
    return sum(draw_.random() < share for _ in range(size))


def year(draw_: random.Random, before: float, after: float) -> list[Point]:
    """Weekly counts of a year of 40 to 80 preparations a week, with a shift after week 30."""
    sizes = [random.Random(week).randint(40, 80) for week in range(WEEKS)]
    return [
        Point(
            label=f"w{week + 1}", count=binomial(draw_, n, before if week < 30 else after), size=n
        )
        for week, n in enumerate(sizes)
    ]


def charted(series: list[Point]) -> Chart:
    frozen = freeze(Design(kind=Kind.P), series[:FIRST], reason="first 20 weeks")
    return draw(frozen.design, series, [Phase(start="w1", reason="start", baseline=frozen)])


def test_stable_years_alarm_at_the_printed_rate() -> None:
    draw_ = random.Random(5)
    printed = of_chart(charted(year(draw_, 0.1, 0.1)), series=600)
    years = 300
    alarms = sum(bool(charted(year(draw_, 0.1, 0.1)).signals) for _ in range(years))
    chance = printed.chance
    # Four standard errors of the difference of two simulated shares.
    error = (chance * (1 - chance) * (1 / 600 + 1 / years)) ** 0.5
    assert abs(alarms / years - chance) < 4 * error
    assert printed.how == "simulated, 600 series"
    assert printed.points == WEEKS


def test_a_doubled_rate_is_found_within_weeks_and_most_often() -> None:
    draw_ = random.Random(7)
    found = 0
    for _ in range(60):
        chart = charted(year(draw_, 0.1, 0.2))
        late = {f"w{week}" for week in range(31, 53)}
        found += any(set(labels) & late for _, labels in chart.signals)
    assert found > 57


def _chart(kind: Kind) -> Chart:
    draw_ = random.Random(3)
    if kind in (Kind.P, Kind.P_PRIME, Kind.NP):
        series = [Point(label=str(i), count=binomial(draw_, 90, 0.2), size=90) for i in range(24)]
    elif kind in (Kind.U, Kind.U_PRIME):
        series = [Point(label=str(i), count=binomial(draw_, 90, 0.2), size=2.5) for i in range(24)]
    elif kind is Kind.C:
        series = [Point(label=str(i), count=binomial(draw_, 90, 0.2)) for i in range(24)]
    else:
        series = [Point(label=str(i), count=1 + int(draw_.expovariate(0.1))) for i in range(24)]
    rules = ANHOEJ if kind is Kind.RUN else SHEWHART
    return draw(Design(kind=kind, rules=rules, gap=GapCount.WITH_EVENT), series)


# Chances in 24 points: the nominal 6.3% for 3 sigma, less or more by the shape of each law and by
# limits from the same points, which hide some; for runs about the own median the exact 3.1%.
RANGES: dict[Kind, tuple[float, float]] = {
    Kind.P: (0.01, 0.12),
    Kind.P_PRIME: (0.01, 0.15),
    Kind.NP: (0.01, 0.12),
    Kind.U: (0.01, 0.12),
    Kind.U_PRIME: (0.01, 0.15),
    Kind.C: (0.01, 0.12),
    Kind.XMR: (0.01, 0.15),
    Kind.G: (0.0, 0.12),
    Kind.T: (0.0, 0.15),
    Kind.RUN: (0.015, 0.05),
}


@pytest.mark.parametrize("kind", Kind)
def test_every_chart_can_be_rehearsed(kind: Kind) -> None:
    chart = _chart(kind)
    found, again = of_chart(chart, series=500), of_chart(chart, series=500)
    assert found == again
    low, high = RANGES[kind]
    assert low <= found.chance <= high


def test_more_phases_are_more_chances() -> None:
    series = [Point(label=str(i), count=5 + i % 3) for i in range(48)]
    phases = [Phase(start=str(i), reason="x") for i in (0, 24)]
    twice = draw(Design(kind=Kind.C), series, phases)
    short = draw(Design(kind=Kind.C), series[:24])
    chances = [of_chart(chart, series=600).chance for chart in (twice, short)]
    assert abs((1 - chances[0]) - (1 - chances[1]) ** 2) < 0.06


def test_a_series_without_events_cannot_alarm() -> None:
    """At one event expected in all, many series have none, and no limit can be drawn from them."""
    series = [Point(label=str(i), count=int(i == 3), size=10) for i in range(12)]
    rare = draw(Design(kind=Kind.P, rules=SHEWHART), series)
    assert 0 < of_chart(rare).chance < 1


def test_no_series_give_no_chance() -> None:
    with pytest.raises(Unusable, match="number of series is 0"):
        of_chart(_chart(Kind.C), series=0)
