"""Needles: their sizes, and the gauge and length that suit a route, a site and a patient."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from checklist.quantity import Quantity
from checklist.site import Age, AgeSpan, Site, age_span
from checklist.table import Block, Citation, Sources, opened

FILE = "needle.toml"
ROUTES = ("ID", "SC", "IM", "IV")
SEXES = ("female", "male")
CONTAINERS = (
    "glass_ampoule", "powder_ampoule", "plastic_ampoule",
    "single_dose_vial", "multi_dose_vial", "powder_vial",
)  # fmt: skip
SAME_LENGTH = Quantity.of("1", "mm")
"""Packs and tables name a length in mm or in inches; two that differ by less are the same one.

The widest gap is 50 mm for 2 inches (50.8 mm); the closest two lengths in use are 4 and 5 mm.
"""
UNKNOWN_DEPTH = "length not compared: site, weight or sex is not known"


class Kind(StrEnum):
    """What is fitted to the syringe."""

    INJECTION = "injection needle"
    BLUNT = "blunt fill needle"
    FILTER = "filter needle"
    STRAW = "filter straw"
    PEN = "pen needle"


class Use(StrEnum):
    """What is injected, where that decides on the needle."""

    MEDICINE = "medicine"
    VACCINE = "vaccine"
    INSULIN = "insulin"
    PEN = "insulin pen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A gauge, its outer diameter in mm and the colour of its hub ("" when not known)."""

    gauge: int
    outer: Quantity
    colour: str
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Needle:
    """A needle in the hand, as read from its pack; None for what the pack does not say.

    `pore` is the nominal size of the holes of a filter needle or straw.
    """

    kind: Kind
    gauge: int | None = None
    length: Quantity | None = None
    pore: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """What the tables say. A larger gauge is a thinner needle.

    `kinds` is empty where no needle is used at all. `gauges` run from the thickest to the
    thinnest, `lengths` from the shortest to the longest; None means not compared: no data.
    `pore_most` is the largest pore of a filter, None where no filter is asked for.
    """

    kinds: tuple[Kind, ...]
    gauges: tuple[int, int] | None
    lengths: tuple[Quantity, Quantity] | None
    pore_most: Quantity | None
    note: str
    citations: tuple[Citation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """Body weights of a row: from, above, up to and with, up to and not with; None is open."""

    least: Quantity | None
    above: Quantity | None
    most: Quantity | None
    below: Quantity | None

    def covers(self, weight: Quantity) -> bool:
        """Whether the weight is within all the ends that are set."""
        return (
            (self.least is None or weight >= self.least)
            and (self.above is None or weight > self.above)
            and (self.most is None or weight <= self.most)
            and (self.below is None or weight < self.below)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class InjectionRow:
    """One row of a table of needles for injection; empty or None where it names no condition."""

    use: Use
    route: str
    sites: tuple[str, ...]
    ages: AgeSpan
    sexes: tuple[str, ...]
    weights: Weights | None
    viscous: bool | None
    advice: Recommendation


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingRow:
    """One row of a table of needles for drawing up from a container."""

    containers: tuple[str, ...]
    advice: Recommendation


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The figures of needle.toml; `sizes` run from the thinnest needle to the thickest."""

    title: str
    edition: int
    sizes: tuple[Size, ...]
    injections: tuple[InjectionRow, ...]
    drawings: tuple[DrawingRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """Who is injected with what and where, as far as it is known."""

    use: Use
    route: str
    site: str | None
    age: Age | None
    weight: Quantity | None
    sex: str | None
    viscous: bool


def outer(gauge: int, table: Table) -> Quantity | None:
    """The outer diameter of a gauge in mm; None for a gauge that is not on the list."""
    return next((size.outer for size in table.sizes if size.gauge == gauge), None)


def gauge_of(diameter: Quantity, table: Table) -> int | None:
    """The gauge of exactly this outer diameter; None when none has it."""
    return next((size.gauge for size in table.sizes if size.outer == diameter), None)


def gauges_coloured(colour: str, table: Table) -> tuple[int, ...]:
    """All gauges with this hub colour: more than one for white and yellow, so never a proof."""
    return tuple(size.gauge for size in table.sizes if colour and size.colour == colour)


def recommended(
    route: str,
    site: Site | None,
    *,
    age: Age | None,
    weight: Quantity | None,
    sex: str,
    table: Table,
    use: Use = Use.MEDICINE,
    viscous: bool = False,
) -> Recommendation | None:
    """The needle for an injection; None when the tables do not say, and then nothing is compared.

    `sex` is "female", "male" or anything else for not known. What is not known is never guessed:
    where it would decide between rows, there is no recommendation. For a medicine into a muscle
    the vaccine table gives the length wherever it has a row, since the depth of the muscle does
    not hang on what is injected; where it would need a fact that is missing, no length is given.
    """
    wanted = _Wanted(
        use=use, route=route, site=site.name if site else None, age=age, weight=weight,
        sex=sex if sex in SEXES else None, viscous=viscous,
    )  # fmt: skip
    advice, sure = _found(wanted, table)
    if advice is None or not sure or use is not Use.MEDICINE or route != "IM":
        return advice if sure else None
    depth, sure = _found(replace(wanted, use=Use.VACCINE), table)
    if not sure:
        return replace(advice, lengths=None, note=_joined([UNKNOWN_DEPTH, advice.note]))
    if depth is None:
        return advice
    return replace(
        advice,
        lengths=depth.lengths,
        note=_joined([depth.note, advice.note]),
        citations=advice.citations + depth.citations,
    )


def for_drawing(container: str, table: Table) -> Recommendation | None:
    """The needle or straw for drawing up from a container; None when the tables do not say."""
    rows = (row for row in table.drawings if container in row.containers)
    return next((row.advice for row in rows), None)


def suits(needle: Needle, advice: Recommendation) -> tuple[str, ...]:
    """Why the needle does not suit, in plain words; empty when it does.

    What the advice asks for and the needle does not tell counts against it. A straw has no gauge
    and its length is not compared.
    """
    if not advice.kinds:
        return ("No needle is used here. Connect the syringe without one.",)
    if needle.kind not in advice.kinds:
        return (f"This is {_either([needle.kind])}. Take {_either(advice.kinds)}.",)
    reasons = [_gauge(needle, advice), _length(needle, advice), _pore(needle, advice)]
    return tuple(reason for reason in reasons if reason)


def _gauge(needle: Needle, advice: Recommendation) -> str:
    if advice.gauges is None or needle.kind is Kind.STRAW:
        return ""
    thickest, thinnest = advice.gauges
    wanted = f"{thickest} gauge" if thickest == thinnest else f"{thickest} to {thinnest} gauge"
    if needle.gauge is None:
        return f"The gauge is not known. Read it on the pack: {wanted} is wanted."
    if thickest <= needle.gauge <= thinnest:
        return ""
    how = "thick" if needle.gauge < thickest else "thin"
    return f"{needle.gauge} gauge is too {how} here: {wanted} is wanted."


def _length(needle: Needle, advice: Recommendation) -> str:
    if advice.lengths is None or needle.kind is Kind.STRAW:
        return ""
    shortest, longest = advice.lengths
    wanted = f"{shortest}" if shortest == longest else f"{shortest} to {longest}"
    if needle.length is None:
        return f"The length is not known. Read it on the pack: {wanted} is wanted."
    if shortest - needle.length < SAME_LENGTH and needle.length - longest < SAME_LENGTH:
        return ""
    how = "short" if needle.length < shortest else "long"
    return f"{needle.length} is too {how} here: {wanted} is wanted."


def _pore(needle: Needle, advice: Recommendation) -> str:
    if advice.pore_most is None:
        return ""
    if needle.pore is None:
        return f"The filter size is not known. Take a filter of {advice.pore_most} or less."
    if needle.pore.magnitude > 0 and needle.pore <= advice.pore_most:
        return ""
    return (
        f"A filter of {needle.pore} may let glass through. Take one of {advice.pore_most} or less."
    )


def _found(wanted: _Wanted, table: Table) -> tuple[Recommendation | None, bool]:
    """The advice of the one row that holds, and whether that is sure.

    Not sure when two rows hold, or when a row would need a fact that is not known.
    """
    held = [(row, _holds(row, wanted)) for row in table.injections]
    rows = [row for row, holds in held if holds]
    sure = len(rows) <= 1 and all(holds is not None for _, holds in held)
    return (rows[0].advice if rows else None), sure


def _holds(row: InjectionRow, wanted: _Wanted) -> bool | None:
    """Whether the row holds; None when that hangs on a fact that is not known."""
    answers = [
        row.use is wanted.use and row.route == wanted.route,
        row.viscous is None or row.viscous is wanted.viscous,
        _among(wanted.site, row.sites),
        row.ages.tells(wanted.age),
        _among(wanted.sex, row.sexes),
        _weighs(wanted.weight, row.weights),
    ]
    if False in answers:
        return False
    return None if None in answers else True


def _among(fact: str | None, listed: tuple[str, ...]) -> bool | None:
    if not listed:
        return True
    return None if fact is None else fact in listed


def _weighs(weight: Quantity | None, weights: Weights | None) -> bool | None:
    if weights is None:
        return True
    return None if weight is None else weights.covers(weight)


def _either(kinds: Iterable[Kind]) -> str:
    return " or ".join(f"{'an' if kind[0] in 'aeio' else 'a'} {kind}" for kind in kinds)


def _joined(notes: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(note for note in notes if note))


def read(text: str, *, file: str = FILE) -> Table:
    """The table of needle.toml from its text; raises TableFault with all that is amiss."""
    top = opened(text, file=file)
    sources = top.citations()
    table = Table(
        title=top.text("title"),
        edition=top.whole("edition"),
        sizes=tuple(_size(block, sources) for block in top.blocks("size")),
        injections=tuple(_injection(block, sources) for block in top.blocks("injection")),
        drawings=tuple(_drawing(block, sources) for block in top.blocks("drawing")),
    )
    for thinner, thicker in zip(table.sizes, table.sizes[1:], strict=False):
        if not (thinner.gauge > thicker.gauge and thinner.outer < thicker.outer):
            top.fault("size", f"is out of order at {thicker.gauge} gauge. A smaller gauge is wider")
    top.close()
    return table


def _size(block: Block, sources: Sources) -> Size:
    return Size(
        gauge=block.whole("gauge"),
        outer=block.quantity("outer", "mm"),
        colour=block.text("colour", default=""),
        citation=block.citation(sources),
    )


def _injection(block: Block, sources: Sources) -> InjectionRow:
    weights = Weights(
        least=block.amount("weight_from", "kg"),
        above=block.amount("weight_above", "kg"),
        most=block.amount("weight_to", "kg"),
        below=block.amount("weight_below", "kg"),
    )
    bounds = (weights.least, weights.above, weights.most, weights.below)
    free = block.flag("needle_free")
    return InjectionRow(
        use=block.member("use", Use),
        route=block.choice("route", ROUTES),
        sites=block.choices("sites") if block.has("sites") else (),
        ages=age_span(block),
        sexes=block.choices("sexes", SEXES) if block.has("sexes") else (),
        weights=weights if any(bound is not None for bound in bounds) else None,
        viscous=block.flag("viscous") if block.has("viscous") else None,
        advice=_advice(block, sources, () if free else (Kind.INJECTION,)),
    )


def _drawing(block: Block, sources: Sources) -> DrawingRow:
    return DrawingRow(
        containers=block.choices("containers", CONTAINERS), advice=_advice(block, sources, ())
    )


def _advice(block: Block, sources: Sources, kinds: tuple[Kind, ...]) -> Recommendation:
    gauges = lengths = None
    if block.has("thickest") or block.has("thinnest"):
        gauges = block.whole("thickest"), block.whole("thinnest")
        if not gauges[0] <= gauges[1]:
            block.fault("thickest", "is a larger gauge than thinnest. Change them about")
    if block.has("shortest") or block.has("longest"):
        lengths = block.quantity("shortest", "mm"), block.quantity("longest", "mm")
        if not lengths[0] <= lengths[1]:
            block.fault("shortest", "is more than longest. Change them about")
    return Recommendation(
        kinds=block.members("kinds", Kind) if block.has("kinds") else kinds,
        gauges=gauges,
        lengths=lengths,
        pore_most=block.amount("pore_most", "um"),
        note=block.text("note", default=""),
        citations=(block.citation(sources),),
    )
