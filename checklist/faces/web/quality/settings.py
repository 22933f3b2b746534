"""The settings of a chart: what is counted, for which, and the rules with their false alarms."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from starlette.responses import Response

from checklist.counted import MEASURES, PERIODS
from checklist.drawing.wording import figure, in_hundred
from checklist.faces.charting import COLUMNS
from checklist.faces.web.quality.page import Seat
from checklist.faces.web.quality.wishing import KINDS, asked
from checklist.facts.label import NEAR_MISSES
from checklist.review.false_alarm import average_run_length, of_rules
from checklist.review.small_cell import FLOOR
from checklist.review.special_cause import RULE_SETS, Rule, RuleSet, put_together, rules_named
from checklist.review.unusable import Unusable

POINTS = 24
"""False-alarm chances are told for a stable series of so many points."""
SERIES = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Rules with how often they are wrong: of 100 stable series, and after how many points."""

    name: str
    in_hundred: str
    run_length: str
    how: str
    source: str


async def settings(seat: Seat) -> Response:
    """Everything that decides what a chart shows, with the rate at which its rules are wrong."""
    figures = seat.figures
    known = await figures.known()
    of = seat.params.get("of", "series")
    one = asked(figures, seat.params, of, known)
    chosen = rules_named(one.wish.rules)
    single = await figures.once(lambda: [told(put_together([rule])) for rule in Rule])
    sets = await figures.once(lambda: [told(each) for each in RULE_SETS.values()])
    own = await figures.once(lambda: told(chosen))
    return seat.page(
        "settings", asked=one, known=known, measures=MEASURES, periods=PERIODS, kinds=KINDS,
        near_misses=NEAR_MISSES, columns=COLUMNS, chosen=chosen, own=own, sets=sets, floor=FLOOR,
        single=list(zip(Rule, single, strict=True)), points=POINTS,
    )  # fmt: skip


@cache
def told(rules: RuleSet) -> Told:
    """How often rules alarm though nothing changed, in numbers that were worked out here."""
    alarm = of_rules(rules, POINTS, series=SERIES)
    try:
        length = f"one in about {figure(average_run_length(rules), 0)} points"
    except Unusable:
        length = "in no closed form"
    return Told(
        name=rules.name,
        in_hundred=in_hundred(alarm.chance),
        run_length=length,
        how=alarm.how,
        source=rules.source,
    )
