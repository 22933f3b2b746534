"""One label to be printed: what is asked for, what stands in its way, what the trail says of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from checklist.beside import may_be_labelled
from checklist.label import Label, label
from checklist.people import StaffMember
from checklist.preparation import Entry, Preparation, Surroundings
from checklist.printing import press
from checklist.printing.face import Face, dose_face, kind_of, vial_face
from checklist.printing.label_code import LabelCode
from checklist.printing.press import Incomplete, Laid, ReasonWanted, Unprintable
from checklist.printing.symbol import drawn
from checklist.quantity import Quantity
from checklist.station import Station
from checklist.stock import Form, Kind, Size, Stock, Symbol
from checklist.timing import said_moment
from checklist.vial import vial_items

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
class Draft:
    """A label of a preparation as it stood at `turn`, not yet laid out.

    `due` is how many items it must carry; all of them are on it. `before` is the number of the
    label that was printed for this already, "" where none was. `missing_colour` says that the unit
    asks for class colours and the table has none for this drug.
    """

    preparation: str
    turn: int
    face: Face
    kind: Kind
    size: Size
    form: Form
    symbol: Symbol
    stock: Stock
    code: LabelCode
    due: int
    before: str
    again: str
    missing_colour: bool

    def needs_reason(self) -> None:
        """Raise ReasonWanted for a second label of the same content without a listed reason."""
        known = ", ".join(AGAIN)
        if self.again and self.again not in AGAIN:
            raise ReasonWanted(f"{self.again!r} is no reason for one more label. Known: {known}.")
        if self.before and not self.again:
            raise ReasonWanted(
                f"Label {self.before} was printed for this already. One more needs a reason:"
                f" {known}."
            )

    def job(self) -> Job:
        """The label laid out. Raises DoesNotFit, Unprintable, NeedsExtra."""
        laid = press.lay(
            self.face,
            drawn(self.code, self.symbol),
            size=self.size,
            form=self.form,
            stock=self.stock,
            alt=f"Code of this label: {self.code.grouped}",
        )
        return Job(draft=self, laid=laid)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A label that can be printed: laid out, with what the trail is to say of it."""

    draft: Draft
    laid: Laid

    def record(self, file: bytes, form: str) -> Mapping[str, str]:
        """What the trail keeps of printing it: no text of the label, only the file's digest."""
        return {
            "what": "label",
            "of": self.draft.kind.value,
            "number": str(self.draft.code.number),
            "code": self.draft.code.figures,
            "because": self.draft.again,
            "size": str(self.laid.size),
            "form": self.laid.form.value,
            "file": form,
            "digest": hashlib.sha256(file).hexdigest(),
        }

    def printed(self, station: Station, file: bytes, form: str, by: str) -> None:
        """Record at a station that this file of it is put on paper by a person who is signed in.

        Raises MovedOn when the preparation stands elsewhere by now, NotOffered where no label may
        be stuck on any more, NotSignedIn, NotAllowed.
        """
        of = self.draft
        station.printed(of.preparation, self.record(file, form), by, turn=of.turn)


def job(station: Station, id_: str, by: StaffMember, asked: Asked) -> Job:
    """The label of a preparation, to be printed now.

    Raises Unprintable, with a sentence, where it is not to be printed: what `draft` raises, it does
    not fit, or a further label has no reason. Raises NeedsExtra.
    """
    made = draft(station, id_, by, asked)
    if not asked.specimen:
        made.needs_reason()
    return made.job()


def draft(station: Station, id_: str, by: StaffMember, asked: Asked) -> Draft:
    """The label of a preparation as it stands now, whether or not it was printed already.

    Raises Unprintable, with a sentence, where there is none: nothing is drawn up, an item is
    missing or easily misread, or the time to use it is over. Raises NotOffered where none may be
    stuck on any more, NotHere.
    """
    prep, entries = station.find(id_), station.entries(id_)
    if not asked.specimen:
        may_be_labelled(prep)
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
        due = len(vial_items(prep, around))
        since = prep.time_of("vial_state") or prep.time_of("diluent_added")
    else:
        if "label_says_everything" not in asks:
            raise Unprintable(
                "What this preparation is made from comes with its own label. None is printed here."
            )
        made = _whole(label(prep, around), around, asked)
        face = dose_face(made, prep, around, code, coloured=stock.class_colours)
        due = len(made.due)
        since = prep.time_of("drawn_volume")
    if misread := next(press.misread(face), None):
        raise Unprintable(f"This label could be misread. {misread}")
    standing = [
        one for one in printed if _same(one, kind) and (since is None or one.event.at >= since)
    ]
    return Draft(
        preparation=id_,
        turn=prep.turn,
        face=face,
        kind=kind,
        size=asked.size or stock.sizes[kind],
        form=asked.form
        or (Form.FLAT if kind is not Kind.SYRINGE else stock.form_for(_barrel(prep))),
        symbol=asked.symbol or stock.symbol,
        stock=stock,
        code=code,
        due=due,
        before=standing[-1].event.body["number"] if standing and not asked.specimen else "",
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
        raise Incomplete(made.missing, len(made.due))
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


def _barrel(prep: Preparation) -> Quantity | None:
    """The size of the syringe that the dose is in."""
    read = prep.latest("syringe_size")
    return read.value if read is not None and isinstance(read.value, Quantity) else None
