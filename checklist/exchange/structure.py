"""The structure of FHIR resources, looked over by the library that knows the standard.

For R4 the library offers R4B (4.3.0). For the resources that are read and written here the two
have the same elements; what R4B changed lies in other resources (FHIR R4B, Changes from R4).
The library does not look at value sets, so a status word that does not exist passes it: the words
are looked at where they are read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from checklist.exchange.exact_json import plain
from checklist.extra import wanted
from checklist.intake.fault import MOST_FAULTS, Findings

EXTRA = "fhir"
R4, R5 = "R4", "R5"
RELEASES = (R4, R5)
_MODULES = {R4: "fhir.resources.R4B", R5: "fhir.resources"}
_APART = ("contained", "text")


def sound(
    kind: str, resource: Mapping[str, Any], path: str, findings: Findings, release: str = R4
) -> bool:
    """Whether a resource has the structure of its kind; each fault is noted with its path.

    What it contains and its narrative are not looked at: the first is looked at by itself, where
    it is used. Raises NeedsExtra where the library is not installed.
    """
    module = wanted(f"{_MODULES[release]}.{kind.lower()}", EXTRA)
    from pydantic import ValidationError

    own = {key: value for key, value in resource.items() if key not in _APART}
    try:
        getattr(module, kind).model_validate(plain(own))
    except ValidationError as trouble:
        every = trouble.errors(include_url=False, include_input=False)
        for one in every[:MOST_FAULTS]:
            place = _place(path, one["loc"])
            findings.add(place, _sentence(one["type"], one["msg"], release))
        return False
    except (KeyError, TypeError, AttributeError, RecursionError, OverflowError, ValueError):
        # The library itself stumbles over some shapes that no resource has.
        findings.add(path, f"It has not the shape of a {kind}. Have it sent as FHIR {release}.")
        return False
    return True


def _place(path: str, keys: Sequence[str | int]) -> str:
    for key in keys:
        if key != "root":
            path += f"[{key}]" if isinstance(key, int) else f".{key}"
    return path


def _sentence(kind: str, message: str, release: str) -> str:
    if kind == "extra_forbidden":
        return f"FHIR {release} has no such element here. Have it left out, or name its release."
    if kind == "model_field_validation.missing":
        return f"FHIR {release} needs this element. Have it sent."
    said = " ".join(message.removeprefix("Value error, ").replace("`", "").split()).rstrip(".")
    return f"{said[:200]}. Have it sent as FHIR {release} says."
