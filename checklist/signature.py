"""Signatures over entries: which acts ask for one, what is signed, and how it stands in the trail.

A signature is an entry of its own, of the kind `signed`, right behind the entry it speaks of. What
is signed is this array, written as JSON without spaces and encoded as UTF-8:

    ["signature", 1, trail id, seq, digest, meaning, person, at]

`seq` and `digest` (64 hexadecimal figures) are those of the entry spoken of, so a signature cannot
be cut out and used for another; `person` and `at` are the `by` and `at` of the entry `signed`
itself. Its body holds `of`, `digest`, `meaning`, `key` (the public key as a C2SP verifier key) and
`signature` (base64).
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

FORMAT = 1
KIND = "signed"
WITNESSED, CHECKED, WENT_ON, REVIEWED = "witnessed", "checked", "went_on", "reviewed"
WORDS: Mapping[str, str] = MappingProxyType(
    {
        WITNESSED: "witnessed this step",
        CHECKED: "checked this step as a second person",
        WENT_ON: "went on past a caution",
        REVIEWED: "reviewed this record",
    }
)
"""What a signature means, in words, by the meaning that stands in the trail."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A signature as it stands in the trail.

    `seq` is the number of the entry that holds it, `of` and `digest` (hexadecimal) those of the
    entry it speaks of; `at` is the stored text of its time.
    """

    seq: int
    of: int
    digest: str
    meaning: str
    person: str
    at: str
    key: str
    value: str


def signed_bytes(trail_id: str, seq: int, digest: str, meaning: str, person: str, at: str) -> bytes:
    """What a signature is made over."""
    array = ["signature", FORMAT, trail_id, seq, digest, meaning, person, at]
    return json.dumps(array, ensure_ascii=False, separators=(",", ":")).encode("utf-8")


def body(seq: int, digest: str, meaning: str, key: str, value: bytes) -> dict[str, Any]:
    """The body of an entry `signed`."""
    signature = b64encode(value).decode("ascii")
    return {"of": seq, "digest": digest, "meaning": meaning, "key": key, "signature": signature}


def signed_in(seq: int, person: str, at: str, found: Mapping[str, Any]) -> Signed | None:
    """The signature that an entry's body holds; None where a part is missing or of another type."""
    texts = [found.get(name) for name in ("digest", "meaning", "key", "signature")]
    of = found.get("of")
    if (
        not isinstance(of, int)
        or isinstance(of, bool)
        or not all(isinstance(t, str) for t in texts)
    ):
        return None
    digest, meaning, key, value = map(str, texts)
    return Signed(
        seq=seq, of=of, digest=digest, meaning=meaning, person=person, at=at, key=key, value=value
    )


def asks(kind: str, body: Mapping[str, Any]) -> str:
    """The meaning of the signature that an entry asks for, or '' where it asks for none.

    A second person's step says so itself, in its body's `meaning`, and so does what an observer or
    educator records on somebody's work.
    """
    meaning = body.get("meaning")
    if kind == "proceeded":
        return WENT_ON
    if kind in ("opened", "noted"):
        return REVIEWED if meaning == REVIEWED else ""
    of_a_step = kind in ("passed", "cautioned", "refused") and meaning in (WITNESSED, CHECKED)
    return str(meaning) if of_a_step else ""
