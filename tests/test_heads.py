"""Signed heads: when they are kept, that none is signed that does not extend the last; keys."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from itertools import pairwise
from pathlib import Path

import pytest

from checklist import trail_schema
from checklist.chain import Row, digest, entry_bytes
from checklist.heads import HeadLost, NotKeptOutside
from checklist.merkle import Tree, consistent
from checklist.note import checkpoint_in, key_in, note_in
from checklist.signing import KeyFault, Keys, verified
from checklist.trail import Trail, TrailDamaged
from checklist.verdict import Remedy
from tests.faces import run
from tests.notaries import heads, key_of, keys, notarised, notary
from tests.scene import NURSE
from tests.test_tampering import EDIT, LOSS, behind, dropping, restored
from tests.ward_trail import event, fill, filled, made, plain


def sizes(folder: Path) -> list[int]:
    return [int(path.stem) for path in sorted((folder / "heads" / "notes").glob("*.note"))]


def test_a_head_is_kept_after_each_refusal_and_at_the_end(tmp_path: Path) -> None:
    scene = notarised(tmp_path)
    scene.to("set_the_dose")
    assert sizes(tmp_path) == []
    scene.attempt({"drawn_volume": "2.1"})
    refused = scene.trail.head().seq
    assert sizes(tmp_path) == [refused]
    scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    scene.finish()
    closed = scene.trail.head().seq
    assert sizes(tmp_path) == [refused, closed]
    scene.station.sign_out(NURSE)
    assert sizes(tmp_path) == [refused, closed, closed + 1]
    for path in (tmp_path / "heads" / "notes").iterdir():
        note = note_in(path.read_text("utf-8"))
        assert verified(note, [key_of(tmp_path, scene.trail)])
    scene.trail.close()


def test_every_head_has_the_root_of_the_entries_and_extends_the_one_before(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        keeping = notary(tmp_path, trail)
        assert keeping.checkpoint() is None
        found = []
        for entry in range(1, 40):
            trail.append(event(entry, f"prep-{entry}"))
            if entry % 7 in (1, 3):
                note = keeping.checkpoint()
                assert note is not None
                found.append(checkpoint_in(note.text))
        tree = Tree(b"".join(digest for _, digest in trail.digests()))
        for head in found:
            assert head.root == tree.root(head.size)
        for old, new in pairwise(found):
            steps = tree.consistency(old.size, new.size)
            assert consistent(old.size, new.size, old.root, new.root, steps)
        kept = heads(tmp_path, trail)
        assert kept.digests() == b"".join(d for _, d in trail.digests())[: 32 * found[-1].size]


def test_two_stations_go_on_from_each_others_heads(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        one, other = notary(tmp_path, trail), notary(tmp_path, trail)
        fill(trail, 5)
        assert one.checkpoint() == other.checkpoint() == one.checkpoint()
        trail.append(event(90, "prep-9"))
        assert other.checkpoint() is not None
        trail.append(event(91, "prep-10"))
        for each in (one, other, notary(tmp_path, trail)):
            note = each.checkpoint()
            assert note is not None and checkpoint_in(note.text).size == 7
        assert sizes(tmp_path) == [5, 6, 7]


@pytest.mark.parametrize("lost", ["edge.json", "digests", "notes", "edge.json broken", "behind"])
def test_a_folder_that_lost_a_part_goes_on_rightly_or_says_so(tmp_path: Path, lost: str) -> None:
    with made(tmp_path) as trail:
        fill(trail, 6)
        notary(tmp_path, trail).checkpoint()
        folder = tmp_path / "heads"
        if lost == "notes":
            shutil.rmtree(folder / lost)
        elif lost == "edge.json broken":
            (folder / "edge.json").write_text('{"size": 6, "peaks": ["00"], "last": ""}')
        elif lost == "behind":  # as after a kill between the digests and the note
            with (folder / "digests").open("ab") as file:
                file.write(trail.append(event(80, "prep-8")).digest)
        else:
            (folder / lost).unlink()
        trail.append(event(90, "prep-9"))
        keeping = notary(tmp_path, trail)
        note = keeping.checkpoint()
        if lost == "digests":
            assert note is None
            assert "digests was cut short" in keeping.trouble
            return
        assert note is not None and not keeping.trouble
        head = checkpoint_in(note.text)
        assert head.root == Tree(b"".join(d for _, d in trail.digests())).root()


ACTS = {
    "an entry edited and the chain made anew": "remade",
    "the end cut off": behind("DELETE FROM entries WHERE seq > 4", LOSS),
    "the last signed entry edited": behind(
        "UPDATE entries SET digest = zeroblob(32) WHERE seq = 6", EDIT
    ),
}


@pytest.mark.parametrize("act", ACTS, ids=list(ACTS))
@pytest.mark.parametrize("remembers", [True, False])
def test_a_head_that_does_not_extend_the_last_one_is_never_signed(
    tmp_path: Path, act: str, remembers: bool
) -> None:
    path = filled(tmp_path, 6)
    with Trail.open(path) as trail:
        keeping = notary(tmp_path, trail)
        keeping.checkpoint()
        before = sizes(tmp_path)
    db = plain(path)
    if ACTS[act] == "remade":
        remade(db, "7e-2026", 3)
    else:
        db.executescript(ACTS[act])
    db.close()

    class Behind:
        """The file as it is, past the trail's own look at it."""

        def digests(self, after: int = 0) -> list[tuple[int, bytes]]:
            asked = "SELECT seq, digest FROM entries WHERE seq > ? ORDER BY seq"
            with plain(path) as raw:
                return raw.execute(asked, (after,)).fetchall()

    kept = keeping._heads if remembers else heads(tmp_path, trail)
    with pytest.raises(HeadLost, match="No new head was signed"):
        kept.sign(Behind(), keys(tmp_path).device())
    assert sizes(tmp_path) == before
    assert issubclass(HeadLost, TrailDamaged)


