"""The proof: no path dodges a required barrier, checked against dominators and against the gate."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from pathlib import Path

import networkx
import pytest

from checklist import library, proof
from checklist.checks import CHECKS
from checklist.definition import Fault, WorkflowFaults, faults_in
from checklist.gate import Gate, OutOfSequence
from checklist.preparation import CLOSED, GIVEN
from checklist.requirement import FILE, Required, RequiredFaults, Requirement, read
from checklist.walks import Walks
from checklist.workflow import CAUTION, REFUSED, Layout, Workflow, moves
from tests.effort import FULL
from tests.mutation import laid_out
from tests.scene import Scene

FLOWS = library.workflows()
REQUIRED = library.required()
NAMES = sorted(FLOWS)


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_workflow_is_proved_for_every_combination_of_traits(name: str) -> None:
    found = proof.prove_all(FLOWS[name], REQUIRED)
    assert not found.faults, "\n".join(map(str, found.faults))
    assert found.combinations == sum(
        1 for _ in proof.combinations_of(FLOWS[name], FLOWS[name].conditions)
    )
    assert found.barriers >= 80, "a proof of little proves little"


@pytest.mark.parametrize(
    "name", ["glass_ampoule", *(["premixed_bag", "emergency_kit.glass_ampoule"] if FULL else [])]
)
def test_leaving_the_spare_traits_out_of_the_product_loses_no_fault(name: str) -> None:
    """Each combination one by one finds what the shorter way finds, also in a weakened workflow."""
    flow = FLOWS[name]
    weak = _without(flow, "dose_is_still_in_time", "line_not_traced")
    for workflow in (flow, weak):
        short = {f.sentence.partition(", and this path")[0] for f in _faults(workflow)}
        long = {
            fault.sentence.partition(", and this path")[0]
            for traits in proof.combinations_of(workflow, workflow.conditions)
            for fault in proof.prove(workflow, REQUIRED, traits).faults
        }
        assert short == long
    assert _faults(weak) and not _faults(flow)


def _faults(workflow: Workflow) -> tuple[Fault, ...]:
    return proof.prove_all(workflow, REQUIRED).faults


def _without(flow: Workflow, check: str, code: str) -> Workflow:
    """The workflow without a check and without the lines of a code."""

    def eased(phase):  # type: ignore[no-untyped-def]
        steps = tuple(
            replace(
                s,
                checks=tuple(c for c in s.checks if c != check),
                fields=tuple(f for f in s.fields if f.if_not != code),
            )
            for s in phase.steps
        )
        return replace(phase, steps=steps)

    return replace(flow, phases=tuple(map(eased, flow.phases)))


@pytest.mark.parametrize("name", NAMES)
def test_a_barrier_that_one_step_guards_is_a_dominator(name: str) -> None:
    """networkx, immediate dominators: whatever the search cannot dodge dominates its target."""
    traits = FLOWS[name].conditions
    layout = laid_out(FLOWS[name], traits)
    walks = Walks(layout)
    first = layout.workflow.steps[0].name
    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for move in walks.all:
        # A passing move is an edge through a vertex of its own, so that it can be dominated.
        passes = (move.trigger, move.when) in (("attempt", "clear"), ("proceed", ""))
        if passes:
            through = f"passed {layout.base(move.source).place}"
            graph.add_edge(move.source, through)
            graph.add_edge(through, move.dest)
        else:
            graph.add_edge(move.source, move.dest)
    idom = networkx.immediate_dominators(graph, first)
    above = {place: _dominators(place, idom) for place in (layout.workflow.ready, GIVEN)}
    asked = 0
    for guard, spots in walks.guarding.items():
        main = [s for s in spots if s.place in layout.order]
        if len(spots) != 1 or len(main) != 1:
            continue
        for target in ("ready", "given"):
            place = layout.workflow.ready if target == "ready" else GIVEN
            item = main[0].place.partition("@")[2]
            dodged = proof.escape(walks, guard, before=target, start=first, item=item)
            assert (dodged is None) == (f"passed {main[0].place}" in above[place]), (guard, target)
            asked += 1
    assert asked > 40


def _dominators(place: str, idom: dict[str, str | None]) -> set[str]:
    found = {place}
    here: str | None = place
    while here is not None and (up := idom.get(here)) not in (here, None):
        found.add(str(up))
        here = up
    return found


GUARDS = ("filter_is_fitted", "own_answer_agrees", "label_says_everything", "order_is_current")


@pytest.mark.parametrize("guard", GUARDS)
def test_the_gate_walked_to_the_end_agrees_with_the_search(guard: str) -> None:
    """Every place that the gate itself leads to, when the barrier's steps never pass.

    The walk knows nothing of moves: it tries every trigger with every weight of verdicts at every
    place that it gets to, and only leaves out what would pass the barrier.
    """
    flow = FLOWS["glass_ampoule"]
    for traits in (frozenset[str](), flow.conditions):
        layout = laid_out(flow, traits)
        reached = _walked(layout, guard)
        walks = Walks(layout)
        first = layout.workflow.steps[0].name
        for place in layout.places:
            shut = proof.shut_by(walks, Requirement(guards=(guard,), firm=True, before="given"))
            found = walks.path((first,), frozenset([place]), shut)
            assert (found is not None) == (place in reached), place
        assert GIVEN not in reached


def _walked(layout: Layout, guard: str) -> set[str]:
    gate, first = Gate(layout), layout.workflow.steps[0].name
    triggers = sorted({m.trigger for m in moves(layout)})
    weights = (["pass"], ["caution"], ["refusal"])
    reached: set[str] = set()
    edge = [first]
    while edge:
        place = edge.pop()
        guarded = place not in CLOSED and guard in layout.base(place).step.checks
        for trigger, verdicts in itertools.product(triggers, weights):
            if guarded and (trigger == "proceed" or (trigger, verdicts) == ("attempt", ["pass"])):
                continue
            if trigger != "attempt" and verdicts != ["pass"]:
                continue
            try:
                dest = gate.leads(place, trigger, verdicts)
            except OutOfSequence:
                continue
            if dest not in reached:
                reached.add(dest)
                edge.append(dest)
    return reached


def test_random_walks_of_the_gate_never_get_round_a_required_barrier() -> None:
    """Whatever a walk does at the gate, before `given` it has passed every barrier required."""
    chance = random.Random(7)
    flow = FLOWS["glass_ampoule"]
    layout = laid_out(flow, flow.conditions)
    gate, arrived = Gate(layout), 0
    onward = {place: [m for m in moves(layout) if m.source == place] for place in layout.places}
    asked = proof._asked_of(flow, REQUIRED, flow.conditions)
    rows = [
        row
        for _, row in asked
        if row.firm and row.before not in ("resumed", "leaving") and set(row.guards) & set(CHECKS)
    ]
    for _ in range(60):
        place, passed = layout.workflow.steps[0].name, set[str]()
        for _ in range(2_000):
            if place in CLOSED:
                break
            move = chance.choices(
                onward[place], [150 if m.when == "clear" else 1 for m in onward[place]]
            )[0]
            verdicts = {"clear": ["pass"], "caution": ["caution"]}.get(move.when, ["refusal"])
            if (move.trigger, move.when) in (("attempt", "clear"), ("proceed", "")):
                passed |= set(layout.base(place).step.checks)
            place = gate.leads(place, move.trigger, verdicts)
        if place == GIVEN:
            arrived += 1
            for row in rows:
                assert passed & set(row.guards), row
    assert arrived > 5


def test_escape_gives_the_path_it_found_move_by_move() -> None:
    flow = FLOWS["glass_ampoule"]
    weak = _without(flow, "filter_is_fitted", "")
    layout = laid_out(weak, frozenset())
    first = layout.workflow.steps[0].name
    path = proof.escape(Walks(layout), "filter_is_fitted", before="withdraw", start=first)
    assert path is not None
    known = set(moves(layout))
    assert path[0].source == first and path[-1].dest == layout.workflow.withdraw
    assert all(move in known for move in path)
    assert all(one.dest == other.source for one, other in itertools.pairwise(path))
    sound = laid_out(flow, frozenset())
    assert proof.escape(Walks(sound), "filter_is_fitted", before="withdraw", start=first) is None


def test_a_workflow_that_does_not_prove_does_not_load(tmp_path: Path) -> None:
    """The station refuses it and names file, step, barrier and the path."""
    weak = _without(FLOWS["glass_ampoule"], "filter_is_fitted", "")
    scene = Scene(tmp_path, workflows={**FLOWS, "glass_ampoule": weak})
    with pytest.raises(WorkflowFaults) as found:
        scene.open()
    said = str(found.value)
    assert "glass_ampoule.toml, step draw_up" in said
    assert "`filter_is_fitted` is required" in said and "this path dodges it: " in said
    assert "--1 passed-->" in said or "passed--> draw_up" in said
    assert not scene.trail.preparations()


def test_a_container_of_unknown_kind_does_not_load(tmp_path: Path) -> None:
    flow = replace(FLOWS["glass_ampoule"], container="hollow_stone")
    found = proof.prove(flow, REQUIRED, frozenset())
    assert [fault.file for fault in found.faults] == [FILE]
    assert "hollow_stone" in found.faults[0].sentence


def test_resuming_and_ending_are_held_for_every_place_of_every_workflow() -> None:
    for name in NAMES:
        layout = laid_out(FLOWS[name], FLOWS[name].conditions)
        walks = Walks(layout)
        for spot in layout.spots.values():
            for place in (spot.place, f"{spot.place}/{REFUSED}", f"{spot.place}/{CAUTION}"):
                assert walks.from_(place, "end") and walks.from_(place, "interrupt"), place
            for move in walks.from_(spot.interrupted, "resume"):
                assert move.dest.endswith("/reverify"), move


def test_controlled_waste_comes_before_the_label_of_every_container_that_has_both() -> None:
    asked = 0
    for name in NAMES:
        flow = FLOWS[name]
        if not any("waste_makes_up_the_rest" in s.checks for s in flow.steps):
            continue
        layout = laid_out(flow, flow.conditions)
        first = layout.workflow.steps[0].name
        if any(f.name == "label_drug" for s in flow.steps for f in s.fields):
            found = proof.escape(
                Walks(layout), "waste_makes_up_the_rest", before="label_drug", start=first
            )
            if "@" not in name and "mixed" not in name:
                assert found is None, name
                asked += 1
    assert asked >= 8


# -- the table of requirements ----------------------------------------------------------------

SHIPPED = (library.folder("workflows") / FILE).read_text(encoding="utf-8")


def required_of(folder: Path, text: str) -> Required:
    file = folder / FILE
    file.write_text(text, encoding="utf-8")
    return read(file)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"filter_is_fitted"', '"filter_is_fited"', ("filter_is_fitted", "did you mean")),
        ('barriers = ["filter_is_fitted"]', 'barriers = ["air_is_out"]', ("soft", "`asked`")),
        ('barriers = ["filter_is_fitted"]\n', "", ("requires nothing",)),
        ('before = "product"', 'befor = "product"', ("befor", "Extra inputs")),
        ('unless = ["powder"]', 'unless = ["sand"]', ("`sand`", "no container is")),
        ("refused = true", 'refused = "yes"', ("refused", "boolean")),
        ("[milestones]", "[milestones", ("not TOML text",)),
    ],
)
def test_a_fault_of_the_requirements_is_a_sentence(
    old: str, new: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    assert old in SHIPPED
    with pytest.raises(RequiredFaults) as found:
        required_of(tmp_path, SHIPPED.replace(old, new, 1))
    for word in words:
        assert word in str(found.value), found.value


def test_every_requirement_is_asked_of_some_workflow() -> None:
    asked = {
        row
        for flow in FLOWS.values()
        for _, row in proof._asked_of(flow, REQUIRED, frozenset(_traits()))
    }
    assert [row for row in REQUIRED.rows if row not in asked] == []


def _traits() -> set[str]:
    named = {t for row in REQUIRED.rows for t in row.when} - REQUIRED.kinds
    return named | {t for flow in FLOWS.values() for t in flow.conditions}


def test_shipped_workflows_have_no_fault_that_reading_tells() -> None:
    for flow in FLOWS.values():
        assert list(faults_in(flow)) == []
