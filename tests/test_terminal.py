"""Guided preparation at a real pseudo-terminal, as a nurse works through it."""

from __future__ import annotations

import json
import re
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from checklist.faces import answering
from checklist.intake.scanner_file import ScannerFile
from checklist.interop.scanner import Ending, Letters, Prefix, Scanner
from checklist.trail import Trail
from tests.faces import ROOT, bodies, canaries, new_trail
from tests.nurse import LABEL, RIGHT, Nurse, counted, kinds, to_the_count
from tests.scene import START
from tests.wards import UNIT, copied, edit

# A pseudo-terminal is made by forking; where the test runner has threads, Python warns of that.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


@pytest.fixture
def words(tmp_path: Path) -> tuple[str, ...]:
    return (
        "ORD-103",
        "--as",
        "RN-12",
        "--practice",
        "--trail",
        str(new_trail(tmp_path / "trail.db")),
    )


@pytest.fixture
def nurse(tmp_path: Path, words: tuple[str, ...]) -> Iterator[Nurse]:
    with Nurse(tmp_path, *words) as one:
        yield one


def test_a_whole_preparation_is_guided_through_its_stops(nurse: Nurse) -> None:
    path = nurse.home / "trail.db"
    screen = nurse.to("Fit the filter", nurse.wait())
    nurse.type("4")
    stop = nurse.type("")
    assert "STOP" in stop and "filter_missing" in stop
    for part in ("Found ", "Why ", "Next "):
        assert f"\n{part}" in stop
    assert "1  Take a new item and read its label" in stop
    screen = nurse.to("Set the dose", nurse.type("1"))
    assert "two millilitres" not in screen
    assert "two point one millilitres" in nurse.type("2.1")
    stop = nurse.type("")
    assert "volume_over_target" in stop and "2 mL" not in stop.replace("2.1 mL", "")
    assert "volume = 2 mL" in nurse.type("s")
    nurse.to("Write the record", nurse.type("1"))
    nurse.child.sendline("")
    screen = nurse.wait()
    assert "No answer yet" in screen
    with Trail.open(path, read_only=True) as trail:
        given = trail.preparations()[0].last_at
    nurse.type(f"{given:%H:%M}")
    nurse.type("left arm")
    nurse.child.sendline("y")
    code, last = nurse.end()
    assert code == 0
    assert "given" in last and "Stops 2, cautions 0" in last
    assert "Not checked by this tool" in last
    assert f"--trail {path}\r\n" in last
    found = kinds(path)
    assert found.count("refused") == 2 and found.count("remedied") == 2
    assert found.count("revealed") == 1
    with Trail.open(path, read_only=True) as trail:
        assert trail.verify().whole


def test_nobody_is_named_on_the_screen_or_in_the_chain(nurse: Nurse) -> None:
    """What the nurse types is echoed by the terminal; nothing else of it is shown."""
    nurse.to("Take the ampoule", nurse.wait())
    typed = {RIGHT["first_identifier"], RIGHT["second_identifier"]}
    chained = "\n".join(text for _, text in bodies(nurse.home / "trail.db"))
    for canary in canaries():
        assert canary not in chained
        assert canary in typed or canary not in nurse.all


def test_a_killed_station_goes_on_at_the_same_step_with_nothing_lost(
    nurse: Nurse, words: tuple[str, ...]
) -> None:
    path = nurse.home / "trail.db"
    screen = nurse.to("Take the smallest syringe", nurse.wait())
    nurse.type("2")
    before = bodies(path)
    nurse.child.kill(signal.SIGKILL)
    nurse.child.wait()
    with Nurse(nurse.home, *words) as again:
        screen = again.wait()
        assert "Going on" in screen and "step 7 of" in screen
        assert "Name the patient again" in screen
        screen = again.to("Take the smallest syringe", screen)
        assert "step 7 of" in screen and "Kind of syringe" in screen
        after = bodies(path)
    assert after[: len(before)] == before
    assert [kind for kind, _ in after[len(before) :]] == ["interrupted", "resumed", "passed"]
    assert json.loads(after[len(before)][1])["cause"] == "station stopped"


STOPS = [
    (lambda child: child.kill(signal.SIGTERM), "the station was shut down"),
    (lambda child: child.kill(signal.SIGHUP), "the terminal was closed"),
    (lambda child: child.sendintr(), "stopped at the keyboard"),
    (lambda child: child.sendeof(), "the terminal was closed"),
    (lambda child: child.send("\x1a"), "stopped at the keyboard"),
]


