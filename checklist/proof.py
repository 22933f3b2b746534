"""The proof that no path through a workflow dodges a required barrier."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from checklist.checks import CHECKS
from checklist.definition import CONTAINER_KINDS, Fault, WorkflowFaults, layout_of
from checklist.form import OWN_TRAITS
from checklist.preparation import ABANDONED, DISCARDED, FIRST, GIVEN, ITEM, SECOND
from checklist.requirement import FILE, OPENING, RESUMED, Break, Required, Requirement
from checklist.shape import structure
from checklist.walks import Walks
from checklist.workflow import CAUTION, REFUSED, RESUME, Layout, Move, Spot, Who, Workflow


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What was proved of a workflow: for how many combinations of traits, how many barriers.

    `faults` is empty when it holds; otherwise each names file, step, barrier and path.
    """

    workflow: str
    combinations: int
    barriers: int
    faults: tuple[Fault, ...]


def passing(layout: Layout, spot: Spot, name: str, *, firm: bool) -> Iterator[Move]:
    """The moves that go on past a spot which guards the barrier `name`.

    The way on past a re-verification where nothing but a critical break stands counts as passing
    it, but not for a firm barrier whose own reasons that way answers.
    """
    yield Move(spot.place, "attempt", spot.next, "clear")
    yield Move(f"{spot.place}/{CAUTION}", "proceed", spot.next)
    codes = {r.code for r in CHECKS[name].reasons} if name in CHECKS else {name}
    for way in spot.step.ways:
        if way.to == RESUME and not (firm and codes.intersection(way.on)):
            dest = layout.target(spot, way.to)
            for end in (REFUSED, CAUTION):
                yield Move(f"{spot.place}/{end}", f"remedy:{way.remedy}:{dest}", dest)


def shut_by(walks: Walks, one: Requirement, item: str = "") -> frozenset[int]:
    """The moves a barrier takes away, by number: the passing moves of every step that guards it.

    At a step for an item only the barriers of that item count.
    """
    return frozenset(
        walks.number[move]
        for name in one.guards
        for spot in walks.guarding.get(name, ())
        if (not one.who or spot.step.who.value == one.who) and _item(spot.step.name) in ("", item)
        for move in passing(walks.layout, spot, name, firm=one.firm)
    )


def _item(step: str) -> str:
    return step.partition(ITEM)[2]


def escape(
    layout: Layout, barrier: str, *, before: str, start: str, who: str = ""
) -> list[Move] | None:
    """A path from the place `start` to `before` that dodges the barrier, or None: none exists.

    `barrier` is a check's name or the reason code of a line. `before` is "withdraw", "ready",
    "given", "leaving" (ended, or begun again with a new item) or a field that some step takes.
    """
    walks = Walks(layout)
    one = Requirement(guards=(barrier,), firm=True, before=before, who=who)
    return walks.path((start,), targets_of(walks, before), shut_by(walks, one))


def targets_of(walks: Walks, before: str, item: str = "") -> frozenset[str]:
    """The places that a milestone, or the steps that take a field, stand for."""
    layout, flow = walks.layout, walks.layout.workflow
    match before:
        case "opens" | "withdraw" | "ready":
            return frozenset([getattr(flow, before)])
        case "given":
            return frozenset([GIVEN])
        case "leaving":
            again = layout.order[flow.restart]
            return frozenset(
                [DISCARDED, ABANDONED, *(s for s, i in layout.order.items() if i <= again)]
            )
        case fields:
            return frozenset(_taking(walks, fields, item))


def _taking(walks: Walks, fields: str, item: str) -> Iterator[str]:
    """The main steps that take one of the fields "a or b", for this item or for all."""
    for field in fields.split(" or "):
        yield from (s for s in walks.taking.get(field, ()) if _item(s) in ("", item))


