"""Where a command finds the PINs of a ward, and how one is typed without being shown."""

from __future__ import annotations

import sys
from pathlib import Path

from checklist import library
from checklist.credential import FILE, CredentialFile, Credentials, PracticePins
from checklist.faces.leaving import CannotGoOn
from checklist.faces.scenario import FILE as SCENARIO
from checklist.faces.scenario import read_scenario
from checklist.intake.ward import Ward
from checklist.unit import SignIn, Unit


def pins_of(folder: Path, *, practice: bool = False) -> Credentials:
    """What knows the PINs of a ward: its file; those that are printed for practice or the demo."""
    if (practice or folder == library.folder("demo_db")) and (folder / SCENARIO).is_file():
        pins = read_scenario(folder).pins
        if pins:
            return PracticePins(pins)
    return CredentialFile(folder / FILE)


def needs_a_pin(unit: Unit, keeper: Credentials) -> None:
    """Refuse to begin where nobody could sign in. Raises CannotGoOn, CredentialFault."""
    if unit.sign_in_with is SignIn.PIN and isinstance(keeper, CredentialFile) and keeper.is_empty:
        raise CannotGoOn(
            "No PIN is set on this ward yet, so nobody can sign in. An administrator or pharmacist"
            " sets the first one: checklist people pin CODE --ward DIR. A ward that goes by codes"
            f' alone, which prove nothing, says so in unit.toml: sign_in_with = "{SignIn.CODE}".'
        )


def asked_pin(ward: Ward, by: str) -> str:
    """The PIN that a person types here; "" where the unit goes by codes alone.

    A code that nobody has is not told again: it may have been a PIN. Raises CannotGoOn.
    """
    if ward.unit.sign_in_with is not SignIn.PIN:
        return ""
    return line_of_pin(f"PIN of {by}" if by in ward.staff else "PIN")


def line_of_pin(prompt: str) -> str:
    """A PIN typed at the terminal without being shown, or the next line of stdin.

    Raises CannotGoOn when nothing comes.
    """
    if sys.stdin.isatty():
        from getpass import getpass

        try:
            return getpass(f"{prompt} (not shown): ", stream=sys.stderr)
        except (EOFError, KeyboardInterrupt) as stop:
            raise CannotGoOn("No PIN was typed. Nothing was done.") from stop
    line = sys.stdin.readline()
    if not line:
        raise CannotGoOn(f"{prompt}: none came on stdin, one on each line. Nothing was done.")
    return line.rstrip("\r\n")