@pytest.mark.parametrize(
    ("stop", "cause"), STOPS, ids=["term", "hup", "ctrl-c", "ctrl-d", "ctrl-z"]
)
def test_a_stop_from_outside_is_an_interruption_and_says_how_to_go_on(
    stop: object, cause: str, nurse: Nurse
) -> None:
    nurse.to("See the patient", nurse.wait())
    assert callable(stop)
    stop(nurse.child)
    code, last = nurse.end()
    assert code == 1
    assert "is on hold at step 2 of" in last
    assert "next: checklist prepare ORD-103" in last and "--practice" in last
    kind, body = bodies(nurse.home / "trail.db")[-1]
    assert (kind, json.loads(body)["cause"]) == ("interrupted", cause)


def test_a_terminal_that_goes_away_leaves_an_interruption(nurse: Nurse) -> None:
    nurse.to("See the patient", nurse.wait())
    nurse.child.close(force=False)
    kind, body = bodies(nurse.home / "trail.db")[-1]
    assert (kind, json.loads(body)["cause"]) == ("interrupted", "the terminal was closed")


def test_an_interruption_takes_its_cause_and_waits_for_the_person(nurse: Nurse) -> None:
    nurse.to("See the patient", nurse.wait())
    assert "1  A call" in nurse.type(":i")
    assert kinds(nurse.home / "trail.db")[-1] == "interrupted"  # before anything is asked
    away = nurse.type("2")
    assert "You were about to: See the patient before you prepare." in away
    assert kinds(nurse.home / "trail.db")[-2:] == ["interrupted", "explained"]
    assert "You were about to" in nurse.type(":i")
    assert "You were about to" in nurse.type("no words are asked here")
    back = nurse.type("")
    assert "Changed       nothing in the order" in back
    assert "Name the patient again" in back
    screen = nurse.to("See the patient", back)
    assert "The break lasted" in screen
    nurse.type(":i")
    nurse.type("")
    nurse.child.sendline(":q")
    assert nurse.end()[0] == 1
    causes = [
        json.loads(body)["cause"] for _, body in bodies(nurse.home / "trail.db") if "cause" in body
    ]
    assert causes == ["not said", "colleague", "not said"]


def test_ending_takes_a_listed_reason_or_goes_back(nurse: Nurse) -> None:
    nurse.wait()
    assert "Another order was meant" in nurse.type(":e")
    assert "Open the order" in nurse.type("b")
    screen = nurse.type(":e")
    other = next(line.split()[0] for line in screen.splitlines() if "Another reason" in line)
    nurse.type(other)
    assert "needs a few words" in nurse.type("")
    nurse.child.sendline("the patient sleeps")
    code, last = nurse.end()
    assert code == 1 and "abandoned, not given" in last
    kind, body = bodies(nurse.home / "trail.db")[-1]
    assert (kind, kept_apart(nurse, json.loads(body)["note"])) == ("ended", "the patient sleeps")


def kept_apart(nurse: Nurse, raw: str) -> str | None:
    """The words behind a reference in an entry."""
    with Trail.open(nurse.home / "trail.db", read_only=True) as trail:
        return trail.unsealed(raw.removeprefix("sealed:"))


def to_a_caution(nurse: Nurse) -> str:
    """Come to the place of work with a cut on the hand."""
    screen = nurse.to("Skin of the hands", nurse.wait())
    screen = nurse.type("n")
    while not re.search(r"^CAUTION", screen, re.MULTILINE):
        screen = nurse.type(nurse.answer(screen))
    return screen


def test_a_caution_is_put_right_or_passed_with_a_listed_reason(nurse: Nurse) -> None:
    caution = to_a_caution(nurse)
    assert "STOP" not in caution and "(hand_skin_breach)" in caution
    shown = caution.splitlines()
    put_right, go_on = (
        shown.index("Put it right:"),
        next(
            number for number, line in enumerate(shown) if line.startswith("Or go on with a reason")
        ),
    )
    assert put_right < go_on
    assert "Type one of the numbers" in nurse.type("")
    other = next(line.split()[0] for line in shown if "Another reason" in line)
    nurse.type(other)
    assert "needs a few words" in nurse.type("")
    screen = nurse.type("glove over the plaster")
    assert "Went on       Another reason" in screen and "Take the ampoule" in screen
    kind, body = bodies(nurse.home / "trail.db")[-1]
    told = json.loads(body)
    assert (kind, told["because"], kept_apart(nurse, told["note"])) == (
        "proceeded", "other", "glove over the plaster",
    )  # fmt: skip
    assert told["codes"] == ["hand_skin_breach"]


