"""The form of a workflow file: its tables, their keys and what each key may hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict
from pydantic import Field as Slot

from checklist.observation import Kind
from checklist.verdict import Remedy
from checklist.workflow import Who

Name = str
NAME = r"^[a-z][a-z0-9_]{0,59}$"
# What a container can be. A shared step or field that names one of these in `only_if` is kept for
# such containers only, and one that names "not filled" for all but those. That is settled when the
# file is read, before any order is known. A check that looks at a field which is not kept goes
# with it.
CONTAINER_KINDS = (
    "ampoule", "glass", "plastic", "stopper", "powder", "liquid", "single_dose", "multi_dose",
    "filled", "reused", "ready_labelled", "pharmacy_made", "pen", "kit",
    "additive", "hung", "rigid", "pumped", "premixed", "mixed", "enteral", "emergency",
)  # fmt: skip
# What an item of a mixture has for itself: the condition `lookalike` of a phase for the item
# `second` asks for the trait `second_lookalike`.
OWN_TRAITS = ("controlled", "lookalike")
# From the order step on everything is read again after the prescriber has been called.
FIRST_STEP = "first_step"


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


class Form(BaseModel):
    """A table of a workflow file: no other keys, nothing converted."""

    model_config = ConfigDict(extra="forbid", strict=True)


class FieldForm(Form):
    """A thing to report at a step."""

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


class WayForm(Form):
    """A way out of a refusal that differs from the usual one."""

    remedy: Literal[tuple(r.value for r in Remedy)]  # type: ignore[valid-type]
    on: list[str] = Slot(min_length=1)
    to: str


class StepForm(Form):
    """A step as the file writes it."""

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
    shortest_from: str = Slot(default="", max_length=200)
    field: list[FieldForm] = []
    way: list[WayForm] = []


class PhaseForm(Form):
    """A phase as the file writes it."""

    name: Name = Slot(pattern=NAME)
    title: str = Slot(min_length=2, max_length=40)
    mode: Literal["read, then do", "do, then enter"]
    reverify: str = ""
    step: list[StepForm] = Slot(min_length=1)


class EndingForm(Form):
    """A reason to end before the dose is given."""

    code: str = Slot(pattern=NAME)
    say: str = Slot(min_length=3, max_length=80)
    phases: list[str] = []


class TechniqueForm(Form):
    """Something that an observer looks for at a step."""

    name: Name = Slot(pattern=NAME)
    say: str = Slot(min_length=3, max_length=60)
    step: Name = Slot(pattern=NAME)
    critical: bool = False
    only_if: list[str] = []


class WorkflowForm(Form):
    """A workflow file."""

    title: str = Slot(min_length=3, max_length=60)
    version: int = Slot(ge=1)
    container: str = Slot(pattern=NAME)
    phases: list[str] = Slot(min_length=1)
    asides: list[str] = Slot(min_length=1)
    account: str
    restart: str
    opens: str = ""
    withdraw: str = ""
    ready: str
    kind: list[str] = []
    sources: list[str] = []
    items: list[str] = []
    words: dict[str, str] = {}
    words_for: dict[str, dict[str, str]] = {}
    phase: list[PhaseForm] = []
    ending: list[EndingForm] = []
    observe: list[TechniqueForm] = []


class SharedForm(Form):
    """A file of shared phases, words, endings and things to observe."""

    words: dict[str, str] = {}
    phase: list[PhaseForm] = []
    ending: list[EndingForm] = []
    observe: list[TechniqueForm] = []
