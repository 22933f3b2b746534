"""The proof that no path through a workflow dodges a required barrier."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from checklist.checks import CHECKS
from checklist.definition import CONTAINER_KINDS, Fault, WorkflowFaults, layout_of
from checklist.form import OWN_TRAITS
from checklist.keeping import astray, kept
from checklist.preparation import ABANDONED, DISCARDED, FIRST, GIVEN, ITEM, SECOND
from checklist.requirement import ADDED, DONE, FILE, OPENING, RESUMED, Required, Requirement
from checklist.shape import structure
from checklist.walks import Walks, item_of, taking, told, with_traits
from checklist.workflow import CAUTION, REFUSED, RESUME, Layout, Move, Spot, Workflow


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What was proved of a workflow: for how many combinations of traits, which barriers.

    `asked` holds each barrier with the item it is asked of ("" where there is one drug). `faults`
    is empty when it holds; otherwise each names file, step, barrier and path.
    """

    workflow: str
    combinations: int
    asked: tuple[tuple[str, Requirement], ...]
    faults: tuple[Fault, ...]

    @property
    def barriers(self) -> int:
        """How many barriers were looked at."""
        return len(self.asked)


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
        if (not one.who or spot.step.who.value == one.who) and item_of(spot.step.name) in ("", item)
        for move in passing(walks.layout, spot, name, firm=one.firm)
    )


def escape(
    walks: Walks, barrier: str, *, before: str, start: str, who: str = "", item: str = ""
) -> list[Move] | None:
    """A path from the place `start` to `before` that dodges the barrier, or None: none exists.

    `barrier` is a check's name or the reason code of a line. `before` is "opens", "withdraw",
    "ready", "given", "leaving" (ended, or begun again with a new item) or a field that some step
    takes. `item` is the drug of a mixture, or the carrier, that is meant.
    """
    one = Requirement(guards=(barrier,), firm=True, before=before, who=who)
    return walks.path((start,), targets_of(walks, before, item), shut_by(walks, one, item))


def targets_of(walks: Walks, before: str, item: str = "") -> frozenset[str]:
    """The places that a milestone, or the steps that take a field, stand for."""
    layout, flow = walks.layout, walks.layout.workflow
    match before:
        case "withdraw":
            own = f"{flow.withdraw.partition(ITEM)[0]}{ITEM}{item}"
            return frozenset([own if own in layout.order else flow.withdraw])
        case "opens" | "ready":
            return frozenset([getattr(flow, before)])
        case "given":
            return frozenset([GIVEN])
        case "leaving":
            again = layout.order[flow.restart]
            return frozenset(
                [DISCARDED, ABANDONED, *(s for s, i in layout.order.items() if i <= again)]
            )
        case fields:
            return frozenset(taking(walks, fields, item))


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
            starts = tuple(taking(walks, fields, item))
    if starts and targets:
        yield starts, targets


def _first(walks: Walks, name: str, item: str, usual: int | None) -> int | None:
    """The number of the first step that a milestone or a field stands for."""
    if not name:
        return usual
    flow, order = walks.layout.workflow, walks.layout.order
    if name == DONE:
        giving = [order[s] for field in walks.giving for s in walks.taking.get(field, ())]
        return max(giving, default=len(flow.steps)) + 1
    step = {OPENING: flow.opens, "withdraw": flow.withdraw, "ready": flow.ready}.get(name)
    steps = [step] if step else list(taking(walks, name, item))
    return min((order[s] for s in steps), default=len(flow.steps))


def views(workflow: Workflow, required: Required) -> tuple[tuple[str, frozenset[str]], ...]:
    """The items of a workflow with the kinds that hold for each; one nameless item in most.

    What the drug's own container is holds beside what the container of the dose is.
    """
    kinds = [required.containers.get(c, frozenset()) for c in workflow.sources]
    own = required.containers[workflow.container]
    items = dict.fromkeys(
        item_of(s.name) for s in workflow.steps if item_of(s.name) in (FIRST, SECOND)
    )
    if items:
        return tuple((item, own | kind) for item, kind in zip(items, kinds, strict=True))
    return (("", own.union(*kinds)),)


def prove(workflow: Workflow, required: Required, traits: frozenset[str]) -> Proof:
    """Prove a workflow for the orders that have exactly these traits.

    `workflow` still has its conditions, or has been spent for the same traits.
    """
    asked = _asked_of(workflow, required, traits)
    faults = [*_shaped(workflow, required, traits), *_held(workflow, required, traits, asked)]
    found = tuple(dict.fromkeys(fault for _, fault in faults))
    return Proof(workflow=workflow.name, combinations=1, asked=asked, faults=found)


