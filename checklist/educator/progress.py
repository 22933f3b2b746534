"""A person's way to competence: attempts in order, a learning curve and a CUSUM that says its plan.

An attempt is right when no comparison stopped the person's own work in it: a stop ends the slip,
but for learning it still counts. What was found about the order or the patient is nobody's
technique and does not count, and neither does what a second person entered. What the person
reported of themselves, such as a touched tip, never counts: telling it must cost nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from checklist.checks import CHECKS
from checklist.facts.row import Facts, FindingFact
from checklist.review.cusum import Attempt, Plan, Standing, trainee
from checklist.review.interval import Interval, proportion
from checklist.review.run_length import of_trainee

USUAL = Plan(acceptable=0.10, unacceptable=0.20, alpha=0.10, beta=0.10)
"""10 and 20 in 100 as by Kestin, Br J Anaesth 1995;75:805-809; risks of 1 in 10 as there."""
NOT_TECHNIQUE = ("order", "patient", "call")
"""The phases in which what is found is about the order or the patient."""
COMPARED = frozenset(reason.code for check in CHECKS.values() for reason in check.reasons)
"""The reasons that a comparison finds; the others are told by the person or by the engine."""
ALL = "all"
"""Stands for every container together."""
BLOCK = 5
"""How many attempts make a row of the learning curve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A row of the learning curve: attempts `first` to `last`, how many were right, the time."""

    first: int
    last: int
    right: Interval
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeated:
    """A step at which this person was stopped: in how many of the attempts that came to it."""

    step: str
    share: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """One person's attempts with one container, in the order in which they were begun.

    `ids`, `dates` and `right` are one for each attempt, `curve` the CUSUM after each. `step` is
    the step that alone is judged, "" for all; `every` says that what the person told of themselves
    counts too. `still` is how many attempts without a slip it takes
    from here to "competent" at least.
    """

    person: str
    container: str
    step: str
    every: bool
    plan: Plan
    ids: tuple[str, ...]
    dates: tuple[str, ...]
    right: tuple[bool, ...]
    curve: tuple[Attempt, ...]
    blocks: tuple[Block, ...]
    repeated: tuple[Repeated, ...]

    @property
    def standing(self) -> Standing:
        """What the last line that was reached says."""
        return self.curve[-1].standing if self.curve else Standing.OPEN

    @property
    def still(self) -> int:
        """How many attempts, all right, it takes from here to the line of competence."""
        at = 0.0 if not self.curve or self.curve[-1].reached else self.curve[-1].sum
        left = (at + self.plan.competent) / self.plan.step
        whole = int(left - 1e-9) + 1
        return max(whole, 1)

    @property
    def relapsed(self) -> bool:
        """Whether the upper line was reached after the lower one."""
        reached = [one.reached for one in self.curve if one.reached]
        return Standing.COMPETENT in reached and reached[-1] is Standing.STOP


def stops(facts: Facts, step: str = "", *, every: bool = False) -> tuple[FindingFact, ...]:
    """The stops in a preparer's own work that count for learning, at one step where it is named.

    With `every` those count as well that no comparison found.
    """
    return tuple(
        one
        for one in facts.findings
        if one.tier == "hard"
        and (every or one.reason in COMPARED)
        and one.person == facts.preparation.preparer
        and one.who != "checker"
        and one.phase not in NOT_TECHNIQUE
        and step in ("", one.step)
    )


def progress_of(
    facts: Sequence[Facts],
    person: str,
    container: str,
    plan: Plan = USUAL,
    *,
    step: str = "",
    every: bool = False,
) -> Progress:
    """The progress of a person with a container or with ALL, from the facts of preparations.

    Preparations that are still open are left out, and so are those that never came to `step` where
    one is named. Nobody else's are looked at. With `every` what the person told of themselves
    counts as well.
    """
    own = sorted(
        (
            one
            for one in facts
            if one.preparation.preparer == person
            and container in (ALL, one.preparation.container)
            and one.preparation.ending
            and (not step or any(tried.step == step for tried in one.steps))
        ),
        key=lambda one: (one.preparation.opened_at, one.preparation.first_seq),
    )
    right = tuple(not stops(one, step, every=every) for one in own)
    return Progress(
        person=person,
        container=container,
        step=step,
        every=every,
        plan=plan,
        ids=tuple(one.preparation.preparation for one in own),
        dates=tuple(one.preparation.day for one in own),
        right=right,
        curve=trainee(right, plan) if right else (),
        blocks=tuple(_block(own, right, start) for start in range(0, len(own), BLOCK)),
        repeated=_repeated(own, every),
    )


def _block(own: Sequence[Facts], right: Sequence[bool], start: int) -> Block:
    some = own[start : start + BLOCK]
    good = sum(right[start : start + BLOCK])
    busy = [(one.preparation.seconds - one.preparation.away) / 60 for one in some]
    return Block(
        first=start + 1,
        last=start + len(some),
        right=proportion(good, len(some)),
        minutes=median(busy),
    )


def _repeated(own: Sequence[Facts], every: bool) -> tuple[Repeated, ...]:
    """The steps with a stop, the one in most attempts first, names in order where alike."""
    came: dict[str, int] = {}
    stopped: dict[str, int] = {}
    for one in own:
        for step in {tried.step for tried in one.steps if not tried.side}:
            came[step] = came.get(step, 0) + 1
        for step in {found.step for found in stops(one, every=every) if not found.side}:
            stopped[step] = stopped.get(step, 0) + 1
    order = sorted(stopped, key=lambda step: (-stopped[step], step))
    return tuple(Repeated(step=step, share=proportion(stopped[step], came[step])) for step in order)


def chances(plan: Plan, attempts: int) -> tuple[tuple[str, float, float, float], ...]:
    """For one truly acceptable and one truly not: the chance of each verdict in so many attempts.

    Rows are (who, competent, stop, open).
    """
    told = (("acceptable", plan.acceptable), ("not acceptable", plan.unacceptable))
    found = [(who, of_trainee(plan, actual, attempts)) for who, actual in told]
    return tuple((who, one.competent, one.stop, one.open) for who, one in found)
