"""Every single weakening of a workflow: what somebody in a hurry might do to its file."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from checklist.definition import reasons_of
from checklist.workflow import RESUME, Field, Layout, Phase, Step, Way, Who, Workflow


@dataclass(frozen=True)
class Mutant:
    """A weakened workflow: the kind of weakening, the step, what was taken or changed there."""

    kind: str
    step: str
    what: str
    workflow: Workflow

    def __str__(self) -> str:
        return f"{self.workflow.name}: {self.kind} at {self.step or 'the head'}: {self.what}"


def mutants(workflow: Workflow) -> Iterator[Mutant]:
    """Every single weakening of a workflow that still has its conditions."""
    for maker in _MAKERS:
        yield from maker(workflow)


def _every(workflow: Workflow) -> Iterator[Step]:
    for phase in (*workflow.phases, *workflow.asides):
        yield from phase.steps


def _changed(workflow: Workflow, name: str, change: Callable[[Step], Step | None]) -> Workflow:
    """The workflow with one step changed, or gone where the change gives None."""

    def redone(phase: Phase) -> Phase:
        steps = [change(s) if s.name == name else s for s in phase.steps]
        return replace(phase, steps=tuple(s for s in steps if s is not None))

    return replace(
        workflow,
        phases=tuple(p for p in map(redone, workflow.phases) if p.steps),
        asides=tuple(map(redone, workflow.asides)),
    )


def _with_fields(step: Step, fields: tuple[Field, ...]) -> Step:
    return replace(step, fields=fields)


def _steps_dropped(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        yield Mutant("drop a step", step.name, step.name, _changed(flow, step.name, lambda s: None))


def _checks_dropped(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for check in step.checks:
            left = tuple(c for c in step.checks if c != check)
            made = _changed(flow, step.name, lambda s, left=left: replace(s, checks=left))  # type: ignore[misc]
            yield Mutant("drop a check", step.name, check, made)


def _lines_dropped(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for field in step.fields:
            if not field.if_not:
                continue
            left = tuple(f for f in step.fields if f.name != field.name)
            made = _changed(flow, step.name, lambda s, left=left: _with_fields(s, left))  # type: ignore[misc]
            yield Mutant("drop a line", step.name, field.if_not, made)


def _lines_optional(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for field in step.fields:
            if field.optional or not (field.if_not or field.if_missing):
                continue
            loose = tuple(
                replace(f, optional=True) if f.name == field.name else f for f in step.fields
            )
            made = _changed(flow, step.name, lambda s, loose=loose: _with_fields(s, loose))  # type: ignore[misc]
            what = f"{field.name} ({field.if_not or field.if_missing})"
            yield Mutant("make an entry optional", step.name, what, made)


def _codes_renamed(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for field in step.fields:
            if not field.if_not:
                continue
            for other in ("protected_time_off", "filter_mising"):
                if other == field.if_not:
                    continue
                renamed = tuple(
                    replace(f, if_not=other) if f.name == field.name else f for f in step.fields
                )
                made = _changed(flow, step.name, lambda s, r=renamed: _with_fields(s, r))  # type: ignore[misc]
                what = f"{field.if_not} to {other}"
                yield Mutant("rename a code", step.name, what, made)


def _remedies_dropped(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for reason in reasons_of(step):
            ways = [w for w in step.ways if reason.code in w.on]
            for way in ways:
                left = tuple(
                    replace(w, on=tuple(c for c in w.on if c != reason.code)) if w is way else w
                    for w in step.ways
                )
                left = tuple(w for w in left if w.on)
                made = _changed(flow, step.name, lambda s, left=left: replace(s, ways=left))  # type: ignore[misc]
                what = f"{way.remedy} for {reason.code}"
                yield Mutant("drop a remedy", step.name, what, made)


def _ways_forward(flow: Workflow) -> Iterator[Mutant]:
    names = [s.name for s in flow.steps]
    for step in _every(flow):
        for i, way in enumerate(step.ways):
            here = names.index(step.name) if step.name in names else -1
            for to in (RESUME, *names[here + 1 : here + 2], names[-1]):
                if to in (step.name, way.to) or (here < 0 and to not in (RESUME, names[-1])):
                    continue
                ways = (
                    *step.ways[:i],
                    Way(remedy=way.remedy, on=way.on, to=to),
                    *step.ways[i + 1 :],
                )
                made = _changed(flow, step.name, lambda s, w=ways: replace(s, ways=w))  # type: ignore[misc]
                yield Mutant("point a remedy forward", step.name, f"{way.remedy} to {to}", made)


def _steps_swapped(flow: Workflow) -> Iterator[Mutant]:
    steps = flow.steps
    for one, other in itertools.pairwise(steps):
        swap = {one.name: other, other.name: one}
        made = replace(
            flow,
            phases=tuple(
                replace(p, steps=tuple(swap.get(s.name, s) for s in p.steps)) for p in flow.phases
            ),
        )
        yield Mutant("swap two steps", one.name, f"with {other.name}", made)


def _conditions_added(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for trait in ("hold_rule", "lookalike"):
            if trait in step.only_if:
                continue
            made = _changed(
                flow,
                step.name,
                lambda s, t=trait: replace(s, only_if=(*s.only_if, t)),  # type: ignore[misc]
            )
            yield Mutant("ask a step of fewer orders", step.name, f"only if {trait}", made)


def _fields_of_fewer(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for field in step.fields:
            if not field.if_not or "lookalike" in field.only_if:
                continue
            fewer = tuple(
                replace(f, only_if=(*f.only_if, "lookalike")) if f.name == field.name else f
                for f in step.fields
            )
            made = _changed(flow, step.name, lambda s, f=fewer: _with_fields(s, f))  # type: ignore[misc]
            yield Mutant("ask a line of fewer orders", step.name, field.if_not, made)


def _hands_changed(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        if step.who in (Who.CHECKER, Who.WITNESS):
            made = _changed(flow, step.name, lambda s: replace(s, who=Who.GIVER))
            yield Mutant("let anybody do a second person's step", step.name, step.who, made)
        if step.who is Who.PREPARER:
            made = _changed(flow, step.name, lambda s: replace(s, who=Who.GIVER))
            yield Mutant("let anybody do the preparer's step", step.name, step.who, made)


def _breaks_eased(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        if step.critical:
            made = _changed(flow, step.name, lambda s: replace(s, critical=False))
            yield Mutant("let a critical step be broken off", step.name, "critical", made)
        if step.resume_at:
            made = _changed(flow, step.name, lambda s: replace(s, resume_at=""))
            yield Mutant("resume later", step.name, f"not at {step.resume_at}", made)
    for phase in flow.phases:
        phases = tuple(replace(p, reverify="") if p is phase else p for p in flow.phases)
        made = replace(flow, phases=phases)
        yield Mutant("resume without a re-verification", "", phase.name, made)


def _sight_given(flow: Workflow) -> Iterator[Mutant]:
    for step in _every(flow):
        for field in step.fields:
            if field.hidden:
                shown = tuple(
                    replace(f, hidden=False) if f.name == field.name else f for f in step.fields
                )
                made = _changed(flow, step.name, lambda s, f=shown: _with_fields(s, f))  # type: ignore[misc]
                yield Mutant("show what is entered unseen", step.name, field.name, made)


def _milestones_later(flow: Workflow) -> Iterator[Mutant]:
    names = [s.name for s in flow.steps]
    for word in ("restart", "opens", "withdraw", "ready"):
        stood = names.index(getattr(flow, word))
        for later in names[stood + 1 : stood + 4] + names[-1:]:
            made = replace(flow, **{word: later})  # type: ignore[arg-type]
            yield Mutant("move a milestone later", "", f"{word} to {later}", made)


def _endings_dropped(flow: Workflow) -> Iterator[Mutant]:
    yield Mutant("drop the reasons to end", "", "all of them", replace(flow, endings=()))


def _kinds_dropped(flow: Workflow) -> Iterator[Mutant]:
    for kind in flow.kind:
        made = replace(flow, kind=tuple(k for k in flow.kind if k != kind))
        yield Mutant("call the container something else", "", f"not {kind}", made)


_MAKERS = (
    _steps_dropped, _checks_dropped, _lines_dropped, _lines_optional, _codes_renamed,
    _remedies_dropped, _ways_forward, _steps_swapped, _conditions_added, _fields_of_fewer,
    _hands_changed, _breaks_eased, _sight_given, _milestones_later, _endings_dropped,
    _kinds_dropped,
)  # fmt: skip


def laid_out(flow: Workflow, traits: frozenset[str]) -> Layout:
    """The workflow laid out for these traits."""
    return Layout(flow.for_(traits))
