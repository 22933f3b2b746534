"""How a command ends: its exit code, and a sentence on stderr for whatever stood in the way."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer

DONE = 0
WANTING = 1
"""Refused, ended without giving, put on hold, or found wanting."""
USAGE = 2
"""The command or a file it was given cannot be used; nothing was written."""
DAMAGED = 3
"""The trail is not as it was recorded."""


class CannotGoOn(Exception):
    """A command cannot go on. The message says what was seen, what was expected, what to do."""


def message(text: str) -> None:
    """A sentence for the person at the terminal, on stderr, so that stdout stays data."""
    from checklist.faces.saying import harmless

    typer.echo(harmless(text), err=True)


@contextmanager
def told() -> Iterator[None]:
    """Turn what can stand in the way of a command into its sentences and its exit code."""
    try:
        yield
    except Exception as fault:
        code = _code_of(fault)
        if code is None:
            raise
        for line in str(fault).splitlines() or [type(fault).__name__]:
            message(line)
        raise typer.Exit(code) from None


def _code_of(fault: Exception) -> int | None:
    """The exit code for a fault that is somebody's business; None for our own bug."""
    from checklist.attendance import NotAllowed, NotSignedIn
    from checklist.baseline_file import BaselineFault
    from checklist.codec import CodecFault
    from checklist.credential import CredentialFault
    from checklist.definition import WorkflowFaults
    from checklist.educator.access import NotForYou
    from checklist.educator.competence import NotDecided
    from checklist.educator.watch import NotObserved
    from checklist.extra import NeedsExtra
    from checklist.facts.folder import FactsFault
    from checklist.fold import TrailContradiction
    from checklist.intake.fault import Faults
    from checklist.intake.scanner_file import ScannerFault
    from checklist.library import MissingFiles
    from checklist.requirement import RequiredFaults
    from checklist.review.unusable import Unusable
    from checklist.signing import KeyFault
    from checklist.station import NotHere
    from checklist.table import TableFault
    from checklist.trail import TrailDamaged, TrailFault

    if isinstance(fault, (TrailDamaged, TrailContradiction, CodecFault)):
        return DAMAGED
    if isinstance(fault, (NotDecided, NotForYou)):
        return WANTING
    told_of = (
        BaselineFault, CannotGoOn, CredentialFault, FactsFault, Faults, KeyFault, MissingFiles,
        NeedsExtra, NotAllowed, NotHere, NotObserved, NotSignedIn, RequiredFaults, ScannerFault,
        TableFault, TrailFault, Unusable, WorkflowFaults,
    )  # fmt: skip
    return USAGE if isinstance(fault, told_of) else None


def needs_terminal(what: str, otherwise: str = "") -> None:
    """Refuse to guide anybody when no person can be sitting at the other end.

    `what` is to be done there; `otherwise` says how it is done without a terminal, "" if it is not.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        way = f", or {otherwise}" if otherwise else ""
        raise CannotGoOn(f"{what} needs a terminal with a person at it. Run it in one{way}.")
