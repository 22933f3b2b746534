"""Guided preparation at a real pseudo-terminal, as a nurse works through it."""

from __future__ import annotations

import json
import re
import shutil
import signal
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Self

import pexpect
import pytest

from checklist import library
from checklist.faces import answering
from checklist.observation import Kind
from checklist.trail import Trail
from tests.faces import ROOT, STEERING, bodies, canaries, new_trail, run, surroundings
from tests.scene import LABELS, START, Scene
from tests.wards import UNIT, copied, edit

# A pseudo-terminal is made by forking; where the test runner has threads, Python warns of that.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")

LABEL = LABELS["ORD-103"]
RIGHT: Mapping[str, str] = {
    "first_identifier": "30012415",
    "second_identifier": "19 Dec 1987",
    "label_identifier": "30012415",
    "bedside_identifier": "]d28018952000000000003034",
    "product": LABEL,
    "product_again": LABEL,
    "emptied": LABEL,
    "syringe_kind": "2",
    "syringe_size": "3",
    "graduation": "0.1",
    "estimate": "3",
    "own_volume": "2",
    "filter_kind": "1",
    "pore": "5",
    "read_drug": "ondansetron",
    "read_strength": "4 mg in 2 mL",
    "bubble_free": "1",
    "drawn_volume": "2",
    "tip": "2",
    "gauge": "",
    "needle_length": "",
    "label_made": "1",
    "label_drug": "ondansetron",
    "label_dose": "4 mg",
    "label_volume": "2",
    "identified_by": "1",
    "bedside_drug": "ondansetron",
    "bedside_dose": "4 mg",
    "given_volume": "2",
    "time_given": "14:00",
    "site_given": "left arm",
    "custody": "1",
}
PROMPT = re.compile(r"> $")
CLEARED = re.compile(r"\x1b\[H\x1b\[2J|\x1b\[2J")


@cache
def answers() -> Mapping[str, str]:
    """The right answer by what a field is called on the screen; a line to look at is seen."""
    flow = library.workflows()["glass_ampoule"]
    every = [
        field
        for phase in (*flow.phases, *flow.asides)
        for step in phase.steps
        for field in step.fields
    ]
    known = {field.say: RIGHT[field.name] for field in every if field.name in RIGHT}
    return {**{field.say: "y" for field in every if field.kind is Kind.SEEN}, **known}


class Nurse:
    """A person at a terminal: reads the last prompt and types an answer."""

    def __init__(
        self,
        home: Path,
        *words: str,
        rows: int = 50,
        columns: int = 100,
        changes: Mapping[str, str] | None = None,
    ) -> None:
        self.home = home
        self.all = ""
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "checklist.faces.cli", "prepare", *words],
            env=surroundings(home, **(changes or {})),
            cwd=str(home),
            dimensions=(rows, columns),
            encoding="utf-8",
            timeout=30,
        )
        # Each answer follows a question that was read, so nothing has to be waited for.
        self.child.delaybeforesend = None
        self.child.delayafterclose = self.child.delayafterterminate = 0.02

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.child.close(force=True)

    def wait(self) -> str:
        """What came until something is asked, without the codes that steer the terminal."""
        self.child.expect(PROMPT)
        fresh = self.child.before + self.child.after
        self.all += fresh
        return STEERING.sub("", CLEARED.split(fresh)[-1]).replace("\r", "")

    def type(self, text: str) -> str:
        """Type a line; what came after it, until the next question."""
        self.child.sendline(text)
        return self.wait()

    def answer(self, screen: str) -> str:
        """The right answer to what a screen asks last."""
        asked = screen.rstrip().splitlines()
        last = asked[-1]
        if last.startswith("Enter: hand it in") or "press Enter" in last:
            return ""
        if re.match(r"1 to [0-9]+ >", last):
            last = next(line for line in reversed(asked[:-1]) if line.endswith(":"))
        # A long question is broken over two lines.
        for end in (last, f"{asked[-2]} {last}"):
            for say, right in answers().items():
                if end.startswith(say):
                    return right
        raise AssertionError(f"no answer to {last!r}")

    def to(self, words: str, screen: str) -> str:
        """Answer rightly until a screen says `words`; that screen."""
        for _ in range(150):
            if words in screen:
                return screen
            screen = self.type(self.answer(screen))
        raise AssertionError(f"never came to {words!r}")

    def end(self) -> tuple[int, str]:
        """The exit code and the last words, once the program has ended."""
        self.child.expect(pexpect.EOF)
        self.all += self.child.before
        self.child.close()
        return self.child.exitstatus, STEERING.sub("", self.child.before)


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


