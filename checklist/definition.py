"""Workflow files: TOML in, a checked Workflow out, or every fault at once as sentences."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from checklist.assembly import Told, assembled, choices, reasons_of
from checklist.checks import CHECKS, REASONS
from checklist.form import (
    CONTAINER_KINDS,
    EndingForm,
    Fault,
    FieldForm,
    Form,
    PhaseForm,
    SharedForm,
    StepForm,
    TechniqueForm,
    WayForm,
    WorkflowFaults,
    WorkflowForm,
)
from checklist.observation import Kind
from checklist.preparation import ITEM
from checklist.toml_file import NotToml, tables
from checklist.verdict import Remedy
from checklist.workflow import RESUME, SYMBOLS, Layout, Step, Workflow

__all__ = [
    "CONTAINER_KINDS", "Fault", "WorkflowFaults", "faults_in", "from_text", "layout_of",
    "read_workflow", "read_workflows", "reasons_of",
]  # fmt: skip


MOST_FAULTS = 50
"""Most faults of the form of one file that are told at once."""


def read_workflow(file: Path, *, usual: Path | None = None) -> Workflow:
    """The workflow in a TOML file, with the shared phases of its folder.

    Shared phases lie in `phases` beside the file, or else in that of the folder `usual`. The words
    that these give are the usual ones; the workflow's own go before them. A file that starts from
    several containers holds several workflows, of which this is the first. Raises WorkflowFaults
    with every fault found, in the words of the file's author.
    """
    return read_workflows(file, usual=usual)[0]


def read_workflows(file: Path, *, usual: Path | None = None) -> tuple[Workflow, ...]:
    """The workflows in a TOML file: one, or one for each container its drug may come in.

    What the drug's own container asks for is taken from the workflow of that container, in the
    same folder or else in `usual`. Raises WorkflowFaults as `read_workflow`.
    """
    places = (file.parent, *([usual] if usual is not None else []))
    folder = next((p / "phases" for p in places if (p / "phases").is_dir()), file.parent / "phases")
    faults: list[Fault] = []
    phases: dict[str, tuple[str, PhaseForm]] = {}
    endings: list[EndingForm] = []
    observed: list[tuple[str, TechniqueForm]] = []
    words: dict[str, str] = {}
    for other in sorted(folder.glob("*.toml")):
        found = _parse(other, SharedForm, faults)
        if found is not None:
            _collect(f"phases/{other.name}", found.phase, phases, faults)
            endings.extend(found.ending)
            observed += [(f"phases/{other.name}", one) for one in found.observe]
            for word in sorted(words.keys() & found.words.keys()):
                faults.append(Fault(f"phases/{other.name}", "", f"the word `{word}` stands twice"))
            words.update(found.words)
    own = _parse(file, WorkflowForm, faults)
    kept = {
        name: form
        for name in (own.sources if own is not None else [])
        if (form := _parse(_source(name, places), WorkflowForm, faults)) is not None
    }
    if own is None or faults:
        raise WorkflowFaults(faults)
    made = []
    for sources in choices(own):
        from_ = {item: (name, kept[name]) for item, name in sources.items()}
        known = dict(phases)
        for source, form in from_.values():
            _collect(f"{source}.toml", form.phase, known, faults, replaces=True)
        _collect(file.name, own.phase, known, faults, replaces=True)
        told = Told.of(own, words, from_, file.name, faults)
        forms = [
            *observed,
            *((f"{source}.toml", one) for source, form in from_.values() for one in form.observe),
            *((file.name, one) for one in own.observe),
        ]
        steps = {s.name for _, phase in (*phases.values(), *known.values()) for s in phase.step}
        faults.extend(_faults_of_observed(forms, steps))
        workflow = assembled(
            ".".join((file.stem, *sources.values())),
            told,
            endings,
            known,
            [one for _, one in forms],
            faults,
        )
        if workflow is not None:
            made.append(workflow)
            faults.extend(
                Fault(_file_of(step, known, file.name), step, sentence)
                for step, sentence in faults_in(workflow)
            )
    if faults:
        raise WorkflowFaults(list(dict.fromkeys(faults)))
    return tuple(made)


def _source(container: str, places: Sequence[Path]) -> Path:
    """The file of a container's workflow, in the first folder that holds one."""
    files = [place / f"{container}.toml" for place in places]
    return next((file for file in files if file.is_file()), files[0])


def from_text(text: str) -> Workflow:
    """The workflow kept in a trail's definitions: exact inverse of `Workflow.text`."""
    return _ADAPTER.validate_json(text)


