"""`checklist people`: what each command does, records and refuses, with names and PINs kept out."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pexpect
import pytest
from typer.testing import CliRunner

from checklist.faces.cli import app
from checklist.intake.ward import load_ward
from checklist.trail import Trail
from tests.faces import COMMAND, run, surroundings
from tests.people import set_pins
from tests.wards import STAFF, UNIT, copied, edit

ADMIN, NURSE, PHARMACIST = "AD-1", "RN-12", "PH-2"
ADMINS, NURSES = "seven grey gulls", "481529"


@pytest.fixture
def ward(tmp_path: Path, begun: Path) -> Path:
    """A copy of the ward that has begun, for one test."""
    return Path(shutil.copytree(begun, tmp_path / "ward"))


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ward whose administrator and nurse have PINs of their own."""
    folder = tmp_path_factory.mktemp("begun")
    copied(folder)
    assert told(folder, "pin", ADMIN, typed=(ADMINS, ADMINS))[0] == 0
    assert told(folder, "pin", NURSE, "--as", ADMIN, typed=(ADMINS, "for once", "for once"))[0] == 0
    assert told(folder, "pin", NURSE, typed=("for once", NURSES, NURSES))[0] == 0
    # The same PINs at less cost, so that the tests are quick.
    (folder / "credentials.json").unlink()
    cheap = set_pins(folder / "credentials.json", ())
    for code, pin in ((ADMIN, ADMINS), (NURSE, NURSES)):
        cheap.keep(code, pin, given=False, between=lambda: None)
    return folder


