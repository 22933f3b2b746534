"""The JSON Schema of workflow files, made from the models that read them."""

from __future__ import annotations

from typing import Any

from checklist.checks import CHECKS, REASONS
from checklist.form import CONTAINER_KINDS, SharedForm, WorkflowForm
from checklist.verdict import Remedy

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(*, phases: bool = False) -> dict[str, Any]:
    """The schema of a workflow file, or of a file of shared phases.

    The names of checks, reason codes, remedies and kinds are listed, so that an editor completes
    them.
    """
    model = SharedForm if phases else WorkflowForm
    made = model.model_json_schema(by_alias=True)
    made["$schema"] = DIALECT
    made["title"] = "A file of shared phases" if phases else "A workflow file"
    parts = made["$defs"]
    # A shared step may hold a word in braces in the place of a name.
    _named(parts["StepForm"]["properties"]["checks"]["items"], sorted(CHECKS))
    parts["StepForm"]["properties"]["back"]["propertyNames"] = {
        "enum": [remedy.value for remedy in Remedy]
    }
    _named(parts["WayForm"]["properties"]["on"]["items"], sorted(REASONS))
    for name in ("if_not", "if_missing"):
        _named(parts["FieldForm"]["properties"][name], ["", *sorted(REASONS)])
    parts["TechniqueForm"]["properties"]["only_if"]["items"]["enum"] = [
        word for kind in CONTAINER_KINDS for word in (kind, f"not {kind}")
    ]
    if not phases:
        made["properties"]["kind"]["items"]["enum"] = list(CONTAINER_KINDS)
    return made


def _named(part: dict[str, Any], names: list[str]) -> None:
    """One of the names, or a word in braces that the workflow fills in."""
    kept = {key: part.pop(key) for key in list(part) if key in ("type", "pattern")}
    part["anyOf"] = [{"enum": names}, {**kept, "pattern": r"\{[a-z_]+\}"}]
