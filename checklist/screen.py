"""What a face shows: where a preparation stands, in words, and what an act led to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from checklist import engine
from checklist.checks import REASONS
from checklist.engine import Found
from checklist.gate import Rules
from checklist.preparation import Entry, Preparation
from checklist.verdict import Caution, Pass, Refusal, Remedy
from checklist.workflow import Field, Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A reason in words: what was found, why it matters, what to do, and its tier."""

    code: str
    tier: str
    found: str
    why: str
    next: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """Where a preparation stands, ready to be shown.

    `stands` is "step", "refused", "caution", "interrupted" or "closed". `number` and `total` count
    the main steps. `ways` are the remedies offered, `reasons` what they answer.
    """

    prep: Preparation
    stands: str
    phase: str
    mode: str
    number: int
    total: int
    spot: Spot | None
    fields: tuple[Field, ...]
    reasons: tuple[Told, ...]
    ways: tuple[Remedy, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of one act: the entry that records it, the new screen, and what was said."""

    entry: Entry
    screen: Screen
    told: tuple[Told, ...] = ()
    notes: tuple[Told, ...] = ()
    not_compared: tuple[str, ...] = ()


def asked(prep: Preparation, spot: Spot) -> tuple[Field, ...]:
    """The fields of a step in the words of this order: its hold rule names value and unit."""
    rule = prep.order.hold
    return tuple(
        replace(f, say=rule.what, unit=rule.unit) if f.name == "assessment" and rule else f
        for f in spot.step.fields
    )


def screen_of(prep: Preparation, rules: Rules) -> Screen:
    """The screen of a preparation where it stands."""
    order, total = rules.layout.order, len(rules.workflow.steps)
    if prep.closed:
        return Screen(
            prep=prep,
            stands="closed",
            phase="",
            mode="",
            number=total,
            total=total,
            spot=None,
            fields=(),
            reasons=(),
            ways=(),
        )
    spot = rules.layout.base(prep.place)
    end = prep.place.rpartition("/")[2] if prep.place not in rules.layout.spots else "step"
    main = spot.place.partition("/")[0]
    return Screen(
        prep=prep,
        stands=end,
        phase=spot.phase.title,
        mode=spot.phase.mode,
        number=order.get(main, order[rules.workflow.ready] - 1) + 1,
        total=total,
        spot=spot,
        fields=asked(prep, spot) if end == "step" else (),
        reasons=tuple(told(s.code, s.tier, s.facts) for s in prep.standing),
        ways=tuple(dict.fromkeys(w.remedy for w in engine.ways(prep, rules))),
    )


def outcome_of(
    entry: Entry, prep: Preparation, rules: Rules, found: tuple[Found, ...] = ()
) -> Outcome:
    """The outcome of a recorded act, with the words of every verdict."""
    verdicts = [f.verdict for f in found]
    against = [v for v in verdicts if not isinstance(v, Pass)]
    passes = [v for v in verdicts if isinstance(v, Pass)]
    return Outcome(
        entry=entry,
        screen=screen_of(prep, rules),
        told=tuple(
            told(v.reason.code, tier_of(v), v.facts)
            for v in sorted(against, key=lambda v: not isinstance(v, Refusal))
        ),
        notes=tuple(told(n.reason.code, "information", n.facts) for v in passes for n in v.notes),
        not_compared=tuple(v.not_compared for v in passes if v.not_compared),
    )


def tier_of(verdict: Caution | Refusal) -> str:
    """The tier that a verdict stands at: a refusal is hard whatever its reason's usual tier."""
    return "hard" if isinstance(verdict, Refusal) else "soft"


def told(code: str, tier: str, facts: Mapping[str, str]) -> Told:
    """The words of a reason code, its slots filled with facts."""
    reason = REASONS[code]
    return Told(
        code=code,
        tier=tier,
        found=reason.found.format_map(facts),
        why=reason.why.format_map(facts),
        next=reason.next.format_map(facts),
    )
