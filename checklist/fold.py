"""The fold: entries into a preparation, by the same road through the gate as live work."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from checklist import codec
from checklist.gate import OutOfSequence, Rules
from checklist.observation import Observation
from checklist.preparation import BESIDE, CLOSED, Entry, Preparation, Standing
from checklist.verdict import Remedy
from checklist.workflow import REVERIFY


class TrailContradiction(Exception):
    """The recorded entries do not follow from one another by the workflow's own moves."""


def evolve(prep: Preparation | None, entry: Entry, rules: Rules) -> Preparation:
    """The preparation after one more entry. Raises TrailContradiction when it does not follow."""
    event = entry.event
    if prep is None:
        return _begun(entry, rules)
    if event.preparation != prep.id or event.turn != prep.turn + 1 or event.place != prep.place:
        raise TrailContradiction(
            f"entry {entry.seq} stands at {event.place!r}, turn {event.turn}; "
            f"{prep.place!r}, turn {prep.turn + 1} was to come"
        )
    lands = _follows(prep, entry, rules)
    if lands != event.lands:
        raise TrailContradiction(
            f"entry {entry.seq} lands at {event.lands!r}; by the workflow it leads to {lands!r}"
        )
    after = replace(prep, turn=event.turn, place=lands, last_at=event.at)
    return _STEPS[event.kind](after, entry, rules, prep)


def _begun(entry: Entry, rules: Rules) -> Preparation:
    event = entry.event
    first = rules.workflow.steps[0].name
    if event.kind != "opened" or event.turn != 0 or event.lands != first:
        raise TrailContradiction(f"entry {entry.seq} does not open a preparation at {first!r}")
    if event.body["workflow"] != rules.digest:
        raise TrailContradiction(f"entry {entry.seq} was opened under another workflow")
    return Preparation(
        id=event.preparation,
        turn=0,
        order=codec.order_in(event.body["order"]),
        workflow=event.body["workflow"],
        place=event.lands,
        opened_at=event.at,
        last_at=event.at,
        preparer=event.by,
        station=event.station,
        sources=event.body.get("sources", {}),
        turned=event.body.get("turned", False),
    )


def _follows(prep: Preparation, entry: Entry, rules: Rules) -> str:
    """Where the recorded entry leads by the gate, with the recorded verdicts."""
    event, body = entry.event, entry.event.body
    try:
        match event.kind:
            case "passed" | "cautioned" | "refused":
                _same_checks(prep, entry, rules)
                return rules.gate.leads(prep.place, "attempt", [w for _, w in body["checks"]])
            case "remedied":
                return rules.gate.leads(prep.place, f"remedy:{body['remedy']}:{event.lands}")
            case "proceeded":
                return rules.gate.leads(prep.place, "proceed")
            case "interrupted":
                return rules.gate.leads(prep.place, "interrupt")
            case "resumed":
                return rules.gate.leads(prep.place, "resume")
            case "ended":
                return rules.gate.leads(prep.place, "end")
            case kind if kind in BESIDE:
                return prep.place
            case _:
                raise TrailContradiction(f"entry {entry.seq} is of no known kind: {event.kind!r}")
    except (OutOfSequence, KeyError, ValueError) as error:
        raise TrailContradiction(f"entry {entry.seq}: {error}") from error


def _same_checks(prep: Preparation, entry: Entry, rules: Rules) -> None:
    """A pass counts only when every check of the step is on record as asked."""
    step = rules.layout.spots[prep.place].step
    asked = {name for name, _ in entry.event.body["checks"]}
    if entry.event.kind != "refused" and (missing := set(step.checks) - asked):
        raise TrailContradiction(
            f"entry {entry.seq} goes past {step.name!r} without {', '.join(sorted(missing))}"
        )


def _landed(after: Preparation, rules: Rules, before: Preparation) -> Preparation:
    """Going back forgets what was seen from the step landed on."""
    order = rules.layout.order
    if after.place not in order:
        return after
    kept = {s for s in after.seen if s in order and order[s] < order[after.place]}
    if kept.issuperset(after.seen):
        return after
    return replace(
        after,
        seen={s: o for s, o in after.seen.items() if s in kept},
        passed_at={s: t for s, t in after.passed_at.items() if s in kept},
        passed_by={s: p for s, p in after.passed_by.items() if s in kept},
    )


