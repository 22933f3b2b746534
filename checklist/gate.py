"""The gate: a workflow's moves as one shared state machine that says where a move leads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from transitions import Machine, MachineError, State

from checklist.preparation import CLOSED
from checklist.workflow import Layout, Move, Workflow, digest_of, moves

CLEAR = "clear"
CAUTION = "caution"
REFUSED = "refused"


class OutOfSequence(Exception):
    """A move was tried that does not exist where the preparation stands."""


def weight(verdicts: Sequence[str]) -> str:
    """The weight of a step's verdicts together.

    `verdicts` holds "pass", "caution" or "refusal", one for each check. No verdict at all, or a
    word that is none of the three, is refused: a gate that does not understand stays shut.
    """
    if verdicts and all(v == "pass" for v in verdicts):
        return CLEAR
    if verdicts and all(v in ("pass", "caution") for v in verdicts):
        return CAUTION
    return REFUSED


class _Cursor:
    """A throw-away model: the machine moves it and nobody keeps it."""

    __slots__ = ("state",)

    def __init__(self, place: str) -> None:
        self.state = place


# transitions compares a condition's answer with `== True`, so these return bools and nothing else.
def _is_clear(verdicts: Sequence[str]) -> bool:
    return weight(verdicts) == CLEAR


def _is_caution(verdicts: Sequence[str]) -> bool:
    return weight(verdicts) == CAUTION


def _is_refused(verdicts: Sequence[str]) -> bool:
    return weight(verdicts) == REFUSED


def _always(verdicts: Sequence[str]) -> bool:
    return True


_GUARD = {CLEAR: _is_clear, CAUTION: _is_caution, REFUSED: _is_refused, "": _always}


def _row(move: Move) -> dict[str, object]:
    return {
        "trigger": move.trigger,
        "source": move.source,
        "dest": move.dest,
        "conditions": _GUARD[move.when],
    }


class Gate:
    """Where moves lead. Built once for a workflow and shared: it holds no preparation."""

    def __init__(self, layout: Layout) -> None:
        self._machine = Machine(
            model=None,
            initial=None,
            auto_transitions=False,
            queued=False,
            send_event=False,
            ignore_invalid_triggers=False,
            states=[State(place, final=place in CLOSED) for place in layout.places],
            transitions=[_row(move) for move in moves(layout)],
        )

    def leads(self, place: str, trigger: str, verdicts: Sequence[str] = ()) -> str:
        """The place that `trigger` leads to from `place`.

        For "attempt", `verdicts` are the words of the step's checks; the gate weighs them itself,
        so that no caller can choose the outcome. Raises OutOfSequence when there is no such move.
        """
        cursor = _Cursor(place)
        try:
            moved = self._machine.events[trigger].trigger(cursor, verdicts=verdicts)
        except (KeyError, ValueError, MachineError):
            moved = False
        if not moved:
            raise OutOfSequence(f"at {place!r} there is no way by {trigger!r}")
        return cursor.state


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """A workflow with its conditions spent, laid out and compiled: everything a move needs.

    `text` is the workflow's, as it is kept in the trail, and `digest` that of the text.
    """

    workflow: Workflow
    text: str
    digest: str
    layout: Layout
    gate: Gate

    @classmethod
    def of(cls, workflow: Workflow) -> Rules:
        """Compile a workflow whose conditions have been spent by `Workflow.for_`."""
        layout, text = Layout(workflow), workflow.text
        return cls(
            workflow=workflow, text=text, digest=digest_of(text), layout=layout, gate=Gate(layout)
        )
