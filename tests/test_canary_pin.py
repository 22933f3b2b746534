"""A PIN typed anywhere, right or not, stands in no byte of what is kept, shown or told."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from checklist.trail import Trail
from tests.faces import COMMAND, ROOT, run, surroundings
from tests.nurse import Nurse
from tests.people import set_pins
from tests.wards import copied

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")

RIGHT = {"RN-12": "zebra 604 kiwi", "RN-27": "lemur 815 plum", "AD-1": "ibis 337 fig"}
WRONG = {"once": "otter 942 sloe", "late": "quail 158 date", "code": "raven 276 pear"}
CANARIES = (*RIGHT.values(), *WRONG.values())
FORMS = tuple(
    form
    for canary in CANARIES
    for form in (
        canary.encode(),
        canary.encode("utf-16-le"),
        canary.encode().hex().encode(),
        json.dumps(canary).encode(),
        canary[:8].encode(),
        canary[-8:].encode(),
    )
)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a ward in it, and everything else that the program keeps."""
    ward = tmp_path / "ward"
    ward.mkdir()
    copied(ward)
    keeper = set_pins(ward / "credentials.json", ())
    for code, pin in RIGHT.items():
        keeper.keep(code, pin, given=False, between=lambda: None)
    return tmp_path


def found(home: Path, *said: str) -> list[str]:
    """Where a canary stands: any file under the home, its log and shared memory, what was said."""
    places = [
        str(path)
        for path in home.rglob("*")
        if path.is_file() and any(form in path.read_bytes() for form in FORMS)
    ]
    return places + [text for text in said if any(form in text.encode() for form in FORMS)]


def told_after(home: Path) -> list[str]:
    """What the commands tell of the trail afterwards."""
    trail = str(home / "ward" / "trail.db")
    words = (["list", "--json"], ["show", "--json"], ["show"], ["trail", "verify"])
    shown = [run(*one, "--trail", trail, home=home) for one in words]
    return [text for one in shown for text in (one.stdout, one.stderr)]


def kinds(home: Path) -> list[str]:
    with Trail.open(home / "ward" / "trail.db", read_only=True) as trail:
        return [one.event.kind for one in trail.of("")]


def test_the_search_would_find_a_canary(home: Path) -> None:
    assert found(home) == []
    (home / "left.txt").write_bytes(b"x" + WRONG["once"].encode("utf-16-le"))
    assert found(home, f"said {WRONG['late']} aloud") == [
        str(home / "left.txt"),
        f"said {WRONG['late']} aloud",
    ]


def test_at_the_terminal(home: Path) -> None:
    words = ("ORD-103", "--ward", str(home / "ward"))
    with Nurse(home, *words) as nurse:
        nurse.pins = {}
        nurse.wait()
        nurse.type("RN-12")
        nurse.type(WRONG["once"])
        nurse.type("RN-12")
        screen = nurse.type(RIGHT["RN-12"])
        assert "Open the order" in screen
        assert found(home, nurse.all) == []  # while the log beside the trail is still there
        nurse.child.sendintr()
        nurse.end()
    assert {"signed_in", "not_signed_in", "signed_out"} <= set(kinds(home))
    assert found(home, nurse.all, *told_after(home)) == []


def test_typed_where_the_code_belongs_it_is_shown_by_the_terminal_alone(home: Path) -> None:
    """Nothing hides what is typed at an open prompt; the program itself never says it again."""
    with Nurse(home, "ORD-103", "--ward", str(home / "ward")) as nurse:
        nurse.pins = {}
        nurse.wait()
        screen = nurse.type(WRONG["code"])
        assert "No member of staff" in screen
        assert nurse.all.count(WRONG["code"]) == 1
        nurse.child.sendintr()
        nurse.end()
    assert found(home) == []


LINES = (
    {"sign_in": "RN-12", "pin": WRONG["once"]},
    {"sign_in": "RN-12", "pin": WRONG["late"], "turn": 3},
    {"sign_in": "RN-12", WRONG["once"]: "pin"},
    {"sign_in": WRONG["code"], "pin": "RN-12"},
    {"sign_in": "RN-12", "pin": {"pin": WRONG["once"]}},
    {"sign_in": "RN-12", "pin": RIGHT["RN-12"]},
    {"sign_in": "RN-27", "pin": WRONG["late"], "second": True},
    {"sign_in": "RN-27", "pin": RIGHT["RN-27"], "second": "yes"},
    {"sign_in": "RN-27", "pin": RIGHT["RN-27"], "second": True},
    {"sign_in": WRONG["code"], "pin": WRONG["code"]},
    {"note": "all is well"},
)


def test_by_lines(home: Path) -> None:
    words = ["prepare", "ORD-103", "--as", "RN-12", "--lines", "--ward", str(home / "ward")]
    text = "".join(json.dumps(line) + "\n" for line in LINES)
    text += json.dumps(LINES[0])[:-2] + "\n" + f'{{"sign_in": "RN-12", "pin": {WRONG["once"]}}}\n'
    done = subprocess.run(
        [*COMMAND, *words],
        input=text,
        capture_output=True,
        text=True,
        env=surroundings(home),
        cwd=ROOT,
        timeout=60,
        check=False,
    )
    outcomes = [json.loads(line).get("outcome") for line in done.stdout.splitlines()]
    assert outcomes.count("signed_in") == 2 and outcomes.count("not_signed_in") == 3, outcomes
    assert outcomes.count("passed") == 1 and outcomes.count("not_understood") >= 6
    assert found(home, done.stdout, done.stderr, *told_after(home)) == []


def test_by_the_commands_on_people(home: Path) -> None:
    ward, said = str(home / "ward"), []
    for words, typed in (
        (("pin", "RN-12"), (WRONG["once"], WRONG["late"], WRONG["late"])),
        (("pin", "RN-12"), (RIGHT["RN-12"], WRONG["late"], WRONG["once"])),
        (("pin", "RN-12"), (RIGHT["RN-12"], WRONG["late"] * 10, WRONG["late"])),
        (("pin", "RN-31", "--as", "AD-1"), (RIGHT["AD-1"], WRONG["code"], WRONG["code"])),
        (("lock", "RN-27", "--as", "AD-1"), (WRONG["once"],)),
        (("add", "RN-40", "--name", "Ada Reen", "--as", "AD-1"), (RIGHT["AD-1"],)),
        (("unlock", "RN-27", "--as", WRONG["code"]), (WRONG["once"],)),
    ):
        text = "\n".join((*typed, ""))
        done = run("people", *words, "--ward", ward, home=home, text=text)
        assert "Traceback" not in done.stderr
        said += [done.stdout, done.stderr]
    assert {"secret_changed", "person_added", "not_signed_in"} <= set(kinds(home))
    assert found(home, *said) == []
