"""What must stand in the way before a dose is drawn, ready or given, kept apart from the workflows.

A ward's own file beside its own workflows (`added_requirements.toml`) holds `[containers]` and
`[[required]]` in the same words, and adds to this one.

    [containers]
    glass_ampoule = ["glass", "single_use", "drawn"]   # what kind of container each one is

    apart = ["emergency"]        # of such kinds only rows that name them in `when` or `also` hold

    [milestones]
    opens = ["clean_break"]      # a step that takes one of these fields is at `opens` or after it

    [[break]]                    # after a break at the steps from one field to another ...
    from = "drawn_volume"
    to = "label_drug"
    again = "drawn_volume"       # ... work goes on where this is taken, or earlier
    refused = true               # and the break is itself a refusal: the steps are critical
    unless = ["injector"]        # kinds of container of which none holds

    [fields]
    hidden = ["drawn_volume"]    # entered without the expected value in sight, and never left out
    needed = ["product"]         # never left out
    unseen = ["fill_volume"]     # hidden as well, but may be left out
    giving = ["given_volume"]    # taken when the dose is in; from then on no way leads back to it

    [[required]]
    when = ["glass"]             # kinds of container and traits of the order that all hold
    unless = ["powder"]          # kinds of container of which none holds
    also = ["emergency"]         # of a kind that stands apart as well
    before = "withdraw"          # a milestone (see below), or a field that a step takes ("a or b")
    after = "syringe_size"       # begin there: whenever it is taken, the barrier comes after it
    until = "ready"              # with before = "resumed": breaks before this only
    who = "witness"              # only a step in these hands counts
    item = "carrier"             # of this item; without it of every drug
    barriers = ["filter_is_fitted"]   # checks or reason codes that stop; "a or b" for either
    asked = ["neck_not_clear"]        # asked or looked at, although they stop nobody
    entered = ["act_seen"]            # fields that are taken
    why = "Glass goes through a filter."

`before` is "opens", "withdraw", "ready" or "given"; "leaving": ended, or begun again with a new
item; "resumed": back at work after a break. `after` is a field, "opening" (every step from `opens`
on) or "break" (every interruption). With "resumed", `after` and `until` can be "done": once the
dose is in.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from checklist.checks import CHECKS, REASONS
from checklist.toml_file import NotToml, tables
from checklist.verdict import Tier
from checklist.walks import ENTRY

FILE = "required.toml"
ADDED = "added_requirements.toml"
RESUMED = "resumed"
BREAK = "break"
OPENING = "opening"
DONE = "done"


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One barrier that no path to `before` may dodge.

    `guards` are names of checks or reason codes of which any one will do. `firm` says that it
    stops; otherwise it only has to be asked. `when` are the kinds of container and the traits of
    the order that must all hold, `unless` kinds of which none may, `also` kinds that stand apart
    and are meant too. `before`, `after` and `until`
    are as in the file, "" when not given; `who` is "" for any hands, `item` "" for every drug.
    """

    guards: tuple[str, ...]
    firm: bool
    before: str
    after: str = ""
    until: str = ""
    who: str = ""
    item: str = ""
    when: frozenset[str] = frozenset()
    unless: frozenset[str] = frozenset()
    also: frozenset[str] = frozenset()
    why: str = ""

    def holds(self, traits: frozenset[str], apart: frozenset[str]) -> bool:
        """Whether it is required of a preparation with these kinds and traits."""
        named = self.when <= traits and not self.unless & traits
        return named and traits & apart <= self.when | self.also

    @property
    def name(self) -> str:
        """The barrier as its author wrote it."""
        return " or ".join(self.guards)


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """After a break from the step of one field to that of another, where work goes on.

    It goes on where `again` is taken, or earlier. `refused` asks that the steps are critical.
    `unless` are kinds of container that it is not asked of.
    """

    start: str
    to: str
    again: str
    refused: bool
    unless: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Required:
    """Everything that must stand before a milestone, and what kind each container is.

    `milestones` maps "restart", "opens", "withdraw" and "ready" to fields: a step that takes one
    of them stands at that milestone or after it. `breaks` say where work goes on. `hidden` are the
    fields whose expected value is never shown, `needed` those that are never left out. `giving` are
    fields taken when the dose is in. `apart` are kinds of which only those requirements hold that
    name them.
    """

    containers: Mapping[str, frozenset[str]]
    milestones: Mapping[str, tuple[str, ...]]
    breaks: tuple[Break, ...]
    hidden: frozenset[str]
    needed: frozenset[str]
    giving: tuple[str, ...]
    apart: frozenset[str]
    rows: tuple[Requirement, ...]

    @property
    def kinds(self) -> frozenset[str]:
        """Every kind that some container is of."""
        return frozenset(kind for kinds in self.containers.values() for kind in kinds)


class RequiredFaults(Exception):
    """Every fault found in one reading of the requirements, as sentences."""

    def __init__(self, sentences: list[str]) -> None:
        self.sentences = sentences
        super().__init__("\n".join(sentences))


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Place = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*( or [a-z][a-z0-9_]*)*$")]
Names = Annotated[list[Name], Field(min_length=1)]
Hands = Literal["preparer", "checker", "witness", "giver"]


class _RowIn(_In):
    when: list[Name] = []
    unless: list[Name] = []
    also: list[Name] = []
    before: Place
    after: Place | None = None
    until: Name | None = None
    who: Hands | None = None
    item: Name | None = None
    barriers: list[str] = []
    asked: list[str] = []
    entered: list[Name] = []
    why: Annotated[str, Field(min_length=8, max_length=160)]


