"""Equipment: syringe, needle and site weighed for one volume, with the reason for each size."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from checklist import needle, site
from checklist.dose.rounding import RoundingRefused, RoundingRule, rounded
from checklist.dose.split import Pair, Split, in_two_syringes, split
from checklist.dose.working import DoseFault, Working, above_zero
from checklist.limits import Limits
from checklist.number import shown
from checklist.quantity import Concentration, Quantity, Rounding
from checklist.site import Age
from checklist.syringe import Choice, Fit, Size, Table, Use, holds, kinds_for, ranked, scale_factor

ROUTES = {
    "IV": Use.INJECTION, "IM": Use.INJECTION, "SC": Use.INJECTION, "ID": Use.INJECTION,
    "IT": Use.NEURAXIAL, "EPI": Use.NEURAXIAL,
    "PO": Use.ENTERAL, "NG": Use.ENTERAL, "PEG": Use.ENTERAL,
}  # fmt: skip
"""What a syringe is wanted for, by the route of the order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One syringe of the ranking.

    `to_set` is the volume on its lines, None when it cannot be read there. `change` is what that
    rounding changed, as a share of the exact volume; `reasons` say what speaks against the size.
    """

    choice: Choice
    to_set: Quantity | None
    change: Fraction
    verdict: Fit
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the equipment is for.

    `strength` is needed for insulin, whose scale counts units of one strength. `warn_above` and
    `refuse_above` are the shares of the volume that rounding to the lines may change.
    """

    volume: Quantity
    route: str
    insulin: bool = False
    strength: Concentration | None = None
    site: str = ""
    age: Age | None = None
    weight: Quantity | None = None
    sex: str = ""
    viscous: bool = False
    how: Rounding = Rounding.HALF_UP
    warn_above: Fraction = Fraction(5, 100)
    refuse_above: Fraction = Fraction(10, 100)


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """What to take: all sizes ranked, the needle, the site's limit, and how to split if need be.

    `best` is None when no single syringe will do. `pair` holds the volume exactly in two syringes
    where one cannot, None where one can or no two do. `split` is the volume shared out over
    several sites when one may not take it, None when it may or when no split was found.
    `not_compared` are the questions that no published figure answers.
    """

    rows: tuple[Row, ...]
    needle: needle.Recommendation | None
    limit: site.SiteLimit | None
    level: site.Level | None
    pair: Pair | None
    split: Split | None
    lines: tuple[str, ...]
    not_compared: tuple[str, ...]

    @property
    def best(self) -> Row | None:
        """The first of the ranking, None when every size was rejected."""
        return next((row for row in self.rows if row.verdict is not Fit.REJECTED), None)


def equipment(wanted: Wanted, limits: Limits) -> Equipment:
    """Weigh syringes, needle and site for one volume.

    Raises DoseFault for a route that is not known, a volume that is not above zero, or insulin
    without its strength.
    """
    above_zero("A volume", wanted.volume)
    volume = wanted.volume.to("mL")
    sizes = sizes_for(wanted, limits.syringes)
    rows = ranking(volume, sizes, limits.syringes, wanted)
    missing: list[str] = []
    advice = _needle(wanted, limits, missing)
    limit = _limit(wanted, limits, missing)
    best = next((row for row in rows if row.verdict is not Fit.REJECTED), None)
    level = site.level(volume, limit) if limit is not None else None
    # Where lines change the volume, two syringes may hold it exactly.
    exact = best is not None and best.change == 0
    pair = None if exact else in_two_syringes(volume, sizes, limits.syringes)
    lines = _said(best, rows, pair)
    if best is not None and best.to_set is not None and wanted.insulin and wanted.strength:
        lines.append(f"on its scale = {wanted.strength.amount_in(best.to_set)}")
    shared = None
    if limit is not None and level is not None:
        lines.append(_against(volume, limit, level))
        if level is not site.Level.WITHIN:
            shared = _shared(volume, limit, sizes, lines)
    return Equipment(
        rows=rows, needle=advice, limit=limit, level=level, pair=pair, split=shared,
        lines=tuple(lines), not_compared=tuple(missing),
    )  # fmt: skip


def sizes_for(wanted: Wanted, table: Table) -> tuple[Size, ...]:
    """The sizes of all kinds that the route and the drug allow, in the order of the file.

    An insulin scale counts units of one strength, so only those made for the strength are there.
    """
    use = Use.INSULIN if wanted.insulin else ROUTES.get(wanted.route)
    if use is None:
        known = ", ".join(ROUTES)
        raise DoseFault(f"The route {wanted.route or '(none)'} is not on the list: {known}.")
    sizes = tuple(size for kind in kinds_for(use, table) for size in table.sizes_of(kind))
    if not wanted.insulin:
        return sizes
    strength = wanted.strength
    if strength is None:
        raise DoseFault("An insulin scale counts units. Give the strength of the insulin too.")
    return tuple(size for size in sizes if scale_factor(size, strength) == 1)


