"""A workflow put together: phases in their order, words filled in, ways out completed."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from checklist.checks import CHECKS, REASONS, always
from checklist.form import (
    CONTAINER_KINDS,
    FIRST_STEP,
    OWN_TRAITS,
    EndingForm,
    Fault,
    PhaseForm,
    StepForm,
    TechniqueForm,
    WorkflowForm,
)
from checklist.observation import Kind
from checklist.preparation import ITEM
from checklist.verdict import Reason, Remedy
from checklist.workflow import (
    END,
    HERE,
    RESTART,
    SYMBOLS,
    Ending,
    Field,
    Phase,
    Step,
    Technique,
    Way,
    Who,
    Workflow,
)

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


def choices(own: WorkflowForm) -> list[dict[str, str]]:
    """The containers to start from, by item; two items are drawn in the order of the list."""
    if not own.sources:
        return [{}]
    items = own.items or [""]
    together = itertools.combinations_with_replacement(own.sources, len(items))
    return [dict(zip(items, chosen, strict=True)) for chosen in together]


# Stand in `phases` for what the drug's own container asks for: before the devices are chosen, and
# from the opening to the draw.
ITEM_PHASES, OPENING_PHASES = "its_items", "its_opening"


@dataclass(frozen=True, slots=True)
class Told:
    """A workflow file with the parts of its sources filled in; kinds and words are by item."""

    own: WorkflowForm
    phases: tuple[str, ...]
    kinds: Mapping[str, tuple[str, ...]]
    words: Mapping[str, Mapping[str, str]]
    sources: tuple[str, ...]
    opens: str
    withdraw: str

    @classmethod
    def of(
        cls,
        own: WorkflowForm,
        usual: Mapping[str, str],
        sources: Mapping[str, tuple[str, WorkflowForm]],
        file: str,
        faults: list[Fault],
    ) -> Told:
        """The file with what its sources ask for in the place of each placeholder."""
        phases: list[str] = []
        for entry in own.phases:
            base, at, item = entry.partition(ITEM)
            if base not in (ITEM_PHASES, OPENING_PHASES):
                phases.append(entry)
            elif item in sources:
                phases += [f"{p}{at}{item}" for p in _between(base, sources[item], faults)]
            else:
                faults.append(Fault(file, "", f"`{entry}` stands for no item that has `sources`"))
        forms = [form for _, form in sources.values()]
        every = [kind for form in (own, *forms) for kind in form.kind]
        kinds = {"": tuple(dict.fromkeys(every))}
        words = {"": {**usual, **_merged(f.words for f in forms[::-1]), **own.words}}
        for item, (_, form) in sources.items():
            kinds[item] = (*own.kind, *form.kind) if item else kinds[""]
            words[item] = {**usual, **form.words, **own.words, **own.words_for.get(item, {})}
        first, item = (forms[0], next(iter(sources))) if sources else (own, "")
        at = f"{ITEM}{item}" if item else ""
        return cls(
            own=own,
            phases=tuple(phases),
            kinds=kinds,
            words={item: _within(told, file, faults) for item, told in words.items()},
            sources=tuple(name for name, _ in sources.values()),
            opens=own.opens or f"{first.opens}{at}",
            withdraw=own.withdraw or f"{first.withdraw}{at}",
        )


def _within(words: Mapping[str, str], file: str, faults: list[Fault]) -> Mapping[str, str]:
    """The words with the words that they themselves hold filled in, once."""
    filled = dict(words)
    for name, text in words.items():
        try:
            filled[name] = text.format_map(words)
        except (KeyError, ValueError, IndexError) as error:
            faults.append(Fault(file, "", f"the word `{name}` asks for a word {error}, not there"))
    return filled


def _between(what: str, source: tuple[str, WorkflowForm], faults: list[Fault]) -> list[str]:
    """The phases of a container's own workflow that a placeholder stands for."""
    after, before = ("inspect", "equip") if what == ITEM_PHASES else ("second_check", "set")
    name, form = source
    if after not in form.phases or before not in form.phases:
        sentence = f"it has no phases from `{after}` to `{before}`, so nothing can start from it"
        faults.append(Fault(f"{name}.toml", "", sentence))
        return []
    return form.phases[form.phases.index(after) + 1 : form.phases.index(before)]


def _merged(parts: Iterable[Mapping[str, str]]) -> dict[str, str]:
    return {word: text for part in parts for word, text in part.items()}


