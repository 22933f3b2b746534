"""A ward's files looked over together: what can be used of them, and every fault at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from checklist import library
from checklist.definition import WorkflowFaults
from checklist.intake.fault import Fault, Faults
from checklist.intake.ward import Ward, load_ward
from checklist.requirement import Required, RequiredFaults
from checklist.workflow import Workflow


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedOver:
    """A ward's files as they lie in its folder now.

    `ward` is None where its own files have faults. `flows` and `required` are what the ward works
    by; where the ward's own workflows have faults, they are the shipped ones. `own` names the
    workflows of the ward's folder.
    """

    ward: Ward | None
    flows: Mapping[str, Workflow]
    required: Required
    own: tuple[str, ...]
    faults: tuple[Fault, ...]


def looked_over(folder: Path) -> LookedOver:
    """Read a ward's files and its own workflows; their faults stand in the outcome.

    Proofs are left to the caller, since they take seconds. Raises MissingFiles and TableFault
    where this installation's own files are not whole.
    """
    ward: Ward | None = None
    faults: list[Fault] = []
    try:
        ward = load_ward(folder)
    except Faults as found:
        faults += found.faults
    flows, required = library.workflows(), library.required()
    try:
        flows, required = library.of_ward(folder)
    except WorkflowFaults as wrong:
        faults += [
            Fault(f"workflows/{one.file}", f"step {one.step}" if one.step else "", one.sentence)
            for one in wrong.faults
        ]
    except RequiredFaults as wrong:
        faults += [Fault("workflows", "", sentence) for sentence in wrong.sentences]
    kept = {file.stem for file in (folder / "workflows").glob("*.toml")}
    return LookedOver(
        ward=ward,
        flows=flows,
        required=required,
        own=tuple(name for name in flows if name.partition(".")[0] in kept),
        faults=tuple(faults),
    )