_ADAPTER: TypeAdapter[Workflow] = TypeAdapter(Workflow)


Table = TypeVar("Table", bound=Form)


def _parse(file: Path, model: type[Table], faults: list[Fault]) -> Table | None:
    name = f"{file.parent.name}/{file.name}" if file.parent.name == "phases" else file.name
    try:
        data = tables(file)
    except FileNotFoundError:
        faults.append(Fault(name, "", f"there is no such file ({file}); look at the name"))
        return None
    except NotToml as error:
        faults.append(Fault(name, "", str(error)))
        return None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        every = error.errors(include_url=False)
        for one in every[:MOST_FAULTS]:
            faults.append(Fault(name, _step_at(data, one["loc"]), _sentence(one, model)))
        if len(every) > MOST_FAULTS:
            faults.append(Fault(name, "", f"and {len(every) - MOST_FAULTS} more; these come first"))
        return None


def _step_at(data: Any, loc: tuple[int | str, ...]) -> str:
    """The name of the innermost step or phase on the way to a fault, for its author."""
    found, here = "", data
    for part in loc:
        try:
            here = here[part]
        except (KeyError, IndexError, TypeError):
            break
        if isinstance(here, dict) and isinstance(here.get("name"), str):
            found = here["name"]
    return found


def _sentence(error: Any, model: type[Form]) -> str:
    path = ".".join(str(p) for p in error["loc"])
    last = str(error["loc"][-1]) if error["loc"] else ""
    match error["type"]:
        case "missing":
            return f"`{path}` is missing; every such table has one"
        case "extra_forbidden":
            close = difflib.get_close_matches(last, _words_of(model), 1)
            hint = f"; did you mean `{close[0]}`?" if close else ""
            return f"`{path}` is not a word of the workflow language{hint}"
        case "literal_error":
            return f"`{path}` is {error['input']!r}; it can be {error['ctx']['expected']}"
        case _:
            return f"`{path}` is {error['input']!r}: {error['msg'].lower()}"


def _words_of(model: type[Form]) -> list[str]:
    every = (
        WorkflowForm, PhaseForm, StepForm, FieldForm, WayForm, EndingForm, TechniqueForm, model
    )  # fmt: skip
    return sorted({name for one in every for name in one.model_fields})


def _collect(
    file: str,
    found: list[PhaseForm],
    phases: dict[str, tuple[str, PhaseForm]],
    faults: list[Fault],
    *,
    replaces: bool = False,
) -> None:
    for phase in found:
        if phase.name in phases and not replaces:
            other = phases[phase.name][0]
            faults.append(Fault(file, phase.name, f"a phase of this name is also in {other}"))
        phases[phase.name] = (file, phase)


def _faults_of_observed(
    forms: list[tuple[str, TechniqueForm]], steps: Collection[str]
) -> Iterator[Fault]:
    """What is wrong with the things to observe, beside the names of all steps there are."""
    names = [one.name for _, one in forms]
    for file, one in forms:
        if names.count(one.name) > 1:
            yield Fault(file, one.name, "two things to observe have this name; use a name once")
        if one.step not in steps:
            close = difflib.get_close_matches(one.step, steps, 1)
            hint = f"; did you mean `{close[0]}`?" if close else ""
            yield Fault(file, one.name, f"it is observed at `{one.step}`, which is no step{hint}")
        for word in one.only_if:
            if word.removeprefix("not ") not in CONTAINER_KINDS:
                known = ", ".join(CONTAINER_KINDS)
                sentence = f"`only_if` has {word!r}, no kind of container; there are {known}"
                yield Fault(file, one.name, sentence)


def _file_of(step: str, phases: Mapping[str, tuple[str, PhaseForm]], default: str) -> str:
    for file, phase in phases.values():
        if any(s.name == step.partition(ITEM)[0] for s in phase.step):
            return file
    return default


def faults_in(workflow: Workflow) -> Iterator[tuple[str, str]]:
    """What is wrong with an assembled workflow: (step name or "", sentence)."""
    every = [s for p in (*workflow.phases, *workflow.asides) for s in p.steps]
    names = [s.name for s in every]
    for name in sorted({n for n in names if names.count(n) > 1}):
        yield name, "two steps have this name; a name is used once in a workflow"
    main = {s.name for s in workflow.steps}
    for word in ("restart", "opens", "withdraw", "ready"):
        if getattr(workflow, word) not in main:
            yield "", f"`{word}` is `{getattr(workflow, word)}`, which is no step of the sequence"
    asides = {p.name: p for p in workflow.asides}
    if workflow.account not in asides:
        yield "", f"`account` is `{workflow.account}`, which is not in `asides`"
    for phase in (*workflow.phases, *workflow.asides):
        if phase.reverify and phase.reverify not in asides:
            yield "", f"phase {phase.name}: `reverify` names `{phase.reverify}`, not in `asides`"
    order = {s.name: i for i, s in enumerate(workflow.steps)}
    reverifying = {p.reverify for p in workflow.phases}
    for phase in (*workflow.phases, *workflow.asides):
        for step in phase.steps:
            for sentence in _faults_of_step(step, order, again=phase.name in reverifying):
                yield step.name, sentence


