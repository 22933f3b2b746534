"""A workflow in words for its keeper: every step with what it asks, compares and leads to."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.checks import CHECKS, REASONS
from checklist.preparation import CLOSED, ITEM
from checklist.unit import Unit
from checklist.verdict import REMEDY_WORDS, Reason, Tier
from checklist.workflow import END, HERE, RESTART, RESUME, Field, Phase, Step, Way, Workflow

TIERS = {Tier.HARD: "stops", Tier.SOFT: "asks for a reason", Tier.INFORMATION: "is noted"}
WHOSE = {
    "preparer": "the preparer",
    "checker": "a second person",
    "witness": "a witness",
    "giver": "whoever gives it",
}
_LEADS = {
    HERE: "this step again",
    RESTART: "begin again with new items",
    END: "end this preparation",
    RESUME: "go on where the break came",
}
_ENDS = {"given": "the dose is given", "discarded": "discarded", "abandoned": "ended unopened"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldReason:
    """A reason a step can give: its code, its words, and how strongly it stands in the way here.

    `changed` says what the unit has made of it, "" where it stands as shipped.
    """

    reason: Reason
    tier: str
    changed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldCheck:
    """A check of a step, with the sentence that holds when it passes."""

    name: str
    sentence: str
    reasons: tuple[ToldReason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldWay:
    """A way out: the remedy in words, where it leads, and which reasons it answers.

    `step` is the name of the step it leads to, "" where it leads to none by name.
    """

    remedy: str
    leads: str
    step: str
    on: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldStep:
    """A step: its number in the sequence ("" in a side phase), and everything about it."""

    number: str
    step: Step
    who: str
    only_if: str
    milestones: tuple[str, ...]
    fields: tuple[Field, ...]
    lines: tuple[ToldReason, ...]
    checks: tuple[ToldCheck, ...]
    ways: tuple[ToldWay, ...]
    resumes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldPhase:
    """A phase with its steps; `after_break` is the side phase that a break in it leads through."""

    phase: Phase
    steps: tuple[ToldStep, ...]
    after_break: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A workflow: its main phases in order, and its side phases."""

    workflow: Workflow
    phases: tuple[ToldPhase, ...]
    asides: tuple[ToldPhase, ...]


def told(workflow: Workflow, unit: Unit) -> Told:
    """Everything that a workflow says, with a unit's own tiers beside the shipped ones."""
    names = {step.name: str(at) for at, step in enumerate(workflow.steps, 1)}
    asides = {phase.name: phase for phase in workflow.asides}

    def phase_of(phase: Phase) -> ToldPhase:
        again = asides.get(phase.reverify)
        return ToldPhase(
            phase=phase,
            steps=tuple(_step(step, workflow, names, unit) for step in phase.steps),
            after_break=again.steps[0].ask if again and again.steps else "",
        )

    return Told(
        workflow=workflow,
        phases=tuple(map(phase_of, workflow.phases)),
        asides=tuple(map(phase_of, workflow.asides)),
    )


def plain(name: str) -> str:
    """A name of a step, check, trait or container in words; an item's own step says which."""
    stem, _, item = name.partition(ITEM)
    words = stem.replace("_", " ").replace(".", ", ")
    return f"{words} ({item})" if item else words


def reason(one: Reason, unit: Unit) -> ToldReason:
    """A reason with the tier that it has on a unit, and what the unit changed."""
    tier, changed = one.tier, ""
    if one.code in unit.eased and one.tier is Tier.SOFT:
        tier, changed = Tier.INFORMATION, "eased by a setting of this unit"
    if one.code in unit.raised:
        raised = max(tier, unit.raised[one.code], key=lambda t: t.rank)
        tier, changed = raised, "raised by this unit"
    return ToldReason(reason=one, tier=TIERS[tier], changed=changed)


def _step(step: Step, workflow: Workflow, names: dict[str, str], unit: Unit) -> ToldStep:
    lines = dict.fromkeys(code for f in step.fields for code in (f.if_not, f.if_missing) if code)
    return ToldStep(
        number=names.get(step.name, ""),
        step=step,
        who=WHOSE[step.who.value],
        only_if=" and ".join(map(plain, step.only_if)),
        milestones=_milestones(step, workflow),
        fields=step.fields,
        lines=tuple(reason(REASONS[code], unit) for code in lines),
        checks=tuple(
            ToldCheck(
                name=plain(name),
                sentence=" ".join(CHECKS[name].doc.split()),
                reasons=tuple(reason(one, unit) for one in CHECKS[name].reasons),
            )
            for name in step.checks
        ),
        ways=tuple(_way(way, names) for way in step.ways),
        resumes=step.resume_at if step.resume_at in names else "",
    )


def _milestones(step: Step, workflow: Workflow) -> tuple[str, ...]:
    found = {
        "new items are taken from here": workflow.restart,
        "from here on the item is open": workflow.opens,
        "the dose is drawn here": workflow.withdraw,
        "the dose is ready from here": workflow.ready,
    }
    return tuple(words for words, name in found.items() if name == step.name)


def _way(way: Way, names: dict[str, str]) -> ToldWay:
    if way.to in _LEADS:
        leads, step = _LEADS[way.to], ""
    elif way.to in names:
        leads, step = f"step {names[way.to]}, {plain(way.to)}", way.to
    else:
        leads, step = _ENDS[way.to] if way.to in CLOSED else plain(way.to), ""
    return ToldWay(remedy=REMEDY_WORDS[way.remedy], leads=leads, step=step, on=way.on)
