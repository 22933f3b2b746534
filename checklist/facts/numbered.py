"""The forty questions of a unit by number, each with what answers it, or why nothing here can."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbered:
    """A question: `names` of `checklist ask` that answer it, further `commands`, a `note`."""

    asks: str
    names: tuple[str, ...] = ()
    commands: tuple[str, ...] = ()
    note: str = ""

    @property
    def said(self) -> str:
        """What answers it, as a sentence."""
        ways = [*(f"checklist ask {name}" for name in self.names), *self.commands]
        told = f"Answered by: {'; '.join(f'`{way}`' for way in ways)}." if ways else ""
        return " ".join(part for part in (told, self.note) if part)


def _q(asks: str, *names: str, commands: tuple[str, ...] = (), note: str = "") -> Numbered:
    return Numbered(asks=asks, names=names, commands=commands, note=note)


_FORTY = (
    _q("How many preparations were guided, and what part of all doses?", "volume",
       note="For the part divide by the hospital's own count of doses, which is not in a trail."),
    _q("What share had a stop?", "refused-weekly", commands=("checklist chart series stopped",)),
    _q("How many stops for 1000 preparations?", "refusals-weekly",
       commands=("checklist chart series stops",)),
    _q("Has it changed since a day?",
       commands=("checklist facts before-after DAY", "checklist chart freeze")),
    _q("Which kinds make up most of it?", "reasons", "reasons-weekly", "hazards",
       commands=("checklist chart kinds",)),
    _q("Which container is worst?", "containers", "classes"),
    _q("Which step?", "steps", "funnel"),
    _q("Which products are taken for one another?", "confusions", "notation"),
    _q("Are units different beyond chance?", "units", commands=("checklist chart units",)),
    _q("Is a shift or weekday different?", "shift-ratios", "shifts", "weekdays", "hours"),
    _q("Are stops over identifiers rarer?", commands=("checklist facts gaps REASON...",)),
    _q("How long since the last wrong product?", commands=("checklist facts gaps REASON...",)),
    _q("How quickly is a stop put right?", "recovery", "remedies",
       commands=("checklist chart recovery",)),
    _q("How often does a stop end the preparation?", "ends"),
    _q("Is the same thing tried again and again?", "retries"),
    _q("What did the second check find?", "second-checks", "balance"),
    _q("Was the second check independent?", "independence"),
    _q("How much time do checks cost?", "time"),
    _q("Are steps faster than hands can be?", "too-fast"),
    _q("Do stops rise with breaks or workload?", "workload", "breaks", "interruptions"),
    _q("Do near misses match incident reports?", commands=("checklist facts reports FILE",)),
    _q("Did new rules change the rate?", "rules"),
    _q("Which stops were not right themselves?", "overrides", "cautions",
       commands=("checklist facts judged FILE",)),
    _q("Are stops worked around?", "worked-around", "typed-codes", "typed-why",
       note="What was prepared without the checklist is in no trail: only what came back is seen."),
    _q("What would have reached the patient?", "reach", "near-misses", "near-misses-weekly",
       "late", "harm", "hazards"),
    _q("Is the trail complete and in order?",
       commands=("checklist trail verify", "checklist facts verify",
                 "checklist review events DIR")),
    _q("How many false alarms do the charts give?",
       commands=("checklist chart series stopped", "checklist chart rules")),
    _q("How many preparations to audit?", commands=("checklist facts audit-size SHARE",)),
    _q("Who is due?", commands=("checklist review due",)),
    _q("Is this trainee competent?", commands=("checklist review progress PERSON",)),
    _q("Which step is not right again and again?", "first-time",
       commands=("checklist review progress PERSON --step NAME",),
       note="One person's share is not drawn towards the unit's; it stands with its limits."),
    _q("Has anybody slipped back?", commands=("checklist review progress PERSON",)),
    _q("How many attempts does competence take?", "competence"),
    _q("Do two observers agree?", commands=("checklist review agreement",)),
    _q("Is one observer stricter?", commands=("checklist review agreement",)),
    _q("What should the next session be about?", "teaching"),
    _q("Did the session help?", "session", "first-time-weekly"),
    _q("Are new people different?", "experience"),
    _q("Is the work spread so that all keep the skill?", "spread"),
    _q("Which checks does nobody ever fail?", "never-refused"),
)  # fmt: skip

NUMBERED: Mapping[int, Numbered] = MappingProxyType(dict(enumerate(_FORTY, start=1)))
"""The questions of quality leads (1 to 28) and educators (29 to 40)."""
