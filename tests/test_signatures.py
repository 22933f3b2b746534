"""Signatures over the acts of second persons and over cautions gone past: made, shown, verified."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from checklist import signature
from checklist.chain import Row, digest, entry_bytes
from checklist.preparation import Entry
from checklist.signature import CHECKED, WENT_ON, WITNESSED, WORDS, asks
from checklist.signature_report import report
from checklist.signing import KeyFault, Keys, holds_in_text
from checklist.trail import Trail
from tests.faces import run
from tests.notaries import keys, notarised
from tests.scene import NURSE


def signed(trail: Trail) -> list[tuple[Entry, Entry]]:
    """Each signature with the entry it speaks of."""
    entries = list(trail.since(0))
    return [
        (entries[one.event.body["of"] - 1], one)
        for one in entries
        if one.event.kind == signature.KIND
    ]


@pytest.fixture(scope="module")
def controlled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The trail of a controlled drug, prepared to its end with a witness; and its folder."""
    folder = tmp_path_factory.mktemp("controlled")
    scene = notarised(folder, "ORD-101")
    scene.finish()
    scene.trail.close()
    return scene.trail.path, folder


def test_every_step_of_a_second_person_is_signed_right_behind_it(
    controlled: tuple[Path, Path],
) -> None:
    with Trail.open(controlled[0], read_only=True) as trail:
        pairs = signed(trail)
        asking = [e.seq for e in trail.since(0) if asks(e.event.kind, e.event.body)]
    assert [act.seq for act, _ in pairs] == asking
    assert {one.event.body["meaning"] for _, one in pairs} >= {WITNESSED}
    for act, one in pairs:
        assert one.seq == act.seq + 1
        assert (one.event.by, one.event.at) == (act.event.by, act.event.at)
        assert one.event.body["digest"] == act.digest.hex()
        assert act.event.by != NURSE
        assert one.event.preparation == ""


def test_a_signature_holds_over_what_its_module_says_and_over_nothing_else(
    controlled: tuple[Path, Path],
) -> None:
    with Trail.open(controlled[0], read_only=True) as trail:
        pairs, trail_id = signed(trail), trail.origin.id
    act, one = pairs[0]
    body = one.event.body
    at = one.event.at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    told = ["signature", 1, trail_id, act.seq, act.digest.hex(), body["meaning"], act.event.by, at]
    content = json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode()
    assert holds_in_text(body["key"], body["signature"], content)
    for n, other in enumerate(("x", 2, "T-2", act.seq + 1, "0" * 64, CHECKED, NURSE, "x")):
        changed = [*told[:n], other, *told[n + 1 :]]
        content = json.dumps(changed, ensure_ascii=False, separators=(",", ":")).encode()
        assert not holds_in_text(body["key"], body["signature"], content)
    assert not holds_in_text("no key", body["signature"], content)
    assert not holds_in_text(body["key"], "no base64", content)


def test_a_caution_gone_past_is_signed_by_whoever_went_past_it(tmp_path: Path) -> None:
    scene = notarised(tmp_path)
    scene.to("make_the_neck_ready")
    scene.attempt({"neck_wiped": "n"})
    gone = scene.station.proceed(scene.id, "unit_practice", NURSE).entry
    ((act, one),) = signed(scene.trail)
    scene.trail.close()
    assert act == gone
    assert (one.event.by, one.event.body["meaning"]) == (NURSE, WENT_ON)


# -- verification --------------------------------------------------------------------------------


def rows_of(path: Path) -> tuple[list[Row], str]:
    with Trail.open(path, read_only=True) as trail:
        return list(trail.rows()), trail.origin.id


def first_signed(rows: list[Row]) -> int:
    return next(n for n, row in enumerate(rows) if row.kind == signature.KIND)


def with_body(row: Row, **changed: object) -> Row:
    """The row with another body and the digest of that: as somebody with the file would."""
    body = json.loads(row.body) | changed
    plain = row._replace(body=json.dumps(body, sort_keys=True, separators=(",", ":")))
    return plain._replace(digest=digest(entry_bytes("T-1", plain)))


def test_all_signatures_hold_and_none_is_wanting(controlled: tuple[Path, Path]) -> None:
    rows, trail_id = rows_of(controlled[0])
    found = report(rows, trail_id, keys(controlled[1]).known())
    assert found.held == sum(row.kind == signature.KIND for row in rows) > 0
    assert (found.faults, found.unsigned, found.strangers) == ([], [], [])


def test_keys_known_from_the_trail_alone_are_told(controlled: tuple[Path, Path]) -> None:
    rows, trail_id = rows_of(controlled[0])
    found = report(rows, trail_id, ())
    assert found.held > 0 and found.faults == []
    assert found.strangers == [str(keys(controlled[1]).device().key())]


