"""Every single weakening of a shipped workflow is refused, or harmless for a reason that is told.

By default a fixed sample of the weakenings is tried; with CHECKLIST_ALL_MUTANTS=1 all of them are.
The counts by kind are printed at the end of the run.
"""

from __future__ import annotations

import collections
import json
import os
import random
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from checklist import library, proof
from checklist.checks import CHECKS
from checklist.definition import faults_in
from checklist.form import OWN_TRAITS
from checklist.requirement import Required, Requirement
from checklist.verdict import Remedy
from checklist.workflow import Who, Workflow
from tests.mutation import Mutant, mutants

FLOWS = library.workflows()
REQUIRED = library.required()
EVERYTHING = os.environ.get("CHECKLIST_ALL_MUTANTS") == "1"
SAMPLE = 12
ELSEWHERE = proof._order_traits(REQUIRED)


def caught(mutant: Mutant) -> bool:
    """Whether reading or the proof refuses the weakened workflow."""
    if any(faults_in(mutant.workflow)):
        return True
    other = ELSEWHERE - mutant.workflow.conditions
    return any(
        proof.prove(mutant.workflow, REQUIRED, traits | other).faults
        for traits in _combinations(mutant)
    )


def _combinations(mutant: Mutant) -> Iterator[frozenset[str]]:
    """The combinations of traits that show a weakening, the likeliest first."""
    every = mutant.workflow.conditions
    yield every
    yield every - proof._spare(mutant.workflow, REQUIRED)
    if mutant.kind.startswith("ask a"):
        yield from (every - {trait} for trait in sorted(every))
    yield frozenset()


# -- what is harmless, and why ----------------------------------------------------------------

Excuse = Callable[[Mutant, Workflow], bool]


def _answered_otherwise(mutant: Mutant, plain: Workflow) -> bool:
    """The reason still has a way out at the step, and none of identity only a second look."""
    code = mutant.what.partition(" for ")[2]
    step = next(s for s in _steps(mutant.workflow) if s.name == mutant.step)
    ways = {way.remedy for way in step.ways if code in way.on}
    return bool(ways) and (ways != {Remedy.RECHECK} or not _identity(code))


def _identity(code: str) -> bool:
    from checklist.checks import REASONS

    return REASONS[code].identity


def _never_laid_out(mutant: Mutant, plain: Workflow) -> bool:
    """No critical step of the workflow uses the re-verification, so the way does not exist."""
    aside = next((p for p in plain.asides if any(s.name == mutant.step for s in p.steps)), None)
    if aside is None:
        return False
    users = [s for p in plain.phases if p.reverify == aside.name for s in p.steps]
    return not any(s.critical for s in users)


def _unused_after_opening(mutant: Mutant, plain: Workflow) -> bool:
    """The re-verification of what is open serves only steps at which nothing is open yet."""
    order = {s.name: i for i, s in enumerate(plain.steps)}
    users = [s for p in plain.phases if p.reverify == "reverify_open" for s in p.steps]
    return mutant.step == "back_to_the_opened_item" and all(
        order[s.name] < order[plain.opens] for s in users
    )


def _steps(flow: Workflow) -> Iterator[proof.Step]:  # type: ignore[name-defined]
    for phase in (*flow.phases, *flow.asides):
        yield from phase.steps


def _kinds(plain: Workflow) -> frozenset[str]:
    return frozenset(k for _, kinds in proof.views(plain, REQUIRED) for k in kinds)


def _no_glass(mutant: Mutant, plain: Workflow) -> bool:
    glass = [item for item, kinds in proof.views(plain, REQUIRED) if "glass" in kinds]
    own = mutant.step.partition("@")[2]
    return mutant.what == "glass_has_settled" and own not in glass


def _never_so_given(mutant: Mutant, plain: Workflow) -> bool:
    """The trait of the line is none that an order for this container can have."""
    told = {"enteral": ("line_not_traced", "patency_unconfirmed", "flush_missing")}
    nowhere = ("blood_on_aspiration",) if _kinds(plain) & {"enteral", "inhaled"} else ()
    codes = (*nowhere, *(told["enteral"] if "enteral" in _kinds(plain) else ()))
    return any(code in mutant.what for code in codes)


