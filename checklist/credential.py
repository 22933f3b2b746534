r"""PINs and passwords: hashed in a file of their own, compared, and never told to anybody.

credentials.json lies in the ward's folder, readable and writable by its owner alone:

    {"form": 1, "people": {"RN-12": {"pin": "$argon2id$...", "given": false}}}

`given` is true while the PIN is one that somebody else has set: it opens nothing but the setting
of an own one. The file is replaced as a whole: written beside it, brought to the disk, renamed.
"""

from __future__ import annotations

import hmac
import json
import os
import stat
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Protocol

FILE = "credentials.json"
FORM = 1
LONGEST = 128
"""Characters in a PIN or password at most, so that no hash takes long."""
_LARGEST = 1_000_000
_DEAREST = 1_048_576
"""KiB of memory that a stored hash may ask for: one GiB."""


class CredentialFault(Exception):
    """The file of credentials cannot be used as it is; the message says what to do."""


class Credentials(Protocol):
    """What a station asks about PINs: whether a person has one, and whether one fits."""

    @property
    def proof(self) -> str:
        """What the trail says that a person proved themselves with."""

    def has(self, code: str) -> bool:
        """Whether a PIN is set for this person."""

    def is_given(self, code: str) -> bool:
        """Whether the PIN was set by somebody else, so that it opens nothing yet."""

    def fits(self, code: str, pin: str) -> bool:
        """Whether this is the person's PIN."""


