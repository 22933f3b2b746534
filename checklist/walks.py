"""A workflow's moves as a graph to search, with some of the moves left out."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from checklist.preparation import ITEM
from checklist.workflow import Layout, Move, Spot, Step, Workflow, moves

ENTRY = "entry "
"""Before a field's name where the barrier is that the field is taken."""


class Walks:
    """A layout's moves by source, with searches that leave some of them out.

    `giving` are the fields that are taken when the dose is in.
    """

    def __init__(self, layout: Layout, giving: tuple[str, ...] = ()) -> None:
        self.layout = layout
        self.giving = giving
        self.all = tuple(moves(layout))
        self.number = {move: i for i, move in enumerate(self.all)}
        self.leaving: dict[str, list[tuple[int, str]]] = {place: [] for place in layout.places}
        for i, move in enumerate(self.all):
            self.leaving[move.source].append((i, move.dest))
        self.guarding: dict[str, list[Spot]] = {}
        self.taking: dict[str, list[str]] = {}
        for spot in layout.spots.values():
            for name in guards_of(spot.step):
                self.guarding.setdefault(name, []).append(spot)
        for step in layout.workflow.steps:
            for field in step.fields:
                self.taking.setdefault(field.name, []).append(step.name)
        self.main = frozenset(i for i, m in enumerate(self.all) if m.source in layout.order)
        self._found: dict[object, list[Move] | None] = {}

    def from_(self, place: str, trigger: str) -> list[Move]:
        """The moves that leave a place by a trigger."""
        return [self.all[i] for i, _ in self.leaving[place] if self.all[i].trigger == trigger]

    def path(
        self, starts: tuple[str, ...], targets: frozenset[str], shut: frozenset[int] = frozenset()
    ) -> list[Move] | None:
        """The shortest path from any start to any target without the moves numbered `shut`.

        None when there is none. A start counts as reached only by a move that comes back to it.
        """
        key = (starts, targets, shut)
        if key not in self._found:
            self._found[key] = self._search(starts, targets, shut)
        return self._found[key]

    def _search(
        self, starts: tuple[str, ...], targets: frozenset[str], shut: frozenset[int]
    ) -> list[Move] | None:
        came: dict[str, int] = {}
        edge = deque(starts)
        entered = set(starts)
        while edge:
            for i, dest in self.leaving[edge.popleft()]:
                if dest in targets and i not in shut:
                    return [*self._back(came, self.all[i].source), self.all[i]]
                if dest not in entered and i not in shut:
                    entered.add(dest)
                    came[dest] = i
                    edge.append(dest)
        return None

    def _back(self, came: dict[str, int], place: str) -> list[Move]:
        path: list[Move] = []
        while place in came:
            path.append(self.all[came[place]])
            place = path[-1].source
        return path[::-1]


def guards_of(step: Step) -> frozenset[str]:
    """The checks, codes of lines and entries without which a step cannot be passed."""
    taken = [f for f in step.fields if not f.optional]
    codes = [code for f in taken for code in (f.if_not, f.if_missing) if code]
    return frozenset([*step.checks, *codes, *(f"{ENTRY}{f.name}" for f in taken)])


def item_of(step: str) -> str:
    """The drug of a mixture, or the carrier, that a step is for; "" for a shared step."""
    return step.partition(ITEM)[2]


def taking(walks: Walks, fields: str, item: str) -> Iterator[str]:
    """The main steps that take a field of "a or b": this item's own, else the shared ones."""
    for field in fields.split(" or "):
        steps = walks.taking.get(field, ())
        yield from [s for s in steps if item and item_of(s) == item] or [
            s for s in steps if not item_of(s)
        ]


def told(path: list[Move]) -> str:
    """A path in words: runs of plain passes are folded, every other move is named."""
    said = [path[0].source]
    plain = 0
    for move in path:
        if move.trigger == "attempt" and move.when == "clear":
            plain += 1
            continue
        said += [*_run(plain, move.source), f"--{move.trigger}-->", move.dest]
        plain = 0
    return " ".join([*said, *_run(plain, path[-1].dest)])


def _run(plain: int, dest: str) -> list[str]:
    return [f"--{plain} passed-->", dest] if plain else []


def with_traits(workflow: Workflow) -> str:
    """The traits that a workflow was spent for, in brackets."""
    return f" (with {', '.join(workflow.traits)})" if workflow.traits else ""