def test_a_unit_may_ask_a_second_person_to_let_a_caution_pass(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    ward.mkdir()
    copied(ward)
    shutil.copy(ROOT / "demo_db" / "scenario.toml", ward)
    edit(ward / UNIT, '["dose_outside_range"]', '["hand_skin_breach"]')
    words = ("ORD-103", "--as", "RN-12", "--practice", "--ward", str(ward))
    with Nurse(tmp_path, *words) as nurse:
        caution = to_a_caution(nurse)
        looked = next(line.split()[0] for line in caution.splitlines() if "Looked again" in line)
        assert "asks a second person" in nurse.type(looked)
        assert "Fetch a colleague" in nurse.type("RN-12")
        nurse.type("RN-27")
        assert "Take the ampoule" in nurse.type("")
        path = ward / "practice" / "ORD-103-001.db"
        with Trail.open(path, read_only=True) as trail:
            last = [one.event for one in trail.since(0) if one.event.preparation][-1]
    assert (last.kind, last.by) == ("proceeded", "RN-27")


def test_a_preparation_moved_on_elsewhere_is_shown_as_it_stands_now(
    nurse: Nurse, words: tuple[str, ...]
) -> None:
    nurse.wait()
    with Nurse(nurse.home, *words) as other:
        other.to("See the patient", other.wait())
    nurse.type("30012415")
    told = nurse.type("1987-12-19")
    assert "somebody else has moved this preparation on" in told.lower()
    assert "You were about to: See the patient" in nurse.type("")
    found = kinds(nurse.home / "trail.db")
    assert found == ["opened", "passed", "interrupted"]


# -- entries -------------------------------------------------------------------------------------


def test_what_cannot_be_read_is_asked_again_and_kept_as_a_note(nurse: Nurse) -> None:
    nurse.to("Take the smallest syringe", nurse.wait())
    nurse.type("2")
    for typed, kept in (("0,5", "0,5"), (".5", ".5"), ("1e3", "1e3"), ("30012415 x", "not kept")):
        screen = nurse.type(typed)
        assert "Nothing was entered. Answer again." in screen
        assert "Size printed on it" in screen.splitlines()[-1]
        kind, body = bodies(nurse.home / "trail.db")[-1]
        assert (kind, json.loads(body)["text"]) == (
            "noted",
            f"entry_unreadable: syringe_size: {kept}",
        )
    nurse.type("3")
    assert "zero point one millilitres" in nurse.type("0.1")
    assert "Work out the volume" in nurse.type("")


def test_a_line_can_be_answered_again_before_it_counts(nurse: Nurse) -> None:
    nurse.to("Take the smallest syringe", nurse.wait())
    assert "insulin" in nurse.type("3")
    assert "Kind of syringe" in nurse.type(":b")
    nurse.type("2")
    nurse.type("10")
    nurse.type("0.5")
    assert "Space between two lines" in nurse.type(":b").splitlines()[-1]
    assert "Size printed on it" in nurse.type(":b").splitlines()[-1]
    nurse.type("3")
    nurse.type("0.1")
    assert "Nothing was taken" in nurse.type("0.1")
    assert "Work out the volume" in nurse.type("")


def test_a_scan_keeps_its_separator_and_brings_lot_and_expiry_along(nurse: Nurse) -> None:
    nurse.to("Take the ampoule", nurse.wait())
    screen = nurse.type("01095200073004111OX5528"[:16] + "10OX5528\x1d17270731")
    assert "Look at the ampoule" in screen
    _, body = bodies(nurse.home / "trail.db")[-1]
    seen = json.loads(body)["seen"]
    assert seen["product"]["channel"] == "scanned"
    assert "\x1d" in seen["product"]["raw"]
    assert "OX5528" in json.dumps(seen["lot"]) and "2027-07-31" in json.dumps(seen["expiry"])


def test_what_a_code_does_not_carry_is_asked(nurse: Nurse) -> None:
    nurse.to("Take the ampoule", nurse.wait())
    why = nurse.type("09520007300411")
    assert "Why was it typed?" in why and "it was not: it was scanned" in why
    assert "Type one of the numbers" in nurse.type("9")
    assert "Expiry printed on it" in nurse.type("2")
    assert "Lot printed on it" in nurse.type("31 Jul 2027")
    nurse.type(":b")
    assert "Lot printed on it" in nurse.type("31 Jul 2027")
    assert "Look at the ampoule" in nurse.type("OX[5528]")
    _, body = bodies(nurse.home / "trail.db")[-1]
    assert json.loads(body)["seen"]["product"]["channel"] == "typed"
    notes = [json.loads(text) for kind, text in bodies(nurse.home / "trail.db") if kind == "noted"]
    assert [one["text"] for one in notes] == ["code_keyed: product: unreadable"]


def test_a_scanner_without_prefix_is_no_typing_where_the_person_says_so(nurse: Nurse) -> None:
    nurse.to("Take the ampoule", nurse.wait())
    nurse.type("09520007300411")
    assert "Expiry printed on it" in nurse.type("s")
    nurse.type("31 Jul 2027")
    nurse.type("OX5528")
    _, body = bodies(nurse.home / "trail.db")[-1]
    assert json.loads(body)["seen"]["product"]["channel"] == "scanned"
    assert "code_keyed" not in str(bodies(nurse.home / "trail.db"))


def test_a_lot_that_may_hold_more_is_asked_for_where_nobody_tried_the_scanner(
    nurse: Nurse,
) -> None:
    """The lot ends in 91, company information, and a value of it: the separator may be lost."""
    nurse.to("Take the ampoule", nurse.wait())
    screen = nurse.type("]d201095200073004111727073110OX55289120")
    assert "The lot in this code may hold more" in " ".join(screen.split())
    assert screen.rstrip().endswith("Lot printed on it >")
    assert "Look at the ampoule" in nurse.type("OX5528")
    _, body = bodies(nurse.home / "trail.db")[-1]
    seen = json.loads(body)["seen"]
    assert "9120" not in json.dumps(seen["lot"]) and "9120" in seen["product"]["raw"]


def test_a_separator_that_a_try_out_learnt_is_taken_for_one(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    found = Scanner(
        prefix=Prefix.NOT_SENT,
        separator="|",
        letters=Letters.AS_PRINTED,
        ending=Ending.TWICE,
        tried_at="2026-11-25T09:00:00Z",
        by="RN-12",
    )
    kept = ScannerFile(tmp_path / "checklist" / "scanners.toml")
    kept.path.parent.mkdir(exist_ok=True)
    kept.keep("W7E-1", found, between=lambda: None)
    with Nurse(tmp_path, *words) as nurse:
        nurse.to("Take the ampoule", nurse.wait())
        # Two line ends: the second one is not taken for an answer to the next question.
        screen = nurse.type("010952000730041110OX55289120|17270731\n")
        assert "No answer yet" not in screen
        assert "Look at the ampoule" in screen
        kind, body = bodies(tmp_path / "trail.db")[-1]
        seen = json.loads(body)["seen"]
        assert kind == "passed" and seen["product"]["channel"] == "scanned"
        assert "OX55289120" in json.dumps(seen["lot"])


@pytest.mark.parametrize(
    ("raw", "scanned"),
    [
        (LABEL, True),
        (LABEL[3:], True),
        ("]d28018952000000000003034", True),
        ("8018952000000000003034", True),
        ("8018952000000000003035", False),
        ("0109520007300412", False),
        ("09520007300411", False),
        ("(01)09520007300411(17)270731", False),
        ("30012415", False),
        ("0.75", False),
    ],
)
def test_a_scan_is_told_from_typing_by_its_form(raw: str, scanned: bool) -> None:
    assert answering.is_scan(raw, today=START.date()) is scanned


# -- a second person -----------------------------------------------------------------------------


def test_the_second_person_sees_nothing_of_the_first(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path)) as nurse:
        over = to_the_count(nurse)
        assert "Give this device to a colleague" in over
        assert "They hold for this one step" in " ".join(over.split())
        own = nurse.type("RN-27")
        assert "Witness by RN-27, for RN-12" in own
        for seen in (over, own):
            for hidden in ("morphine", "7.5", "eleven", "11", "twelve"):
                assert hidden not in seen, hidden
        back = nurse.type("11") + nurse.type("")
        assert "same in each point" in back
        assert "Look at the ampoule" in nurse.type("")


def test_two_counts_that_differ_are_told_as_differing_and_no_more(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path)) as nurse:
        to_the_count(nurse)
        nurse.type("RN-27")
        nurse.type("10")
        stop = nurse.type("")
        assert "The two counts of the stock left differ." in stop
        assert "11" not in stop and "eleven" not in stop and "10 " not in stop
        back = nurse.type("1")
        assert "Give the device back to RN-12" in back
        assert "Count the stock" in nurse.type("")
    refused = [
        json.loads(body) for kind, body in bodies(tmp_path / "trail.db") if kind == "refused"
    ]
    assert refused[-1]["reasons"][0]["code"] == "cd_count_mismatch"


def test_the_preparer_is_not_taken_for_the_second_person(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path)) as nurse:
        to_the_count(nurse)
        assert "Fetch a" in nurse.type("RN-12")
        assert "No member of staff" in nurse.type("RN-99")
        assert "Witness by RN-27" in nurse.type("]d28017952000000000001276")
    notes = [
        json.loads(body)["text"] for kind, body in bodies(tmp_path / "trail.db") if kind == "noted"
    ]
    assert notes == ["checker_same_person: offered at sign-in"]
