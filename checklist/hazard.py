"""The hazard register, and which barrier of which workflow stands against each hazard."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from checklist.checks import CHECKS, REASONS
from checklist.proof import views
from checklist.requirement import Required
from checklist.toml_file import NotToml, tables
from checklist.workflow import Workflow

FILE = "hazards.toml"
EVERY = "every"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One thing that can go wrong.

    `where` are the kinds of container it can happen with, or "every". `barriers` are the reason
    codes that stand in its way. `severity` is a proposal, 1 (none) to 5 (death).
    """

    id: str
    title: str
    cause: str
    harm: str
    where: tuple[str, ...]
    barriers: tuple[str, ...]
    severity: int
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A hazard that nothing stands against where a container is of kind `where`, and why."""

    hazard: str
    where: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """Hazards by id, explained gaps, and reasons of the catalogue that no workflow raises."""

    hazards: Mapping[str, Hazard]
    gaps: tuple[Gap, ...]
    left_out: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What stands against a hazard in a workflow: the steps at which each reason may be given."""

    hazard: str
    workflow: str
    steps: Mapping[str, tuple[str, ...]]


class HazardFaults(Exception):
    """Every fault found in one reading of the register, as sentences."""

    def __init__(self, sentences: list[str]) -> None:
        self.sentences = sentences
        super().__init__("\n".join(sentences))


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Words = Annotated[str, Field(min_length=4, max_length=240)]


class _HazardIn(_In):
    id: Annotated[str, Field(pattern=r"^H[0-9]{2}$")]
    title: Annotated[str, Field(min_length=4, max_length=80)]
    cause: Words
    harm: Words
    where: Annotated[list[Name], Field(min_length=1)]
    barriers: Annotated[list[Name], Field(min_length=1)]
    severity: Annotated[int, Field(ge=1, le=5)]
    source: Words


class _GapIn(_In):
    hazard: str
    where: Name
    why: Words


class _LeftOutIn(_In):
    code: Name
    why: Words


class _FileIn(_In):
    hazard: Annotated[list[_HazardIn], Field(min_length=1)]
    gap: list[_GapIn] = []
    left_out: list[_LeftOutIn] = []


def read(file: Path, required: Required) -> Register:
    """The register in a TOML file. Raises HazardFaults with every fault found in it.

    `required` knows the kinds of container.
    """
    try:
        given = _FileIn.model_validate(tables(file))
    except (OSError, NotToml) as error:
        raise HazardFaults([f"{FILE}: this cannot be read: {error}"]) from None
    except ValidationError as error:
        raise HazardFaults(
            [
                f"{FILE}, {'.'.join(map(str, one['loc']))}: {one['msg']}"
                for one in error.errors(include_url=False)
            ]
        ) from None
    if sentences := list(_faults(given, required)):
        raise HazardFaults(sentences)
    hazards = [
        Hazard(**{**one.model_dump(), "where": tuple(one.where), "barriers": tuple(one.barriers)})
        for one in given.hazard
    ]
    return Register(
        hazards={one.id: one for one in hazards},
        gaps=tuple(Gap(**one.model_dump()) for one in given.gap),
        left_out={one.code: one.why for one in given.left_out},
    )


def _faults(given: _FileIn, required: Required) -> Iterator[str]:
    ids = [one.id for one in given.hazard]
    for id_ in sorted({i for i in ids if ids.count(i) > 1}):
        yield f"{FILE}, {id_}: this id stands twice"
    for one in given.hazard:
        for kind in one.where:
            if kind != EVERY and kind not in required.kinds:
                close = difflib.get_close_matches(kind, required.kinds, 1)
                hint = f"; did you mean `{close[0]}`?" if close else ""
                yield f"{FILE}, {one.id}: no container is of the kind `{kind}`{hint}"
        for code in one.barriers:
            if code not in REASONS:
                close = difflib.get_close_matches(code, REASONS, 1)
                hint = f"; did you mean `{close[0]}`?" if close else ""
                yield f"{FILE}, {one.id}: no check gives `{code}`{hint}"
            elif one.id not in REASONS[code].hazards:
                yield f"{FILE}, {one.id}: `{code}` does not name this hazard"
    named = {one.id: set(one.barriers) for one in given.hazard}
    for code, reason in REASONS.items():
        for id_ in reason.hazards:
            if code not in named.get(id_, ()):
                yield f"{FILE}, {id_}: `{code}` names this hazard and is not among its barriers"
    for gap in given.gap:
        if gap.hazard not in ids or gap.where not in required.kinds:
            yield f"{FILE}, gap {gap.hazard} for {gap.where}: no such hazard or kind of container"
    for left in given.left_out:
        if left.code in REASONS:
            yield f"{FILE}, left out {left.code}: a check gives it after all; take it out"


def codes_of(workflow: Workflow) -> Mapping[str, tuple[str, ...]]:
    """Every reason code that some step of a workflow may give, with the names of those steps.

    Those that the engine itself may give at any step are left out.
    """
    found: dict[str, list[str]] = {}
    for phase in (*workflow.phases, *workflow.asides):
        for step in phase.steps:
            lines = [code for f in step.fields for code in (f.if_not, f.if_missing) if code]
            checked = [r.code for name in step.checks for r in CHECKS[name].reasons]
            for code in dict.fromkeys([*lines, *checked]):
                found.setdefault(code, []).append(step.name)
    return {code: tuple(steps) for code, steps in found.items()}


def concerns(hazard: Hazard, workflow: Workflow, required: Required) -> bool:
    """Whether the hazard can happen with this workflow's container or with what goes into it."""
    kinds = {kind for _, own in views(workflow, required) for kind in own}
    return EVERY in hazard.where or bool(kinds.intersection(hazard.where))


def matrix(
    register: Register, workflows: Iterable[Workflow], required: Required
) -> tuple[Cell, ...]:
    """Every hazard against every workflow that it concerns, with the barriers that stand there."""
    raised = {workflow: codes_of(workflow) for workflow in workflows}
    return tuple(
        Cell(
            hazard=hazard.id,
            workflow=workflow.name,
            steps={code: codes[code] for code in hazard.barriers if code in codes},
        )
        for hazard in register.hazards.values()
        for workflow, codes in raised.items()
        if concerns(hazard, workflow, required)
    )


def orphans(
    register: Register, cells: Iterable[Cell], workflows: Iterable[Workflow], required: Required
) -> Iterator[str]:
    """What the matrix leaves alone, as sentences.

    A hazard without a barrier in a workflow that it concerns and no gap explained; a gap explained
    where there is none; a reason that some workflow may give and that stands against nothing.
    """
    flows = {workflow.name: workflow for workflow in workflows}
    explained = {(gap.hazard, gap.where) for gap in register.gaps}
    used: set[tuple[str, str]] = set()
    against: set[str] = set()
    for cell in cells:
        against.update(cell.steps)
        kinds = {k for _, own in views(flows[cell.workflow], required) for k in own}
        mine = {(hazard, kind) for hazard, kind in explained if hazard == cell.hazard} & {
            (cell.hazard, kind) for kind in kinds
        }
        if not cell.steps:
            used |= mine
            if not mine:
                yield f"{cell.workflow}: nothing stands against {cell.hazard}"
    for hazard, where in sorted(explained - used):
        yield f"{FILE}: the gap of {hazard} for {where} is closed; take it out"
    for code in sorted({code for flow in flows.values() for code in codes_of(flow)} - against):
        yield f"`{code}` may be given and stands against no hazard of its container"
