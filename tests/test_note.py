"""Notes, checkpoints and keys against the published example and the rules of C2SP signed-note,
tlog-checkpoint and tlog-cosignature (sources in tests/data/merkle_vectors.json)."""

from __future__ import annotations

import base64
import hashlib
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.note import (
    COSIGNED,
    PLAIN,
    Checkpoint,
    Note,
    NoteFault,
    VerifierKey,
    checkpoint_in,
    key_in,
    note_in,
)
from checklist.signing import Signer, verified
from tests.test_merkle import VECTORS, eight

EXAMPLE = VECTORS["signed_note"]
OWN = VECTORS["own_checkpoint"]
NOTE = f"{EXAMPLE['text']}\n{EXAMPLE['signature_line']}\n"


def test_the_published_note_verifies() -> None:
    key = key_in(EXAMPLE["verifier_key"])
    assert (key.type, key.id.hex()) == (PLAIN, EXAMPLE["key_id_hex"])
    assert key.key.hex() == EXAMPLE["public_key_hex"]
    note = note_in(NOTE)
    assert (note.text, str(note)) == (EXAMPLE["text"], NOTE)
    assert verified(note, [key]) == (key,)


def test_no_changed_bit_of_the_published_note_verifies() -> None:
    key, content = key_in(EXAMPLE["verifier_key"]), NOTE.encode()
    for at in range(len(content)):
        for bit in range(8):
            flipped = bytearray(content)
            flipped[at] ^= 1 << bit
            with pytest.raises((NoteFault, UnicodeDecodeError)):
                verified(note_in(flipped.decode("utf-8")), [key])


@pytest.mark.parametrize(
    ("why", "key"), VECTORS["verifier_key_must_refuse"]["why_and_key"], ids=lambda one: one[:30]
)
def test_a_key_in_any_other_form_is_refused(why: str, key: str) -> None:
    assert why
    with pytest.raises(NoteFault):
        key_in(key)


def test_every_part_and_every_changed_character_of_a_good_key_is_refused() -> None:
    good = VECTORS["verifier_key_must_refuse"]["good"]
    assert str(key_in(good)) == good
    for start in range(len(good)):
        for end in range(start, len(good) + 1):
            if good[start:end] != good:
                with pytest.raises(NoteFault):
                    key_in(good[start:end])
    for at, old in enumerate(good):
        for new in "aB+0 /=é\n" + chr(ord(old) ^ 1):
            if new != old:
                with pytest.raises(NoteFault):
                    key_in(good[:at] + new + good[at + 1 :])


@pytest.mark.parametrize("one", VECTORS["checkpoint_text"], ids=lambda one: one.get("source"))
def test_published_checkpoints_are_read(one: dict[str, Any]) -> None:
    found = checkpoint_in(one["text"])
    assert found.text == one["text"]
    if "size" in one:
        assert (found.origin, found.size) == (one["origin"], one["size"])
        assert base64.b64encode(found.root).decode() == one["root_base64"]


def log() -> Signer:
    return Signer(Ed25519PrivateKey.from_private_bytes(hashlib.sha256(b"log key seed 1").digest()))


def test_the_own_checkpoint_is_signed_and_cosigned_as_computed() -> None:
    head = Checkpoint(origin="trail.example/ward-1", size=8, root=eight().root())
    assert head.text == OWN["body"]
    signer, keys = log(), [key_in(OWN[f"{who}_verifier_key"]) for who in ("log", "witness")]
    assert [key.type for key in keys] == [PLAIN, COSIGNED]
    assert signer.key(head.origin) == keys[0]
    made = signer.note(head)
    assert str(made).splitlines() == OWN["note"].splitlines()[:-1]
    cosigned = note_in(OWN["note"])
    assert verified(cosigned, keys) == tuple(keys)
    assert verified(cosigned, keys[1:]) == (keys[1],)


GOOD = "trail.example/ward-1\n8\nXcnaeacGWamtVZy3Ad7ZoqudgjqtL0lgz+Nw7/RgQyg=\n"
REFUSED = [
    ("size with leading zero (08)", GOOD.replace("\n8\n", "\n08\n")),
    ("size in hex (0x8)", GOOD.replace("\n8\n", "\n0x8\n")),
    ("negative size", GOOD.replace("\n8\n", "\n-8\n")),
    ("size above 2^63-1", GOOD.replace("\n8\n", f"\n{2**63}\n")),
    ("root that is not 32 bytes", "o\n8\nXcnaeacG\n"),
    ("root in unpadded or URL-safe base64", GOOD.replace("=", "")),
    ("root in unpadded or URL-safe base64", GOOD.replace("+", "-").replace("/R", "_R")),
    ("missing final newline", GOOD.rstrip("\n")),
    ("CR LF line ends", GOOD.replace("\n", "\r\n")),
    ("empty origin", GOOD.replace("trail.example/ward-1", "")),
    ("empty extension line", GOOD + "\n"),
    ("control character in the text", GOOD.replace("trail", "tr\x01ail")),
    ("figures of another script", GOOD.replace("\n8\n", "\n\u0668\n")),
]


@pytest.mark.parametrize(("why", "text"), REFUSED)
def test_a_checkpoint_in_any_other_form_is_refused(why: str, text: str) -> None:
    with pytest.raises(NoteFault):
        checkpoint_in(text)


def test_every_published_reason_to_refuse_is_tried() -> None:
    tried = {why for why, _ in REFUSED} | {
        "two signature blocks",
        "known key name and id whose signature fails (refuse the whole note)",
        "unknown keys only (refuse)",
    }
    assert set(VECTORS["checkpoint_must_refuse"]) <= tried


def test_a_note_with_a_bad_unknown_or_doubled_signature_is_refused() -> None:
    key, note = key_in(OWN["log_verifier_key"]), note_in(OWN["note"])
    log_line, witness_line = note.signatures
    with pytest.raises(NoteFault, match="no key that is known here"):
        verified(Note(text=note.text, signatures=(witness_line,)), [key])
    other = log().note(Checkpoint(origin="trail.example/ward-1", size=9, root=eight().root()))
    with pytest.raises(NoteFault, match="does not hold"):
        verified(Note(text=note.text, signatures=(log_line, *other.signatures)), [key])
    with pytest.raises(NoteFault):
        checkpoint_in(note_in(f"{OWN['note']}\n{log_line.line}").text)


def test_a_signature_by_an_unknown_key_beside_a_known_one_is_passed_over() -> None:
    note = note_in(OWN["note"])
    assert len(verified(note, [key_in(OWN["log_verifier_key"])])) == 1
    many = Note(text=note.text, signatures=note.signatures * 8)
    assert len(note_in(str(many)).signatures) == 16  # C2SP signed-note: at least 16 are accepted


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=60))
def test_odd_text_is_refused_and_never_breaks(text: str) -> None:
    for read in (note_in, checkpoint_in, key_in):
        with pytest.raises(NoteFault):
            read(text)


def test_a_key_of_any_name_reads_back() -> None:
    for name in ("a", "checklist/7e-2026", "w\u00e4rd"):
        key = VerifierKey(name=name, type=PLAIN, key=bytes(range(32)))
        assert key_in(str(key)) == key
