"""One label to be printed: what is asked for, what stands in its way, what the trail says of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType

from checklist.label import Label, label
from checklist.people import StaffMember
from checklist.preparation import Entry, Preparation, Surroundings
from checklist.printing import press
from checklist.printing.face import dose_face, kind_of, vial_face
from checklist.printing.label_code import LabelCode
from checklist.printing.press import Laid, Unprintable
from checklist.printing.symbol import drawn
from checklist.quantity import Quantity
from checklist.station import Station
from checklist.stock import Form, Kind, Size, Symbol
from checklist.timing import said_moment

SPECIMEN = 0
"""The number of a label that is no label: for trying out a printer."""
AGAIN: Mapping[str, str] = MappingProxyType(
    {
        "not_printed": "The printer did not bring it out",
        "unreadable": "It came out unreadable or damaged",
        "came_off": "It came off or hid the scale",
        "wrong_size": "It was of the wrong size or form",
    }
)
"""Why one more label is printed for the same dose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked for; what is None or empty takes the unit's usual way.

    `vial` asks for the label of a vial that stays in use, in place of that of the dose. `again` is
    one of AGAIN. `specimen` asks for a sheet to try a printer with: no patient, nothing recorded.
    """

    size: Size | None = None
    form: Form | None = None
    symbol: Symbol | None = None
    vial: bool = False
    again: str = ""
    specimen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A label that can be printed: laid out, with its code and what the trail is to say of it."""

    preparation: str
    turn: int
    laid: Laid
    kind: Kind
    code: LabelCode
    again: str
    missing_colour: bool = False

    def record(self, file: bytes, form: str) -> Mapping[str, str]:
        """What the trail keeps of printing it: no text of the label, only the file's digest."""
        return {
            "what": "label",
            "of": self.kind.value,
            "number": str(self.code.number),
            "code": self.code.figures,
            "because": self.again,
            "size": str(self.laid.size),
            "form": self.laid.form.value,
            "file": form,
            "digest": hashlib.sha256(file).hexdigest(),
        }


def job(station: Station, id_: str, by: StaffMember, asked: Asked) -> Job:
    """The label of a preparation as it stands now.

    Raises Unprintable, with a sentence, where it is not to be printed: nothing is drawn up, an item
    is missing or easily misread, it does not fit, the time to use it is over, or a further label
    has no reason. Raises NotHere, NeedsExtra.
    """
    prep, entries = station.find(id_), station.entries(id_)
    rules = station.rules_of(prep.workflow)
    around = station.surroundings(prep, by, rules.layout.spots[rules.workflow.steps[0].name])
    asks = {name for step in rules.workflow.steps for name in step.checks}
    kind = Kind.VIAL if asked.vial else kind_of(prep)
    printed = tuple(_printed(entries))
    number = SPECIMEN if asked.specimen else len(printed) + 1
    if number > 99:
        raise Unprintable("99 labels were printed for this preparation. Write this one by hand.")
    code = LabelCode.of(station.trail.origin.id, entries[0].seq, number)
    stock = around.unit.stock
    if asked.vial:
        face = vial_face(prep, around, code)
        if not face.rows:
            raise Unprintable(
                "No vial of this preparation stays in use, so there is nothing to write on one."
            )
        since = prep.time_of("vial_state") or prep.time_of("diluent_added")
    else:
        if "label_says_everything" not in asks:
            raise Unprintable(
                "What this preparation is made from comes with its own label. None is printed here."
            )
        made = _whole(label(prep, around), around, asked)
        face = dose_face(made, prep, around, code, coloured=stock.class_colours)
        since = prep.time_of("drawn_volume")
    if misread := next(press.misread(face), None):
        raise Unprintable(f"This label could be misread. {misread}")
    if not asked.specimen:
        _reasoned(asked, [one for one in printed if _same(one, kind)], since)
    form = asked.form or (Form.FLAT if kind is not Kind.SYRINGE else stock.form_for(_barrel(prep)))
    laid = press.lay(
        face,
        drawn(code, asked.symbol or stock.symbol),
        size=asked.size or stock.sizes[kind],
        form=form,
        stock=stock,
        alt=f"Code of this label: {code.grouped}",
    )
    return Job(
        preparation=id_,
        turn=prep.turn,
        laid=laid,
        kind=kind,
        code=code,
        again=asked.again,
        missing_colour=stock.class_colours and not asked.vial and face.colour is None,
    )


def _whole(made: Label, around: Surroundings, asked: Asked) -> Label:
    """The label once it is sure that it may be printed now; a specimen without its patient."""
    if not made.items.get("volume"):
        raise Unprintable(
            "Nothing is drawn up yet, and what is empty is never labelled. Draw up the dose and"
            " have its volume read, then print the label."
        )
    if asked.specimen:
        nobody = {"patient_name": "SPECIMEN, not for use", "identifiers": "born -, record -"}
        made = replace(made, items={**made.items, **nobody})
    if made.missing:
        raise Unprintable(f"The label lacks: {', '.join(made.missing)}. Nothing was printed.")
    over = made.use_before is not None and not around.at < made.use_before
    if over and not asked.specimen:
        assert made.use_before is not None
        raise Unprintable(
            f"This dose was to be begun before {said_moment(made.use_before, around.unit)}. That is"
            " over: discard it and prepare it anew. Nothing was printed."
        )
    return made


def _printed(entries: Sequence[Entry]) -> Iterator[Entry]:
    """The entries that say that a label was printed."""
    for entry in entries:
        if entry.event.kind == "printed" and entry.event.body["what"] == "label":
            yield entry


def _same(entry: Entry, kind: Kind) -> bool:
    return Kind(entry.event.body["of"]).shared is kind.shared


def _reasoned(asked: Asked, before: Sequence[Entry], since: datetime | None) -> None:
    """A second label for the same content needs a reason, a first one none."""
    known = ", ".join(AGAIN)
    if asked.again and asked.again not in AGAIN:
        raise Unprintable(f"{asked.again!r} is no reason for one more label. Reasons: {known}.")
    standing = [one for one in before if since is None or one.event.at >= since]
    if standing and not asked.again:
        last = standing[-1].event.body["number"]
        raise Unprintable(
            f"Label {last} was printed for this already. One more needs a reason (--again):"
            f" {known}."
        )


def _barrel(prep: Preparation) -> Quantity | None:
    """The size of the syringe that the dose is in."""
    read = prep.latest("syringe_size")
    return read.value if read is not None and isinstance(read.value, Quantity) else None
