"""The gate says what the moves say: every place, every trigger, every weight of verdicts."""

from __future__ import annotations

import itertools

import pytest

from checklist import library
from checklist.gate import Gate, OutOfSequence, Rules, weight
from checklist.preparation import CLOSED
from checklist.workflow import Layout, moves
from tests.effort import FULL

CONDITIONS = (
    "controlled", "double_check", "hold_rule", "intramuscular", "intravenous", "lookalike",
)  # fmt: skip
COMBINATIONS = [
    frozenset(chosen)
    for size in range(len(CONDITIONS) + 1)
    for chosen in itertools.combinations(CONDITIONS, size)
    if not {"intramuscular", "intravenous"} <= set(chosen)
]
# Without any, with each alone, and with as many as go together; the others in the full run.
WALKED = [c for c in COMBINATIONS if FULL or len(c) in (0, 1, len(CONDITIONS) - 1)]
VERDICTS = {
    "clear": (("pass",), ("pass", "pass")),
    "caution": (("caution",), ("pass", "caution")),
    "refused": (
        ("refusal",),
        ("pass", "refusal"),
        ("caution", "refusal"),
        (),
        ("yes",),
        ("pass", "None"),
        ("pass", "caution", "refusal", "pass"),
    ),
}


def test_the_conditions_of_the_shipped_workflow_are_all_walked_here() -> None:
    assert library.workflows()["glass_ampoule"].conditions == set(CONDITIONS)


@pytest.mark.parametrize("traits", WALKED, ids=lambda t: "+".join(sorted(t)) or "plain")
def test_gate_equals_the_moves_at_every_place_trigger_and_weight(traits: frozenset[str]) -> None:
    layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
    gate = Gate(layout)
    relation = {(m.source, m.trigger, m.when): m.dest for m in moves(layout)}
    triggers = {m.trigger for m in moves(layout)} | {"remedy:none:nowhere", "to_given", "wake"}
    asked = 0
    for place in layout.places:
        for trigger in triggers:
            for when, examples in VERDICTS.items():
                # Only an attempt is weighed; that the others are not is tried on the fullest flow.
                few = trigger != "attempt" and len(traits) < len(CONDITIONS)
                for verdicts in examples[:1] if few else examples:
                    if few and when != "clear":
                        continue
                    asked += 1
                    wanted = relation.get((place, trigger, when))
                    if trigger != "attempt":
                        wanted = relation.get((place, trigger, ""))
                    if wanted is None:
                        with pytest.raises(OutOfSequence):
                            gate.leads(place, trigger, verdicts)
                    else:
                        assert gate.leads(place, trigger, verdicts) == wanted
    assert asked > 5_000


def test_no_two_moves_share_source_trigger_and_weight() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        seen: dict[tuple[str, str, str], str] = {}
        for move in moves(layout):
            key = (move.source, move.trigger, move.when)
            assert seen.setdefault(key, move.dest) == move.dest, key


def test_every_move_starts_and_ends_at_a_known_place_and_none_leaves_a_closed_one() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        places = set(layout.places)
        for move in moves(layout):
            assert move.source in places and move.dest in places, move
            assert move.source not in CLOSED, move


def test_given_is_reached_only_by_an_attempt_or_a_released_caution() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        assert {m.trigger for m in moves(layout) if m.dest == "given"} == {"attempt", "proceed"}


def test_a_closed_place_can_be_reached_from_everywhere() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        back: dict[str, set[str]] = {}
        for move in moves(layout):
            back.setdefault(move.dest, set()).add(move.source)
        reached, edge = set(CLOSED), list(CLOSED)
        while edge:
            for source in back.get(edge.pop(), ()):
                if source not in reached:
                    reached.add(source)
                    edge.append(source)
        assert reached == set(layout.places)


def test_every_place_can_be_reached_from_the_first_step() -> None:
    layout = Layout(library.workflows()["glass_ampoule"].for_(COMBINATIONS[-1]))
    onward: dict[str, set[str]] = {}
    for move in moves(layout):
        onward.setdefault(move.source, set()).add(move.dest)
    first = layout.workflow.steps[0].name
    reached, edge = {first}, [first]
    while edge:
        for dest in onward.get(edge.pop(), ()):
            if dest not in reached:
                reached.add(dest)
                edge.append(dest)
    assert reached == set(layout.places)


def test_remedies_never_lead_forward() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        for move in moves(layout):
            if not move.trigger.startswith("remedy"):
                continue
            stood = layout.base(move.source)
            assert not layout.is_before(stood.place, move.dest), move


def test_no_way_back_from_a_break_goes_round_the_re_verification() -> None:
    for traits in COMBINATIONS:
        layout = Layout(library.workflows()["glass_ampoule"].for_(traits))
        for move in moves(layout):
            base, found, _ = move.source.partition("/reverify")
            if move.source.endswith("/interrupted"):
                assert move.trigger == "end" or move.dest.endswith("/reverify"), move
            if not found:
                continue
            again = layout.spots[f"{base}/reverify"]
            passes = move.trigger == "proceed" or (move.trigger, move.when) == ("attempt", "clear")
            to_the_step = move.dest in (base, again.resume_at)
            repeats = again.step.critical and move.trigger.startswith("remedy:recheck:")
            from_the_start = layout.is_before(move.dest, base) and move.dest != again.resume_at
            assert not to_the_step or passes or repeats or from_the_start, move


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ((), "refused"),
        (("pass",), "clear"),
        (("pass", "pass"), "clear"),
        (("caution", "pass"), "caution"),
        (("refusal",), "refused"),
        (("pass", "refusal", "caution"), "refused"),
        (("Pass",), "refused"),
        (("",), "refused"),
        (("nan",), "refused"),
    ],
)
def test_the_weight_of_verdicts_fails_closed(words: tuple[str, ...], wanted: str) -> None:
    assert weight(words) == wanted


def test_one_gate_is_shared_and_keeps_nothing() -> None:
    rules = Rules.of(library.workflows()["glass_ampoule"].for_(frozenset()))
    first = rules.workflow.steps[0].name
    before = rules.gate.leads(first, "attempt", ["pass"])
    rules.gate.leads(first, "attempt", ["refusal"])
    assert rules.gate.leads(first, "attempt", ["pass"]) == before