def _accepted(
    after: Preparation, seen: Observation, by: str, rules: Rules, before: Preparation
) -> Preparation:
    spot = rules.layout.base(before.place)
    name = spot.step.name
    over = spot.place.endswith(f"/{REVERIFY}")
    filled = replace(
        after,
        seen=after.seen if over else {**after.seen, name: seen},
        passed_at=after.passed_at if over else {**after.passed_at, name: after.last_at},
        passed_by=after.passed_by if over else {**after.passed_by, name: by},
        pending={},
        standing=(),
        tries={k: n for k, n in after.tries.items() if k[0] != spot.place},
        interrupted_at=None if over else after.interrupted_at,
        restarts=after.restarts + (not over and _starts_again(after, before, rules)),
    )
    return _landed(filled, rules, before)


def _starts_again(after: Preparation, before: Preparation, rules: Rules) -> bool:
    restart = rules.workflow.restart
    stood = rules.layout.base(before.place).step.name
    return (
        after.place == restart and not rules.layout.is_before(stood, restart) and (stood != restart)
    )


def _on_passed(after: Preparation, entry: Entry, rules: Rules, before: Preparation) -> Preparation:
    seen = codec.observation_in(entry.event.body["seen"])
    return _accepted(after, seen, entry.event.by, rules, before)


def _on_cautioned(
    after: Preparation, entry: Entry, rules: Rules, before: Preparation
) -> Preparation:
    return replace(
        after,
        pending=codec.observation_in(entry.event.body["seen"]),
        pending_by=entry.event.by,
        standing=_standing(entry),
        cautions=after.cautions + 1,
    )


def _on_proceeded(
    after: Preparation, entry: Entry, rules: Rules, before: Preparation
) -> Preparation:
    return _accepted(after, before.pending, before.pending_by, rules, before)


def _on_refused(after: Preparation, entry: Entry, rules: Rules, before: Preparation) -> Preparation:
    standing = _standing(entry)
    tries = dict(after.tries)
    for one in standing:
        tries[before.place, one.code] = tries.get((before.place, one.code), 0) + 1
    return replace(after, standing=standing, tries=tries, refusals=after.refusals + 1)


def _standing(entry: Entry) -> tuple[Standing, ...]:
    reasons = entry.event.body["reasons"]
    hard_first = sorted(reasons, key=lambda r: r["tier"] != "hard")
    return tuple(Standing(code=r["code"], tier=r["tier"], facts=r["facts"]) for r in hard_first)


def _on_remedied(
    after: Preparation, entry: Entry, rules: Rules, before: Preparation
) -> Preparation:
    spot = rules.layout.base(before.place)
    again = after.place == spot.place and entry.event.body["remedy"] == Remedy.RECHECK.value
    body = entry.event.body
    cleared = replace(
        after,
        standing=(),
        pending={},
        # A fresh item or a fresh pair of eyes starts a fresh count of tries.
        tries=after.tries
        if again
        else {k: n for k, n in after.tries.items() if k[0] != spot.place},
        ended_because=after.ended_because
        or (body["answers"][0] if after.place in (spot.ends, *CLOSED) else ""),
        restarts=after.restarts + _starts_again(after, before, rules),
    )
    return _landed(cleared, rules, before)


def _on_interrupted(
    after: Preparation, entry: Entry, rules: Rules, before: Preparation
) -> Preparation:
    return replace(
        after,
        standing=(),
        pending={},
        interrupted_at=entry.event.at,
        cause=entry.event.body["cause"],
    )


def _on_explained(
    after: Preparation, entry: Entry, rules: Rules, before: Preparation
) -> Preparation:
    return replace(after, cause=entry.event.body["cause"])


def _on_ended(after: Preparation, entry: Entry, rules: Rules, before: Preparation) -> Preparation:
    return replace(after, standing=(), pending={}, ended_because=entry.event.body["because"])


def _on_shown(after: Preparation, entry: Entry, rules: Rules, before: Preparation) -> Preparation:
    return replace(after, revealed=(*after.revealed, entry.event.body["what"]))


def _unchanged(after: Preparation, entry: Entry, rules: Rules, before: Preparation) -> Preparation:
    return after


_STEPS = {
    "passed": _on_passed,
    "cautioned": _on_cautioned,
    "proceeded": _on_proceeded,
    "refused": _on_refused,
    "remedied": _on_remedied,
    "interrupted": _on_interrupted,
    "resumed": _unchanged,
    "ended": _on_ended,
    "noted": _unchanged,
    "revealed": _on_shown,
    "printed": _unchanged,
    "explained": _on_explained,
}


def replay(entries: Iterable[Entry], rules: Rules) -> Preparation:
    """The preparation that these entries add up to.

    Raises TrailContradiction when an entry does not follow, ValueError when there is none.
    """
    prep: Preparation | None = None
    for entry in entries:
        prep = evolve(prep, entry, rules)
    if prep is None:
        raise ValueError("a preparation has at least its opening entry")
    return prep
