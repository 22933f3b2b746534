"""A workflow as a value, and its one meaning: a set of moves between places."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

from checklist.observation import Kind
from checklist.preparation import ABANDONED, DISCARDED, GIVEN, ITEM
from checklist.verdict import Remedy

HERE = "here"
RESTART = "restart"
END = "end"
RESUME = "resume"
SYMBOLS = (HERE, RESTART, END, RESUME)

REFUSED = "refused"
CAUTION = "caution"
INTERRUPTED = "interrupted"
REVERIFY = "reverify"
THEN_RESTART = "then_restart"
THEN_DISCARDED = "then_discarded"


class Who(StrEnum):
    """Whose hands a step is for."""

    PREPARER = "preparer"
    CHECKER = "checker"
    WITNESS = "witness"
    GIVER = "giver"


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing to report at a step.

    `name` is what it means, the same in every workflow (drawn_volume, product, lot ...), so that a
    check finds it wherever it was asked. `if_not` is the reason code of a "seen" line answered
    "not so"; `if_missing` the code of an empty answer. `private` fields identify a person: their
    text goes to the erasable table. `hidden` fields have an expected value that is never shown
    before the entry. `carried` names what a scan of this step may bring along (lot, expiry).
    """

    name: str
    kind: Kind
    say: str
    unit: str = ""
    answers: tuple[str, ...] = ()
    if_not: str = ""
    if_missing: str = ""
    private: bool = False
    hidden: bool = False
    optional: bool = False
    carried: str = ""
    only_if: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way out: this remedy answers these reason codes and leads to `to`.

    `to` is a step's name, or "here", "restart" (through the side phase that accounts for what was
    opened), "end", or, in a re-verification only, "resume".
    """

    remedy: Remedy
    on: tuple[str, ...]
    to: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One screen: what to do, what to report, what is checked, and the ways out of a refusal.

    `only_if` names traits of the order that must all hold. `resume_at` is the step at which work
    goes on after an interruption here ("" for this one); `critical` marks a step whose
    interruption is itself a refusal. `shortest` is the least time in seconds in which the hands
    can do it (0: not timed) and `shortest_from` where that figure comes from.
    """

    name: str
    ask: str
    how: str = ""
    who: Who = Who.PREPARER
    fields: tuple[Field, ...] = ()
    checks: tuple[str, ...] = ()
    ways: tuple[Way, ...] = ()
    only_if: tuple[str, ...] = ()
    resume_at: str = ""
    critical: bool = False
    shortest: int = 0
    shortest_from: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """Steps that belong together, with how the list is used: read then do, or do then enter."""

    name: str
    title: str
    mode: str
    steps: tuple[Step, ...]
    reverify: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Technique:
    """Something that an observer looks for at a step, which the engine cannot see.

    `critical` marks what no training is passed without.
    """

    name: str
    say: str
    step: str
    critical: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """A reason to end a preparation before the dose is given, offered in the named phases."""

    code: str
    say: str
    phases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Workflow:
    """The sequence for one container type.

    `kind` says what the container is (glass, stopper, powder ...), which the shared phases and the
    required barriers ask for. `sources` are the containers that the drug itself may come in, where
    that is another than `container`. `asides` are side phases: the account of opened items, and
    one re-verification per name used in a phase's `reverify`. From the step `opens` on, ending or
    restarting goes through `account`. `withdraw` and `ready` name the steps that stand for those
    milestones. `traits` are the order's traits for which conditions were spent (see `for_`).
    `observe` is what an observer looks for, in the order of the steps.
    """

    name: str
    title: str
    version: int
    container: str
    phases: tuple[Phase, ...]
    asides: tuple[Phase, ...]
    account: str
    restart: str
    opens: str
    withdraw: str
    ready: str
    endings: tuple[Ending, ...]
    kind: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    traits: tuple[str, ...] = ()
    observe: tuple[Technique, ...] = ()

    @property
    def steps(self) -> tuple[Step, ...]:
        """The main sequence, phases joined."""
        return tuple(step for phase in self.phases for step in phase.steps)

    def for_(self, traits: frozenset[str]) -> Workflow:
        """The workflow with its conditions spent: steps and fields not asked are gone."""

        def kept(step: Step) -> Step:
            fields = tuple(f for f in step.fields if traits.issuperset(f.only_if))
            return replace(step, fields=fields)

        def spent(phase: Phase) -> Phase:
            return replace(
                phase,
                steps=tuple(kept(s) for s in phase.steps if traits.issuperset(s.only_if)),
            )

        phases = tuple(p for p in map(spent, self.phases) if p.steps)
        left = {step.name for phase in phases for step in phase.steps}
        return replace(
            self,
            phases=phases,
            asides=tuple(map(spent, self.asides)),
            traits=tuple(sorted(traits & self.conditions)),
            observe=tuple(one for one in self.observe if one.step in left),
        )

    @property
    def conditions(self) -> frozenset[str]:
        """Every trait that some step or field asks for."""
        every = (*self.phases, *self.asides)
        return frozenset(
            trait
            for phase in every
            for step in phase.steps
            for named in (step.only_if, *(f.only_if for f in step.fields))
            for trait in named
        )

    @property
    def text(self) -> str:
        """The workflow as canonical JSON, the form that is kept in the trail.

        What came to the language later is left out where it is empty, so that a text which is
        kept in a trail already still has its digest.
        """
        told = asdict(self, dict_factory=_without_empty_additions)
        return json.dumps(told, sort_keys=True, ensure_ascii=False, separators=(",", ":"))

    @property
    def digest(self) -> str:
        """SHA-256 of `text`, in hex."""
        return digest_of(self.text)