def _faults_of_step(step: Step, order: Mapping[str, int], *, again: bool) -> Iterator[str]:
    if not step.fields and not step.checks:
        yield "nothing is reported and nothing is checked; such a step stops nobody"
    if step.shortest and not step.shortest_from:
        yield "`shortest` has no `shortest_from`; say where the figure comes from"
    yield from _faults_of_fields(step)
    here = order.get(step.name, len(order))
    for way in step.ways:
        if way.to == RESUME and not again:
            yield f"`{way.remedy}` leads to `resume`, which only a re-verification may do"
        elif way.to not in SYMBOLS and way.to not in order:
            yield f"`{way.remedy}` leads to `{way.to}`, which is no step of the sequence"
        elif way.to in order and order[way.to] > here:
            yield f"`{way.remedy}` leads forward to `{way.to}`; a remedy leads back or out"
    if step.resume_at and (step.resume_at not in order or order[step.resume_at] > here):
        yield f"`resume_at` is `{step.resume_at}`; it names this step or an earlier one"
    answered = {code for way in step.ways for code in way.on}
    for reason in reasons_of(step):
        ways = {way.remedy for way in step.ways if reason.code in way.on}
        if reason.code not in answered:
            yield f"`{reason.code}` has no remedy here: a refusal with no way out"
        elif reason.identity and ways == {Remedy.RECHECK}:
            yield f"`{reason.code}` is a check of identity and needs a way besides reading again"


def _faults_of_fields(step: Step) -> Iterator[str]:
    given = {f.name: f for f in step.fields}
    if len(given) < len(step.fields):
        yield "two fields have the same name"
    for field in step.fields:
        if field.kind is Kind.CHOICE and len(field.answers) < 2:
            yield f"field `{field.name}`: a choice needs at least two `answers`"
        if field.kind is Kind.SEEN and field.if_not not in REASONS:
            yield f"field `{field.name}`: `if_not` is {field.if_not!r}, which is no reason code"
        for code in filter(None, (field.if_not, field.if_missing)):
            slots = REASONS[code].slots - {"what"} if code in REASONS else frozenset()
            if slots:
                yield (
                    f"field `{field.name}`: the words of `{code}` ask for "
                    f"{', '.join(sorted(slots))}, which only a check can tell; "
                    "name another code, or leave it to a check"
                )
        if field.kind is not Kind.SEEN and field.if_not:
            yield f"field `{field.name}`: only a `seen` line has `if_not`"
        if field.if_missing and field.if_missing not in REASONS:
            yield f"field `{field.name}`: `if_missing` is {field.if_missing!r}, no reason code"
        if field.kind is Kind.IDENTIFIER and not field.private:
            yield f"field `{field.name}`: an identifier has `private = true`"
    if sum(f.kind is Kind.SEEN for f in step.fields) > 6:
        yield "more than six lines to look at on one screen; split the step"
    for name in step.checks:
        if name not in CHECKS:
            close = difflib.get_close_matches(name, CHECKS, 1)
            hint = f"; did you mean `{close[0]}`?" if close else ""
            yield f"there is no check `{name}`{hint}"
            continue
        for needed, kind in CHECKS[name].fields.items():
            if needed not in given:
                yield f"check `{name}` looks at a field `{needed}`, which this step does not ask"
            elif given[needed].kind is not kind:
                yield (
                    f"check `{name}` reads `{needed}` as {kind.value}, "
                    f"and the field is a {given[needed].kind.value}"
                )


def layout_of(workflow: Workflow) -> Layout:
    """The workflow laid out; raises WorkflowFaults when the sequence has lost a milestone."""
    main = {s.name for s in workflow.steps}
    for word in ("restart", "opens", "withdraw", "ready"):
        if getattr(workflow, word) not in main:
            sentence = f"`{word}` falls away for an order with {', '.join(workflow.traits)}"
            raise WorkflowFaults([Fault(f"{workflow.name}.toml", "", sentence)])
    return Layout(workflow)