def test_a_signature_that_was_changed_moved_or_taken_away_is_named(
    controlled: tuple[Path, Path], tmp_path: Path
) -> None:
    rows, trail_id = rows_of(controlled[0])
    known = keys(controlled[1]).known()
    at = first_signed(rows)
    act, one = rows[at - 1], rows[at]
    second = next(n for n in range(at + 1, len(rows)) if rows[n].kind == signature.KIND)
    theirs = json.loads(rows[second].body)["signature"]
    stranger = str(Keys(tmp_path / "keys").device().key())
    for changed in (
        with_body(one, meaning=CHECKED),
        with_body(one, of=act.seq - 1),
        with_body(one, of=True),
        with_body(one, digest="0" * 64),
        with_body(one, signature=theirs),
        with_body(one, signature="none"),
        with_body(one, key=stranger),
        with_body(one, key=None),
        one._replace(by="RN-99"),
        one._replace(at="2026-11-25T14:00:00.000000Z"),
        one._replace(body="[]"),
    ):
        found = report([*rows[:at], changed, *rows[at + 1 :]], trail_id, known)
        assert [seq for seq, _ in found.faults] == [one.seq]
    moved = report([*rows[: at - 1], one, act, *rows[at + 1 :]], trail_id, known)
    assert [seq for seq, _ in moved.faults] == [one.seq] and moved.unsigned == [act.seq]
    taken = report([*rows[:at], *rows[at + 1 :]], trail_id, known)
    assert (taken.faults, taken.unsigned) == ([], [act.seq])
    last = report(rows[:at], trail_id, known)
    assert last.unsigned == [act.seq]


def test_another_act_hashed_anew_under_an_old_signature_is_named(
    controlled: tuple[Path, Path],
) -> None:
    rows, trail_id = rows_of(controlled[0])
    at = first_signed(rows)
    other = rows[at - 1]._replace(place="elsewhere")
    other = other._replace(digest=digest(entry_bytes(trail_id, other)))
    found = report([*rows[: at - 1], other, *rows[at:]], trail_id, keys(controlled[1]).known())
    assert [seq for seq, _ in found.faults] == [rows[at].seq]


# -- at the station ------------------------------------------------------------------------------


def test_without_a_key_nothing_that_asks_for_a_signature_is_recorded(tmp_path: Path) -> None:
    scene = notarised(tmp_path, "ORD-101")
    keys(tmp_path).device()
    (tmp_path / "keys" / "device.pem").chmod(0o644)
    with pytest.raises(KeyFault, match="can be read by others"):
        scene.finish()
    last = list(scene.trail.since(0))[-1].event
    assert not asks(last.kind, last.body)
    (tmp_path / "keys" / "device.pem").chmod(0o600)
    scene.finish()
    assert Trail.examine(scene.trail.path).whole
    scene.trail.close()


def test_signatures_are_shown_with_person_time_and_meaning(controlled: tuple[Path, Path]) -> None:
    path, folder = controlled
    shown = run("show", "last", "--trail", str(path), home=folder)
    assert shown.returncode == 0, shown.stderr
    text = " ".join(shown.stdout.split())
    with Trail.open(path, read_only=True) as trail:
        pairs = signed(trail)
    for _, one in pairs:
        assert f"signed by {one.event.by}" in text
        assert WORDS[one.event.body["meaning"]] in text
    data = json.loads(run("show", "last", "--trail", str(path), "--json", home=folder).stdout)
    told = [one["signature"] for one in data["entries"] if one["signature"]]
    assert [one["seq"] for one in told] == [one.seq for _, one in pairs]
    assert all(one["by"] and one["at"] and one["words"] for one in told)


def test_verification_counts_the_signatures_and_tells_of_unknown_keys(
    controlled: tuple[Path, Path], tmp_path: Path
) -> None:
    path, _ = controlled
    found = run("trail", "verify", "--trail", str(path), home=tmp_path)
    assert found.returncode == 0, found.stderr
    with Trail.open(path, read_only=True) as trail:
        assert f"signatures: {len(signed(trail))} hold" in found.stdout
    assert "1 of the keys are known from the trail alone" in found.stdout


def test_an_act_repeated_after_a_lost_answer_is_signed_once(tmp_path: Path) -> None:
    scene = notarised(tmp_path, "ORD-101")
    scene.finish()
    act, _ = signed(scene.trail)[0]
    notary = scene.station.notary
    assert notary is not None
    before = scene.trail.head()
    again = scene.trail.append(act.event, attest=notary.attest(act.event))
    assert (again, scene.trail.head()) == (act, before)
    scene.trail.close()
