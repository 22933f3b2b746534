"""What is recorded beside the work: remarks, causes, prints and looks. Nothing moves by them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from checklist.engine import NotOffered, Stamp, proposed
from checklist.gate import OutOfSequence
from checklist.preparation import Event, Preparation
from checklist.workflow import INTERRUPTED, REVERIFY

CAUSES: Mapping[str, str] = MappingProxyType(
    {
        "call": "A call",
        "colleague": "A colleague",
        "patient": "A patient or a family",
        "alarm": "An alarm",
        "fetching": "Something had to be fetched",
        "nobody_free": "No second person is free",
        "other": "Something else",
    }
)
"""What came in between, in words of the ward. Common practice, no source."""
NOT_SAID = "not said"
"""The cause of a break until somebody tells it."""


def may_be_explained(prep: Preparation) -> bool:
    """Whether the cause of the break that stands may still be told: no person has told it yet."""
    return prep.place.endswith(f"/{INTERRUPTED}") and prep.cause not in CAUSES


def explained(prep: Preparation, cause: str, stamp: Stamp) -> Event:
    """Propose what came in between, one of CAUSES; the break itself stands already.

    Raises OutOfSequence where no break stands, NotOffered for another cause, or a second one.
    """
    if not prep.place.endswith(f"/{INTERRUPTED}"):
        raise OutOfSequence("no break stands here, so no cause is asked for")
    if cause not in CAUSES:
        raise NotOffered(f"{cause!r} is not a listed cause; listed: {', '.join(CAUSES)}")
    if not may_be_explained(prep):
        raise NotOffered(f"the cause of this break is told already: {prep.cause}")
    return proposed(prep, "explained", prep.place, stamp, {"cause": cause})


def noted(prep: Preparation, text: str, stamp: Stamp, *, about: int | None = None) -> Event:
    """Propose a remark. `about` is the seq of the entry it speaks of; nothing moves."""
    body = {"text": text, "about": "" if about is None else str(about)}
    return proposed(prep, "noted", prep.place, stamp, body)


def may_be_labelled(prep: Preparation) -> None:
    """Raise NotOffered where no label of the dose may be stuck on any more.

    That is so when the preparation is over, or when what was left lying is first looked at again.
    """
    if prep.closed or prep.ended_because:
        raise NotOffered(
            f"this preparation has come to an end ({prep.place}); no label goes on it any more"
        )
    if {INTERRUPTED, REVERIFY}.intersection(prep.place.split("/")):
        raise NotOffered("work was interrupted: read everything again first, then print the label")


def printed(prep: Preparation, what: Mapping[str, str], stamp: Stamp) -> Event:
    """Propose that something about this preparation is put on paper; nothing moves.

    `what` says what, in which form, and the digest of the file. Raises NotOffered for a label where
    none may be stuck on any more.
    """
    if what["what"] == "label":
        may_be_labelled(prep)
    return proposed(prep, "printed", prep.place, stamp, dict(what))


def shown(prep: Preparation, what: str, stamp: Stamp) -> Event:
    """Propose that a hidden expected value is shown: seeing the target is itself recorded."""
    return proposed(prep, "revealed", prep.place, stamp, {"what": what})