def remade(db: sqlite3.Connection, trail_id: str, seq: int) -> None:
    """Edit one entry and make the chain anew from there on, as somebody with the file can."""
    db.executescript(dropping(EDIT))
    columns = trail_schema.COLUMNS
    rows = db.execute(f"SELECT {columns} FROM entries WHERE seq >= ? ORDER BY seq", (seq,))
    (previous,) = db.execute("SELECT previous FROM entries WHERE seq = ?", (seq,)).fetchone()
    for old in rows.fetchall():
        by = "RN-99" if old[0] == seq else old[8]
        row = Row._make(old)._replace(by=by, previous=previous)
        previous = digest(entry_bytes(trail_id, row))
        db.execute(
            'UPDATE entries SET "by" = ?, previous = ?, digest = ? WHERE seq = ?',
            (row.by, row.previous, previous, row.seq),
        )
    db.executescript(restored(EDIT))


def test_a_folder_that_cannot_be_written_is_told_and_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "heads").write_text("in the way")
    scene = notarised(tmp_path)
    scene.to("set_the_dose")
    assert scene.attempt({"drawn_volume": "2.1"}).entry.event.kind == "refused"
    assert scene.station.notary is not None
    assert "What is recorded is safe; call IT" in scene.station.notary.trouble
    scene.trail.close()


def test_the_heads_of_another_trail_or_key_are_never_gone_on_from(tmp_path: Path) -> None:
    with (
        made(tmp_path) as trail,
        Trail.create(
            tmp_path / "other.trail", trail_id="other", unit="W7E", at=event(1).at
        ) as other,
    ):
        fill(trail, 3)
        fill(other, 3)
        notary(tmp_path, trail).checkpoint()
        stranger = Keys(tmp_path / "keys-2").device()
        for kept, signer, of in (
            (heads(tmp_path, trail), stranger, trail),
            (heads(tmp_path, other), keys(tmp_path).device(), other),
        ):
            with pytest.raises(NotKeptOutside):
                kept.sign(of, signer)
        assert sizes(tmp_path) == [3]


# -- keys ----------------------------------------------------------------------------------------


def test_a_key_is_made_once_for_its_owner_alone_and_is_never_in_the_trail(tmp_path: Path) -> None:
    scene = notarised(tmp_path)
    scene.finish()
    scene.trail.close()
    device = tmp_path / "keys" / "device.pem"
    assert device.stat().st_mode & 0o777 == 0o600
    assert device.parent.stat().st_mode & 0o777 == 0o700
    before = device.read_bytes()
    assert keys(tmp_path).device().key() == keys(tmp_path).device().key()
    assert device.read_bytes() == before
    secret = before.splitlines()[1]
    for path in [*(tmp_path / "ward").iterdir(), *(tmp_path / "heads").rglob("*")]:
        if path.is_file():
            assert secret not in path.read_bytes()


