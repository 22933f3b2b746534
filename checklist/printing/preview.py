"""A label to look at before it is printed: its picture, or what stands in its way. No file."""

from __future__ import annotations

from dataclasses import dataclass, replace

from checklist.engine import NotOffered
from checklist.people import StaffMember
from checklist.printing import press
from checklist.printing.job import Asked, Draft, draft
from checklist.printing.press import DoesNotFit, Incomplete, Unprintable
from checklist.station import Station
from checklist.stock import Form, Kind, Size


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """How a label would come out now.

    `file` is the picture, None where the label is refused; then `refusal` is the sentence why.
    `lines` are the rows of text on it, for one who cannot see the picture. `present` of `due` items
    are on it; `lacking` are the words for the others. `no_room` are the words for what does not go
    on `size`, and `larger` a size on which all of it does. `size` is that of the face and `sheet`
    that of the paper, both None where it did not come so far; `smallest` are the least letters, in
    points. `before` is the number of the label that was printed for this already: one more needs a
    reason. `missing_colour` says that no class colour is known for this drug, where the unit asks
    for them.
    """

    file: bytes | None = None
    lines: tuple[str, ...] = ()
    refusal: str = ""
    present: int = 0
    due: int = 0
    lacking: tuple[str, ...] = ()
    no_room: tuple[str, ...] = ()
    larger: Size | None = None
    kind: Kind | None = None
    size: Size | None = None
    sheet: Size | None = None
    form: Form | None = None
    smallest: float | None = None
    before: str = ""
    missing_colour: bool = False

    @property
    def fits(self) -> bool:
        """Whether the label can be printed as it is."""
        return self.file is not None


def preview(
    station: Station,
    id_: str,
    by: StaffMember,
    asked: Asked,
    *,
    form: str = "svg",
    dpi: int = press.DPI[0],
) -> Preview:
    """The label of a preparation as "pdf", "svg" or "png"; nothing is recorded.

    Raises NotHere for a preparation that is not there, NeedsExtra.
    """
    try:
        made = draft(station, id_, by, asked)
    except Incomplete as fault:
        found = fault.due - len(fault.lacking)
        return Preview(refusal=str(fault), present=found, due=fault.due, lacking=fault.lacking)
    except (Unprintable, NotOffered) as fault:
        return Preview(refusal=_sentence(str(fault)))
    return shown(made, form=form, dpi=dpi)


def shown(made: Draft, *, form: str = "svg", dpi: int = press.DPI[0]) -> Preview:
    """The picture of a draft; it asks nothing of the station and may run beside it."""
    facts = Preview(
        present=made.due,
        due=made.due,
        kind=made.kind,
        size=made.size,
        form=made.form,
        before=made.before,
        missing_colour=made.missing_colour,
    )
    try:
        laid = made.job().laid
    except DoesNotFit as fault:
        return replace(facts, refusal=str(fault), no_room=fault.words, larger=fault.larger)
    except Unprintable as fault:
        return replace(facts, refusal=str(fault))
    return replace(
        facts,
        file=press.made(laid, form, dpi=dpi),
        lines=tuple("  ".join(bit.said for bit in row.bits) for row in laid.face.rows),
        sheet=laid.sheet,
        smallest=laid.smallest,
    )


def _sentence(text: str) -> str:
    """A fault of the station, which comes in small letters and without a stop, as a sentence."""
    return text if text.endswith(".") else f"{text[0].upper()}{text[1:]}."
