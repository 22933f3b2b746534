"""Sites of injection, patient groups by age, and the largest volume for one site."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Self

from checklist.quantity import Quantity
from checklist.table import Block, Citation, Sources, opened

FILE = "site.toml"
ROUTES = ("ID", "SC", "IM")
"""The routes that have a site: into the skin, under the skin, into the muscle."""


class Level(StrEnum):
    """Where a volume stands against a limit."""

    WITHIN = "within"
    ABOVE_USUAL = "above usual"
    ABOVE_LIMIT = "above limit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Age:
    """An age in completed calendar months and, where the birth date is known, in days lived.

    `days` is None for an age that was only stated in months or years.
    """

    months: int
    days: int | None = None

    @classmethod
    def between(cls, birth: date, day: date) -> Self:
        """The age on `day`; raises ValueError when the birth lies after it."""
        if birth > day:
            raise ValueError(f"The birth date {birth} is after {day}. Look at the record again.")
        months = (day.year - birth.year) * 12 + day.month - birth.month
        return cls(months=months - (day.day < birth.day), days=(day - birth).days)

    @classmethod
    def stated(cls, age: Quantity) -> Self:
        """An age told in days, months or years. Days are taken only below 28, the shortest month.

        Raises ValueError for a longer age in days, since months differ; DimensionMismatch for
        anything but a time.
        """
        if age.alike(Quantity.of(1, "mo")):
            return cls(months=age.to("mo").magnitude.__floor__())
        days = age.to("d").magnitude.__floor__()
        if not 0 <= days < 28:
            raise ValueError(f"An age of {age} does not tell the months. Give the birth date.")
        return cls(months=0, days=days)


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeSpan:
    """Ages from `least` up to, not with, `below`; None leaves that end open.

    Each end is in days or in calendar months or years.
    """

    least: Quantity | None = None
    below: Quantity | None = None

    def tells(self, age: Age | None) -> bool | None:
        """Whether the age is in the span; None when the age is not known well enough to tell."""
        old = True if self.least is None else _reached(age, self.least)
        past = False if self.below is None else _reached(age, self.below)
        if old is False or past is True:
            return False
        return None if old is None or past is None else True


def _reached(age: Age | None, bound: Quantity) -> bool | None:
    """Whether the age is at least the bound; None when that cannot be told."""
    if age is None:
        return None
    if bound.alike(Quantity.of(1, "mo")):
        return Quantity.of(age.months, "mo") >= bound
    if age.days is not None:
        return Quantity.of(age.days, "d") >= bound
    # A month has 28 to 31 days, so a stated age leaves the number of days open between these two.
    fewest, most = age.months * 28, (age.months + 1) * 31 - 1
    if Quantity.of(fewest, "d") >= bound:
        return True
    return False if Quantity.of(most, "d") < bound else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """A patient group by age, such as "infant"."""

    name: str
    ages: AgeSpan
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A site of injection, the other words for it, and why it is better avoided ("" if not)."""

    name: str
    also: tuple[str, ...]
    avoid: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow:
    """One published range for one injection at one site, with our two figures in mL.

    `sites` is empty for a row that holds for every site.
    """

    route: str
    groups: tuple[str, ...]
    sites: tuple[str, ...]
    warn_above: Quantity
    refuse_above: Quantity
    published: str
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLimit:
    """The volume for one site that asks for a second thought, and the one that is not accepted.

    `site` is empty when none was stated. `own` is false when no row is kept for that site and
    the lowest figures of the group stand in. `published` are the ranges that the two figures were
    chosen from, `citations` where they are printed.
    """

    route: str
    site: str
    group: str
    warn_above: Quantity
    refuse_above: Quantity
    own: bool
    avoid: str
    published: tuple[str, ...]
    citations: tuple[Citation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The figures of site.toml."""

    title: str
    edition: int
    groups: tuple[Group, ...]
    sites: tuple[Site, ...]
    limits: tuple[LimitRow, ...]


def known(site: str, table: Table) -> Site | None:
    """The site meant by a word, whatever its side and capitals; None when it is not listed."""
    word = " ".join(part for part in site.lower().split() if part not in ("left", "right"))
    return next((row for row in table.sites if word in (row.name, *row.also)), None)


def group(age: Age | None, table: Table) -> str | None:
    """The patient group of an age; None when the age is not known well enough to tell."""
    if age is None:
        return None
    return next((row.name for row in table.groups if row.ages.tells(age)), None)


def limit(route: str, site: str | None, group: str | None, table: Table) -> SiteLimit | None:
    """The limit for one injection; None when no figure is kept for the route and the group.

    Every row that holds for the site counts, and the lower figure wins. Without a site, with a
    word that is not on the list, or for a site that no row holds for, every row of the route and
    group counts: the lowest figures stand in rather than none.
    """
    place = known(site, table) if site else None
    rows = [row for row in table.limits if row.route == route and group in row.groups]
    named = [row for row in rows if place and (not row.sites or place.name in row.sites)]
    counting = named or rows
    if not counting:
        return None
    warn = min(counting, key=lambda row: row.warn_above.to("mL").magnitude)
    refuse = min(counting, key=lambda row: row.refuse_above.to("mL").magnitude)
    both = (warn,) if warn.refuse_above <= refuse.refuse_above else (warn, refuse)
    return SiteLimit(
        route=route,
        site=place.name if place else "",
        group=group or "",
        warn_above=warn.warn_above,
        refuse_above=refuse.refuse_above,
        own=bool(named),
        avoid=place.avoid if place else "",
        published=tuple(row.published for row in both),
        citations=tuple(row.citation for row in both),
    )


def level(volume: Quantity, against: SiteLimit) -> Level:
    """Where the volume stands; a volume equal to a figure is not above it."""
    if volume <= against.warn_above:
        return Level.WITHIN
    return Level.ABOVE_USUAL if volume <= against.refuse_above else Level.ABOVE_LIMIT


def read(text: str, *, file: str = FILE) -> Table:
    """The table of site.toml from its text; raises TableFault with all that is amiss."""
    top = opened(text, file=file)
    sources = top.citations()
    groups = tuple(_group(block, sources) for block in top.blocks("group"))
    sites = tuple(_site(block) for block in top.blocks("site"))
    table = Table(
        title=top.text("title"),
        edition=top.whole("edition"),
        groups=groups,
        sites=sites,
        limits=tuple(_limit(block, groups, sites, sources) for block in top.blocks("limit")),
    )
    words = [word for site in sites for word in (site.name, *site.also)]
    if len(set(words)) < len(words):
        top.fault("site", "has one word for two sites. Keep it at one of them")
    top.close()
    return table


def age_span(block: Block) -> AgeSpan:
    """The `age_from` and `age_below` of a row, each in d, mo or a."""
    return AgeSpan(least=_age(block, "age_from"), below=_age(block, "age_below"))


def _age(block: Block, key: str) -> Quantity | None:
    return block.amount(key, "d" if block.text(key, default="").endswith(" d") else "mo")


def _group(block: Block, sources: Sources) -> Group:
    return Group(name=block.text("name"), ages=age_span(block), citation=block.citation(sources))


def _site(block: Block) -> Site:
    also = block.choices("also") if block.has("also") else ()
    name, avoid = block.text("name"), block.text("avoid", default="")
    if any(word != word.lower() for word in (name, *also)):
        block.fault("name", "has a capital. Write the words for a site in small letters")
    return Site(name=name, also=also, avoid=avoid)


def _limit(
    block: Block, groups: tuple[Group, ...], sites: tuple[Site, ...], sources: Sources
) -> LimitRow:
    names = [site.name for site in sites]
    warn, refuse = block.quantity("warn_above", "mL"), block.quantity("refuse_above", "mL")
    if not warn <= refuse:
        block.fault("warn_above", "is more than refuse_above. Look at both")
    return LimitRow(
        route=block.choice("route", ROUTES),
        groups=block.choices("groups", [group.name for group in groups]),
        sites=block.choices("sites", names) if block.has("sites") else (),
        warn_above=warn,
        refuse_above=refuse,
        published=block.text("published"),
        citation=block.citation(sources),
    )
