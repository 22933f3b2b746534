"""Syringes: their kinds and sizes, how exactly they measure a volume, and which one to take."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from checklist.number import shown
from checklist.quantity import Concentration, Quantity
from checklist.table import Block, Citation, Sources, opened

FILE = "syringe.toml"


class Kind(StrEnum):
    """The kinds of syringe that are told apart."""

    LUER_SLIP = "luer slip"
    LUER_LOCK = "luer lock"
    INSULIN = "insulin"
    ENTERAL = "enteral"
    NEURAXIAL = "neuraxial"


class Use(StrEnum):
    """What a syringe is wanted for."""

    INJECTION = "injection"
    INSULIN = "insulin"
    ENTERAL = "enteral"
    NEURAXIAL = "neuraxial"


class Fit(StrEnum):
    """How well a syringe measures a volume: well, with a reason to think again, or not at all."""

    SUITABLE = "suitable"
    WITH_CARE = "with care"
    REJECTED = "rejected"


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """A kind of syringe and what it may be used for."""

    kind: Kind
    uses: tuple[Use, ...]
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A size on the shelf: nominal volume and the step between two lines, both in mL.

    `made_for` is the strength that an insulin scale counts units of, None on a scale in mL.
    """

    kind: Kind
    nominal: Quantity
    line: Quantity
    made_for: Concentration | None
    citation: Citation

    def __str__(self) -> str:
        return f"{self.nominal} {self.kind} syringe"


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Shares of the tolerance for nominal sizes from `least` up to, not with, `below`.

    Below half of the nominal size the tolerance is `of_nominal` of the size and `of_volume` of
    the volume; from half on it is `from_half` of the volume. `below` is None for the last band.
    """

    least: Quantity
    below: Quantity | None
    of_nominal: Fraction
    of_volume: Fraction
    from_half: Fraction
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The most that a standard allows for nominal sizes from `least` up to, not with, `below`."""

    least: Quantity
    below: Quantity | None
    most: Quantity
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The figures of syringe.toml; the bands of each list follow on one another from 0 mL up.

    `fill_most`, `fill_least` and `oversize` (a number of times the volume) call for care;
    `lines_least` rejects. `limits` cites the source of each of these, and of the form of the
    accuracy formula, by its name.
    """

    title: str
    edition: int
    kinds: tuple[KindRow, ...]
    accuracy_kinds: tuple[Kind, ...]
    accuracy: tuple[Accuracy, ...]
    dead_spaces: tuple[Band, ...]
    scales: tuple[Band, ...]
    sizes: tuple[Size, ...]
    fill_most: Fraction
    fill_least: Fraction
    oversize: int
    lines_least: int
    enteral_least: Quantity
    limits: Mapping[str, Citation]

    def sizes_of(self, kind: Kind) -> tuple[Size, ...]:
        """The sizes of one kind, in the order of the file."""
        return tuple(size for size in self.sizes if size.kind is kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One syringe weighed for one volume.

    `reasons` say in plain words what speaks against it. `tolerance` is what the standard lets the
    volume be out by, None when the syringe does not hold it or the kind has no figure. `reading`
    is half a line as a share of the volume, `fill` the volume as a share of the nominal size.
    """

    kind: Kind
    size: Quantity
    graduation: Quantity
    verdict: Fit
    reasons: tuple[str, ...]
    tolerance: Quantity | None
    reading: Fraction
    fill: Fraction


def holds(volume: Quantity, nominal: Quantity) -> bool:
    """Whether a syringe of this nominal size takes the volume."""
    return volume <= nominal


def fill_share(volume: Quantity, nominal: Quantity) -> Fraction:
    """The volume as a share of the nominal size: 1 when the syringe is full."""
    return volume.ratio(nominal)


def on_line(volume: Quantity, graduation: Quantity) -> bool:
    """Whether the volume is a whole number of lines, so that it can be read."""
    return volume.ratio(graduation).denominator == 1


def reading_error(volume: Quantity, graduation: Quantity) -> Fraction:
    """Half a line as a share of the volume: how far the eye may be out. Common practice."""
    return graduation.ratio(_drawn(volume)) / 2


def tolerance(volume: Quantity, nominal: Quantity, table: Table) -> Quantity:
    """How far the volume pushed out may be from the volume read, in mL, up or down.

    The formula of ISO 7886-1 for hypodermic syringes, as in `Accuracy`. Raises ValueError for a
    volume that is not above zero or that the syringe does not hold.
    """
    if not holds(_drawn(volume), nominal):
        raise ValueError(f"{volume} does not fit into a {nominal} syringe. Take a larger one.")
    shares = next(row for row in table.accuracy if _covers(row, nominal))
    if volume * 2 < nominal:
        return nominal.to("mL") * shares.of_nominal + volume.to("mL") * shares.of_volume
    return volume.to("mL") * shares.from_half