def runs(
    walks: Walks, one: Requirement, item: str
) -> Iterator[tuple[tuple[str, ...], frozenset[str]]]:
    """Each search that a requirement asks for: where it begins and what must be out of reach."""
    layout, flow = walks.layout, walks.layout.workflow
    if one.before == RESUMED:
        begin, end = _first(walks, one.after, item, 0), _first(walks, one.until, item, None)
        for step in flow.steps[begin:end]:
            spot = layout.spots[step.name]
            yield (spot.interrupted,), frozenset([spot.resume_at])
        return
    targets = targets_of(walks, one.before, item)
    starts: tuple[str, ...]
    match one.after:
        case "":
            starts = (flow.steps[0].name,)
        case "break":
            starts = tuple(layout.spots[s.name].interrupted for s in flow.steps)
        case "opening":
            starts = tuple(s.name for s in flow.steps[layout.order[flow.opens] :])
        case fields:
            starts = tuple(_taking(walks, fields, item))
    if starts and targets:
        yield starts, targets


def _first(walks: Walks, name: str, item: str, usual: int | None) -> int | None:
    """The number of the first step that a milestone or a field stands for."""
    if not name:
        return usual
    flow, order = walks.layout.workflow, walks.layout.order
    step = {OPENING: flow.opens, "withdraw": flow.withdraw, "ready": flow.ready}.get(name)
    taking = [step] if step else list(_taking(walks, name, item))
    return min((order[s] for s in taking), default=len(flow.steps))


def views(workflow: Workflow, required: Required) -> tuple[tuple[str, frozenset[str]], ...]:
    """The items of a workflow with the kinds that hold for each; one nameless item in most.

    What the drug's own container is holds beside what the container of the dose is.
    """
    kinds = [required.containers.get(c, frozenset()) for c in workflow.sources]
    own = required.containers[workflow.container]
    items = dict.fromkeys(_item(s.name) for s in workflow.steps if _item(s.name) in (FIRST, SECOND))
    if items:
        return tuple((item, own | kind) for item, kind in zip(items, kinds, strict=True))
    return (("", own.union(*kinds)),)


def prove(workflow: Workflow, required: Required, traits: frozenset[str]) -> Proof:
    """Prove a workflow for the orders that have exactly these traits.

    `workflow` still has its conditions, or has been spent for the same traits.
    """
    found = tuple(dict.fromkeys(fault for _, fault in _faults(workflow, required, traits)))
    count = len(_asked_of(workflow, required, traits))
    return Proof(workflow=workflow.name, combinations=1, barriers=count, faults=found)


def prove_all(workflow: Workflow, required: Required) -> Proof:
    """Prove a workflow for every combination of the traits that decide what it asks."""
    faults: dict[object, Fault] = {}
    barriers: set[tuple[str, Requirement]] = set()
    combinations = 0
    for chosen in combinations_of(workflow):
        traits = chosen | (_order_traits(required) - workflow.conditions)
        combinations += 1
        barriers.update(_asked_of(workflow, required, traits))
        for key, fault in _faults(workflow, required, traits):
            faults.setdefault(key, fault)
    return Proof(
        workflow=workflow.name,
        combinations=combinations,
        barriers=len(barriers),
        faults=tuple(faults.values()),
    )


def combinations_of(workflow: Workflow) -> Iterator[frozenset[str]]:
    """Every combination of the traits that some step or field asks for.

    What is true of one item of a mixture is true of the mixture, and the other way round; other
    combinations no order can have.
    """
    free = sorted(workflow.conditions)
    for size in range(len(free) + 1):
        for chosen in itertools.combinations(free, size):
            traits = frozenset(chosen)
            if all(_belongs_together(own, traits, workflow.conditions) for own in OWN_TRAITS):
                yield traits


def _belongs_together(own: str, traits: frozenset[str], known: frozenset[str]) -> bool:
    items = {f"{item}_{own}" for item in (FIRST, SECOND)} & known
    return not items or own not in known or (own in traits) == bool(items & traits)


def _order_traits(required: Required) -> frozenset[str]:
    return frozenset(t for row in required.rows for t in row.when) - required.kinds


def _asked_of(
    workflow: Workflow, required: Required, traits: frozenset[str]
) -> tuple[tuple[str, Requirement], ...]:
    """Every requirement that holds for these traits, with the item it is asked of."""
    if workflow.container not in required.containers:
        return ()
    found = []
    for item, kinds in views(workflow, required):
        own = {t for t in OWN_TRAITS if item and f"{item}_{t}" not in traits}
        held = (traits - own) | kinds
        found += [(row.item or item, row) for row in required.rows if row.holds(held)]
    return tuple(dict.fromkeys(found))


