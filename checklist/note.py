"""The text form of a signed head: the note, the checkpoint in it and the key that verifies it.

A checkpoint is three lines: the origin, which names the trail; the size, in decimal figures; the
root of the Merkle tree of that size, in base64. A note is a text, an empty line, and one line for
each signature: a dash (U+2014), the name of the key, and in base64 the key's id and the signature.
A key is told as `name+id+base64`, its id being the first four bytes of SHA-256 over the name, a
newline, the byte of its type and the key. These are the forms of C2SP signed-note,
tlog-checkpoint and tlog-cosignature (c2sp.org), so that any program that knows them can verify a
trail's head. Nothing here signs or verifies; `signing` does.
"""

from __future__ import annotations

import re
from base64 import b64decode, b64encode
from binascii import Error
from dataclasses import dataclass
from hashlib import sha256
from urllib.parse import quote

from checklist.merkle import HASH_BYTES, LARGEST

PLAIN, COSIGNED = 1, 4
"""Types of key: Ed25519 over the text itself; Ed25519 over a time and the text."""
KEY_BYTES, ID_BYTES, SIGNATURE_BYTES, TIME_BYTES = 32, 4, 64, 8
LONGEST = 65_536
"""Most characters in a note."""
MOST_SIGNATURES = 64

_SIGNATURE = re.compile(r"\u2014 (\S+) ([A-Za-z0-9+/]+={0,2})")
_KEY = re.compile(r"([^\s+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/]+={0,2})")
_SIZE = re.compile(r"0|[1-9][0-9]{0,18}")


class NoteFault(ValueError):
    """A text that is no note, no checkpoint or no key, or whose signature does not hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """The head of a trail: its origin, how many entries there are, and the root over them."""

    origin: str
    size: int
    root: bytes

    @property
    def text(self) -> str:
        """The three lines of a checkpoint."""
        return f"{self.origin}\n{self.size}\n{_coded(self.root)}\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """One signature line: the key's name and id, and what it says."""

    name: str
    id: bytes
    value: bytes

    @property
    def line(self) -> str:
        """The line as it stands in a note."""
        return f"\u2014 {self.name} {_coded(self.id + self.value)}\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A text and the signatures under it."""

    text: str
    signatures: tuple[Signature, ...]

    def __str__(self) -> str:
        return f"{self.text}\n{''.join(one.line for one in self.signatures)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifierKey:
    """A public key with its name: what a reader holds to verify notes."""

    name: str
    type: int
    key: bytes

    @property
    def id(self) -> bytes:
        """The first four bytes of SHA-256 over the name, a newline, the type and the key."""
        return _id(self.name, bytes((self.type,)) + self.key)

    def __str__(self) -> str:
        return f"{self.name}+{self.id.hex()}+{_coded(bytes((self.type,)) + self.key)}"


def origin_of(trail_id: str) -> str:
    """The origin of a trail's checkpoints, which is also the name that its key bears there."""
    return f"checklist/{quote(trail_id, safe='')}"


def key_in(text: str) -> VerifierKey:
    """The key that a text tells. Raises NoteFault for anything but its exact form."""
    found = _KEY.fullmatch(text)
    if found is None:
        raise NoteFault(f"{_shown(text)} is no key; one reads name+id+base64.")
    name, id_, coded = found.groups()
    _fit_name(name)
    content = _decoded(coded, "The key")
    if len(content) != 1 + KEY_BYTES or content[0] not in (PLAIN, COSIGNED):
        raise NoteFault(f"{_shown(text)} is no Ed25519 key.")
    if _id(name, content).hex() != id_:
        raise NoteFault(f"The id in {_shown(text)} is not that of its key.")
    return VerifierKey(name=name, type=content[0], key=content[1:])


def note_in(text: str) -> Note:
    """The note that a text holds. Raises NoteFault; no signature is verified."""
    if len(text) > LONGEST:
        raise NoteFault(f"A note has at most {LONGEST:,} characters; {len(text):,} were found.")
    if any((ord(c) < 0x20 and c != "\n") or c == "\x7f" or "\ud800" <= c <= "\udfff" for c in text):
        raise NoteFault("A note holds no control characters and no half characters.")
    body, blank, block = text.rpartition("\n\n")
    lines = block.split("\n")
    if not blank or lines[-1] or not 1 <= len(lines) - 1 <= MOST_SIGNATURES:
        raise NoteFault("A note is a text, an empty line, and a line for each signature.")
    return Note(text=f"{body}\n", signatures=tuple(_signature_in(line) for line in lines[:-1]))


def checkpoint_in(text: str) -> Checkpoint:
    """The checkpoint that a note's text holds; lines behind the third are passed over.

    Raises NoteFault for anything but its exact form.
    """
    lines = text.split("\n")
    if len(lines) < 4 or lines[-1] or not all(lines[:-1]) or any(c < " " for c in "".join(lines)):
        raise NoteFault("A checkpoint is a line each for origin, size and root, none of it empty.")
    origin, size, coded = lines[:3]
    if not _SIZE.fullmatch(size) or int(size) > LARGEST:
        raise NoteFault(f"The size of a checkpoint is a whole number; {_shown(size)} was found.")
    root = _decoded(coded, "The root")
    if len(root) != HASH_BYTES:
        raise NoteFault(f"The root of a checkpoint has {HASH_BYTES} bytes; {len(root)} were found.")
    return Checkpoint(origin=origin, size=int(size), root=root)


def signed_text(key: VerifierKey, text: str, value: bytes) -> tuple[bytes, bytes]:
    """What a signature under `text` was made over, and the bare signature.

    A cosigner's signature begins with its time in seconds since 1970, eight bytes. Raises
    NoteFault for a signature of another length.
    """
    ahead = TIME_BYTES if key.type == COSIGNED else 0
    if len(value) != ahead + SIGNATURE_BYTES:
        raise NoteFault(f"The signature of {key.name} has {len(value)} bytes.")
    if not ahead:
        return text.encode("utf-8"), value
    time = int.from_bytes(value[:ahead], "big")
    return f"cosignature/v1\ntime {time}\n{text}".encode(), value[ahead:]


def _signature_in(line: str) -> Signature:
    found = _SIGNATURE.fullmatch(line)
    if found is None:
        raise NoteFault(f"{_shown(line)} is no signature line.")
    _fit_name(found[1])
    content = _decoded(found[2], "A signature")
    if len(content) <= ID_BYTES:
        raise NoteFault("A signature is cut short.")
    return Signature(name=found[1], id=content[:ID_BYTES], value=content[ID_BYTES:])


def _fit_name(name: str) -> None:
    if "+" in name or any(c.isspace() for c in name):
        raise NoteFault(f"The name of a key holds no space and no plus; {_shown(name)} does.")


def _id(name: str, content: bytes) -> bytes:
    return sha256(f"{name}\n".encode() + content).digest()[:ID_BYTES]


def _coded(content: bytes) -> str:
    return b64encode(content).decode("ascii")


def _decoded(coded: str, what: str) -> bytes:
    """The bytes of a base64 text in its one exact form."""
    try:
        content = b64decode(coded, validate=True)
    except (Error, ValueError) as fault:
        raise NoteFault(f"{what} is not in base64.") from fault
    if _coded(content) != coded:
        raise NoteFault(f"{what} is not in the one exact form of base64.")
    return content


def _shown(text: str) -> str:
    return repr(text if len(text) <= 80 else f"{text[:77]}...")