def _nothing_measured(mutant: Mutant, plain: Workflow) -> bool:
    """What the step takes is read off something that does not change while one is away."""
    return mutant.step in (
        "second_person_reads_the_device", "second_person_reads_the_first_drug", "write_the_label",
        "witness_the_level", "read_the_level", "waste_the_rest", "witness_the_waste",
    )  # fmt: skip


def _own_trait_of_the_item(mutant: Mutant, plain: Workflow) -> bool:
    """A mixture has a trait wherever one of its drugs has it, so nothing is asked of fewer."""
    step = next(s for s in plain.steps if s.name == mutant.step)
    trait = mutant.what.removeprefix("only if ")
    return trait in OWN_TRAITS and f"{mutant.step.partition('@')[2]}_{trait}" in step.only_if


def _there_anyway(mutant: Mutant, plain: Workflow) -> bool:
    """Work goes on at the step itself where nothing else is said."""
    return mutant.what == f"not at {mutant.step}"


def _after_giving(mutant: Mutant, plain: Workflow) -> bool:
    """The dose is in: whoever gave it has the rest in hand, and the witness is still another."""
    order = [s.name for s in plain.steps]
    return (
        mutant.step == "waste_the_rest"
        and order.index(mutant.step) > order.index(plain.ready)
        and any(s.who is Who.WITNESS for s in plain.steps[order.index(mutant.step) :])
    )


HARMLESS: dict[str, tuple[tuple[str, Excuse], ...]] = {
    "drop a remedy": (("another way out answers the same reason", _answered_otherwise),),
    "swap two steps": (
        ("nothing that either asks has to come before the other", lambda m, p: True),
    ),
    "point a remedy forward": (
        ("no critical step uses the re-verification: the way is never laid out", _never_laid_out),
    ),
    "drop a check": (
        ("it has nothing to look at where no glass was broken", _no_glass),
        ("the re-verification serves no step at which anything is open", _unused_after_opening),
    ),
    "drop a line": (
        ("no order for this container has the trait", _never_so_given),
        ("the re-verification serves no step at which anything is open", _unused_after_opening),
    ),
    "make an entry optional": (
        ("no order for this container has the trait", _never_so_given),
        ("the re-verification serves no step at which anything is open", _unused_after_opening),
    ),
    "ask a line of fewer orders": (
        ("no order for this container has the trait", _never_so_given),
        ("the re-verification serves no step at which anything is open", _unused_after_opening),
    ),
    "let a critical step be broken off": (
        ("what it takes does not change while one is away", _nothing_measured),
    ),
    "ask a step of fewer orders": (
        ("a mixture has the trait wherever one of its drugs has it", _own_trait_of_the_item),
    ),
    "let anybody do the preparer's step": (
        ("whoever gave the dose may waste the rest before the witness", _after_giving),
    ),
    "resume later": (
        ("work goes on at this step where nothing is said", _there_anyway),
        ("what it takes does not change while one is away", _nothing_measured),
    ),
}


def excuse(mutant: Mutant) -> str:
    """Why a weakening that is not refused does no harm; "" when nothing excuses it."""
    plain = FLOWS[mutant.workflow.name]
    for why, holds in HARMLESS.get(mutant.kind, ()):
        if holds(mutant, plain):
            return why
    return ""


def _sampled(name: str) -> list[Mutant]:
    every = list(mutants(FLOWS[name]))
    if EVERYTHING:
        return every
    by_kind: dict[str, list[Mutant]] = {}
    for mutant in every:
        by_kind.setdefault(mutant.kind, []).append(mutant)
    chance = random.Random(name)
    few = [chance.choice(kind) for kind in by_kind.values()]
    return few + chance.sample(every, max(0, min(SAMPLE, len(every)) - len(few)))