def _faults(
    workflow: Workflow, required: Required, traits: frozenset[str]
) -> Iterator[tuple[object, Fault]]:
    """Every fault, each with a key that is the same for the same fault under other traits."""
    spent = workflow.for_(traits)
    file = f"{workflow.name.partition('.')[0]}.toml"
    if workflow.container not in required.containers:
        sentence = f"[containers] does not say of what kind `{workflow.container}` is; add it"
        yield sentence, Fault(FILE, "", sentence)
        return
    told = frozenset().union(*(kinds for _, kinds in views(workflow, required)))
    kinds = told & frozenset(CONTAINER_KINDS)
    if kinds != frozenset(workflow.kind):
        sentence = (
            f"`kind` is {_list(workflow.kind)}; {FILE} says that `{workflow.name}` is"
            f" {_list(kinds)}"
        )
        yield sentence, Fault(file, "", sentence)
    try:
        layout = layout_of(spent)
    except WorkflowFaults as lost:
        yield from ((fault.sentence, fault) for fault in lost.faults)
        return
    walks = Walks(layout)
    if astray := list(_astray(walks)):
        yield from ((sentence, Fault(file, step, sentence)) for step, sentence in astray)
        return
    for step, sentence in itertools.chain(structure(walks), _kept(walks, required)):
        yield (step, sentence), Fault(file, step, sentence)
    for item, one in _asked_of(spent, required, traits):
        for fault in _dodged(walks, one, item, file):
            yield (item, one), fault


def _list(names: Iterable[str]) -> str:
    return ", ".join(sorted(names)) or "nothing"


def _dodged(walks: Walks, one: Requirement, item: str, file: str) -> Iterator[Fault]:
    layout = walks.layout
    searches = tuple(runs(walks, one, item))
    if not searches:
        names = " or ".join(f"`{n}`" for n in (one.after, one.before, one.until) if n)
        where = f" of the {item}" if item else ""
        sentence = f"`{one.name}` is required{where}, but no step takes {names}. {one.why}"
        yield Fault(file, "", sentence)
        return
    shut = shut_by(walks, one, item)
    if one.before == RESUMED:  # beginning again with new items is no way back to the same work
        shut |= walks.main
    for starts, targets in searches:
        path = walks.path(starts, targets, shut)
        if path is not None:
            hands = f" by the {one.who}" if one.who else ""
            hands += f" of the {item}" if item else ""
            since = f" after {one.after}" if one.after else ""
            yield Fault(
                file,
                path[-1].dest.partition("/")[0],
                f"`{one.name}` is required{hands}{since} before {one.before}, and this path dodges"
                f" it: {told(path)}{_with(layout.workflow)}. {one.why}",
            )
            return


def _with(workflow: Workflow) -> str:
    return f" (with {', '.join(workflow.traits)})" if workflow.traits else ""


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


def _astray(walks: Walks) -> Iterator[tuple[str, str]]:
    """Ways to a step that falls away for these orders."""
    for move in walks.all:
        if move.dest not in walks.leaving:
            where = _with(walks.layout.workflow) or " (with nothing in particular)"
            sentence = f"`{move.trigger}` leads to `{move.dest}`, which falls away{where}"
            yield move.source.partition("/")[0], sentence


def _kept(walks: Walks, required: Required) -> Iterator[tuple[str, str]]:
    """Milestones in order and none too late, critical steps critical, hidden fields hidden."""
    yield from _milestones(walks, required)
    flow, order = walks.layout.workflow, walks.layout.order
    for one in required.breaks:
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


def _broken(walks: Walks, one: Break) -> Iterator[tuple[str, str]]:
    """After a break from one field to another work goes on where a third is taken, or earlier."""
    layout, order = walks.layout, walks.layout.order
    begin, end, back = (
        [order[s] for s in walks.taking.get(name, ())] for name in (one.start, one.to, one.again)
    )
    if not begin or not end:
        return
    for step in layout.workflow.steps[min(begin) : max(end) + 1]:
        mine = [order[s] for s in _taking(walks, one.again, _item(step.name))]
        if one.refused and not step.critical:
            yield step.name, f"a break from `{one.start}` to `{one.to}` is refused: set `critical`"
        latest = max(back if not _item(step.name) else mine, default=-1)
        if not order[layout.spots[step.name].resume_at] <= latest:
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
