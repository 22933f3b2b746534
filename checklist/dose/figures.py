"""Figures for dose sums: usual rounding steps, drop sets, factors in use, and salts."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from checklist.quantity import Quantity, Rounding
from checklist.table import Block, Citation, Sources, opened
from checklist.ucum import UnitFault, unit

FILE = "dose.toml"
WAYS = tuple(how.value for how in Rounding)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The usual rounding of one use for values from `least` up to, not with, `below`."""

    use: str
    least: Quantity
    below: Quantity | None
    step: Quantity
    how: Rounding
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class DropSet:
    """A kind of infusion set and its drops in 1 mL."""

    drops: Quantity
    name: str
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """A factor that leads from one kind of unit to another; a sum has to state its own."""

    name: str
    factor: Quantity
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """A salt with its molar mass (in mg/mmol) and the valence of the ion that is counted."""

    name: str
    formula: str
    ion: str
    molar_mass: Quantity
    valence: int
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The figures of dose.toml. They are shown and offered; a sum never takes one unasked."""

    title: str
    edition: int
    roundings: tuple[Step, ...]
    drop_sets: tuple[DropSet, ...]
    factors: tuple[Factor, ...]
    salts: tuple[Salt, ...]


def uses(table: Table) -> tuple[str, ...]:
    """What there is a usual rounding for, in the order of the file."""
    return tuple(dict.fromkeys(row.use for row in table.roundings))


def usual(use: str, value: Quantity, table: Table) -> Step | None:
    """The usual rounding of a value for a use; None when no row covers it.

    Raises DimensionMismatch when the use is for another kind of quantity.
    """
    return next(
        (
            row
            for row in table.roundings
            if row.use == use and value >= row.least and (row.below is None or value < row.below)
        ),
        None,
    )


def usual_set(drops: Quantity, table: Table) -> DropSet | None:
    """The infusion set with this many drops in 1 mL; None when no usual set has them."""
    return next((row for row in table.drop_sets if row.drops == drops), None)


def read(text: str, *, file: str = FILE) -> Table:
    """The table of dose.toml from its text; raises TableFault with all that is amiss."""
    top = opened(text, file=file)
    sources = top.citations()
    table = Table(
        title=top.text("title"),
        edition=top.whole("edition"),
        roundings=tuple(_step(block, sources) for block in top.blocks("rounding")),
        drop_sets=tuple(_drop_set(block, sources) for block in top.blocks("drop_set")),
        factors=tuple(_factor(block, sources) for block in top.blocks("factor")),
        salts=tuple(_salt(block, sources) for block in top.blocks("salt")),
    )
    if top.sound():
        for trouble in _gaps(table):
            top.fault("rounding", trouble)
    top.close()
    return table


def _step(block: Block, sources: Sources) -> Step:
    code = _code(block, "step", "mL")
    how = block.choice("how", WAYS)
    least = block.amount("from", code, zero=True)
    return Step(
        use=block.text("use"),
        least=Quantity.of(0, "mL") if least is None else least,
        below=block.amount("below", code),
        step=block.quantity("step", code),
        how=Rounding(how) if how in WAYS else Rounding.HALF_UP,
        citation=block.citation(sources),
    )


def _code(block: Block, key: str, otherwise: str) -> str:
    """The unit that a row is written in; `otherwise` where it is none, which is then a fault."""
    code = block.text(key).partition(" ")[2]
    try:
        return unit(code).code
    except UnitFault:
        return otherwise


def _drop_set(block: Block, sources: Sources) -> DropSet:
    return DropSet(
        drops=block.quantity("drops", "{drop}/mL"),
        name=block.text("name"),
        citation=block.citation(sources),
    )


def _factor(block: Block, sources: Sources) -> Factor:
    code = _code(block, "factor", "[lb_av]/kg")
    return Factor(
        name=block.text("name"),
        factor=block.quantity("factor", code),
        citation=block.citation(sources),
    )


def _salt(block: Block, sources: Sources) -> Salt:
    return Salt(
        name=block.text("name"),
        formula=block.text("formula"),
        ion=block.text("ion"),
        molar_mass=block.quantity("molar_mass", "mg/mmol"),
        valence=block.whole("valence"),
        citation=block.citation(sources),
    )


def _gaps(table: Table) -> Iterator[str]:
    """What does not follow on across the rows of one use."""
    for use in uses(table):
        rows = [row for row in table.roundings if row.use == use]
        if not all(row.least.alike(rows[0].least) for row in rows):
            yield f"of {use} mixes kinds of quantity. Use one kind for a use"
        elif (
            rows[0].least.magnitude
            or rows[-1].below is not None
            or any(before.below != then.least for before, then in pairwise(rows))
        ):
            yield f"of {use} has a gap. Begin at zero, go on where the row before ends"
