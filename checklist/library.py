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
from checklist.requirement import Required
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
