"""Workflow files: TOML in, a checked Workflow out, or every fault at once as sentences."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic import Field as Slot

from checklist.checks import CHECKS, REASONS, always
from checklist.observation import Kind
from checklist.preparation import ITEM
from checklist.verdict import Reason, Remedy
from checklist.workflow import (
    END,
    HERE,
    RESTART,
    RESUME,
    SYMBOLS,
    Ending,
    Field,
    Layout,
    Phase,
    Step,
    Way,
    Who,
    Workflow,
)

Name = str
NAME = r"^[a-z][a-z0-9_]{0,59}$"
# What a container can be. A shared step or field that names one of these in `only_if` is kept for
# such containers only, and one that names "not filled" for all but those. That is settled when the
# file is read, before any order is known. A check that looks at a field which is not kept goes
# with it.
CONTAINER_KINDS = (
    "ampoule", "glass", "plastic", "stopper", "powder", "liquid", "single_dose", "multi_dose",
    "filled",
)  # fmt: skip
# What an item of a mixture has for itself, beside the kind of its own container: the condition
# `lookalike` of a phase for the item `second` asks for the trait `second_lookalike`.
OWN_TRAITS = (*CONTAINER_KINDS, "controlled", "lookalike")
# From the order step on everything is read again after the prescriber has been called.
FIRST_STEP = "first_step"
USUAL_TARGET: Mapping[Remedy, str] = {
    Remedy.RECHECK: HERE,
    Remedy.ADJUST: HERE,
    Remedy.WAIT: HERE,
    Remedy.SECOND_PERSON: HERE,
    Remedy.CALL_PHARMACIST: HERE,
    Remedy.REPLACE_ITEM: HERE,
    Remedy.CALL_PRESCRIBER: FIRST_STEP,
    Remedy.QUARANTINE: RESTART,
    Remedy.DISCARD_RESTART: RESTART,
    Remedy.STOP: END,
    Remedy.EVENT: END,
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a workflow file, said to its author."""

    file: str
    step: str
    sentence: str

    def __str__(self) -> str:
        where = f"{self.file}, step {self.step}" if self.step else self.file
        return f"{where}: {self.sentence}"