def ranking(
    volume: Quantity, sizes: Iterable[Size], table: Table, wanted: Wanted
) -> tuple[Row, ...]:
    """All sizes weighed for the volume as it would be set on their lines, the best first.

    To what `checklist.syringe` finds comes the rounding: a size is rejected when its lines change
    the volume by more than `refuse_above`, and needs care above `warn_above`. Among equals the
    least total error (standard's tolerance, reading and rounding together) stands first.
    """
    return tuple(sorted((_row(volume, size, table, wanted) for size in sizes), key=_rank))


def _row(volume: Quantity, size: Size, table: Table, wanted: Wanted) -> Row:
    if not holds(volume, size.nominal):
        return _rejected(volume, size, table, Fraction(0), "")
    rule = RoundingRule(step=size.line, how=wanted.how, refuse_above=wanted.refuse_above)
    try:
        done = rounded(Working(value=volume, exact=volume, lines=()), rule)
    except RoundingRefused as refused:
        assert refused.working.change is not None
        changed = abs(refused.working.change.share)
        why = f"its nearest line changes the volume by {shown(changed * 100)} %"
        return _rejected(volume, size, table, changed, why)
    except DoseFault:
        return _rejected(volume, size, table, Fraction(1), f"{volume} is too little for it")
    assert done.change is not None
    (choice,) = ranked(done.value.to("mL"), (size,), table)
    share, verdict, reasons = abs(done.change.share), choice.verdict, choice.reasons
    if not share <= wanted.warn_above and verdict is not Fit.REJECTED:
        verdict = Fit.WITH_CARE
        reasons = (*reasons, f"Its lines change the volume by {shown(share * 100)} %.")
    kept = verdict is not Fit.REJECTED
    return Row(
        choice=choice, to_set=done.value.to("mL") if kept else None, change=share,
        verdict=verdict, reasons=reasons,
    )  # fmt: skip


def _rejected(volume: Quantity, size: Size, table: Table, share: Fraction, why: str) -> Row:
    """A size whose lines do not measure the volume; without a `why`, one that is too small."""
    (choice,) = ranked(volume, (size,), table)
    reasons = (f"A {size} has a line every {size.line}; {why}.",) if why else choice.reasons
    return Row(choice=choice, to_set=None, change=share, verdict=Fit.REJECTED, reasons=reasons)


def _rank(row: Row) -> tuple[int, bool, Fraction, Fraction]:
    choice = row.choice
    error = choice.reading + row.change
    if choice.tolerance is not None and row.to_set is not None:
        error += choice.tolerance.ratio(row.to_set)
    size = choice.size.to("mL").magnitude
    return list(Fit).index(row.verdict), choice.tolerance is None, error, size


def _needle(wanted: Wanted, limits: Limits, missing: list[str]) -> needle.Recommendation | None:
    if wanted.route not in needle.ROUTES:
        missing.append(f"needle: none is given for the route {wanted.route}")
        return None
    advice = needle.recommended(
        wanted.route,
        site.known(wanted.site, limits.sites) if wanted.site else None,
        age=wanted.age,
        weight=wanted.weight,
        sex=wanted.sex,
        table=limits.needles,
        use=needle.Use.INSULIN if wanted.insulin else needle.Use.MEDICINE,
        viscous=wanted.viscous,
    )
    if advice is None:
        missing.append("needle: no published row holds for all that is known")
    return advice


def _limit(wanted: Wanted, limits: Limits, missing: list[str]) -> site.SiteLimit | None:
    if wanted.route not in site.ROUTES:
        return None
    group = site.group(wanted.age, limits.sites)
    found = site.limit(wanted.route, wanted.site or None, group, limits.sites)
    if found is None:
        missing.append("volume for one site: no figure for this route and age")
    return found


def _said(best: Row | None, rows: tuple[Row, ...], pair: Pair | None) -> list[str]:
    two = [] if pair is None else [f"exactly, in two syringes: {pair.said}"]
    if best is None:
        none = "no single syringe will do" if pair else "no syringe of the list will do"
        return [none, *(two or ["ask the pharmacist for another strength"])]
    size, how = best.choice.size, "take" if best.verdict is Fit.SUITABLE else "take, with care,"
    kinds = [r.choice.kind for r in rows if r.choice.size == size and r.verdict is best.verdict]
    return [f"{how} a {size} syringe ({' or '.join(kinds)}), set {best.to_set}", *two]


def _against(volume: Quantity, limit: site.SiteLimit, level: site.Level) -> str:
    place = limit.site or "one site, none was named"
    if level is site.Level.WITHIN:
        return f"{volume} is within the usual {limit.warn_above} for {place}"
    if level is site.Level.ABOVE_USUAL:
        return f"{volume} is more than the usual {limit.warn_above} for {place}: think again"
    return f"{volume} is more than the {limit.refuse_above} that {place} may take: not in one place"


def _shared(
    volume: Quantity, limit: site.SiteLimit, sizes: Iterable[Size], lines: list[str]
) -> Split | None:
    """The volume over several sites, each within the usual, by the finest scale that reads it."""
    for step in sorted({size.line.to("mL").magnitude for size in sizes}, reverse=True):
        try:
            found = split(volume, limit.warn_above, Quantity.of(step, "mL"))
        except DoseFault:
            continue
        lines.append(f"over {len(found.parts)} sites: {found.lines[-1]}")
        return found
    lines.append("sharing it out over more sites does not come out: ask the pharmacist")
    return None