def kinds(path: Path) -> list[str]:
    return [kind for kind, _ in bodies(path)]


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
    away = nurse.type("2")
    assert "You were about to: See the patient before you prepare." in away
    assert kinds(nurse.home / "trail.db")[-1] == "interrupted"
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
    assert causes == ["colleague", "not said"]


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
    assert (kind, json.loads(body)["note"]) == ("ended", "the patient sleeps")


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
    assert (kind, told["because"], told["note"]) == (
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
            last = list(trail.since(0))[-1].event
    assert (last.kind, last.by) == ("proceeded", "RN-27")


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
    assert "Expiry printed on it" in nurse.type("09520007300411")
    assert "Lot printed on it" in nurse.type("31 Jul 2027")
    nurse.type(":b")
    assert "Lot printed on it" in nurse.type("31 Jul 2027")
    assert "Look at the ampoule" in nurse.type("OX[5528]")
    _, body = bodies(nurse.home / "trail.db")[-1]
    assert json.loads(body)["seen"]["product"]["channel"] == "typed"


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


def counted(home: Path) -> tuple[str, ...]:
    """A preparation of ORD-101 that waits for its witness; the words to go on with it."""
    scene = Scene(home, "ORD-101")
    scene.open()
    scene.to("count_the_stock")
    scene.trail.close()
    trail = str(home / "trail.db")
    return ("ORD-101", "--as", "RN-12", "--practice", "--trail", trail)


def to_the_count(nurse: Nurse) -> str:
    """Come back behind the re-verification, and count."""
    nurse.wait()
    nurse.type("30011742")
    stop = nurse.type("1958-03-14")
    assert "interrupted_at_critical_step" in stop
    nurse.type("1")
    for figure in ("12", "1", "11"):
        nurse.type(figure)
    return nurse.type("")


def test_the_second_person_sees_nothing_of_the_first(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path)) as nurse:
        over = to_the_count(nurse)
        assert "Give this device to a colleague" in over
        assert "proves nobody's identity" in " ".join(over.split())
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


# -- terminals -----------------------------------------------------------------------------------


def test_the_second_screen_is_used_and_left_again(nurse: Nurse) -> None:
    nurse.wait()
    nurse.child.sendintr()
    nurse.end()
    assert nurse.all.count("\x1b[?1049h") == 1
    assert nurse.all.index("\x1b[?1049h") < nurse.all.rindex("\x1b[?1049l")


def test_a_terminal_that_cannot_be_cleared_is_sent_no_codes_and_says_so(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path), changes={"TERM": "dumb"}) as nurse:
        over = to_the_count(nurse)
        assert "This terminal cannot be cleared" in " ".join(over.split())
        assert "\x1b" not in nurse.all


def test_without_colour_the_words_are_the_same(tmp_path: Path) -> None:
    shown = []
    for number, (variable, value) in enumerate(
        [("LINES", ""), ("NO_COLOR", "1"), ("TERM", "dumb")]
    ):
        home = tmp_path / str(number)
        home.mkdir()
        words = ("ORD-103", "--as", "RN-12", "--practice", "--trail", str(new_trail(home / "t.db")))
        with Nurse(home, *words, changes={variable: value}) as nurse:
            nurse.type(nurse.answer(nurse.wait()))
            text = STEERING.sub("", nurse.all).replace("\r", "")
        text = re.sub(r"Preparation [0-9a-f]{8}", "Preparation", text)
        lines = [line for line in text.splitlines() if line.strip("- ")]
        shown.append([line.rstrip() for line in lines])
    assert shown[0] == shown[1]
    assert shown[0] == shown[2]


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_no_line_is_too_long_and_no_number_leaves_its_unit(columns: int, tmp_path: Path) -> None:
    words = ("ORD-103", "--as", "RN-12", "--practice", "--trail", str(new_trail(tmp_path / "t.db")))
    with Nurse(tmp_path, *words, columns=columns) as nurse:
        nurse.to("Work out the volume", nurse.wait())
        nurse.type("3")
        nurse.type("2.1")
        nurse.type("")
        lines = STEERING.sub("", nurse.all).replace("\r", "").splitlines()
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        typed = line.partition("> ")[2]
        assert len(line) - len(typed) <= columns, line
        assert not (re.search(r"[0-9]$", line) and re.match(r"\s*(mL|mg|microgram|units)\b", after))


def test_nobody_is_guided_without_a_terminal(tmp_path: Path) -> None:
    path = tmp_path / "trail.db"
    told = run(
        "prepare", "ORD-103", "--as", "RN-12", "--trail", str(path), home=tmp_path, text="y\n"
    )
    assert told.returncode == 2
    assert "needs a terminal with a person at it" in told.stderr
    assert told.stdout == "" and not path.exists()


def test_order_and_person_are_asked_where_they_are_not_named(tmp_path: Path) -> None:
    with Nurse(tmp_path, "--practice") as nurse:
        listed = nurse.wait()
        assert "ORD-101   P-301   morphine  7.5 mg  intravenous   due 14:20" in listed
        assert "beside the orders" in nurse.type("99")
        assert "Your staff code or badge" in nurse.type("3")
        assert "Open the order" in nurse.type("]d28017952000000000001122")
    practised = tmp_path / "checklist" / "practice" / "ORD-103-001.db"
    assert kinds(practised) == ["opened", "interrupted"]


def test_an_order_that_was_practised_to_its_end_is_practised_anew(tmp_path: Path) -> None:
    for number in (1, 2):
        with Nurse(tmp_path, "ORD-103", "--practice", "--as", "RN-12") as nurse:
            assert "step 1 of" in nurse.wait()
            nurse.type(":e")
            nurse.type("1")
            nurse.child.sendline("")
            assert nurse.end()[0] == 1
        assert len(list((tmp_path / "checklist" / "practice").glob("*.db"))) == number
