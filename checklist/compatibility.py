"""What may be put together, in a bag, a syringe or a line: one table with a source for each row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from checklist.quantity import Concentration, Quantity


class Where(StrEnum):
    """Where the two would meet."""

    BAG = "bag"
    SYRINGE = "syringe"
    LINE = "line"


class Judgement(StrEnum):
    """What the source says. That somebody looked and found nothing is a row of its own."""

    COMPATIBLE = "compatible"
    INCOMPATIBLE = "incompatible"
    NO_DATA = "no data"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One row: a drug with another drug, a carrier fluid or a material, and what holds for them.

    `most` is the highest concentration of the drug, `within` the longest time from mixing to the
    end, for which the judgement holds; None where the source sets none.
    """

    drug: str
    other: str
    where: Where
    judgement: Judgement
    source: str
    most: Concentration | None = None
    within: Quantity | None = None


Key = tuple[frozenset[str], Where]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compatibility:
    """All rows of a ward's table, and the digest of the file they were read from."""

    pairs: Mapping[Key, Pair] = field(default_factory=lambda: MappingProxyType({}))
    edition: str = ""
    digest: str = ""

    def of(self, one: str, other: str, where: Where) -> Pair | None:
        """The row for these two, whichever stands first; None when the table has none."""
        return self.pairs.get(key(one, other, where))


def key(one: str, other: str, where: Where) -> Key:
    """What a row is found by: two names without regard to capitals or order, and the place."""
    return frozenset((one.strip().casefold(), other.strip().casefold())), where