class WorkflowFaults(Exception):
    """Every fault found in one reading of a workflow."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _FieldIn(_In):
    name: Name = Slot(pattern=NAME)
    kind: Literal[tuple(k.value for k in Kind)]  # type: ignore[valid-type]
    say: str = Slot(min_length=2, max_length=90)
    unit: str = ""
    answers: list[str] = []
    if_not: str = ""
    if_missing: str = ""
    private: bool = False
    hidden: bool = False
    optional: bool = False
    carried: str = ""
    only_if: list[str] = []


class _WayIn(_In):
    remedy: Literal[tuple(r.value for r in Remedy)]  # type: ignore[valid-type]
    on: list[str] = Slot(min_length=1)
    to: str


class _StepIn(_In):
    name: Name = Slot(pattern=NAME)
    ask: str = Slot(min_length=3, max_length=120)
    how: str = Slot(default="", max_length=240)
    who: Literal[tuple(w.value for w in Who)] = "preparer"  # type: ignore[valid-type]
    checks: list[str] = []
    only_if: list[str] = []
    back: dict[str, str] = {}
    resume_at: str = ""
    critical: bool = False
    shortest: int = Slot(default=0, ge=0, le=600)
    field: list[_FieldIn] = []
    way: list[_WayIn] = []


class _PhaseIn(_In):
    name: Name = Slot(pattern=NAME)
    title: str = Slot(min_length=2, max_length=40)
    mode: Literal["read, then do", "do, then enter"]
    reverify: str = ""
    step: list[_StepIn] = Slot(min_length=1)


class _EndingIn(_In):
    code: str = Slot(pattern=NAME)
    say: str = Slot(min_length=3, max_length=80)
    phases: list[str] = []


class _WorkflowIn(_In):
    title: str = Slot(min_length=3, max_length=60)
    version: int = Slot(ge=1)
    container: str = Slot(pattern=NAME)
    phases: list[str] = Slot(min_length=1)
    asides: list[str] = Slot(min_length=1)
    account: str
    restart: str
    opens: str
    withdraw: str
    ready: str
    kind: list[str] = []
    kind_by_order: list[str] = []
    sources: list[str] = []
    when: dict[str, list[str]] = {}
    words: dict[str, str] = {}
    words_for: dict[str, dict[str, str]] = {}
    phase: list[_PhaseIn] = []
    ending: list[_EndingIn] = []


class _Shared(_In):
    words: dict[str, str] = {}
    phase: list[_PhaseIn] = []
    ending: list[_EndingIn] = []


def read_workflow(file: Path, *, shared: Path | None = None) -> Workflow:
    """The workflow in a TOML file, with the shared phases of its folder.

    `shared` is the folder of phase files, by default `phases` beside the file. The words that
    these give are the usual ones; the workflow's own go before them. Raises WorkflowFaults with
    every fault found, in the words of the file's author.
    """
    folder = shared if shared is not None else file.parent / "phases"
    faults: list[Fault] = []
    phases: dict[str, tuple[str, _PhaseIn]] = {}
    endings: list[_EndingIn] = []
    words: dict[str, str] = {}
    for other in sorted(folder.glob("*.toml")):
        found = _parse(other, _Shared, faults)
        if found is not None:
            _collect(f"phases/{other.name}", found.phase, phases, faults)
            endings.extend(found.ending)
            for word in sorted(words.keys() & found.words.keys()):
                faults.append(Fault(f"phases/{other.name}", "", f"the word `{word}` stands twice"))
            words.update(found.words)
    own = _parse(file, _WorkflowIn, faults)
    if own is None or faults:
        raise WorkflowFaults(faults)
    _collect(file.name, own.phase, phases, faults, replaces=True)
    own = own.model_copy(update={"words": {**words, **own.words}})
    workflow = _assembled(file.stem, own, endings, phases, faults)
    if workflow is not None:
        faults.extend(
            Fault(_file_of(step, phases, file.name), step, sentence)
            for step, sentence in faults_in(workflow)
        )
    if workflow is None or faults:
        raise WorkflowFaults(faults)
    return workflow


def from_text(text: str) -> Workflow:
    """The workflow kept in a trail's definitions: exact inverse of `Workflow.text`."""
    return _ADAPTER.validate_json(text)


_ADAPTER: TypeAdapter[Workflow] = TypeAdapter(Workflow)


In = TypeVar("In", bound=_In)


def _parse(file: Path, model: type[In], faults: list[Fault]) -> In | None:
    name = f"{file.parent.name}/{file.name}" if file.parent.name == "phases" else file.name
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        faults.append(Fault(name, "", f"there is no such file ({file}); look at the name"))
        return None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        faults.append(Fault(name, "", f"this is not TOML text: {error}"))
        return None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for one in error.errors(include_url=False):
            faults.append(Fault(name, _step_at(data, one["loc"]), _sentence(one, model)))
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


def _sentence(error: Any, model: type[_In]) -> str:
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


def _words_of(model: type[_In]) -> list[str]:
    every = (_WorkflowIn, _PhaseIn, _StepIn, _FieldIn, _WayIn, _EndingIn, model)
    return sorted({name for one in every for name in one.model_fields})


def _collect(
    file: str,
    found: list[_PhaseIn],
    phases: dict[str, tuple[str, _PhaseIn]],
    faults: list[Fault],
    *,
    replaces: bool = False,
) -> None:
    for phase in found:
        if phase.name in phases and not replaces:
            other = phases[phase.name][0]
            faults.append(Fault(file, phase.name, f"a phase of this name is also in {other}"))
        phases[phase.name] = (file, phase)


def _file_of(step: str, phases: Mapping[str, tuple[str, _PhaseIn]], default: str) -> str:
    for file, phase in phases.values():
        if any(s.name == step.partition(ITEM)[0] for s in phase.step):
            return file
    return default