def digest_of(text: str) -> str:
    """The digest of a workflow's text, under which the trail keeps it."""
    return hashlib.sha256(text.encode()).hexdigest()


_ADDITIONS = ("observe", "shortest_from")


def _without_empty_additions(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    return {name: value for name, value in pairs if value or name not in _ADDITIONS}


class Move(NamedTuple):
    """From `source`, `trigger` leads to `dest`; `when` is the weight of the verdicts it needs."""

    source: str
    trigger: str
    dest: str
    when: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A step as laid out: its place, what follows, and where ending and interruption lead."""

    place: str
    step: Step
    phase: Phase
    next: str
    ends: str
    restart: str
    reverify: str
    resume_at: str
    interrupted: str


class Layout:
    """All spots of a workflow, by place, and the order of the main sequence."""

    def __init__(self, workflow: Workflow) -> None:
        self.workflow = workflow
        self.order = {step.name: i for i, step in enumerate(workflow.steps)}
        self._asides = {phase.name: phase for phase in workflow.asides}
        self.spots: dict[str, Spot] = {}
        self._lay_main()
        self._lay_account(THEN_RESTART, workflow.restart)
        self._lay_account(THEN_DISCARDED, DISCARDED)

    def _through_account(self, exit_: str, finally_: str) -> str:
        steps = self._asides[self.workflow.account].steps
        return f"{steps[0].name}/{exit_}" if steps else finally_

    def _lay_main(self) -> None:
        flow = self.workflow
        steps = flow.steps
        phase_of = {step.name: phase for phase in flow.phases for step in phase.steps}
        opened = self.order[flow.opens]
        for i, step in enumerate(steps):
            after = i >= opened
            self._lay(
                step.name,
                step,
                phase_of[step.name],
                next_=steps[i + 1].name if i + 1 < len(steps) else GIVEN,
                ends=self._through_account(THEN_DISCARDED, DISCARDED) if after else ABANDONED,
                restart=self._restart(i, after),
                resume_at=step.resume_at if step.resume_at in self.order else step.name,
            )

    def _restart(self, i: int, opened: bool) -> str:
        """Where beginning with new items leads; before any item was taken, nowhere but here."""
        flow = self.workflow
        if opened:
            return self._through_account(THEN_RESTART, flow.restart)
        return flow.restart if i >= self.order[flow.restart] else flow.steps[i].name

    def _lay_account(self, exit_: str, finally_: str) -> None:
        phase = self._asides[self.workflow.account]
        for i, step in enumerate(phase.steps):
            place = f"{step.name}/{exit_}"
            last = i + 1 == len(phase.steps)
            self._lay(
                place,
                step,
                phase,
                next_=finally_ if last else f"{phase.steps[i + 1].name}/{exit_}",
                ends=self._through_account(THEN_DISCARDED, DISCARDED),
                restart=f"{phase.steps[0].name}/{exit_}",
                resume_at=place,
            )

    def _lay(
        self,
        place: str,
        step: Step,
        phase: Phase,
        *,
        next_: str,
        ends: str,
        restart: str,
        resume_at: str,
    ) -> None:
        aside = self._asides.get(phase.reverify)
        again = f"{place}/{REVERIFY}" if aside and aside.steps else ""
        interrupted = f"{place}/{INTERRUPTED}"
        self.spots[place] = Spot(
            place=place,
            step=step,
            phase=phase,
            next=next_,
            ends=ends,
            restart=restart,
            reverify=again or resume_at,
            resume_at=resume_at,
            interrupted=interrupted,
        )
        if again and aside:
            template = aside.steps[0]
            kept = tuple(w for w in template.ways if step.critical or w.to != RESUME)
            self.spots[again] = Spot(
                place=again,
                step=replace(template, critical=step.critical, ways=kept),
                phase=aside,
                next=resume_at,
                # Neither way may lead round the re-verification to the step that waits behind it.
                ends=again if ends == place else ends,
                restart=again if restart == place else restart,
                reverify=again,
                resume_at=resume_at,
                interrupted=interrupted,
            )

    def target(self, spot: Spot, to: str) -> str:
        """The place a way leads to from this spot."""
        symbolic = {HERE: spot.place, RESTART: spot.restart, END: spot.ends, RESUME: spot.resume_at}
        return symbolic.get(to, to)

    @cached_property
    def places(self) -> tuple[str, ...]:
        """Every place, closed ones last."""
        found: dict[str, None] = {}
        for spot in self.spots.values():
            for place in (
                spot.place,
                f"{spot.place}/{REFUSED}",
                f"{spot.place}/{CAUTION}",
                spot.interrupted,
            ):
                found[place] = None
        return (*found, GIVEN, DISCARDED, ABANDONED)

    def base(self, place: str) -> Spot:
        """The spot that a place belongs to, with any refused, caution or interrupted end cut off.

        Raises KeyError for a closed or unknown place.
        """
        if place in self.spots:
            return self.spots[place]
        stem, _, end = place.rpartition("/")
        if end in (REFUSED, CAUTION, INTERRUPTED) and stem in self.spots:
            return self.spots[stem]
        raise KeyError(place)

    def is_before(self, earlier: str, later: str) -> bool:
        """Whether a main step stands before another; False when either is not a main step."""
        return (
            earlier in self.order
            and later in self.order
            and self.order[earlier] < self.order[later]
        )


def moves(layout: Layout) -> Iterator[Move]:
    """Every move of a workflow: its one meaning, from which gate, proof and drawing are made."""
    for spot in layout.spots.values():
        refused, caution = f"{spot.place}/{REFUSED}", f"{spot.place}/{CAUTION}"
        yield Move(spot.place, "attempt", spot.next, "clear")
        yield Move(spot.place, "attempt", caution, "caution")
        yield Move(spot.place, "attempt", refused, "refused")
        yield Move(caution, "proceed", spot.next)
        remedies = {(way.remedy, layout.target(spot, way.to)) for way in spot.step.ways}
        for remedy, dest in sorted(remedies):
            for source in (refused, caution):
                yield Move(source, f"remedy:{remedy}:{dest}", dest)
        for source in (spot.place, refused, caution):
            yield Move(source, "interrupt", spot.interrupted)
            yield Move(source, "end", spot.ends)
        if not spot.place.endswith(f"/{REVERIFY}"):
            yield Move(spot.interrupted, "resume", spot.reverify)
            yield Move(spot.interrupted, "end", spot.ends)


def mermaid(workflow: Workflow, *, full: bool = False) -> str:
    """A Mermaid state diagram: the sequence and its ways back; `full` draws every move."""
    layout = Layout(workflow)
    lines = ["stateDiagram-v2"]

    def known(place: str) -> str:
        return place.replace("/", "__").replace(ITEM, "___")

    for place in layout.places:
        if full or (place in layout.spots and not place.endswith(f"/{REVERIFY}")):
            lines.append(f'  state "{place.replace("_", " ")}" as {known(place)}')
    lines.append(f"  [*] --> {known(workflow.steps[0].name)}")
    if full:
        for move in moves(layout):
            label = move.trigger + (f" ({move.when})" if move.when else "")
            lines.append(
                f"  {known(move.source)} --> {known(move.dest)}: {label.replace(':', ' ')}"
            )
    else:
        lines.extend(_brief(layout, known))
    lines.extend(f"  {place} --> [*]" for place in (GIVEN, DISCARDED, ABANDONED))
    return "\n".join(lines) + "\n"


def _brief(layout: Layout, known: Callable[[str], str]) -> Iterator[str]:
    for spot in layout.spots.values():
        if spot.place.endswith(f"/{REVERIFY}"):
            continue
        yield f"  {known(spot.place)} --> {known(spot.next)}"
        back: dict[str, list[str]] = {}
        for way in spot.step.ways:
            dest = layout.target(spot, way.to)
            if dest != spot.place:
                back.setdefault(dest, []).append(way.remedy.replace("_", " "))
        for dest, names in back.items():
            yield f"  {known(spot.place)} --> {known(dest)}: {', '.join(dict.fromkeys(names))}"


def phase_of(workflow: Workflow, name: str) -> Phase | None:
    """The phase that holds the main step `name`."""
    return next((p for p in workflow.phases if any(s.name == name for s in p.steps)), None)


def ending_words(workflow: Workflow, phase: str) -> Mapping[str, str]:
    """The reasons to end that are offered in a phase, code to words."""
    return {e.code: e.say for e in workflow.endings if not e.phases or phase in e.phases}