def assembled(
    name: str,
    told: Told,
    endings: list[EndingForm],
    phases: Mapping[str, tuple[str, PhaseForm]],
    observed: Iterable[TechniqueForm],
    faults: list[Fault],
) -> Workflow | None:
    """The workflow, or None when it names phases that there are not; faults are added."""
    own, file = told.own, f"{name.partition('.')[0]}.toml"
    entries = (*told.phases, *own.asides)
    bases = {entry: entry.partition(ITEM)[0] for entry in entries}
    missing = [entry for entry in entries if bases[entry] not in phases]
    for entry in missing:
        close = difflib.get_close_matches(bases[entry], phases, 1)
        hint = f"; did you mean `{close[0]}`?" if close else ""
        faults.append(Fault(file, "", f"there is no phase `{bases[entry]}`{hint}"))
    for kind in own.kind:
        if kind not in CONTAINER_KINDS:
            known = ", ".join(CONTAINER_KINDS)
            faults.append(Fault(file, "", f"`kind` has {kind!r}; there are {known}"))
    if missing:
        return None
    names = tuple(
        f"{step.name}{entry.removeprefix(bases[entry])}"
        for entry in told.phases
        for step in phases[bases[entry]][1].step
    )
    makers = {
        entry: _Maker(phases[bases[entry]][0], told, entry, names, faults) for entry in entries
    }
    made = {entry: maker.phase(phases[bases[entry]][1]) for entry, maker in makers.items()}
    techniques = list(observed)
    return Workflow(
        name=name,
        title=own.title,
        version=own.version,
        container=own.container,
        kind=told.kinds[""],
        sources=told.sources,
        phases=tuple(made[p] for p in told.phases if made[p].steps),
        asides=tuple(made[p] for p in own.asides),
        account=own.account,
        restart=own.restart,
        opens=told.opens,
        withdraw=told.withdraw,
        ready=own.ready,
        endings=tuple(
            Ending(code=e.code, say=e.say, phases=_offered(e.phases, told, own.ready, phases))
            for e in (*endings, *own.ending)
        ),
        observe=tuple(
            technique
            for entry in told.phases
            for step in made[entry].steps
            for technique in makers[entry].techniques(step, techniques)
        ),
    )


# In the `phases` of a reason to end: those before anything is open, from there on, from the bed on.
SEALED, OPENED, AT_THE_BED = "sealed", "opened", "at_the_bed"


def _offered(
    named: list[str], told: Told, ready: str, phases: Mapping[str, tuple[str, PhaseForm]]
) -> tuple[str, ...]:
    """The phases that offer a reason to end, with the words for parts of the sequence filled in."""
    names = [entry.partition(ITEM)[0] for entry in told.phases]

    def at(step: str) -> int:
        base, _, item = step.partition(ITEM)
        standing = (
            i
            for i, entry in enumerate(told.phases)
            if entry.partition(ITEM)[2] == item
            and any(s.name == base for s in phases[names[i]][1].step)
        )
        return next(standing, 0)  # a milestone that is no step is told of as a fault elsewhere

    found: list[str] = []
    for name in named:
        if name == SEALED:
            found += names[: at(told.opens)]
        elif name in (OPENED, AT_THE_BED):
            found += names[at(told.opens if name == OPENED else ready) :]
        else:
            found.append(name)
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes the steps of one entry of `phases`, such as "open" or, for one item, "open@second".

    `names` are those of all main steps in their order; the first is where everything is read anew.
    """

    file: str
    told: Told
    entry: str
    names: tuple[str, ...]
    faults: list[Fault]

    @property
    def item(self) -> str:
        return self.entry.partition(ITEM)[2]

    def phase(self, phase: PhaseForm) -> Phase:
        return Phase(
            name=phase.name,
            title=phase.title,
            mode=phase.mode,
            steps=tuple(self._step(step) for step in phase.step if self._is_for(step.only_if)),
            reverify=self._worded(phase.name, phase.reverify),
        )

    def techniques(self, step: Step, forms: Iterable[TechniqueForm]) -> Iterator[Technique]:
        """What an observer looks for at a step that was made here."""
        base, at, item = step.name.partition(ITEM)
        for form in forms:
            if form.step == base and self._is_for(form.only_if):
                yield Technique(
                    name=f"{form.name}{at}{item}",
                    say=self._worded(form.name, form.say),
                    step=step.name,
                    critical=form.critical,
                )

    def _is_for(self, only_if: list[str]) -> bool:
        """Whether a container of this kind has the step or field; the order is not asked here."""
        kind = self.told.kinds.get(self.item, self.told.kinds[""])
        return all(
            (word in kind) is not negative
            for negative, word in map(_split, only_if)
            if word in CONTAINER_KINDS
        )

    def _of_the_order(self, only_if: list[str]) -> tuple[str, ...]:
        asked = (word for word in only_if if _split(word)[1] not in CONTAINER_KINDS)
        if not self.item:
            return tuple(asked)
        return tuple(f"{self.item}_{word}" if word in OWN_TRAITS else word for word in asked)

    def _worded(self, step: str, text: str) -> str:
        words = self.told.words.get(self.item, self.told.words[""])
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

    def is_open(self, name: str) -> bool:
        """Whether a step is the one at which something is opened, or comes after it."""
        names, opens = self.names, self.told.opens
        return name in names and opens in names and names.index(name) >= names.index(opens)

    def _step(self, step: StepForm) -> Step:
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
            only_if=self._of_the_order(step.only_if),
            resume_at=self.place(step.resume_at) if step.resume_at else "",
            critical=step.critical,
            shortest=step.shortest,
            shortest_from=step.shortest_from,
        )
        ways = _ways(self.file, made, step, self, self.faults)
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
    file: str, step: Step, given: StepForm, maker: _Maker, faults: list[Fault]
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
        yield Way(remedy=remedy, on=tuple(way.on), to=maker.place(way.to))
    for remedy in Remedy:
        on = tuple(
            code
            for code, reason in reasons.items()
            if remedy in reason.remedies and (remedy, code) not in taken
        )
        if on:
            usual = USUAL_TARGET[remedy]
            if usual == FIRST_STEP and maker.is_open(step.name):
                usual = HERE  # what is open in the hand does not wait while all is read anew
            yield Way(remedy=remedy, on=on, to=maker.place(given.back.get(remedy.value, usual)))
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