def _assembled(
    name: str,
    own: _WorkflowIn,
    endings: list[_EndingIn],
    phases: Mapping[str, tuple[str, _PhaseIn]],
    faults: list[Fault],
) -> Workflow | None:
    entries = (*own.phases, *own.asides)
    bases = {entry: entry.partition(ITEM)[0] for entry in entries}
    missing = [entry for entry in entries if bases[entry] not in phases]
    for entry in missing:
        close = difflib.get_close_matches(bases[entry], phases, 1)
        hint = f"; did you mean `{close[0]}`?" if close else ""
        faults.append(Fault(f"{name}.toml", "", f"there is no phase `{bases[entry]}`{hint}"))
    for kind in (*own.kind, *own.kind_by_order):
        if kind not in CONTAINER_KINDS:
            known = ", ".join(CONTAINER_KINDS)
            faults.append(Fault(f"{name}.toml", "", f"`kind` has {kind!r}; there are {known}"))
    for entry in sorted(own.when.keys() - set(own.phases)):
        faults.append(Fault(f"{name}.toml", "", f"`when` names `{entry}`, not one of `phases`"))
    if missing:
        return None
    names = tuple(
        f"{step.name}{entry.removeprefix(bases[entry])}"
        for entry in own.phases
        for step in phases[bases[entry]][1].step
    )
    made = {
        entry: _Maker(phases[bases[entry]][0], own, entry, names, faults).phase(
            phases[bases[entry]][1]
        )
        for entry in entries
    }
    return Workflow(
        name=name,
        title=own.title,
        version=own.version,
        container=own.container,
        kind=tuple(own.kind),
        sources=tuple(own.sources),
        phases=tuple(made[p] for p in own.phases if made[p].steps),
        asides=tuple(made[p] for p in own.asides),
        account=own.account,
        restart=own.restart,
        opens=own.opens,
        withdraw=own.withdraw,
        ready=own.ready,
        endings=tuple(
            Ending(code=e.code, say=e.say, phases=tuple(e.phases)) for e in (*endings, *own.ending)
        ),
    )


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes the steps of one entry of `phases`, such as "open" or, for one item, "open@second".

    `names` are those of all main steps in their order; the first is where everything is read anew.
    """

    file: str
    own: _WorkflowIn
    entry: str
    names: tuple[str, ...]
    faults: list[Fault]

    @property
    def item(self) -> str:
        return self.entry.partition(ITEM)[2]

    def phase(self, phase: _PhaseIn) -> Phase:
        return Phase(
            name=phase.name,
            title=phase.title,
            mode=phase.mode,
            steps=tuple(self._step(step) for step in phase.step if self._is_for(step.only_if)),
            reverify=phase.reverify,
        )

    def _is_for(self, only_if: list[str]) -> bool:
        """Whether a container of this kind has the step or field; the order is not asked here."""
        settled = set(CONTAINER_KINDS) - set(self.own.kind_by_order)
        return all(
            (word in self.own.kind) is not negative
            for negative, word in map(_split, only_if)
            if word in settled
        )

    def _of_the_order(self, only_if: list[str]) -> tuple[str, ...]:
        settled = set(CONTAINER_KINDS) - set(self.own.kind_by_order)
        asked = (word for word in only_if if _split(word)[1] not in settled)
        if not self.item:
            return tuple(asked)
        return tuple(f"{self.item}_{word}" if word in OWN_TRAITS else word for word in asked)

    def _worded(self, step: str, text: str) -> str:
        words = {**self.own.words, **self.own.words_for.get(self.item, {})}
        try:
            return text.format_map(words)
        except (KeyError, ValueError, IndexError) as error:
            sentence = f"{text!r} asks for a word {error} that [words] lacks"
            self.faults.append(Fault(self.file, step, sentence))
            return text

    def place(self, to: str) -> str:
        """Where a step's name leads from here: to the same item's step, or the last of that name.

        A step that stands once for each item is meant for the item at hand; from a shared step the
        last one is the nearest on the way back.
        """
        if to == FIRST_STEP:
            return self.names[0]
        own = f"{to}{ITEM}{self.item}"
        if self.item and own in self.names:
            return own
        if to in (*SYMBOLS, *self.names):
            return to
        return next((n for n in self.names[::-1] if n.partition(ITEM)[0] == to), to)

    def _step(self, step: _StepIn) -> Step:
        # Every text of a shared step may hold words: what is said, but also codes and steps.
        step = _filled(step, lambda text: self._worded(step.name, text))
        gone = {f.name for f in step.field if not self._is_for(f.only_if)}
        made = Step(
            name=f"{step.name}{ITEM}{self.item}" if self.item else step.name,
            ask=step.ask,
            how=step.how,
            who=Who(step.who),
            fields=tuple(
                Field(
                    **{
                        **f.model_dump(),
                        "kind": Kind(f.kind),
                        "answers": tuple(f.answers),
                        "only_if": self._of_the_order(f.only_if),
                    }
                )
                for f in step.field
                if self._is_for(f.only_if)
            ),
            checks=tuple(
                name
                for name in step.checks
                if name not in CHECKS or gone.isdisjoint(CHECKS[name].fields)
            ),
            only_if=(*self._of_the_order(step.only_if), *self.own.when.get(self.entry, ())),
            resume_at=self.place(step.resume_at) if step.resume_at else "",
            critical=step.critical,
            shortest=step.shortest,
        )
        ways = _ways(self.file, made, step, self.place, self.faults)
        return replace(made, ways=tuple(ways))


def _split(word: str) -> tuple[bool, str]:
    """Whether a condition is put as "not ...", and of what."""
    return word.startswith("not "), word.removeprefix("not ")


def _filled(value: Any, worded: Callable[[str], str]) -> Any:
    """A part of a step with the workflow's words in each of its texts."""
    if isinstance(value, str):
        return worded(value)
    if isinstance(value, list):
        return [_filled(one, worded) for one in value]
    if isinstance(value, dict):
        return {key: _filled(one, worded) for key, one in value.items()}
    if isinstance(value, BaseModel):
        return value.model_copy(update={name: _filled(one, worded) for name, one in value})
    return value


