"""What a page was asked to count: read from its address, and written into addresses again."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from starlette.datastructures import QueryParams

from checklist.counted import MEASURES, PERIODS
from checklist.faces.charting import COLUMNS, Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.figures import DRAWN, Figures, Known
from checklist.facts.label import NEAR_MISSES
from checklist.review.series import Kind
from checklist.review.special_cause import DEFAULT, Rule, put_together, rules_named

LONGEST = 400
"""Most characters of one word of an address; a set of all rules by name fits."""
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")
KINDS = tuple(str(kind) for kind in Kind if kind is not Kind.NP)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A drawing that was asked for: which, of what, and the column of its kinds."""

    of: str
    wish: Wish
    column: str = "reason"

    @property
    def pairs(self) -> list[tuple[str, str]]:
        """The words that lead here again; usual ones are left out."""
        wish = self.wish
        pairs = [
            ("measure", wish.measure),
            ("unit", wish.unit),
            ("container", wish.container),
            ("from", wish.first),
            ("to", wish.last),
            ("by", wish.by if wish.by != PERIODS[0] else ""),
            ("kind", wish.kind),
            ("near", wish.near_miss if wish.near_miss != "stop" else ""),
            ("rules", wish.rules if wish.rules != DEFAULT.name else ""),
            ("column", self.column if self.of == "kinds" and self.column != "reason" else ""),
            *(("only", one) for one in wish.only),
        ]
        return [(name, value) for name, value in pairs if value]

    @property
    def query(self) -> str:
        """The same as the end of an address."""
        return urlencode(self.pairs)

    @property
    def address(self) -> str:
        """Where this drawing is shown."""
        return f"/quality/chart/{self.of}?{self.query}"

    def leads(self, mark: str) -> str:
        """Where the preparations of one of its marks are listed."""
        return f"/quality/preparations?{urlencode([('of', self.of), *self.pairs, ('mark', mark)])}"


def asked(figures: Figures, params: QueryParams, of: str, known: Known) -> Asked:
    """The drawing that an address asks for. Raises CannotGoOn for a word that is not known."""
    if of not in DRAWN:
        raise CannotGoOn(f"There is no drawing {of!r}. There are: {', '.join(DRAWN)}.")
    usual = "stops" if of in ("kinds", "recovery") else "stopped"
    wish = replace(
        figures.usual(),
        measure=word(params, "measure", MEASURES) or usual,
        unit=word(params, "unit", known.units),
        container=word(params, "container", known.containers),
        first=month(params, "from"),
        last=month(params, "to"),
        near_miss=word(params, "near", NEAR_MISSES) or "stop",
        by=word(params, "by", PERIODS) or PERIODS[0],
        kind=word(params, "kind", KINDS),
        rules=rules(params),
        only=tuple(short("only", one) for one in params.getlist("only")),
    )
    return Asked(of=of, wish=wish, column=word(params, "column", COLUMNS) or "reason")


def rules(params: QueryParams) -> str:
    """The name of the rules that are asked for: a set by name, or single ones that are ticked."""
    single = [short("rule", one) for one in params.getlist("rule")]
    try:
        if single:
            return put_together(Rule(one) for one in single).name
        named = short("rules", params.get("rules", ""))
        return rules_named(named).name if named else DEFAULT.name
    except ValueError as fault:
        raise CannotGoOn(str(fault)) from fault


def word(params: QueryParams, name: str, known: Iterable[str] | Mapping[str, object]) -> str:
    """One of the known words under a name; "" where none is given. Raises CannotGoOn."""
    given = short(name, params.get(name, ""))
    if given and given not in known:
        listed = ", ".join(list(known)[:30]) or "none"
        raise CannotGoOn(f"{given!r} is not known here for {name}. There are: {listed}.")
    return given


def month(params: QueryParams, name: str) -> str:
    """A month under a name; "" where none is given. Raises CannotGoOn."""
    given = short(name, params.get(name, ""))
    if given and not _MONTH.fullmatch(given):
        raise CannotGoOn(f"{given!r} is no month. Write it like 2026-07.")
    return given


def short(name: str, given: str) -> str:
    """A word that is not too long. Raises CannotGoOn."""
    if len(given) > LONGEST:
        raise CannotGoOn(f"What is given for {name} has more than {LONGEST} characters.")
    return given.strip()