class PracticePins:
    """The printed PINs of a ward for practice. They are no secret, so they are kept as they are."""

    proof = "practice pin"

    def __init__(self, pins: Mapping[str, str]) -> None:
        self._pins = dict(pins)

    def has(self, code: str) -> bool:
        """Whether the ward prints a PIN for this person."""
        return code in self._pins

    def is_given(self, code: str) -> bool:
        """Never: nobody sets a PIN of their own for practice."""
        return False

    def fits(self, code: str, pin: str) -> bool:
        """Whether this is the printed PIN."""
        known = self._pins.get(code, "")
        return bool(known) and hmac.compare_digest(known.encode(), _bytes(pin))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one hash costs: passes over so many KiB of memory in so many lanes.

    As shipped these are the second recommended choice of RFC 9106 section 4, for machines with
    little memory.
    """

    passes: int = 3
    memory: int = 65_536
    lanes: int = 4


class CredentialFile:
    """The PINs of a ward's people, hashed by Argon2id (RFC 9106) with a salt for each."""

    proof = "pin"

    def __init__(self, path: Path, cost: Cost | None = None) -> None:
        self.path = path
        self._cost = cost or Cost()

    @property
    def is_empty(self) -> bool:
        """Whether nobody has a PIN yet."""
        return not self._people()

    def has(self, code: str) -> bool:
        """Whether a PIN is set for this person. Raises CredentialFault."""
        return code in self._people()

    def is_given(self, code: str) -> bool:
        """Whether the PIN was set by somebody else. Raises CredentialFault."""
        return bool(self._people().get(code, {}).get("given", False))

    def fits(self, code: str, pin: str) -> bool:
        """Whether this is the person's PIN; False for one who has none. Raises CredentialFault."""
        from argon2 import PasswordHasher
        from argon2.exceptions import Argon2Error, InvalidHashError

        one = self._people().get(code)
        if one is None or not 0 < len(pin) <= LONGEST:
            return False
        try:
            return PasswordHasher().verify(one["pin"], _bytes(pin))
        except (Argon2Error, InvalidHashError):
            return False

    def keep(self, code: str, pin: str, *, given: bool, between: Callable[[], None]) -> None:
        """Set a person's PIN. `between` is called once the new file is on the disk, before it
        takes the place of the old one: what it raises leaves the old one in place.

        Raises CredentialFault, ValueError for a PIN beyond LONGEST.
        """
        if not 0 < len(pin) <= LONGEST:
            raise ValueError(f"a PIN has 1 to {LONGEST} characters")
        with self._alone():
            people = {**self._people(), code: {"pin": self._hash(pin), "given": given}}
            self._replace({"form": FORM, "people": people}, between)

    def forget(self, code: str) -> None:
        """Take a person's PIN away; nothing is done for one who has none."""
        with self._alone():
            people = dict(self._people())
            if people.pop(code, None) is not None:
                self._replace({"form": FORM, "people": people}, lambda: None)

    def _hash(self, pin: str) -> str:
        from argon2 import PasswordHasher

        cost = self._cost
        hasher = PasswordHasher(
            time_cost=cost.passes, memory_cost=cost.memory, parallelism=cost.lanes
        )
        return hasher.hash(_bytes(pin))

    def _people(self) -> Mapping[str, Mapping[str, Any]]:
        """What is kept, by code; read afresh, since another station may have changed it."""
        text = self._text()
        if text is None:
            return {}
        try:
            data = json.loads(text)
        except (ValueError, RecursionError):
            data = None
        if not _is_sound(data):
            raise CredentialFault(
                f"{self.path} is not as this program writes it, so nobody can sign in. Put the"
                " last good copy back, or move it away and set the PINs anew."
            )
        people: Mapping[str, Mapping[str, Any]] = data["people"]
        return people

    def _text(self) -> str | None:
        """The file's text; None where there is no file. Raises CredentialFault."""
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        try:
            number = os.open(self.path, flags)
        except FileNotFoundError:
            return None
        except OSError as fault:
            raise CredentialFault(
                f"{self.path} cannot be read ({fault.strerror}), so nobody can sign in. Call IT."
            ) from fault
        about = os.fstat(number)
        if not stat.S_ISREG(about.st_mode):
            os.close(number)
            raise CredentialFault(f"{self.path} is no plain file. Move it away and call IT.")
        with os.fdopen(number, "rb") as file:
            content = file.read(_LARGEST + 1)
        if os.name == "posix" and stat.S_IMODE(about.st_mode) & 0o077:
            raise CredentialFault(
                f"{self.path} can be read or written by others than its owner, so nobody can"
                f" sign in. Look at who had it, then: chmod 600 {self.path}"
            )
        if len(content) > _LARGEST:
            raise CredentialFault(f"{self.path} is longer than {_LARGEST} bytes. Call IT.")
        return content.decode("utf-8", "replace")

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """While this lasts no other program of ours changes the file."""
        beside = self.path.with_name(f".{self.path.name}.lock")
        try:
            number = os.open(beside, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as fault:
            raise self._unwritable(fault) from fault
        try:
            try:
                import fcntl
            except ImportError:  # not on Windows
                pass
            else:
                fcntl.flock(number, fcntl.LOCK_EX)
            yield
        finally:
            os.close(number)

    def _replace(self, data: Mapping[str, Any], between: Callable[[], None]) -> None:
        fresh = self.path.with_name(f".{self.path.name}.new")
        try:
            fresh.unlink(missing_ok=True)
            number = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(number, "w", encoding="utf-8") as file:
                file.write(json.dumps(data, sort_keys=True, indent=1) + "\n")
                file.flush()
                os.fsync(number)
            between()
            fresh.replace(self.path)
            _settle(self.path.parent)
        except OSError as fault:
            raise self._unwritable(fault) from fault
        finally:
            fresh.unlink(missing_ok=True)

    def _unwritable(self, fault: OSError) -> CredentialFault:
        return CredentialFault(
            f"{self.path} cannot be written ({fault.strerror}), so the PIN may be the old one."
            " Call IT, then set it again."
        )


def unfit(pin: str, *, shortest: int, code: str, badge: str = "") -> str:
    """Why a text is no good as a PIN, as a sentence that never quotes it; "" for a good one."""
    if len(pin) < shortest:
        return f"A PIN has {shortest} characters at least. Take a longer one."
    if len(pin) > LONGEST:
        return f"A PIN has {LONGEST} characters at most. Take a shorter one."
    if not pin.isprintable() or pin != pin.strip():
        return "A PIN holds no characters that cannot be seen, and no space at its ends."
    steps = {ord(b) - ord(a) for a, b in pairwise(pin)}
    if steps <= {0} or steps == {1} or steps == {-1} or len(set(pin)) < 3:
        return "This is among the first that anybody would try. Take another."
    plain = pin.casefold()
    if plain in code.casefold() or code.casefold() in plain or (badge and plain in badge):
        return "It is a part of the code or badge. Take another."
    return ""


def _bytes(pin: str) -> bytes:
    return pin.encode("utf-8", "surrogatepass")


def _is_sound(data: object) -> bool:
    """Whether the content is as `keep` writes it, with no hash that would eat the machine."""
    if not isinstance(data, dict) or data.keys() != {"form", "people"} or data["form"] != FORM:
        return False
    people = data["people"]
    return isinstance(people, dict) and all(map(_is_one, people.values()))


def _is_one(one: object) -> bool:
    from argon2 import extract_parameters
    from argon2.exceptions import InvalidHashError

    if not isinstance(one, dict) or one.keys() != {"pin", "given"}:
        return False
    if not isinstance(one["pin"], str) or not isinstance(one["given"], bool):
        return False
    try:
        asked = extract_parameters(one["pin"])
    except (InvalidHashError, ValueError):
        return False
    return asked.memory_cost <= _DEAREST and asked.time_cost <= 100 and asked.parallelism <= 64


def _settle(folder: Path) -> None:
    """Bring a folder's list of files to the disk, where the system can."""
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