def _ways(
    file: str, step: Step, given: _StepIn, place: Callable[[str], str], faults: list[Fault]
) -> Iterator[Way]:
    """The ways written in the file, then the usual one for each remedy of each reason."""
    reasons = {r.code: r for r in reasons_of(step)}
    taken: set[tuple[Remedy, str]] = set()
    for way in given.way:
        remedy = Remedy(way.remedy)
        for code in way.on:
            if code not in reasons:
                faults.append(Fault(file, step.name, f"no check of this step can give `{code}`"))
            taken.add((remedy, code))
        yield Way(remedy=remedy, on=tuple(way.on), to=place(way.to))
    for remedy in Remedy:
        on = tuple(
            code
            for code, reason in reasons.items()
            if remedy in reason.remedies and (remedy, code) not in taken
        )
        if on:
            to = given.back.get(remedy.value, USUAL_TARGET[remedy])
            yield Way(remedy=remedy, on=on, to=place(to))
    for name in given.back:
        if name not in {r.value for r in Remedy}:
            faults.append(
                Fault(file, step.name, f"`back.{name}` is not a remedy; there are {_remedies()}")
            )


def _remedies() -> str:
    return ", ".join(r.value for r in Remedy)


def reasons_of(step: Step) -> tuple[Reason, ...]:
    """Every reason that an attempt at this step can give, in order of precedence."""
    codes: dict[str, Reason] = {r.code: r for r in always(step.who.value)}
    for field in step.fields:
        for code in (field.if_missing, field.if_not):
            if code in REASONS:
                codes[code] = REASONS[code]
    for name in step.checks:
        if name in CHECKS:
            codes.update({r.code: r for r in CHECKS[name].reasons})
    return tuple(codes.values())


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