def told(ward: Path, *words: str, typed: tuple[str, ...] = ()) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command on the people of a ward."""
    text = "".join(f"{line}\n" for line in typed)
    call = ["people", *words, "--ward", str(ward)]
    done = CliRunner().invoke(app, call, input=text, env={"COLUMNS": "100"})
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


def acts(ward: Path) -> list[tuple[str, str, dict[str, Any]]]:
    with Trail.open(ward / "trail.db", read_only=True) as trail:
        assert trail.verify().whole
        return [(e.event.kind, e.event.by, dict(e.event.body)) for e in trail.of("")]


def people(ward: Path) -> dict[str, dict[str, Any]]:
    out = told(ward, "list", "--json")[1]
    return {one["code"]: one for one in json.loads(out)["people"]}


def test_the_first_pin_is_an_administrators_own_and_others_are_given_theirs(ward: Path) -> None:
    found = [(kind, by, body.get("how")) for kind, by, body in acts(ward)]
    assert found == [
        ("secret_changed", ADMIN, "first"),
        ("signed_in", ADMIN, None),
        ("secret_changed", ADMIN, "given"),
        ("secret_changed", NURSE, "own"),
    ]
    listed = people(ward)
    assert (listed[ADMIN]["pin"], listed[NURSE]["pin"]) == ("set", "set")
    assert listed["RN-27"]["pin"] == "not set"


def test_nobody_else_begins_with_a_pin_of_their_own(tmp_path: Path) -> None:
    copied(tmp_path)
    code, out, err = told(tmp_path, "pin", NURSE, typed=(NURSES, NURSES))
    assert (code, out) == (2, "") and "administrator or pharmacist sets their own first" in err
    assert not (tmp_path / "credentials.json").exists()


PINS = {
    "the old one does not fit": (("nothing", "654 987", "654 987"), "does not fit"),
    "the two differ": ((NURSES, "654 987", "654 986"), "The two differ"),
    "too short": ((NURSES, "6549", "6549"), "6 characters at least"),
    "too plain": ((NURSES, "123456", "123456"), "first that anybody would try"),
    "the same": ((NURSES, NURSES, NURSES), "the PIN so far"),
    "none comes": ((NURSES,), "none came on stdin"),
}


@pytest.mark.parametrize("why", PINS)
def test_a_pin_that_is_not_taken_leaves_the_old_one(why: str, ward: Path) -> None:
    typed, sentence = PINS[why]
    before = (ward / "credentials.json").read_bytes()
    code, out, err = told(ward, "pin", NURSE, typed=typed)
    assert (code, out) == (2, "") and sentence in err
    assert (ward / "credentials.json").read_bytes() == before
    assert acts(ward)[-1][0] in ("secret_changed", "not_signed_in")
    assert acts(ward)[-1][2].get("how") != "own" or why != "the old one does not fit"


def test_wrong_tries_at_changing_a_pin_lock_as_well(ward: Path) -> None:
    for _ in range(5):
        told(ward, "pin", NURSE, typed=("nothing", "654 987", "654 987"))
    assert acts(ward)[-1][0] == "locked"
    assert "locked until" in told(ward, "pin", NURSE, typed=(NURSES, "654 987", "654 987"))[2]


def test_a_lock_holds_until_somebody_opens_it_and_no_pin_does(ward: Path) -> None:
    assert told(ward, "lock", NURSE, "--as", ADMIN, typed=(ADMINS,))[0] == 0
    assert acts(ward)[-1] == (
        "locked", ADMIN, {"person": NURSE, "until": "for good", "why": "by hand"},
    )  # fmt: skip
    assert "is locked" in people(ward)[NURSE]["state"]
    assert "is locked" in told(ward, "pin", NURSE, typed=(NURSES, "654 987", "654 987"))[2]
    told(ward, "pin", NURSE, "--as", ADMIN, typed=(ADMINS, "for once", "for once"))
    assert "is locked" in people(ward)[NURSE]["state"]
    assert told(ward, "unlock", NURSE, "--as", ADMIN, typed=(ADMINS,))[0] == 0
    assert acts(ward)[-1] == ("unlocked", ADMIN, {"person": NURSE})
    assert people(ward)[NURSE]["state"] == "active"


def test_a_person_is_added_behind_the_others_and_all_else_stays(ward: Path) -> None:
    before = (ward / STAFF).read_text()
    words = ("RN-40", "--name", 'Ada "Reen" \\ Óg', "--role", "preparer", "--role", "checker")
    code, out, err = told(
        ward, "add", *words, "--competent", "IV=2027-03-31", "--as", ADMIN, typed=(ADMINS,)
    )
    assert code == 0, err
    assert "RN-40 is added" in out and "Reen" not in out + err
    after = (ward / STAFF).read_text()
    assert after.startswith(before.rstrip()) and before.count("#") == after.count("#")
    one = load_ward(ward).staff["RN-40"]
    assert one.name == 'Ada "Reen" \\ Óg' and [r.value for r in one.roles] == [
        "preparer", "checker",
    ]  # fmt: skip
    assert acts(ward)[-1] == (
        "person_added",
        ADMIN,
        {
            "person": "RN-40",
            "roles": ["preparer", "checker"],
            "competent": {"IV": "2027-03-31"},
        },
    )


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("RN-12", "--name", "Ada Reen"), "stands twice"),
        (("rn 40", "--name", "Ada Reen"), "is not a code"),
        (("RN-40", "--name", "Ada Reen", "--role", "nurse"), "roles"),
        (("RN-40", "--name", 'x"\n[[person]]\ncode = "RN-41'), "cannot be seen"),
        (("RN-40", "--name", "Ada\u202eReen"), "cannot be seen"),
        (("RN-40", "--name", "Ada Reen", "--badge", "952000000000001277"), "does not fit"),
        (("RN-40", "--name", "Ada Reen", "--competent", "IV=soon"), "2027-03-31"),
        (("RN-40", "--name", "Ada Reen", "--competent", "XX=2027-03-31"), "not on the list"),
    ],
)
def test_a_person_with_a_fault_is_not_added(
    words: tuple[str, ...], sentence: str, ward: Path
) -> None:
    before = (ward / STAFF).read_bytes()
    code, out, err = told(ward, "add", *words, "--as", ADMIN, typed=(ADMINS,))
    assert (code, out) == (2, "") and sentence in err, err
    assert (ward / STAFF).read_bytes() == before
    assert "person_added" not in [kind for kind, _, _ in acts(ward)]
    assert not list(ward.glob(".*.new"))


OFFICE = {
    "add": ("add", "RN-40", "--name", "Ada Reen"),
    "lock": ("lock", ADMIN),
    "unlock": ("unlock", ADMIN),
    "pin": ("pin", ADMIN),
    "names": ("list", "--names"),
}


@pytest.mark.parametrize("what", OFFICE)
def test_who_may_not_keep_people_is_refused_and_that_is_recorded(what: str, ward: Path) -> None:
    code, out, err = told(ward, *OFFICE[what], "--as", NURSE, typed=(NURSES, "654 987", "654 987"))
    assert (code, out) == (2, "") and "Nothing was done" in err
    kind, by, body = acts(ward)[-1]
    assert (kind, by, body["person"]) == ("not_allowed", NURSE, NURSE)


@pytest.mark.parametrize("what", OFFICE)
def test_who_does_not_prove_it_is_refused(what: str, ward: Path) -> None:
    before = (ward / STAFF).read_bytes(), (ward / "credentials.json").read_bytes()
    for by, typed in ((ADMIN, NURSES), ("RN-99", ADMINS), (PHARMACIST, ADMINS)):
        assert told(ward, *OFFICE[what], "--as", by, typed=(typed, typed, typed))[0] == 2
        assert acts(ward)[-1][0] == "not_signed_in"
    assert ((ward / STAFF).read_bytes(), (ward / "credentials.json").read_bytes()) == before


def test_names_are_listed_for_one_who_may_see_them_and_that_is_recorded(ward: Path) -> None:
    assert "Wren" not in told(ward, "list")[1]
    told(ward, "pin", PHARMACIST, "--as", ADMIN, typed=(ADMINS, "for once", "for once"))
    told(ward, "pin", PHARMACIST, typed=("for once", "eight blue owls", "eight blue owls"))
    out = told(ward, "list", "--names", "--as", PHARMACIST, typed=("eight blue owls",))[1]
    assert "RN-12  Wren Alderby" in out
    assert acts(ward)[-1][:2] == ("names_shown", PHARMACIST)


def test_the_demonstration_is_listed_and_never_changed(tmp_path: Path) -> None:
    assert "AD-1    administrator" in run("people", "list", home=tmp_path).stdout
    for words in (("pin", "AD-1"), ("lock", "RN-12", "--as", "AD-1")):
        done = run("people", *words, home=tmp_path)
        assert done.returncode == 2 and "--ward" in done.stderr


def test_a_ward_without_pins_does_not_begin_and_says_how(tmp_path: Path) -> None:
    folder = tmp_path / "ward"
    folder.mkdir()
    copied(folder)
    words = ("prepare", "ORD-103", "--as", NURSE, "--lines", "--ward", str(folder))
    done = run(*words, home=tmp_path)
    assert done.returncode == 2 and "checklist people pin CODE" in done.stderr
    assert not (folder / "trail.db").exists()
    edit(folder / UNIT, '"code and pin"', '"code only"')
    done = run(*words, home=tmp_path)
    assert json.loads(done.stdout.splitlines()[0])["step"] == "read_the_order"
    assert [body["proof"] for kind, _, body in acts(folder) if kind == "signed_in"] == ["code"]


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_at_a_terminal_a_pin_is_typed_without_being_shown(ward: Path) -> None:
    child = pexpect.spawn(
        COMMAND[0],
        [*COMMAND[1:], "people", "pin", NURSE, "--ward", str(ward)],
        env=surroundings(ward),
        encoding="utf-8",
        timeout=30,
    )
    seen = ""
    for prompt, typed in (("so far", NURSES), ("New PIN", "654 987"), ("same again", "654 987")):
        child.expect(f"{prompt}.*\\(not shown\\): ")
        child.waitnoecho()
        child.sendline(typed)
        seen += child.before + child.after
    child.expect(pexpect.EOF)
    assert "The PIN of RN-12 is set" in child.before
    assert "654 987" not in seen + child.before and NURSES not in seen + child.before
