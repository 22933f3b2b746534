"""Reasons that the engine itself gives at any step."""

from __future__ import annotations

from checklist.checks.registry import reason
from checklist.verdict import Remedy, Tier

CHECK_FAILED = reason(
    "check_failed",
    Tier.HARD,
    'The check "{check}" could not be carried out ({kind}).',
    "What cannot be compared is not passed.",
    "Read the entry again. If it stays so, call the pharmacist and report it.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    Remedy.STOP,
    hazards="H42",
    firm=True,
)
ENTRY_UNREADABLE = reason(
    "entry_unreadable",
    Tier.HARD,
    "{what}: {sentence}",
    "A number or name that can be read in two ways is not guessed.",
    "Enter it again as it stands in front of you.",
    Remedy.RECHECK,
    Remedy.CALL_PHARMACIST,
    hazards="H03 H42",
    firm=True,
)
ENTRY_MISSING = reason(
    "entry_missing",
    Tier.HARD,
    "{what}: no answer yet.",
    "This step counts only when each line has its own answer.",
    "Look, then give the answer.",
    Remedy.RECHECK,
    hazards="H42",
    firm=True,
)
NOT_THE_PREPARER = reason(
    "not_the_preparer",
    Tier.HARD,
    "{present} is signed in; this preparation is in the hands of {preparer}.",
    "What one person drew up, another has not seen.",
    "Hand back to the person who prepares, or discard and start again.",
    Remedy.RECHECK,
    Remedy.DISCARD_RESTART,
    Remedy.STOP,
    hazards="H27 H28",
    firm=True,
)
