"""The files that ship with the project: workflows, limits and the demonstration ward."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from checklist import ampoule, hazard, needle, requirement, setting, site, syringe
from checklist.definition import read_workflows
from checklist.dose import figures
from checklist.hazard import Register
from checklist.limits import Limits
from checklist.requirement import Required, RequiredFaults
from checklist.setting import Settings
from checklist.workflow import Workflow

_PACKAGE = Path(__file__).resolve().parent
# Files beside the workflows that say what workflows have to keep to.
NOT_WORKFLOWS = ("hazards", "required", "settings")


class MissingFiles(Exception):
    """The project's own data files are not where an installation keeps them."""


def folder(name: str) -> Path:
    """A data folder ("workflows" or "demo_db"): inside an installed package, or beside it.

    Raises MissingFiles when neither is there.
    """
    for place in (_PACKAGE / "_data" / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise MissingFiles(f"the folder `{name}` is missing from this installation; install it again")


@cache
def workflows() -> Mapping[str, Workflow]:
    """Every shipped workflow by name. Raises WorkflowFaults for the first bad one."""
    return {
        workflow.name: workflow
        for file in sorted(folder("workflows").glob("*.toml"))
        if file.stem not in NOT_WORKFLOWS
        for workflow in read_workflows(file)
    }


def read_own(file: Path) -> tuple[Workflow, ...]:
    """The workflows in a file of one's own, with the shipped phases unless some lie beside it.

    Raises WorkflowFaults with every fault found.
    """
    return read_workflows(file, usual=folder("workflows"))


def required_beside(file: Path) -> Required:
    """What is required of a workflow file: the shipped rows, and those added in its folder.

    A folder with a whole `required.toml` of its own stands on that. Raises RequiredFaults.
    """
    own, added = file.parent / requirement.FILE, file.parent / requirement.ADDED
    onto = requirement.read(own) if own.is_file() else required()
    return requirement.read_added(added, onto) if added.is_file() else onto


def of_ward(ward: Path) -> tuple[Mapping[str, Workflow], Required]:
    """The workflows a ward works by, and what is required of them.

    Beside the shipped ones these are the files of its own folder `workflows`; one with the name of
    a shipped workflow stands in its place. What is required can only be added to. Raises
    WorkflowFaults and RequiredFaults.
    """
    own = ward / "workflows"
    if not own.is_dir():
        return workflows(), required()
    if (own / requirement.FILE).exists():
        sentence = (
            f"{own.name}/{requirement.FILE}: a ward may add to what is required and take nothing"
            f" away. Write what it adds in {requirement.ADDED}."
        )
        raise RequiredFaults([sentence])
    mine = {
        workflow.name: workflow
        for file in sorted(own.glob("*.toml"))
        if file.name != requirement.ADDED
        for workflow in read_own(file)
    }
    return {**workflows(), **mine}, required_beside(own / requirement.ADDED)


@cache
def required() -> Required:
    """The barriers that no shipped workflow may let be dodged. Raises RequiredFaults."""
    return requirement.read(folder("workflows") / requirement.FILE)


@cache
def hazards() -> Register:
    """The hazard register. Raises HazardFaults."""
    return hazard.read(folder("workflows") / hazard.FILE, required())


@cache
def settings() -> Settings:
    """What a unit may choose, and which way its limits are tighter. Raises SettingsFaults."""
    return setting.read(folder("workflows") / setting.FILE)


@cache
def limits() -> Limits:
    """The published tables. Raises TableFault with every fault of the first bad file."""
    place = folder("workflows") / "limits"

    def text(file: str) -> str:
        return (place / file).read_text(encoding="utf-8")

    return Limits(
        syringes=syringe.read(text(syringe.FILE)),
        needles=needle.read(text(needle.FILE)),
        ampoules=ampoule.read(text(ampoule.FILE)),
        sites=site.read(text(site.FILE)),
    )


@cache
def dose_figures() -> figures.Table:
    """The published figures for dose sums. Raises TableFault with every fault of the file."""
    file = folder("workflows") / "limits" / figures.FILE
    return figures.read(file.read_text(encoding="utf-8"))
