"""One preparation of the invented year, played through the engine: slips, breaks, ways out."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from fractions import Fraction

from checklist import register
from checklist.answer import Answer
from checklist.number import plain
from checklist.observation import Channel, Kind
from checklist.order import Patient
from checklist.quantity import Quantity
from checklist.screen import Outcome, Screen
from checklist.target import opened_volume
from checklist.verdict import Remedy
from checklist.workflow import Who, ending_words
from checklist.year.place import DRAWN_FROM, YearStation, moved
from checklist.year.plan import Made, Plan, Slip

MOST_ACTS = 160
"""No preparation of the invented year takes as many acts: more of them are a fault of its files."""
MOST_STOPS = 12
"""Nor is one place stopped as often for the same: slips, tried again, are far fewer."""
CAUSES = ("call", "colleague", "patient", "alarm", "fetching", "other")
SECOND = (Who.CHECKER, Who.WITNESS)
ALIKE = {"product_again": "product"}
USUAL = {"custody": "in my hand all the time"}
LEAVING = (Remedy.STOP, Remedy.EVENT)


class Stuck(Exception):
    """What the year's files have entered cannot pass; the message says where it stands and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One preparation to play: what, by whom and with whom, and how slips are to fall.

    `slips` is the mean number of slips; `sure` says that there is at most one, with that chance.
    """

    made: Made
    by: str
    second: str
    slips: float
    sure: bool = False
    breaks: int = 0


@dataclass(slots=True)
class _Played:
    """What is under way in one preparation."""

    turn: Turn
    id: str
    pending: list[Slip]
    breaks: int
    stock: int = 0
    acts: int = 0
    stops: Counter[tuple[str, tuple[str, ...]]] = field(default_factory=Counter)


class Player:
    """Plays preparations at a station; `draw` decides everything that is left to chance."""

    def __init__(self, station: YearStation, plan: Plan, draw: random.Random) -> None:
        self.station, self._plan, self._draw = station, plan, draw
        self._base = station.ward.orders

    def play(self, turn: Turn, line: str) -> Outcome:
        """Play a preparation to its end and give the last outcome; the clock goes on with it."""
        station, rates = self.station, self._plan.rates
        by = station.moment - DRAWN_FROM
        order = moved(self._base[turn.made.order], line, by)
        if self._draw.random() < rates.late:
            # What is prepared after its window asks for a reason.
            order = moved(order, line, -timedelta(hours=3))
        station.lay(order, by)
        station.come(turn.by)
        outcome = station.open(line, turn.by, container=turn.made.container)
        prep = outcome.screen.prep
        rules = station.rules_of(prep.workflow)
        fields = {each.name for step in rules.workflow.steps for each in step.fields}
        played = _Played(turn, prep.id, self._slips(turn, fields), turn.breaks)
        while not outcome.screen.prep.closed:
            outcome = self._act(played, outcome.screen)
        return outcome

    # -- what is left to chance ----------------------------------------------------------------

    def _slips(self, turn: Turn, fields: set[str]) -> list[Slip]:
        """The slips of one preparation, among those that its steps can show."""
        count = (
            int(self._draw.random() < turn.slips) if turn.sure else poisson(turn.slips, self._draw)
        )
        able = {
            kind: [each for each in options if each.field in fields]
            for kind, options in self._plan.slips.items()
        }
        kinds = [kind for kind, options in able.items() if options]
        weights = [self._plan.weights[kind] for kind in kinds]
        found = []
        for kind in self._draw.choices(kinds, weights, k=count) if kinds else ():
            slip = self._draw.choice(able[kind])
            found += [slip] * (1 + (self._draw.random() < self._plan.rates.again))
        return found

    def _wait(self, median: float, spread: float, least: float = 0) -> None:
        seconds = max(self._draw.lognormvariate(math.log(median), spread), least)
        self.station.moment += timedelta(milliseconds=round(1000 * seconds))

    # -- acting --------------------------------------------------------------------------------

    def _act(self, played: _Played, screen: Screen) -> Outcome:
        played.acts += 1
        if played.acts > MOST_ACTS:
            raise Stuck(_stuck(screen, f"{MOST_ACTS} acts"))
        if screen.stands == "interrupted":
            return self._come_back(played)
        if screen.stands in ("refused", "caution"):
            return self._put_right(played, screen)
        return self._try(played, screen)

    def _try(self, played: _Played, screen: Screen) -> Outcome:
        spot, rates = screen.spot, self._plan.rates
        assert spot is not None
        critical = spot.step.critical
        chance = (rates.breaks_at_critical if critical else 1) / max(screen.total, 1) * 2
        if played.breaks and "/" not in spot.place and self._draw.random() < chance:
            played.breaks -= 1
            self._wait(5, rates.step_spread)
            return self.station.interrupt(played.id, self._draw.choice(CAUSES), played.turn.by)
        second = spot.step.who in SECOND
        if second and self._draw.random() < rates.primed:
            self._wait(5, 0.3)
        elif second:
            self._wait(60, rates.step_spread, 15)
        else:
            least = max((rates.slow.get(each.name, 0) for each in screen.fields), default=0)
            least = max(least, self._least(spot.step.shortest))
            self._wait(rates.step_median, rates.step_spread, least)
        answers = {name: Answer(raw, Channel.TYPED) for name, raw in self._said(played, screen)}
        hands = self._hands(played, screen)
        self.station.come(hands, played.id)
        return self.station.attempt(played.id, answers, hands)

    def _least(self, shortest: int) -> float:
        """Hands need their time; one in a hundred enters sooner than that all the same."""
        return 0 if self._draw.random() < 0.01 else shortest + 1

    def _hands(self, played: _Played, screen: Screen) -> str:
        spot = screen.spot
        return played.turn.second if spot and spot.step.who in SECOND else played.turn.by

    def _put_right(self, played: _Played, screen: Screen) -> Outcome:
        rates, turn = self._plan.rates, played.turn
        same = (screen.prep.place, tuple(each.code for each in screen.prep.standing))
        played.stops[same] += 1
        if played.stops[same] > MOST_STOPS:
            raise Stuck(_stuck(screen, f"{MOST_STOPS} stops for the same"))
        self._wait(rates.recovery_median, rates.recovery_spread)
        if screen.stands == "caution" and self._draw.random() < rates.released:
            who = turn.by
            codes = {each.code for each in screen.prep.standing}
            if codes & set(self.station.ward.unit.second_person_cautions):
                who = turn.second
            self.station.come(who, played.id)
            return self.station.proceed(played.id, "looked_again", who)
        if self._draw.random() < rates.ended or not screen.ways:
            return self._give_up(played, screen)
        way = next((each for each in screen.ways if each not in LEAVING), screen.ways[0])
        return self.station.remedy(played.id, way, turn.by)

    def _come_back(self, played: _Played) -> Outcome:
        self._wait(60 * self._plan.rates.break_minutes, 0.6)
        return self.station.resume(played.id, played.turn.by)

    def _give_up(self, played: _Played, screen: Screen) -> Outcome:
        """End for the first reason that is listed here, or by the first way that leads out."""
        rules = self.station.rules_of(screen.prep.workflow)
        phase = rules.layout.base(screen.prep.place).phase.name
        offered = sorted(ending_words(rules.workflow, phase))
        if offered:
            because = self._draw.choice(offered)
            return self.station.end(played.id, because, played.turn.by, note="invented")
        return self.station.remedy(played.id, screen.ways[0], played.turn.by)

    # -- what is entered -----------------------------------------------------------------------

    def _said(self, played: _Played, screen: Screen) -> list[tuple[str, str]]:
        right = {each.name: self._right(played, screen, each.name) for each in screen.fields}
        for slip in played.pending:
            if slip.field in right:
                played.pending.remove(slip)
                right[slip.field] = self._slipped(played, slip, right[slip.field])
                if slip.becomes == "another patient" and "second_identifier" in right:
                    right["second_identifier"] = self._other(played).birth_date.isoformat()
                break
        for each in screen.fields:
            if each.kind is Kind.SEEN and not right[each.name]:
                right[each.name] = "y"
        return [(name, raw) for name, raw in right.items() if raw]

    def _right(self, played: _Played, screen: Screen, name: str) -> str:
        answers = played.turn.made.answers
        if name in ("discarded_volume", "witness_discarded_volume"):
            return self._rest(screen)
        raw = answers.get(ALIKE.get(name, name), "") or USUAL.get(name, "")
        if not raw.startswith("<"):
            return raw
        patient = self.station.ward.patients[screen.prep.order.patient]
        now = self.station.ward.unit.local(self.station.moment)
        match raw[1:-1].split():
            case ["record", "number"]:
                return patient.record_number
            case ["birth", "date"]:
                return patient.birth_date.isoformat()
            case ["name"]:
                return patient.name
            case ["now"]:
                return f"{now:%H:%M}"
            case ["day", days]:
                return f"{now + timedelta(days=int(days)):%d %b %Y}"
            case ["stock", *less]:
                return str(self._stock(played, screen, first=not less) - bool(less))
            case _:
                raise ValueError(f"answers.toml: {raw!r} stands for nothing known")

    def _rest(self, screen: Screen) -> str:
        """What is left of all that was opened of a controlled drug, in mL."""
        prep, station, spot = screen.prep, self.station, screen.spot
        assert spot is not None
        around = station.surroundings(prep, station.person(prep.preparer), spot)
        rest = opened_volume(prep, around)
        for name in ("wasted_volume", "given_volume"):
            earlier = prep.latest(name)
            if rest is not None and earlier and isinstance(earlier.value, Quantity):
                rest = rest - earlier.value
        return "" if rest is None else plain(rest.to("mL").magnitude)

    def _stock(self, played: _Played, screen: Screen, *, first: bool) -> int:
        if first:
            code = played.turn.made.answers["product"][5:19]
            stock, uses = self.station.ward.unit.register, self.station.uses()
            played.stock = register.booked(stock, uses, own=played.id)[code]
        return played.stock

    def _slipped(self, played: _Played, slip: Slip, right: str) -> str:
        match slip.becomes.split():
            case ["times", factor]:
                return _times(right, factor)
            case ["not", "so"]:
                return "n"
            case ["another", "patient"]:
                return self._other(played).record_number
            case ["another", "item"]:
                return self._other_item(played)
            case ["out", "of", "date"]:
                gone = self.station.moment - timedelta(days=40)
                return f"{right[:21]}{gone:%y%m%d}{right[27:]}"
            case ["cannot", "be", "read"]:
                return f"{right},{right}"
            case _:
                return slip.becomes

    def _other(self, played: _Played) -> Patient:
        """Another patient than the one of the order, the same each time."""
        own = self.station.find(played.id).order.patient
        return next(p for code, p in sorted(self.station.ward.patients.items()) if code != own)

    def _other_item(self, played: _Played) -> str:
        """The code of another item: one in a container of the same kind where there is one."""
        own = played.turn.made
        others = [
            each for each in self._plan.made if each.answers["product"] != own.answers["product"]
        ]
        alike = [each for each in others if each.container == own.container]
        return self._draw.choice(alike or others).answers["product"]


def _stuck(screen: Screen, after: str) -> str:
    """The sentence about a preparation that does not come to an end."""
    codes = ", ".join(each.code for each in screen.prep.standing) or "no reason"
    return (
        f"Order {screen.prep.order.drug} goes on for ever: after {after} it stands at"
        f" {screen.prep.place!r} for {codes}. Look at what answers.toml has entered there."
    )


def _times(right: str, factor: str) -> str:
    """An amount as it would be entered with its first number so many times as great."""
    figure, space, rest = right.partition(" ")
    return f"{plain(Fraction(figure.replace(',', '')) * Fraction(factor))}{space}{rest}"


def poisson(mean: float, draw: random.Random) -> int:
    """A number of events by Poisson's law, by multiplying uniform draws (Knuth)."""
    limit, product, count = math.exp(-mean), draw.random(), 0
    while product > limit:
        product *= draw.random()
        count += 1
    return count