def test_a_persons_own_key_is_used_for_their_acts(tmp_path: Path) -> None:
    held = keys(tmp_path)
    own = held.make_person("RN-31")
    assert held.for_acts_of("RN-31").key() == own.key()
    assert held.for_acts_of("RN-12").key() == held.device().key()
    assert own.key().name == "RN-31"
    assert held.path_of("../x/RN 1").parent == held.folder
    with pytest.raises(KeyFault, match="already"):
        held.make_person("RN-31")
    assert len(held.known()) == 2
    for unfit in ("", "RN 1", "a+b"):
        with pytest.raises(KeyFault, match="without space or plus"):
            held.make_person(unfit)


def test_a_persons_key_is_made_by_command_and_printed_once(tmp_path: Path) -> None:
    made_ = run("trail", "key", "--make-for", "RN-31", home=tmp_path)
    own = keys(tmp_path / "checklist").person("RN-31")
    assert own is not None and made_.stdout == f"{own.key()}\n"
    assert run("trail", "key", "--make-for", "RN-31", home=tmp_path).returncode == 2


@pytest.mark.parametrize("trouble", ["open to others", "a link", "no key", "another kind"])
def test_a_key_that_cannot_be_relied_on_is_refused(tmp_path: Path, trouble: str) -> None:
    from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
    from cryptography.hazmat.primitives.serialization import (
        Encoding,
        NoEncryption,
        PrivateFormat,
    )

    keys(tmp_path).device()
    path = tmp_path / "keys" / "device.pem"
    if trouble == "open to others":
        path.chmod(0o644)
    elif trouble == "a link":
        path.rename(tmp_path / "elsewhere")
        path.symlink_to(tmp_path / "elsewhere")
    elif trouble == "no key":
        path.write_text("none")
    else:
        other = X25519PrivateKey.generate()
        path.write_bytes(other.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    with pytest.raises(KeyFault):
        keys(tmp_path).device()
    assert keys(tmp_path).known() == ()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_key_that_cannot_be_kept_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(KeyFault, match="CHECKLIST_KEYS"):
        keys(tmp_path).device()


# -- the commands --------------------------------------------------------------------------------


def test_the_head_is_printed_kept_and_verified_by_command(tmp_path: Path) -> None:
    path = filled(tmp_path, 9)
    where = ["--trail", str(path)]
    made_ = run("trail", "checkpoint", *where, home=tmp_path)
    assert made_.returncode == 0, made_.stderr
    head = checkpoint_in(note_in(made_.stdout).text)
    assert (head.origin, head.size) == ("checklist/7e-2026", 9)
    printed = tmp_path / "printed.note"
    printed.write_text(made_.stdout, "utf-8")
    key = run("trail", "key", *where, home=tmp_path).stdout.strip()
    assert [str(one) for one in verified(note_in(made_.stdout), [key_in(key)])] == [key]

    whole = run("trail", "verify", *where, "--against", str(printed), home=tmp_path)
    assert whole.returncode == 0
    assert f"goes on from {printed}: 9 entries, 0 since then" in whole.stdout

    elsewhere = tmp_path / "auditor"
    elsewhere.mkdir()
    shutil.rmtree(tmp_path / "ward.trail.checkpoints")
    unknown = run("trail", "verify", *where, "--against", str(printed), home=elsewhere)
    assert unknown.returncode == 2 and "key with --key." in unknown.stderr
    named = run(
        "trail", "verify", *where, "--against", str(printed), "--key", key, "--json", home=elsewhere
    )
    assert named.returncode == 0
    assert json.loads(named.stdout)["beside"][0] == {
        "what": str(printed), "size": 9, "holds": True, "sentence": "",
    }  # fmt: skip


def test_a_reader_remembers_the_head_it_saw_last(tmp_path: Path) -> None:
    path = filled(tmp_path, 9)
    older = path.read_bytes()
    assert run("trail", "verify", "--trail", str(path), home=tmp_path).returncode == 0
    with Trail.open(path) as trail:
        trail.append(event(90, "prep-9"))
    assert run("trail", "verify", "--trail", str(path), home=tmp_path).returncode == 0
    path.write_bytes(older)
    rolled = run("trail", "verify", "--trail", str(path), home=tmp_path)
    assert rolled.returncode == 3
    assert "Beside the head seen here last:" in rolled.stderr
    assert "Entry 10 is missing: the trail ended with entry 10" in rolled.stderr
