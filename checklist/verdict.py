"""What a check says: pass, caution or refusal, with a permanent reason code."""

from __future__ import annotations

import string
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType


class Tier(StrEnum):
    """How strongly a reason stands in the way."""

    HARD = "hard"
    SOFT = "soft"
    INFORMATION = "information"

    @property
    def rank(self) -> int:
        """0 for information, 1 for soft, 2 for hard."""
        return (Tier.INFORMATION, Tier.SOFT, Tier.HARD).index(self)


class Remedy(StrEnum):
    """The closed list of ways out of a refusal or caution."""

    RECHECK = "recheck"
    ADJUST = "adjust"
    WAIT = "wait"
    REPLACE_ITEM = "replace_item"
    DISCARD_RESTART = "discard_restart"
    QUARANTINE = "quarantine"
    SECOND_PERSON = "second_person"
    CALL_PRESCRIBER = "call_prescriber"
    CALL_PHARMACIST = "call_pharmacist"
    STOP = "stop"
    EVENT = "event"


REMEDY_WORDS: Mapping[Remedy, str] = MappingProxyType(
    {
        Remedy.RECHECK: "Look again and enter it again",
        Remedy.ADJUST: "Put it right, then enter it again",
        Remedy.WAIT: "Wait, then look again",
        Remedy.REPLACE_ITEM: "Take a new item and read its label",
        Remedy.DISCARD_RESTART: "Discard it and begin with new items",
        Remedy.QUARANTINE: "Set it aside, labelled, for the pharmacy; take a new one",
        Remedy.SECOND_PERSON: "Fetch another person for this step",
        Remedy.CALL_PRESCRIBER: "Call the prescriber, then read the order again",
        Remedy.CALL_PHARMACIST: "Call the pharmacist, then look again",
        Remedy.STOP: "Stop this preparation here",
        Remedy.EVENT: "Stop and open the event procedure",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a rule comes from.

    `status` is "published", "common practice" (no source) or "from memory".
    """

    title: str
    status: str = "published"


COMMON_PRACTICE = Source(title="common practice, no source", status="common practice")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One thing that can be found, with its words and its ways out.

    `found` says what was seen, `why` the consequence, `next` what to do. `found` and `next` may
    hold {slots} that the check fills. `firm` marks a tier that no unit may lower. `identity`
    marks a check of who or what it is: two refusals of it at one step close the plain re-read.
    """

    code: str
    tier: Tier
    found: str
    why: str
    next: str
    remedies: tuple[Remedy, ...]
    hazards: tuple[str, ...]
    source: Source = COMMON_PRACTICE
    firm: bool = False
    identity: bool = False

    @property
    def slots(self) -> frozenset[str]:
        """The names that must be filled before the wording can be shown."""
        names = (
            name
            for text in (self.found, self.why, self.next)
            for _, name, _, _ in string.Formatter().parse(text)
        )
        return frozenset(name for name in names if name)


def _freeze(facts: Mapping[str, str]) -> Mapping[str, str]:
    return MappingProxyType(dict(facts))


def _fill(reason: Reason, facts: Mapping[str, str]) -> None:
    if missing := reason.slots - facts.keys():
        raise ValueError(f"{reason.code}: no text for {', '.join(sorted(missing))}")


@dataclass(frozen=True, slots=True)
class Note:
    """A fact shown and recorded beside a pass; it never blocks."""

    reason: Reason
    facts: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _fill(self.reason, self.facts)
        object.__setattr__(self, "facts", _freeze(self.facts))

    def __str__(self) -> str:
        return said(self.reason, self.facts)


@dataclass(frozen=True, slots=True)
class Pass:
    """The check holds. `not_compared` says in words what could not be compared for want of data."""

    notes: tuple[Note, ...] = ()
    not_compared: str = ""


@dataclass(frozen=True, slots=True)
class Caution:
    """The check asks for a recorded reason before going on."""

    reason: Reason
    facts: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.reason.tier is Tier.HARD:
            raise ValueError(f"{self.reason.code} is hard: it cannot be given as a caution")
        _fill(self.reason, self.facts)
        object.__setattr__(self, "facts", _freeze(self.facts))

    def __str__(self) -> str:
        return said(self.reason, self.facts)


@dataclass(frozen=True, slots=True)
class Refusal:
    """The check does not hold: the preparation stays where it is until a remedy is taken."""

    reason: Reason
    facts: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _fill(self.reason, self.facts)
        object.__setattr__(self, "facts", _freeze(self.facts))

    def __str__(self) -> str:
        return said(self.reason, self.facts)


Verdict = Pass | Caution | Refusal


def said(reason: Reason, facts: Mapping[str, str]) -> str:
    """The three parts of a reason as one text: found, why, next."""
    parts = (reason.found, reason.why, reason.next)
    return " ".join(part.format_map(facts) for part in parts)


def eased(verdict: Verdict, codes: Collection[str]) -> Verdict:
    """The verdict where a unit's recorded choice makes some cautions mere notes; else unchanged."""
    if isinstance(verdict, Caution) and verdict.reason.code in codes:
        return Pass(notes=(Note(verdict.reason, verdict.facts),))
    return verdict


def raised(verdict: Verdict, tiers: Mapping[str, Tier]) -> Verdict:
    """The verdict after a unit's own tiers, which may only raise what the trade set.

    `tiers` maps a reason code to the unit's tier. A refusal stays a refusal.
    """
    if isinstance(verdict, Refusal):
        return verdict
    if isinstance(verdict, Caution):
        if tiers.get(verdict.reason.code, Tier.SOFT) is Tier.HARD:
            return Refusal(verdict.reason, verdict.facts)
        return verdict
    noted = sorted(
        verdict.notes,
        key=lambda note: tiers.get(note.reason.code, Tier.INFORMATION).rank,
        reverse=True,
    )
    for note in noted[:1]:
        tier = tiers.get(note.reason.code, Tier.INFORMATION)
        if tier is Tier.HARD:
            return Refusal(note.reason, note.facts)
        if tier is Tier.SOFT:
            return Caution(note.reason, note.facts)
    return verdict