@pytest.mark.parametrize("name", sorted(FLOWS))
def test_a_weakened_workflow_is_refused_or_harmless(
    name: str, record_property: Callable[[str, object], None]
) -> None:
    missed, told = [], dict[str, collections.Counter[str]]()
    for mutant in _sampled(name):
        tally = told.setdefault(mutant.kind, collections.Counter())
        if caught(mutant):
            tally["refused"] += 1
        elif why := excuse(mutant):
            tally[f"harmless: {why}"] += 1
        else:
            missed.append(str(mutant))
    record_property("weakened", json.dumps(told))
    assert told
    assert not missed, "\n".join(missed)


# -- the table of requirements itself ---------------------------------------------------------


def _drops(flow: Workflow) -> Iterator[Mutant]:
    for mutant in mutants(flow):
        if mutant.kind in ("drop a check", "drop a line", "make an entry optional"):
            yield mutant


def test_a_dropped_requirement_lets_a_weakening_through_or_another_row_covers_it() -> None:
    """For each row: dropping what it guards is refused with it; without it mostly is not."""
    chance = random.Random(11)
    rows = list(REQUIRED.rows)
    asked = rows if EVERYTHING else chance.sample(rows, 24)
    bearing, covered = 0, 0
    for row in asked:
        found = _weakened_for(row)
        if found is None:
            covered += 1
            continue
        assert caught(found), (row.name, str(found))
        rest = replace(REQUIRED, rows=tuple(r for r in rows if r is not row))
        other = ELSEWHERE - FLOWS[found.workflow.name].conditions
        traits = FLOWS[found.workflow.name].conditions | other
        if proof.prove(found.workflow, rest, traits).faults:
            covered += 1
        else:
            bearing += 1
    print(f"requirements: {bearing} bear alone, {covered} are covered twice")  # noqa: T201
    assert bearing > covered


def _weakened_for(row: Requirement) -> Mutant | None:
    """A weakening that takes away what the row guards, in some workflow that it is asked of."""
    for flow in FLOWS.values():
        traits = flow.conditions | (ELSEWHERE - flow.conditions)
        if not any(one is row for _, one in proof._asked_of(flow, REQUIRED, traits)):
            continue
        names = {guard.removeprefix("entry ") for guard in row.guards}
        for mutant in _drops(flow):
            first = mutant.what.partition(" ")[0]
            if first in names and caught(mutant):
                return mutant
    return None


def test_a_requirement_that_is_dropped_is_seen_or_asked_by_another_row(
    record_property: Callable[[str, object], None],
) -> None:
    """Exhaustive: a guard then stands in a workflow unasked for, or another row asks for it."""
    every = {name: _named(flow, REQUIRED) for name, flow in FLOWS.items()}
    tally = collections.Counter[str]()
    for row in REQUIRED.rows:
        rest = replace(REQUIRED, rows=tuple(r for r in REQUIRED.rows if r is not row))
        lost = {g for name, flow in FLOWS.items() for g in every[name] - _named(flow, rest)}
        assert lost <= set(row.guards)
        tally["refused" if lost else "another row asks the same, by another milestone"] += 1
    record_property("weakened", json.dumps({"drop a requirement": tally}))
    assert tally["refused"] > len(REQUIRED.rows) / 2


def _named(flow: Workflow, required: Required) -> frozenset[str]:
    """What the rows ask of the workflow for an order with every trait."""
    traits = flow.conditions | (ELSEWHERE - flow.conditions)
    return frozenset(g for _, row in proof._asked_of(flow, required, traits) for g in row.guards)


# -- tiers, limits and codes -------------------------------------------------------------------


def test_a_check_whose_tier_is_lowered_is_no_barrier_any_more() -> None:
    """Every check that is required as a barrier stops by its own tiers."""
    from checklist.requirement import stops

    for row in REQUIRED.rows:
        for guard in row.guards:
            if row.firm and not guard.startswith("entry "):
                assert stops(guard), guard


def test_every_check_of_a_workflow_is_required_of_it() -> None:
    """No check stands in a shipped workflow without a row that keeps it there."""
    for name, flow in FLOWS.items():
        named = _named(flow, REQUIRED)
        for step in _steps(flow):
            for check in step.checks:
                assert check in named or check == "glass_has_settled", (name, step.name, check)
    assert all(name in CHECKS for name in ("glass_has_settled",))
