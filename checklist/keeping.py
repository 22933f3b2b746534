"""What is required of a workflow's shape: milestones, breaks, unseen fields, one giving."""

from __future__ import annotations

from collections.abc import Iterator

from checklist.requirement import Break, Required
from checklist.walks import Walks, item_of, taking, told, with_traits
from checklist.workflow import Who


def astray(walks: Walks) -> Iterator[tuple[str, str]]:
    """Ways to a step that falls away for these orders."""
    for move in walks.all:
        if move.dest not in walks.leaving:
            where = with_traits(walks.layout.workflow) or " (with nothing in particular)"
            sentence = f"`{move.trigger}` leads to `{move.dest}`, which falls away{where}"
            yield move.source.partition("/")[0], sentence


def kept(walks: Walks, required: Required) -> Iterator[tuple[str, str]]:
    """Milestones in order and none too late, critical steps critical, hidden fields hidden."""
    yield from _milestones(walks, required)
    flow, order = walks.layout.workflow, walks.layout.order
    yield from _given_twice(walks, required)
    kinds = required.containers[flow.container]
    for one in required.breaks:
        if not one.unless & kinds:
            yield from _broken(walks, one)
    for step in flow.steps[: order[flow.ready]]:
        if step.who is Who.GIVER:
            yield step.name, "before `ready` a step is in the hands of preparer or second person"
    for step in (s for phase in (*flow.phases, *flow.asides) for s in phase.steps):
        for field in step.fields:
            if field.name in required.hidden and not field.hidden:
                yield step.name, f"`{field.name}` is entered unseen: set `hidden`"
            if field.name in required.needed and field.optional:
                yield step.name, f"`{field.name}` is never left out: take `optional` away"


def _given_twice(walks: Walks, required: Required) -> Iterator[tuple[str, str]]:
    """Once the dose is in, no way leads back to giving it."""
    giving = [s for name in required.giving for s in walks.taking.get(name, ())]
    after = tuple(walks.layout.spots[step].next for step in giving)
    path = walks.path(after, frozenset(giving))
    if path is not None:
        yield (
            path[-1].source.partition("/")[0],
            f"the dose is in, and this path gives it again: {told(path)}",
        )


def _broken(walks: Walks, one: Break) -> Iterator[tuple[str, str]]:
    """After a break from one field to another work goes on where a third is taken, or earlier."""
    layout, order = walks.layout, walks.layout.order

    def at(field: str, item: str) -> list[int]:
        return [order[s] for s in walks.taking.get(field, ()) if item_of(s) == item]

    for item in dict.fromkeys(map(item_of, order)):
        begin, end = at(one.start, item), at(one.to, item)
        if not begin or not end:
            continue
        for step in layout.workflow.steps[min(begin) : max(end) + 1]:
            if one.refused and not step.critical:
                yield (
                    step.name,
                    f"a break from `{one.start}` to `{one.to}` is refused: set `critical`",
                )
            back = [order[s] for s in taking(walks, one.again, item_of(step.name))]
            if not order[layout.spots[step.name].resume_at] <= max(back, default=-1):
                yield (
                    step.name,
                    f"after a break here `{one.again}` is taken again: set `resume_at` back to it",
                )


def _milestones(walks: Walks, required: Required) -> Iterator[tuple[str, str]]:
    """The milestones stand in order, and none later than what it stands for."""
    flow, order = walks.layout.workflow, walks.layout.order
    at = {name: order[getattr(flow, name)] for name in ("restart", "opens", "withdraw", "ready")}
    for early, late in (("restart", "opens"), ("opens", "withdraw"), ("restart", "ready")):
        if not at[early] <= at[late]:
            yield flow.steps[at[early]].name, f"`{early}` stands after `{late}`"
    for name, fields in required.milestones.items():
        for field in fields:
            for step in walks.taking.get(field, ()):
                if not at[name] <= order[step]:
                    yield step, f"`{field}` is taken here, before `{name}` ({getattr(flow, name)})"
