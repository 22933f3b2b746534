"""Signing and verifying with Ed25519 keys that are kept in a folder of their own, never in a trail.

A station signs with its device's key, made when it is first asked for; where a person's own key is
in the folder, that person's acts are signed with it. The files are PEM, mode 0600, in a folder
0700. Whoever can read a key can sign with it: the folder belongs to the account that runs the
program, on another disk or machine than the trail where one can be had.
"""

from __future__ import annotations

import os
from base64 import b64decode
from binascii import Error
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from checklist.note import (
    PLAIN,
    Checkpoint,
    Note,
    NoteFault,
    Signature,
    VerifierKey,
    key_in,
    signed_text,
)

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

DEVICE = "device"


class KeyFault(Exception):
    """A key cannot be used: what was seen, what was expected, what to do."""


class Signer:
    """One private key. `name` is what its signatures over entries are said to be by."""

    def __init__(self, private: Ed25519PrivateKey, name: str = DEVICE) -> None:
        self.name = name
        self._private = private

    def key(self, name: str = "") -> VerifierKey:
        """The public key, under its own name or another."""
        public = self._private.public_key().public_bytes_raw()
        return VerifierKey(name=name or self.name, type=PLAIN, key=public)

    def sign(self, content: bytes) -> bytes:
        """The signature over some bytes."""
        return self._private.sign(content)

    def note(self, head: Checkpoint) -> Note:
        """The signed note of a checkpoint; the key bears the name of the checkpoint's origin."""
        signature = self.sign(head.text.encode("utf-8"))
        line = Signature(name=head.origin, id=self.key(head.origin).id, value=signature)
        return Note(text=head.text, signatures=(line,))


class Keys:
    """The keys in a folder: the device's, and those of persons who have one."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._read: dict[Path, Signer] = {}

    def device(self) -> Signer:
        """The device's signer; its key is made where there is none yet. Raises KeyFault."""
        path = self.folder / f"{DEVICE}.pem"
        return self._signer(DEVICE, path) or self._made(DEVICE, path)

    def person(self, code: str) -> Signer | None:
        """The signer of a person, None where that person has no key here. Raises KeyFault."""
        return self._signer(code, self.path_of(code))

    def make_person(self, code: str) -> Signer:
        """A new key for a person. Raises KeyFault where there is one, or for an unfit code."""
        if not code or "+" in code or any(c.isspace() for c in code):
            raise KeyFault(f"A key bears a staff code without space or plus; {code!r} was given.")
        return self._made(code, self.path_of(code))

    def for_acts_of(self, code: str) -> Signer:
        """Who signs what this person does: the person's own key, or else the device's."""
        return self.person(code) or self.device()

    def path_of(self, code: str) -> Path:
        """Where the key of a person is, or would be, kept."""
        return self.folder / f"person-{quote(code, safe='')}.pem"

    def known(self) -> tuple[bytes, ...]:
        """The public keys whose private keys are in the folder, unreadable ones left out."""
        found = []
        for path in sorted(self.folder.glob("*.pem")):
            try:
                found.append(_read(path, path.stem).key().key)
            except KeyFault:
                continue
        return tuple(found)

    def _signer(self, name: str, path: Path) -> Signer | None:
        if path not in self._read:
            if not os.path.lexists(path):
                return None
            self._read[path] = _read(path, name)
        return self._read[path]

    def _made(self, name: str, path: Path) -> Signer:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        from cryptography.hazmat.primitives.serialization import (
            Encoding,
            NoEncryption,
            PrivateFormat,
        )

        private = Ed25519PrivateKey.generate()
        content = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        except FileExistsError as fault:
            raise KeyFault(
                f"There is a key {path} already. It was left as it is; move it away first if it is"
                " to be replaced."
            ) from fault
        except OSError as fault:
            raise KeyFault(
                f"A key cannot be kept in {self.folder} ({fault.strerror}). Name another folder in"
                " CHECKLIST_KEYS, or call IT."
            ) from fault
        self._read[path] = Signer(private, name)
        return self._read[path]


def verified(note: Note, keys: Iterable[VerifierKey]) -> tuple[VerifierKey, ...]:
    """The keys, among those known, whose signatures stand under a note.

    Signatures by unknown keys are passed over. Raises NoteFault when none is by a known key, and
    when one by a known key does not hold: then nothing in the note is to be believed.
    """
    known: Mapping[tuple[str, bytes], VerifierKey] = {(key.name, key.id): key for key in keys}
    found = []
    for line in note.signatures:
        key = known.get((line.name, line.id))
        if key is None:
            continue
        message, value = signed_text(key, note.text, line.value)
        if not holds(key.key, value, message):
            raise NoteFault(f"The signature by {key.name} does not hold.")
        found.append(key)
    if not found:
        raise NoteFault("The note is signed by no key that is known here.")
    return tuple(dict.fromkeys(found))


def holds(key: bytes, signature: bytes, content: bytes) -> bool:
    """Whether an Ed25519 signature holds over some bytes."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, content)
    except (InvalidSignature, ValueError):
        return False
    return True


def holds_in_text(key: str, signature: str, content: bytes) -> bool:
    """Whether a signature in base64 by a key in text form holds over some bytes."""
    try:
        return holds(key_in(key).key, b64decode(signature, validate=True), content)
    except (NoteFault, Error, ValueError):
        return False


def _read(path: Path, name: str) -> Signer:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        if path.is_symlink():
            raise KeyFault(f"{path} is a link to elsewhere. Put the key itself there.")
        if os.name == "posix" and path.stat().st_mode & 0o077:
            raise KeyFault(
                f"The key {path} can be read by others. Take their rights away (chmod 600), and"
                " make a new key if somebody may have copied it."
            )
        private = load_pem_private_key(path.read_bytes(), password=None)
    except OSError as fault:
        raise KeyFault(f"The key {path} cannot be read ({fault.strerror}). Call IT.") from fault
    except (ValueError, TypeError, UnsupportedAlgorithm) as fault:
        raise KeyFault(f"{path} holds no key that this program can use. Call IT.") from fault
    if not isinstance(private, Ed25519PrivateKey):
        raise KeyFault(f"{path} holds a key of another kind; an Ed25519 key is expected. Call IT.")
    return Signer(private, name)