def dead_space(nominal: Quantity, table: Table) -> Quantity:
    """The most that the standard lets stay behind in a syringe of this size, in mL."""
    return _most(table.dead_spaces, nominal)


def with_dead_space(volume: Quantity, nominal: Quantity, table: Table) -> Quantity:
    """What may reach the patient when the syringe is flushed after the dose, in mL."""
    return _drawn(volume).to("mL") + dead_space(nominal, table)


def widest_line(nominal: Quantity, table: Table) -> Quantity:
    """The widest space between two lines that the standard allows for this size, in mL."""
    return _most(table.scales, nominal)


def kinds_for(use: Use, table: Table) -> tuple[Kind, ...]:
    """The kinds of syringe that may be used for this."""
    return tuple(row.kind for row in table.kinds if use in row.uses)


def scale_factor(size: Size, strength: Concentration) -> Fraction | None:
    """How many times the units marked on the scale are really drawn from this strength.

    1 when scale and strength belong together; None when the scale counts no units. Raises
    DimensionMismatch when the strength is not in units.
    """
    if size.made_for is None:
        return None
    return strength.per_mL.ratio(size.made_for.per_mL)


def ranked(volume: Quantity, sizes: Iterable[Size], table: Table) -> tuple[Choice, ...]:
    """All sizes weighed for this volume, the best first, the rejected ones last.

    A size is rejected when it does not hold the volume, when the volume falls between two lines
    or covers too few of them. It needs care when it would be very full or hardly filled, or is
    oversized. Among equals the one with the smallest error (tolerance and reading together)
    stands first, then the smaller one. Raises ValueError for a volume that is not above zero.
    """
    choices = [_weighed(_drawn(volume), size, table) for size in sizes]
    return tuple(sorted(choices, key=lambda choice: _rank(choice, volume)))


def _weighed(volume: Quantity, size: Size, table: Table) -> Choice:
    against = _rejections(volume, size, table)
    cautions = () if against else _cautions(volume, size, table)
    known = size.kind in table.accuracy_kinds and holds(volume, size.nominal)
    return Choice(
        kind=size.kind,
        size=size.nominal,
        graduation=size.line,
        verdict=Fit.REJECTED if against else Fit.WITH_CARE if cautions else Fit.SUITABLE,
        reasons=against or cautions,
        tolerance=tolerance(volume, size.nominal, table) if known else None,
        reading=reading_error(volume, size.line),
        fill=fill_share(volume, size.nominal),
    )


def _rejections(volume: Quantity, size: Size, table: Table) -> tuple[str, ...]:
    """The first thing that rules the size out: what comes after it no longer matters."""
    if not holds(volume, size.nominal):
        return (f"A {size} is too small for {volume}.",)
    lines = f"A {size} has a line every {size.line}"
    if not on_line(volume, size.line):
        return (f"{lines}; {volume} falls between two lines.",)
    if not volume >= size.line * table.lines_least:
        return (f"{lines}; {volume} covers fewer than {table.lines_least} lines.",)
    return ()


def _cautions(volume: Quantity, size: Size, table: Table) -> tuple[str, ...]:
    found, fill = [], fill_share(volume, size.nominal)
    full = f"{shown(fill * 100)} % full"
    if not fill <= table.fill_most:
        found.append(
            f"A {size} would be {full}. Keep it to {shown(table.fill_most * 100)} % or less, so"
            " that the plunger stays in."
        )
    if not fill >= table.fill_least:
        found.append(
            f"A {size} would be only {full}. From {shown(table.fill_least * 100)} % on it"
            " measures better."
        )
    elif not size.nominal <= volume * table.oversize:
        found.append(f"A {size} holds more than {table.oversize} times {volume}.")
    if size.kind is Kind.ENTERAL and not volume >= table.enteral_least:
        found.append(f"Enteral syringes measure less exactly below {table.enteral_least}.")
    return tuple(found)


def _rank(choice: Choice, volume: Quantity) -> tuple[int, bool, Fraction, Fraction]:
    known = choice.tolerance is not None
    error = choice.reading + (choice.tolerance.ratio(volume) if choice.tolerance is not None else 0)
    return list(Fit).index(choice.verdict), not known, error, choice.size.to("mL").magnitude


def _drawn(volume: Quantity) -> Quantity:
    if not volume.magnitude > 0:
        raise ValueError(f"A volume to draw is above zero; {volume} was given.")
    return volume