def prove_all(workflow: Workflow, required: Required) -> Proof:
    """Prove a workflow for every combination of the traits that decide what it asks.

    A trait on which only lines to look at or enter hang changes no move. With it there are more
    barriers and the same ways, so that a requirement which does not ask for the trait is hardest
    without it: such traits are not multiplied out, see `_spare`.
    """
    spare = _spare(workflow, required)
    elsewhere = _order_traits(required) - workflow.conditions
    faults: dict[object, Fault] = {}
    barriers: dict[tuple[str, Requirement], None] = {}
    for chosen in combinations_of(workflow, workflow.conditions - spare):
        asked: dict[frozenset[str], list[tuple[str, Requirement]]] = {}
        for one in _asked_of(workflow, required, chosen | spare | elsewhere):
            asked.setdefault(one[1].when & spare, []).append(one)
            barriers[one] = None
        found = itertools.chain(
            _shaped(workflow, required, chosen | spare),
            *(_held(workflow, required, chosen | few, rows) for few, rows in asked.items()),
        )
        for key, fault in found:
            faults.setdefault(key, fault)
    return Proof(
        workflow=workflow.name,
        combinations=sum(1 for _ in combinations_of(workflow, workflow.conditions)),
        asked=tuple(barriers),
        faults=tuple(faults.values()),
    )


def _spare(workflow: Workflow, required: Required) -> frozenset[str]:
    """The traits on which only fields hang that no requirement reckons from."""
    steps = [s for phase in (*workflow.phases, *workflow.asides) for s in phase.steps]
    named = {
        name
        for row in required.rows
        for place in (row.before, row.after, row.until)
        for name in place.split(" or ")
    }
    named |= {name for one in required.breaks for name in (one.start, one.to, one.again)}
    named |= {name for fields in required.milestones.values() for name in fields}
    structural = {t for s in steps for t in s.only_if}
    structural |= {t for s in steps for f in s.fields if f.name in named for t in f.only_if}
    return workflow.conditions - structural


def combinations_of(workflow: Workflow, free: frozenset[str]) -> Iterator[frozenset[str]]:
    """Every combination of these traits that an order can have.

    What is true of one item of a mixture is true of the mixture, and the other way round.
    """
    for size in range(len(free) + 1):
        for chosen in itertools.combinations(sorted(free), size):
            traits = frozenset(chosen)
            if all(_belongs_together(own, traits, free) for own in OWN_TRAITS):
                yield traits


def _belongs_together(own: str, traits: frozenset[str], known: frozenset[str]) -> bool:
    items = {f"{item}_{own}" for item in (FIRST, SECOND)} & known
    return not items or own not in known or (own in traits) == bool(items & traits)


def _order_traits(required: Required) -> frozenset[str]:
    """Every trait on which a requirement hangs, of the order or of one item of a mixture."""
    named = frozenset(t for row in required.rows for t in row.when) - required.kinds
    return named | {f"{item}_{own}" for item in (FIRST, SECOND) for own in named & {*OWN_TRAITS}}


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
        found += [
            (row.item or item, row) for row in required.rows if row.holds(held, required.apart)
        ]
    return tuple(dict.fromkeys(found))


def _shaped(
    workflow: Workflow, required: Required, traits: frozenset[str]
) -> Iterator[tuple[object, Fault]]:
    """Faults that hang on no barrier, each with a key that is the same under other traits."""
    file = _file(workflow)
    if workflow.container not in required.containers:
        sentence = (
            f"[containers] does not say of what kind `{workflow.container}` is; add it there, or in"
            f" a ward's {ADDED}"
        )
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
        walks = Walks(layout_of(workflow.for_(traits)), required.giving)
    except WorkflowFaults as lost:
        yield from ((fault.sentence, fault) for fault in lost.faults)
        return
    if lost_ways := list(astray(walks)):
        yield from ((sentence, Fault(file, step, sentence)) for step, sentence in lost_ways)
        return
    for step, sentence in itertools.chain(structure(walks), kept(walks, required)):
        yield (step, sentence.partition(": ")[0]), Fault(file, step, sentence)


def _held(
    workflow: Workflow,
    required: Required,
    traits: frozenset[str],
    asked: Iterable[tuple[str, Requirement]],
) -> Iterator[tuple[object, Fault]]:
    """The requirements that some path dodges; nothing where the shape is not sound."""
    try:
        walks = Walks(layout_of(workflow.for_(traits)), required.giving)
    except WorkflowFaults:
        return
    if any(astray(walks)):
        return
    for item, one in asked:
        for fault in _dodged(walks, one, item, _file(workflow)):
            yield (item, one), fault


def _file(workflow: Workflow) -> str:
    return f"{workflow.name.partition('.')[0]}.toml"


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
                f" it: {told(path)}{with_traits(layout.workflow)}. {one.why}",
            )
            return
