"""Ampoules and vials: how much more than the label they may hold, and when to filter."""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from checklist.quantity import Quantity
from checklist.table import Block, Citation, Sources, opened

FILE = "ampoule.toml"


class Material(StrEnum):
    """What an ampoule is made of."""

    GLASS = "glass"
    PLASTIC = "plastic"


class Form(StrEnum):
    """What the ampoule holds, as far as a filter is concerned."""

    SOLUTION = "solution"
    SUSPENSION = "suspension"
    EMULSION = "emulsion"
    LIPOSOMAL = "liposomal"
    PROTEIN = "protein"


class Need(StrEnum):
    """Whether a drug is drawn up through a filter."""

    REQUIRED = "required"
    NOT_NEEDED = "not needed"
    BY_LABEL = "only if the label says so"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExcessRow:
    """The recommended excess in mL for one labelled size: watery liquids, and thick ones."""

    labelled: Quantity
    mobile: Quantity
    viscous: Quantity
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Large:
    """The recommended excess as a share of the label, for labelled sizes of `least` or more."""

    least: Quantity
    mobile: Fraction
    viscous: Fraction
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Filtering:
    """The filter rule for some materials and forms; `pore_most` only where one is required."""

    materials: tuple[Material, ...]
    forms: tuple[Form, ...]
    need: Need
    pore_most: Quantity | None
    note: str
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The figures of ampoule.toml; `excess` runs from the smallest labelled size up."""

    title: str
    edition: int
    excess: tuple[ExcessRow, ...]
    large: Large
    nominal: tuple[Quantity, ...]
    nominal_citation: Citation
    filters: tuple[Filtering, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Excess:
    """What a container may hold over its label, in mL.

    `listed` is false for a size that the table does not list; then `volume` is that of the next
    smaller size on the list, or nothing below the smallest. `citation` is None only there.
    """

    volume: Quantity
    listed: bool
    citation: Citation | None


def excess(labelled: Quantity, viscous: bool, table: Table) -> Excess:
    """The recommended excess for a labelled volume.

    The chapter is silent on sizes between its rows. The next smaller row is taken, our own rule:
    the excess grows with the size, so this is the smallest that the table can mean. A volume
    drawn beyond it stops the nurse to look again, which costs a moment; a larger figure would let
    a misread syringe or a second ampoule pass. Raises ValueError for a volume not above zero.
    """
    if not labelled.magnitude > 0:
        raise ValueError(f"A labelled volume is above zero; {labelled} was given. Read the label.")
    if labelled >= table.large.least:
        share = table.large.viscous if viscous else table.large.mobile
        return Excess(volume=labelled.to("mL") * share, listed=True, citation=table.large.citation)
    rows = [row for row in table.excess if row.labelled <= labelled]
    if not rows:
        return Excess(volume=Quantity.of(0, "mL"), listed=False, citation=None)
    row = rows[-1]
    volume = (row.viscous if viscous else row.mobile).to("mL")
    return Excess(volume=volume, listed=row.labelled == labelled, citation=row.citation)


def greatest_content(labelled: Quantity, viscous: bool, table: Table) -> Quantity:
    """The label and its recommended excess, in mL: the most that one container is taken to hold.

    What is over the label is no extra dose. See `excess` for sizes that are not listed.
    """
    return labelled.to("mL") + excess(labelled, viscous, table).volume


def over_label(labelled: Quantity, viscous: bool, table: Table) -> Fraction:
    """How much too much the whole content would be, as a share of the labelled volume."""
    return excess(labelled, viscous, table).volume.ratio(labelled)


def is_nominal(labelled: Quantity, table: Table) -> bool:
    """Whether this is a nominal size of a glass ampoule; others exist, so this only hints."""
    return any(labelled == size for size in table.nominal)


def filtering(material: Material, form: Form, table: Table) -> Filtering | None:
    """The filter rule; None when the table has none for the two, and then nothing is compared."""
    rows = (row for row in table.filters if material in row.materials and form in row.forms)
    return next(rows, None)


def read(text: str, *, file: str = FILE) -> Table:
    """The table of ampoule.toml from its text; raises TableFault with all that is amiss."""
    top = opened(text, file=file)
    sources = top.citations()
    nominal = top.block("nominal")
    table = Table(
        title=top.text("title"),
        edition=top.whole("edition"),
        excess=tuple(_excess(block, sources) for block in top.blocks("excess")),
        large=_large(top.block("large"), sources),
        nominal=nominal.quantities("sizes", "mL"),
        nominal_citation=nominal.citation(sources),
        filters=tuple(_filtering(block, sources) for block in top.blocks("filter")),
    )
    if top.sound():
        _compare(top, table)
    top.close()
    return table


def _excess(block: Block, sources: Sources) -> ExcessRow:
    return ExcessRow(
        labelled=block.quantity("labelled", "mL"),
        mobile=block.quantity("mobile", "mL"),
        viscous=block.quantity("viscous", "mL"),
        citation=block.citation(sources),
    )


def _large(block: Block, sources: Sources) -> Large:
    return Large(
        least=block.quantity("from", "mL"),
        mobile=block.share("mobile"),
        viscous=block.share("viscous"),
        citation=block.citation(sources),
    )


def _filtering(block: Block, sources: Sources) -> Filtering:
    need, pore = block.member("need", Need), block.amount("pore_most", "um")
    if (pore is not None) != (need is Need.REQUIRED):
        block.fault("pore_most", "goes with a filter that is required, and with no other")
    return Filtering(
        materials=block.members("materials", Material),
        forms=block.members("forms", Form),
        need=need,
        pore_most=pore,
        note=block.text("note", default=""),
        citation=block.citation(sources),
    )


def _compare(top: Block, table: Table) -> None:
    """Write down what does not fit together across the rows."""
    for less, more in zip(table.excess, table.excess[1:], strict=False):
        if not (
            less.labelled < more.labelled
            and less.mobile <= more.mobile
            and less.viscous <= more.viscous
        ):
            top.fault("excess", f"does not grow at {more.labelled}. Order the rows by size")
    if not all(row.mobile <= row.viscous for row in table.excess):
        top.fault("excess", "gives a thick liquid less than a watery one. Look at both columns")
    if not table.excess[-1].labelled < table.large.least:
        top.fault("large", "begins before the last row of excess. Look at both")
    pairs = [(m, f) for row in table.filters for m in row.materials for f in row.forms]
    if len(set(pairs)) < len(pairs):
        top.fault("filter", "has two rows for one material and form. Keep one")
