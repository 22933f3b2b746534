"""Check that one preparation stands in a signed trail, without the trail and without `checklist`.

    python check_proof.py PROOF.json --key KEY

KEY is the trail's public key, name+id+base64, as `checklist trail key` prints it. Take it from
somebody you trust, never from the proof. The program needs Python 3.11 and `cryptography`. It
prints the entries and ends with 0 when all holds, with 1 and a sentence when something does not.
It shows that these entries stand in the trail whose head was signed, in this order and unchanged.
It does not show that what was entered was true, nor that nothing was added after the checkpoint.
"""

import base64
import hashlib
import json
import sys
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


def need(holds: object, sentence: str) -> None:
    if not holds:
        raise ValueError(sentence)


def public_key(text: str) -> tuple[str, str, bytes]:
    """Name, id and public key of a C2SP verifier key (c2sp.org/signed-note)."""
    name, id_, coded = text.split("+", 2)
    content = base64.b64decode(coded, validate=True)
    made = hashlib.sha256(f"{name}\n".encode() + content).hexdigest()[:8]
    need(made == id_ and len(content) == 33 and content[0] == 1, "The key is no Ed25519 key.")
    return name, id_, content[1:]


def verify(key: bytes, signature: bytes, content: bytes, sentence: str) -> None:
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, content)
    except InvalidSignature:
        raise ValueError(sentence) from None


def signed_head(note: str, key_text: str) -> tuple[int, bytes]:
    """Origin, size and root of the checkpoint, once its signature by the key holds."""
    name, id_, key = public_key(key_text)
    text, _, lines = note.rpartition("\n\n")
    mine = [line.split(" ")[2] for line in lines.splitlines() if line.split(" ")[1] == name]
    values = [base64.b64decode(one, validate=True) for one in mine]
    values = [value for value in values if value[:4].hex() == id_]
    need(values, "The checkpoint is not signed by this key.")
    for value in values:
        verify(key, value[4:], f"{text}\n".encode(), "The checkpoint's signature does not hold.")
    origin, size, root = text.split("\n")[:3]
    need(origin == name, "The checkpoint is of another trail than the key.")
    return int(size), base64.b64decode(root, validate=True)


def root_of(content: bytes, index: int, size: int, path: list[str]) -> bytes:
    """The root that a path leads to from a leaf: RFC 9162 section 2.1.3.2."""
    found, last = hashlib.sha256(b"\x00" + content).digest(), size - 1
    need(0 <= index <= last, "An entry stands beyond the checkpoint.")
    for step in map(bytes.fromhex, path):
        need(last > 0 and len(step) == 32, "A path is too long.")
        if index & 1 or index == last:
            found = hashlib.sha256(b"\x01" + step + found).digest()
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            found = hashlib.sha256(b"\x01" + found + step).digest()
        index, last = index >> 1, last >> 1
    need(last == 0, "A path is too short.")
    return found


def check(proof: dict[str, Any], key_text: str) -> list[list[Any]]:
    """The entries, each an array, once all of them hold. Raises ValueError."""
    need(proof["form"] == "checklist inclusion 1", "This is no proof of a form that is known.")
    size, root = signed_head(proof["checkpoint"], key_text)
    found: list[list[Any]] = []
    turn, before = 0, ""
    for one in proof["entries"]:
        content, seq = one["content"], one["seq"]
        met = root_of(content.encode(), seq - 1, size, one["path"]) == root
        need(met, f"Entry {seq} is not in the trail as it stands here.")
        entry = json.loads(content)
        need(entry[:2] == [proof["trail"], seq], f"Entry {seq} bears another number or trail.")
        if entry[5] == "signed":
            check_signature(entry, found[-1], before, public_key(key_text)[2])
        else:
            need(entry[3:5] == [proof["preparation"], turn], f"Turn {turn} is missing.")
            turn += 1
        found.append(entry)
        before = hashlib.sha256(b"\x00" + content.encode()).hexdigest()
    need(found, "The proof holds no entry.")
    return found


def check_signature(entry: list[Any], before: list[Any], digest: str, trail_key: bytes) -> None:
    """An entry `signed` speaks of the one before it, by its digest, for the same person."""
    body = json.loads(entry[12])
    key = public_key(body["key"])[2]
    told = ["signature", 1, entry[0], before[1], digest, body["meaning"], entry[9], entry[8]]
    fits = (body["of"], body["digest"], before[9]) == (before[1], digest, entry[9])
    need(fits, "A signature is out of its place.")
    content = json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()
    verify(key, base64.b64decode(body["signature"]), content, "A signature does not hold.")
    entry.append(f"{body['meaning']}{'' if key == trail_key else ' (with a key of their own)'}")


if __name__ == "__main__":
    try:
        file, _, given = sys.argv[1:]
        for e in check(json.loads(Path(file).read_text("utf-8")), given):
            said = f"signed: {e[14]}" if e[5] == "signed" else f"{e[5]} {e[6]}"
            sys.stdout.write(ascii(f"{e[1]:>7}  {e[8]}  {e[9]}  {said}")[1:-1] + "\n")
        sys.stdout.write("All of it stands in the trail whose head was signed.\n")
    except (ValueError, KeyError, IndexError, TypeError, OSError) as fault:
        sys.stderr.write(f"Not proved ({type(fault).__name__}): {fault}\n")
        sys.exit(1)