class _BreakIn(_In):
    start: Name = Field(alias="from")
    to: Name
    again: Place
    refused: bool
    unless: list[Name] = []


class _FieldsIn(_In):
    hidden: Names
    needed: Names
    unseen: Names
    giving: Names


class _FileIn(_In):
    apart: list[Name]
    containers: dict[Name, Names]
    milestones: dict[Literal["restart", "opens", "withdraw", "ready"], Names]
    break_: Annotated[list[_BreakIn], Field(min_length=1, alias="break")]
    fields: _FieldsIn
    required: Annotated[list[_RowIn], Field(min_length=1)]


class _AddedIn(_In):
    containers: dict[Name, Names] = {}
    required: list[_RowIn] = []


FormT = TypeVar("FormT", bound=_In)


def read(file: Path) -> Required:
    """The requirements in a TOML file. Raises RequiredFaults with every fault found in it."""
    given = _parsed(file, _FileIn)
    rows = tuple(row for one in given.required for row in _rows(one))
    kinds = {kind for kinds in given.containers.values() for kind in kinds}
    sentences = [
        s for number, one in enumerate(given.required, 1) for s in _faults(number, one, kinds)
    ]
    if sentences:
        raise RequiredFaults(sentences)
    return Required(
        containers={name: frozenset(kinds) for name, kinds in given.containers.items()},
        milestones={name: tuple(fields) for name, fields in given.milestones.items()},
        breaks=tuple(
            Break(**{**one.model_dump(), "unless": frozenset(one.unless)}) for one in given.break_
        ),
        hidden=frozenset(given.fields.hidden) | frozenset(given.fields.unseen),
        needed=frozenset(given.fields.needed) | frozenset(given.fields.hidden),
        giving=tuple(given.fields.giving),
        apart=frozenset(given.apart),
        rows=rows,
    )


def read_added(file: Path, onto: Required) -> Required:
    """The requirements with those of another file: containers of its own, and rows beside them.

    A file can add and never take away, so a container that is known already is a fault. Raises
    RequiredFaults with every fault found in it.
    """
    given = _parsed(file, _AddedIn)
    sentences = [
        f"{file.name}, containers: `{name}` is there already; what it is stands in {FILE}"
        for name in given.containers.keys() & onto.containers.keys()
    ]
    kinds = {kind for kinds in given.containers.values() for kind in kinds}
    sentences += [
        s
        for number, one in enumerate(given.required, 1)
        for s in _faults(number, one, kinds | onto.kinds, file.name)
    ]
    if sentences:
        raise RequiredFaults(sentences)
    own = {name: frozenset(kinds) for name, kinds in given.containers.items()}
    rows = tuple(row for one in given.required for row in _rows(one))
    return replace(onto, containers={**onto.containers, **own}, rows=(*onto.rows, *rows))


def _parsed(file: Path, form: type[FormT]) -> FormT:
    """The file read as its form. Raises RequiredFaults."""
    try:
        return form.model_validate(tables(file))
    except FileNotFoundError:
        raise RequiredFaults([f"{file.name}: there is no such file ({file})"]) from None
    except NotToml as error:
        raise RequiredFaults([f"{file.name}: {error}"]) from None
    except ValidationError as error:
        raise RequiredFaults(
            [
                f"{file.name}, {'.'.join(map(str, one['loc']))}: {one['msg']}"
                for one in error.errors(include_url=False)
            ]
        ) from None


def _rows(one: _RowIn) -> Iterator[Requirement]:
    entries = [f"{ENTRY}{name}" for name in one.entered]
    for firm, names in ((True, [*one.barriers, *entries]), (False, one.asked)):
        for name in names:
            yield Requirement(
                guards=tuple(name.split(" or ")),
                firm=firm,
                before=one.before,
                after=one.after or "",
                until=one.until or "",
                who=one.who or "",
                item=one.item or "",
                when=frozenset(one.when),
                unless=frozenset(one.unless),
                also=frozenset(one.also),
                why=one.why,
            )


def _faults(number: int, one: _RowIn, kinds: Collection[str], file: str = FILE) -> Iterator[str]:
    where = f"{file}, table {number} ({one.why})"
    if not one.barriers and not one.asked and not one.entered:
        yield f"{where}: names no `barriers`, `asked` or `entered`, so it requires nothing"
    for kind in {*one.unless, *one.also} - set(kinds):
        yield f"{where}: it names `{kind}`, of which kind no container is"
    if one.until and one.before != RESUMED:
        yield f'{where}: `until` goes with before = "{RESUMED}" only'
    for row in _rows(one):
        for guard in row.guards:
            if guard.startswith(ENTRY):
                continue
            if guard not in CHECKS and guard not in REASONS:
                close = difflib.get_close_matches(guard, [*CHECKS, *REASONS], 1)
                hint = f"; did you mean `{close[0]}`?" if close else ""
                yield f"{where}: `{guard}` is neither a check nor a reason code{hint}"
            elif row.firm and not stops(guard):
                yield (
                    f"{where}: `{guard}` never stops anybody, its reasons are soft; a barrier"
                    " has to be hard. Name it under `asked`, or choose another barrier"
                )


def stops(guard: str) -> bool:
    """Whether a check or reason code can refuse by the trade's own tiers."""
    reasons = CHECKS[guard].reasons if guard in CHECKS else (REASONS[guard],)
    return any(reason.tier is Tier.HARD for reason in reasons)
