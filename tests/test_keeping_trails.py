"""The commands that look after a trail: erasing, backup, restore, migration, doctor, disposal."""

from __future__ import annotations

import gzip
import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer
from typer.testing import CliRunner

from checklist import library, trail_doctor
from checklist.credential import FILE, Cost, CredentialFile
from checklist.faces import copies, disposal, erasing
from checklist.trail import Trail, TrailUnwritable
from checklist.trail_forms import migrated
from tests.test_trail_forms import FORM_1
from tests.ward_trail import AT, event, filled, plain

APP = typer.Typer()
for each in (copies.app, disposal.app, erasing.app):
    APP.add_typer(each)
ADMIN, NURSE = "AD-1", "RN-12"
CANARIES = (b"30011742", b"1958-03-14", b"8018952000000000003010", b"8018952000000000003027")


def run(*words: object, typed: str = "") -> SimpleNamespace:
    """What a command printed on stdout and stderr, and its exit code."""
    found = CliRunner().invoke(APP, [str(word) for word in words], input=typed)
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return SimpleNamespace(code=found.exit_code, out=found.stdout, err=found.stderr)


@pytest.fixture
def ward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A ward by code alone, whose trail is that of the demonstration."""
    monkeypatch.setenv("CHECKLIST_KEYS", str(tmp_path / "keys"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    folder = tmp_path / "ward"
    shutil.copytree(library.folder("demo_db"), folder)
    unit = folder / "unit.toml"
    lines = unit.read_text(encoding="utf-8").splitlines()
    lines = [line for line in lines if not line.startswith("sign_in_with")]
    at = next(i for i, line in enumerate(lines) if line.startswith("areas"))
    lines.insert(at, 'sign_in_with = "code only"')
    unit.write_text("\n".join(lines) + "\n", encoding="utf-8")
    path = folder / "trail.db"
    path.write_bytes(gzip.decompress(FORM_1.read_bytes()))
    copy = migrated(path)
    assert copy is not None
    copy.unlink()
    return folder


def kinds(folder: Path) -> list[str]:
    db = plain(folder / "trail.db")
    found = [kind for (kind,) in db.execute("SELECT kind FROM entries WHERE preparation = ''")]
    db.close()
    return found


def database(folder: Path) -> bytes:
    return b"".join(one.read_bytes() for one in sorted(folder.glob("trail.db*")) if one.is_file())


# -- erasing -------------------------------------------------------------------------------------


def test_erasing_a_patient_leaves_no_byte_in_the_trail_and_the_chain_whole(ward: Path) -> None:
    assert all(one in database(ward) for one in CANARIES)
    found = run("erase", "P-301", "--ground", "asked", "--ward", ward, "--as", ADMIN)
    assert "9 texts erased" in found.out
    assert not any(one in database(ward) for one in CANARIES)
    assert Trail.examine(ward / "trail.db").whole
    assert kinds(ward) == ["signed_in", "erased"]
    with Trail.open(ward / "trail.db") as trail:
        (entry,) = trail.acts(("erased",))
        assert (entry.event.by, entry.event.body["person"]) == (ADMIN, "P-301")
        assert entry.event.body["ground"] == "asked"
        assert len(entry.event.body["references"]) == 9
    # The record's own export still names the patient: that is said, and the exit code says it too.
    assert found.code == 1
    assert "still names them" in found.out and "orders.json" in found.out


def test_another_patients_wristband_read_by_mistake_goes_with_that_patient(ward: Path) -> None:
    assert (
        "1 texts erased"
        in run("erase", "P-302", "--ground", "asked", "--ward", ward, "--as", ADMIN).out
    )
    assert CANARIES[3] not in database(ward)
    assert all(one in database(ward) for one in CANARIES[:3])


def test_an_erasure_names_the_backups_that_still_hold_the_texts(ward: Path, tmp_path: Path) -> None:
    run("backup", tmp_path / "day.db", "--ward", ward, "--as", ADMIN)
    told = run("erase", "P-301", "--ground", "order", "--ward", ward, "--as", ADMIN).out
    assert "day.db" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--as", ADMIN), "Give the ground"),
        (("--as", ADMIN, "--ground", "because"), "Give the ground"),
        (("--ground", "asked"), "give your staff code"),
        (("--as", NURSE, "--ground", "asked"), "asks for administrator"),
        (("--as", "NOBODY", "--ground", "asked"), "no member of staff"),
        (("--as", ADMIN, "--ground", "time"), "is kept until 2032-11-26"),
    ],
)
def test_an_erasure_that_may_not_be_changes_nothing(
    ward: Path, words: tuple[str, ...], said: str
) -> None:
    found = run("erase", "P-301", "--ward", ward, *words)
    assert found.code == 2
    assert said in found.err
    assert all(one in database(ward) for one in CANARIES)
    assert "erased" not in kinds(ward)


def test_nothing_is_erased_while_a_preparation_for_the_patient_is_open(ward: Path) -> None:
    with Trail.open(ward / "trail.db") as trail:
        body = trail.of("demo-0001")[0].event.body
        trail.append(event(900, "prep-open", body=body))
    found = run("erase", "P-301", "--ground", "asked", "--ward", ward, "--as", ADMIN)
    assert found.code == 2
    assert "prep-open for P-301 is still open" in found.err


def test_a_pin_is_asked_for_and_found_nowhere(ward: Path) -> None:
    unit = ward / "unit.toml"
    unit.write_text(unit.read_text("utf-8").replace('"code only"', '"code and pin"'), "utf-8")
    cheap = Cost(passes=1, memory=64, lanes=1)
    CredentialFile(ward / FILE, cheap).keep(
        ADMIN, "739105-canary", given=False, between=lambda: None
    )
    wrong = run(
        "erase", "P-301", "--ground", "asked", "--ward", ward, "--as", ADMIN, typed="738-canary\n"
    )
    assert wrong.code == 2 and "does not fit" in wrong.err
    right = run(
        "erase", "P-301", "--ground", "asked", "--ward", ward, "--as", ADMIN,
        typed="739105-canary\n",
    )  # fmt: skip
    assert "9 texts erased" in right.out
    everything = database(ward) + (ward / FILE).read_bytes()
    everything += (wrong.out + wrong.err + right.out + right.err).encode()
    assert b"canary" not in everything


# -- backup, restore, migrate --------------------------------------------------------------------


def test_a_backup_is_recorded_verified_and_never_overwritten(ward: Path, tmp_path: Path) -> None:
    found = run("backup", tmp_path / "day.db", "--ward", ward, "--as", ADMIN)
    assert found.code == 0
    assert "entries: 42, verified" in found.out
    assert kinds(ward) == ["signed_in", "backed_up"]
    before = (tmp_path / "day.db").read_bytes()
    again = run("backup", tmp_path / "day.db", "--ward", ward, "--as", ADMIN)
    assert again.code == 2 and "There is already a file" in again.err
    assert (tmp_path / "day.db").read_bytes() == before
    assert kinds(ward) == ["signed_in", "backed_up"]


def test_the_restore_drill_says_what_was_recorded_after_the_backup(
    ward: Path, tmp_path: Path
) -> None:
    run("backup", tmp_path / "day.db", "--ward", ward, "--as", ADMIN)
    live = ward / "trail.db"
    same = run("restore", tmp_path / "day.db", tmp_path / "one.db", "--trail", live)
    assert (same.code, "Nothing was recorded in" in same.out) == (0, True)
    with Trail.open(live) as trail:
        trail.append(event(900, "prep-9"))
    more = run("restore", tmp_path / "day.db", tmp_path / "two.db", "--trail", live)
    assert more.code == 1
    assert "1 later entries" in more.out and "preparation prep-9" in more.out
    alone = run("restore", tmp_path / "day.db", tmp_path / "three.db")
    assert "is not known here" in alone.out
    assert Trail.examine(tmp_path / "two.db").whole


def test_migrating_records_itself_and_keeps_the_old_file(ward: Path) -> None:
    path = ward / "trail.db"
    path.write_bytes(gzip.decompress(FORM_1.read_bytes()))
    found = run("migrate", "--ward", ward, "--as", ADMIN)
    assert found.code == 0 and "now has form 2" in found.out
    assert kinds(ward) == ["signed_in", "migrated"]
    assert (ward / "trail.db.form-1").is_file()
    again = run("migrate", "--ward", ward, "--as", ADMIN)
    assert "nothing was done" in again.out


# -- archive and disposal ------------------------------------------------------------------------


def test_a_closed_trail_goes_on_in_the_next_which_names_it(ward: Path) -> None:
    old, new = disposal.archived(ward / "trail.db", ward, by=ADMIN)
    assert new == ward / "trail.db"
    before, after = Trail.examine(old), Trail.examine(new)
    assert before.whole and after.whole and before.head is not None
    with Trail.open(new) as trail:
        (first,) = trail.of("")
        assert first.event.kind == "continued"
        assert first.event.body["digest"] == before.head.digest.hex()
        assert trail.append(event(1)).seq == 2
    with pytest.raises(TrailUnwritable), Trail.open(old) as closed:
        closed.append(event(1))


def test_a_stop_between_closing_and_going_on_is_mended_by_the_next_call(ward: Path) -> None:
    path = ward / "trail.db"
    old, _ = disposal.archived(path, ward, by=ADMIN)
    path.rename(ward / "trail.db.next")  # as if stopped before the last renaming
    assert disposal.archived(path, ward, by=ADMIN) == (old, path)
    assert Trail.examine(path).whole


def test_a_trail_with_an_open_preparation_is_not_closed(ward: Path) -> None:
    with Trail.open(ward / "trail.db") as trail:
        trail.append(event(900, "prep-open"))
    found = run("archive", "--ward", ward, "--as", ADMIN)
    assert found.code == 2 and "prep-open" in found.err
    assert "archived" not in kinds(ward)


def test_only_a_closed_trail_past_its_years_is_disposed_of(
    ward: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = disposal.archived(ward / "trail.db", ward, by=ADMIN)
    content = old.read_bytes()
    early = run("dispose", old, "--ward", ward, "--as", ADMIN)
    assert early.code == 2 and "It is kept for 6 years" in early.err
    assert old.read_bytes() == content
    listed = run("disposal", ward)
    assert "0 of 2 may go" in listed.out and "It is in use" in listed.out
    own = run("dispose", new, "--ward", ward, "--as", ADMIN)
    assert own.code == 2 and "the trail in use" in own.err
    later = datetime.now(UTC) + timedelta(days=365 * 6 + 30)
    monkeypatch.setattr("checklist.faces.workplace.real_clock", lambda: later)
    assert "1 of 2 may go" in run("disposal", ward).out
    assert run("dispose", old, "--ward", ward, "--as", NURSE).code == 2
    assert run("dispose", old, "--ward", ward, "--as", ADMIN).code == 0
    assert not old.exists()
    with Trail.open(new) as trail:
        (entry,) = trail.acts(("disposed",))
        assert entry.event.body["years"] == "6"
        assert entry.event.body["entries"] == "42"
        assert trail.verify().whole


# -- doctor --------------------------------------------------------------------------------------


def test_the_doctor_gives_one_line_a_look_and_its_exit_code(ward: Path, tmp_path: Path) -> None:
    found = run("doctor", "--ward", ward)
    lines = found.out.splitlines()
    assert len(lines) == 14
    assert all(line.startswith(("right  ", "TO DO  ")) for line in lines)
    assert all("expected: " in line for line in lines)
    assert found.code == 1  # no backup yet, no key and no head
    data = json.loads(run("doctor", "--ward", ward, "--json").out)
    assert [one["right"] for one in data["looks"]] == [ln.startswith("right") for ln in lines]
    db = plain(ward / "trail.db")
    db.execute("DROP TRIGGER entries_no_update")
    db.close()
    broken = run("doctor", "--ward", ward)
    assert broken.code == 3 and "TO DO  content: not as it was recorded" in broken.out


def test_a_text_taken_out_behind_the_programs_back_is_told_and_an_erased_one_is_not(
    ward: Path,
) -> None:
    run("erase", "P-302", "--ground", "mistake", "--ward", ward, "--as", ADMIN)
    right = "right  texts kept apart: 8 kept, 1 erased (expected"
    assert right in run("doctor", "--ward", ward).out
    db = plain(ward / "trail.db")
    db.execute("DELETE FROM private WHERE field = 'label_identifier'")
    db.close()
    told = run("doctor", "--ward", ward).out
    assert "TO DO  texts kept apart: 7 kept, 1 erased, 1 gone without an entry" in told


NOW = AT + timedelta(hours=1)


@pytest.mark.parametrize(
    ("look", "right"),
    [
        # Fixed in 3.51.3 of 13 March 2026 (SQLite release notes).
        (trail_doctor.library((3, 40, 1)), False),
        (trail_doctor.library((3, 51, 2)), False),
        (trail_doctor.library((3, 51, 3)), True),
        (trail_doctor.kind_of_disk(Path("/mnt/ward/x"), {"/": "ext4", "/mnt": "nfs4"}), False),
        (trail_doctor.kind_of_disk(Path("/mnt/ward/x"), {"/": "nfs4", "/mnt": "ext4"}), True),
        (trail_doctor.kind_of_disk(Path("/run/x"), {"/": "ext4", "/run": "tmpfs"}), False),
        (trail_doctor.kind_of_disk(Path("/run/x"), {}), True),
        (trail_doctor.free(trail_doctor.LEAST_FREE), True),
        (trail_doctor.free(trail_doctor.LEAST_FREE - 1), False),
        (trail_doctor.clock([(1, AT), (2, NOW)], NOW), True),
        (trail_doctor.clock([], NOW), True),
        (trail_doctor.clock([(1, NOW)], AT), False),
        (trail_doctor.clock([(1, NOW), (2, AT), (3, NOW)], NOW), False),
        (trail_doctor.last_backup(None, NOW), False),
        (trail_doctor.last_backup(AT, AT + timedelta(days=1)), True),
        (trail_doctor.last_backup(AT, AT + timedelta(days=1, seconds=1)), False),
    ],
)
def test_each_look_says_what_to_do_exactly_when_something_is_to_be_done(
    look: trail_doctor.Look, right: bool
) -> None:
    assert look.right is right
    assert look.seen and look.expected


def test_locks_that_do_not_hold_are_told(tmp_path: Path) -> None:
    # "unix-none" is SQLite's own way to the file system without locks.
    assert trail_doctor.locks(tmp_path).right
    assert not trail_doctor.locks(tmp_path, vfs="unix-none").right
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_others_may_read_and_a_long_log_are_told(tmp_path: Path) -> None:
    path = filled(tmp_path, 4)
    assert trail_doctor.permissions(path).right and trail_doctor.log_size(path).right
    path.chmod(0o644)
    assert not trail_doctor.permissions(path).right
    path.with_name(f"{path.name}-wal").write_bytes(bytes(trail_doctor.MOST_LOG + 1))
    assert not trail_doctor.log_size(path).right


def test_a_key_open_to_others_and_a_late_head_are_told(tmp_path: Path) -> None:
    key, head = tmp_path / "device.pem", tmp_path / "4.note"
    now = datetime.now(UTC)
    assert [one.right for one in trail_doctor.outside(key, None, behind=0, now=now)] == [
        False,
        True,
    ]
    for path in (key, head):
        path.write_text("x")
        path.chmod(0o600)
    found = trail_doctor.outside(key, head, behind=3, now=now)
    assert [one.right for one in found] == [True, True]
    key.chmod(0o640)
    late = trail_doctor.outside(key, head, behind=3, now=now + timedelta(hours=13))
    assert [one.right for one in late] == [False, False]
    still = trail_doctor.outside(key, head, behind=0, now=now + timedelta(hours=13))
    assert [one.right for one in still] == [False, True]
