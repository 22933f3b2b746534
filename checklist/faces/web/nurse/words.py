"""What the nurse's pages say that stands nowhere else: kinds of fields, buttons, hints."""

from __future__ import annotations

from collections.abc import Mapping

from checklist import ucum
from checklist.observation import Kind
from checklist.workflow import Field

# No figures: an example could be the very answer that is looked for.
HINTS: Mapping[Kind, str] = {
    Kind.PRODUCT: "scan the code, or type it",
    Kind.IDENTIFIER: "scan or type",
    Kind.CONCENTRATION: "an amount in a volume",
    Kind.DATE: "day, month as a word, year",
    Kind.TIME: "hours and minutes, with a colon",
}
MODES: Mapping[str, str] = {
    "read, then do": "Read, then do",
    "do, then enter": "Do, then enter",
}
NOT_TYPED = "it was not: it was scanned"
SAME_PERSON = "checker_same_person: offered at sign-in"
TAKEN_UP = "taken up at another sign-in"


def same_eyes(preparer: str) -> str:
    """Why whoever prepares a dose is not its second person."""
    return (
        f"{preparer} prepares this dose, and the same eyes see the same thing. Fetch a colleague."
    )


def hint(field: Field) -> str:
    """What helps to give an answer in the form that is read; "" where nothing needs saying."""
    said = [HINTS.get(field.kind, "")]
    if field.carried:
        said.append("leave it empty where the scan brings it")
    if field.optional:
        said.append("leave it empty where there is none")
    return "; ".join(part for part in said if part)


def unit_words(code: str) -> str:
    """The unit of a field as it is read beside a number: "mL", "breaths/min"; "" for none."""
    return ucum.unit(code).shown(many=True) if code and code != "1" else ""
