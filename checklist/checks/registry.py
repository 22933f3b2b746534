"""How a check is declared: its name, what it looks at, the reasons it may give."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from checklist.observation import Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.verdict import (
    COMMON_PRACTICE,
    Caution,
    Pass,
    Reason,
    Refusal,
    Remedy,
    Source,
    Tier,
    Verdict,
)

Judge = Callable[[Observation, Preparation, Surroundings], Verdict]

CHECKS: dict[str, Check] = {}
REASONS: dict[str, Reason] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check: a sentence that holds when it passes, and the reasons it may give, in precedence.

    `fields` maps the name of each field it reads at the step to that field's kind.
    """

    name: str
    doc: str
    fields: Mapping[str, Kind]
    reasons: tuple[Reason, ...]
    judge: Judge

    def __call__(self, seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
        """The verdict. Raises ValueError for no verdict, or a reason that it has not declared."""
        verdict: object = self.judge(seen, prep, around)
        if not isinstance(verdict, Pass | Caution | Refusal):
            raise ValueError(f"{self.name} gave no verdict")
        if isinstance(verdict, Pass):
            given = [note.reason for note in verdict.notes]
        else:
            given = [verdict.reason]
        for one in given:
            if one not in self.reasons:
                raise ValueError(f"{self.name} gave {one.code}, which it does not declare")
        return verdict


def reason(
    code: str,
    tier: Tier,
    found: str,
    why: str,
    then: str,
    *remedies: Remedy,
    hazards: str,
    firm: bool = False,
    identity: bool = False,
    source: Source = COMMON_PRACTICE,
) -> Reason:
    """Declare a permanent reason code. Raises ValueError when the code is already taken."""
    if code in REASONS:
        raise ValueError(f"reason {code} is declared twice")
    made = Reason(
        code=code,
        tier=tier,
        found=found,
        why=why,
        next=then,
        remedies=remedies,
        hazards=tuple(hazards.split()),
        source=source,
        firm=firm,
        identity=identity,
    )
    REASONS[code] = made
    return made


def check(*reasons: Reason, **fields: Kind) -> Callable[[Judge], Judge]:
    """Register a function as a check that may give `reasons`, looking at `fields`."""

    def register(judge: Judge) -> Judge:
        name = judge.__name__
        if name in CHECKS:
            raise ValueError(f"check {name} is declared twice")
        CHECKS[name] = Check(
            name=name,
            doc=(judge.__doc__ or "").strip(),
            fields=MappingProxyType(dict(fields)),
            reasons=reasons,
            judge=judge,
        )
        return judge

    return register


def always(who: str) -> tuple[Reason, ...]:
    """The reasons that the engine itself may give at a step for these hands."""
    codes = (
        "check_failed",
        "entry_unreadable",
        "entry_missing",
        *(("not_the_preparer",) if who == "preparer" else ()),
    )
    return tuple(REASONS[code] for code in codes)
