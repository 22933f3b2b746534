"""From the code of a label back to the preparation that it was printed for."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.preparation import Entry
from checklist.printing.label_code import LabelCode, NotALabelCode, mark_of
from checklist.trail import Trail


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """The preparation of a label, the entry of its printing, and how many were printed in all."""

    preparation: str
    entry: Entry
    labels: int

    @property
    def newest(self) -> bool:
        """Whether no label was printed for this preparation after it."""
        return int(self.entry.event.body["number"]) == self.labels


def found(trail: Trail, code: LabelCode) -> Printed:
    """The printing of the label with this code.

    Raises NotALabelCode for a code of another trail, for a specimen, and for a label that was never
    recorded as printed.
    """
    if code.trail != mark_of(trail.origin.id):
        raise NotALabelCode("This label was printed on another unit: its trail is not this one.")
    if code.number == 0:
        raise NotALabelCode("This is a specimen, made to try a printer. It belongs to no dose.")
    opening = (
        next(iter(trail.since(code.opened - 1)), None) if code.opened <= trail.head().seq else None
    )
    entries = () if opening is None else trail.of(opening.event.preparation)
    labels = [
        one for one in entries if one.event.kind == "printed" and one.event.body["what"] == "label"
    ]
    for entry in labels:
        if entry.event.body["code"] == code.figures:
            return Printed(preparation=entry.event.preparation, entry=entry, labels=len(labels))
    raise NotALabelCode("No label with this code was printed here. Read it again.")