def _covers(row: Accuracy | Band, nominal: Quantity) -> bool:
    return row.least <= nominal and (row.below is None or nominal < row.below)


def _most(bands: tuple[Band, ...], nominal: Quantity) -> Quantity:
    return next(band.most for band in bands if _covers(band, nominal)).to("mL")


def read(text: str, *, file: str = FILE) -> Table:
    """The table of syringe.toml from its text; raises TableFault with all that is amiss."""
    top = opened(text, file=file)
    sources = top.citations()
    accuracy = top.block("accuracy")
    limits = {"accuracy": accuracy} | {name: top.block(name) for name in _LIMITS}
    table = Table(
        title=top.text("title"),
        edition=top.whole("edition"),
        kinds=tuple(_kind(block, sources) for block in top.blocks("kind")),
        accuracy_kinds=accuracy.members("kinds", Kind),
        accuracy=tuple(_accuracy(block, sources) for block in accuracy.blocks("band")),
        dead_spaces=tuple(_band(block, sources) for block in top.blocks("dead_space")),
        scales=tuple(_band(block, sources) for block in top.blocks("scale")),
        sizes=tuple(size for block in top.blocks("size") for size in _sizes(block, sources)),
        fill_most=limits["fill_most"].share("share"),
        fill_least=limits["fill_least"].share("share"),
        oversize=limits["oversize"].whole("times"),
        lines_least=limits["lines_least"].whole("count"),
        enteral_least=limits["enteral_least"].quantity("volume", "mL"),
        limits=MappingProxyType({n: block.citation(sources) for n, block in limits.items()}),
    )
    if top.sound():
        _compare(top, table)
    top.close()
    return table


_LIMITS = ("fill_most", "fill_least", "oversize", "lines_least", "enteral_least")


def _kind(block: Block, sources: Sources) -> KindRow:
    return KindRow(
        kind=block.member("name", Kind),
        uses=block.members("uses", Use),
        citation=block.citation(sources),
    )


def _sizes(block: Block, sources: Sources) -> list[Size]:
    made_for = block.text("made_for", default="")
    strength = None
    if made_for:
        try:
            strength = Concentration.parse(made_for)
        except (ValueError, TypeError) as trouble:
            block.fault("made_for", f"cannot be read: {str(trouble).rstrip('.')}")
    nominal, line = block.quantity("nominal", "mL"), block.quantity("line", "mL")
    citation = block.citation(sources)
    return [
        Size(kind=kind, nominal=nominal, line=line, made_for=strength, citation=citation)
        for kind in block.members("kinds", Kind)
    ]


def _accuracy(block: Block, sources: Sources) -> Accuracy:
    least = block.amount("from", "mL", zero=True)
    return Accuracy(
        least=Quantity.of(0, "mL") if least is None else least,
        below=block.amount("below", "mL"),
        of_nominal=block.share("of_nominal"),
        of_volume=block.share("of_volume"),
        from_half=block.share("from_half"),
        citation=block.citation(sources),
    )


def _band(block: Block, sources: Sources) -> Band:
    least = block.amount("from", "mL", zero=True)
    return Band(
        least=Quantity.of(0, "mL") if least is None else least,
        below=block.amount("below", "mL"),
        most=block.quantity("most", "mL"),
        citation=block.citation(sources),
    )


def _compare(top: Block, table: Table) -> None:
    """Write down what does not fit together across the rows."""
    lists: dict[str, tuple[Accuracy, ...] | tuple[Band, ...]] = {
        "accuracy.band": table.accuracy, "dead_space": table.dead_spaces, "scale": table.scales
    }  # fmt: skip
    for key, bands in lists.items():
        starts = [Quantity.of(0, "mL"), *(band.below for band in bands[:-1])]
        if bands[-1].below is not None or [band.least for band in bands] != starts:
            top.fault(key, "has a gap. Begin at 0 mL, go on where the row before ends, and leave"
                      " the last row open")  # fmt: skip
            return
    if sorted(row.kind for row in table.kinds) != sorted(Kind):
        top.fault("kind", f"has to name each of these once: {', '.join(Kind)}")
    if not table.fill_least < table.fill_most <= 1:
        top.fault("fill_least", "is not below fill_most. Look at both")
    for size in table.sizes:
        if not on_line(size.nominal, size.line):
            top.fault("size", f"has a {size} whose last line is not its size. Look at the line")
        if size.kind in table.accuracy_kinds and not size.line <= widest_line(size.nominal, table):
            top.fault("size", f"has a {size} with lines wider apart than the standard allows")
        if (size.made_for is not None) != (size.kind is Kind.INSULIN):
            top.fault("size", f"has a {size}; an insulin scale, and no other, has made_for")
