"""Preparation by another program: one JSON object a line, in and out."""

from __future__ import annotations

import json
import re
import signal
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Self

import pytest

from checklist.faces.scenario import read_scenario
from checklist.trail import Trail
from tests.faces import COMMAND, ROOT, bodies, canaries, new_trail, run, surroundings
from tests.scene import LABELS
from tests.wards import ORDERS, copied, edit

Told = dict[str, Any]
NURSE, COLLEAGUE = "RN-12", "RN-27"
LABEL, BAND = LABELS["ORD-101"], "]d28018952000000000003010"

# What a careful nurse enters for ORD-101; a line to look at is answered true.
RIGHT: Mapping[str, str] = {
    "first_identifier": "30011742",
    "second_identifier": "1958-03-14",
    "label_identifier": "30011742",
    "checker_label_identifier": "30011742",
    "bedside_identifier": BAND,
    "assessment": "16",
    "product": LABEL,
    "product_again": LABEL,
    "emptied": LABEL,
    "name_on_label": "morphine",
    "count_before": "12",
    "count_taken": "1",
    "count_after": "11",
    "witness_count_after": "11",
    "syringe_kind": "luer lock",
    "syringe_size": "1",
    "graduation": "0.01",
    "estimate": "about half a container",
    "own_volume": "0.75",
    "checker_drug": "morphine",
    "checker_strength": "10 mg/mL",
    "checker_expiry": "31 Aug 2028",
    "checker_volume": "0.75",
    "filter_kind": "filter needle",
    "pore": "5",
    "read_drug": "morphine",
    "read_strength": "10 mg/mL",
    "bubble_free": "no bubble left",
    "drawn_volume": "0.75",
    "tip": "cap, no needle",
    "wasted_volume": "0.25",
    "waste_method": "absorbent kit",
    "witness_wasted_volume": "0.25",
    "label_made": "printed",
    "label_drug": "morphine",
    "label_dose": "7.5 mg",
    "label_volume": "0.75",
    "checker_drawn_volume": "0.75",
    "checker_drawn_drug": "morphine",
    "checker_drawn_strength": "10 mg/mL",
    "identified_by": "asked for name and birth date, read the band",
    "bedside_drug": "morphine",
    "bedside_dose": "7.5 mg",
    "given_volume": "0.75",
    "site_given": "left arm",
    "custody": "in my hand all the time",
}
PINS = read_scenario(ROOT / "demo_db").pins
LEFT_OUT = ("expiry", "lot", "gauge", "needle_length")


class Program:
    """Another program that works a preparation, with everything that was told it."""

    def __init__(self, home: Path, *, order: str = "ORD-101", ward: Path | None = None) -> None:
        self.trail = home / "trail.db"
        if not self.trail.exists():
            new_trail(self.trail)
        words = ["prepare", order, "--as", NURSE, "--lines", "--practice"]
        words += ["--trail", str(self.trail), *(["--ward", str(ward)] if ward else [])]
        self.process = subprocess.Popen(
            [*COMMAND, *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=surroundings(home),
            cwd=ROOT,
        )
        self.told: list[Told] = []
        asked = self.hear()
        assert asked == {"sign_in": NURSE, "with": "code and pin"}
        self.sign_in(NURSE)
        self.step = self.hear()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()

    def hear(self) -> Told:
        """The next line that is told."""
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, self.process.communicate()[1]
        self.told.append(json.loads(line))
        return self.told[-1]

    def raw(self, line: bytes) -> Told:
        """Send a line; its outcome. `step` is then the step that is open, if one is."""
        assert self.process.stdin is not None
        self.process.stdin.write(line + b"\n")
        self.process.stdin.flush()
        outcome = self.hear()
        if outcome["outcome"] == "passed":
            self.step = self.hear()
        return outcome

    def send(self, **line: Any) -> Told:
        return self.raw(json.dumps(line).encode())

    def sign_in(self, code: str, **more: Any) -> Told:
        """Sign a person in with the PIN that the demonstration ward prints."""
        told = self.send(sign_in=code, pin=PINS[code], **more)
        assert told["outcome"] == "signed_in", told
        return told

    def answers(self, **changes: Any) -> dict[str, Any]:
        """The right answers of the open step, some changed or (None) left out."""
        names = [field["name"] for field in self.step["fields"]]
        right = {name: RIGHT.get(name, True) for name in names if name not in LEFT_OUT}
        return {name: value for name, value in {**right, **changes}.items() if value is not None}

    def go_on(self, **changes: Any) -> Told:
        """Try the open step in the hands it is for."""
        second = self.step["who"] in ("checker", "witness")
        if second:
            self.sign_in(COLLEAGUE, second=True)
        return self.send(seen=self.answers(**changes), by=COLLEAGUE if second else NURSE)

    def to(self, step: str) -> None:
        """Go on rightly until `step` is open."""
        while self.step["step"] != step:
            outcome = self.go_on()
            assert outcome["outcome"] == "passed", outcome

    def end(self) -> int:
        """Close the input; the exit code."""
        out, err = self.process.communicate(timeout=30)
        assert out == b"" and err == b""
        return self.process.returncode

    def head(self) -> int:
        with Trail.open(self.trail, read_only=True) as trail:
            return trail.head().seq


@pytest.fixture
def program(tmp_path: Path) -> Iterator[Program]:
    with Program(tmp_path) as one:
        yield one


def test_a_step_is_told_with_all_that_is_asked(program: Program) -> None:
    step = program.step
    assert list(step) == [
        "step", "phase", "ask", "how", "who", "number", "total", "turn", "preparation", "fields",
    ]  # fmt: skip
    assert step["step"] == "read_the_order"
    assert (step["number"], step["total"], step["turn"]) == (1, 31, 0)
    assert step["fields"][0] == {
        "name": "first_identifier",
        "kind": "identifier",
        "unit": "",
        "say": "First identifier on the record",
        "answers": [],
        "optional": False,
    }


def test_a_whole_preparation_is_made_in_two_persons_hands(program: Program) -> None:
    program.to("fit_the_filter")
    stop = program.go_on(filter_kind="none", pore=None)
    assert stop["outcome"] == "refused"
    (reason,) = stop["reasons"]
    assert (reason["code"], reason["tier"]) == ("filter_missing", "hard")
    assert reason["remedies"] == ["replace_item", "call_pharmacist"]
    assert set(reason["message"]) == {"found", "why", "next"}
    assert program.send(remedy="replace_item")["outcome"] == "passed"
    program.to("set_the_dose")
    assert program.go_on(drawn_volume="0.9")["reasons"][0]["code"] == "volume_over_target"
    working = program.send(show=True)["working"]
    assert "volume = 0.75 mL" in working
    assert program.send(remedy="adjust")["outcome"] == "passed"
    program.to("waste_the_rest")
    caution = program.go_on(waste_method="sink")
    assert caution["outcome"] == "caution"
    assert [one["tier"] for one in caution["reasons"]] == ["soft"]
    assert program.send(reason="unit_practice", note="as agreed")["outcome"] == "passed"
    program.to("write_the_record")
    with Trail.open(program.trail, read_only=True) as trail:
        given = trail.preparations()[0].last_at
    closed = program.go_on(time_given=f"{given:%H:%M}")
    assert (closed["outcome"], closed["place"]) == ("closed", "given")
    assert program.end() == 0
    with Trail.open(program.trail, read_only=True) as trail:
        assert trail.verify().whole
        entries = list(trail.since(0))
    assert {one.event.channel for one in entries} == {"lines"}
    assert {one.event.by for one in entries} == {NURSE, COLLEAGUE}
    chained = "\n".join(text for _, text in bodies(program.trail))
    told = json.dumps(program.told)
    for canary in canaries():
        assert canary not in chained
        assert canary not in told


def test_expected_values_are_never_told_before_they_are_entered(program: Program) -> None:
    program.to("second_person_works_it_out")
    told = json.dumps([line for line in program.told if "step" in line])
    for form in ("0.75", "7.5", "10 mg", "morphine", "2028", "30011742", "zero point"):
        assert form not in told
    program.to("set_the_dose")
    stop = program.go_on(drawn_volume="0.8")
    assert "0.75" not in json.dumps(stop) and "0.8 mL" in json.dumps(stop)


NOT_UNDERSTOOD = [
    (b"", "not one JSON object"),
    (b"{", "not one JSON object"),
    (b"[]", "one JSON object, in braces"),
    (b"\xff\xfe", "not one JSON object"),
    (b'{"seen": {}, "seen": {}}', "a key stands twice"),
    (b'{"seen": {"first_identifier": NaN}}', "NaN is no value"),
    (b'{"seen": {"first_identifier": 30011742}}', "is no text. Write it in quotes"),
    (b'{"seen": {"first_identifier": 0.75}}', "is no text. Write it in quotes"),
    (b'{"seen": {"first_identifier": null}}', "is no text"),
    (b'{"seen": {"first_identifier": true}}', "is no text"),
    (b'{"seen": []}', "seen is an object"),
    (b'{"seen": {"drawn_volume": "1"}}', "does not ask for drawn_volume"),
    (b'{"seen": {}, "chanel": "typed"}', "'chanel' is not known beside seen"),
    (b'{"seen": {}, "channel": "psychic"}', "it can be lines, scanned, typed"),
    (b'{"seen": {}, "by": "RN-99"}', "no member of staff has this code or badge"),
    (b'{"seen": {}, "turn": 7}', "somebody else has moved this preparation on"),
    (b'{"seen": {}, "turn": "0"}', "turn is the whole number"),
    (b'{"remedy": "recheck"}', "nothing stands here"),
    (b'{"remedy": "ignore"}', "it can be recheck, adjust"),
    (b'{"remedy": ["recheck"]}', "it can be recheck, adjust"),
    (b'{"reason": "looked_again"}', "there is no way by 'proceed'"),
    (b'{"reason": "because"}', "it can be looked_again"),
    (b'{"resume": true}', "there is no way by 'resume'"),
    (b'{"resume": false}', "resume is given as true"),
    (b'{"show": true}', "only after a reading was refused"),
    (b'{"abandon": "bored"}', "is no reason to end here"),
    (b'{"abandon": "other"}', "needs a few words"),
    (b'{"interrupt": ""}', "Nothing was entered"),
    (b'{"interrupt": "\\u001b[2J"}', "cannot be seen"),
    (b'{"note": "\\ud800"}', "cannot be seen"),
    (b'{"note": "turned \\u202e round"}', "cannot be seen"),
    (b'{"note": "' + b"x" * 201 + b'"}', "200 is the most"),
    (b'{"note": "two", "interrupt": "acts"}', "this has 2"),
    (b'{"hello": 1}', "this has 0"),
    (b'{"seen": ' * 3_000 + b"1" + b"}" * 3_000, "not one JSON object"),
    (b'{"seen": {"first_identifier": ' + b"1" * 5_000 + b"}}", "not one JSON object"),
]


def test_what_is_not_understood_is_told_and_leaves_no_trace(program: Program) -> None:
    head = program.head()
    for line, sentence in NOT_UNDERSTOOD:
        told = program.raw(line)
        assert told["outcome"] == "not_understood", line[:80]
        assert sentence in told["sentence"], (line[:80], told["sentence"])
    assert program.head() == head
    assert program.send(note="still here")["outcome"] == "passed"
    assert program.head() == head + 1


def test_a_line_without_end_is_not_read_on_and_on(program: Program) -> None:
    told = program.raw(b'{"note": "' + b"x" * 150_000 + b'"}')
    assert told["outcome"] == "not_understood"
    assert "bytes at most" in told["sentence"]


def test_the_end_of_input_is_an_interruption_and_work_goes_on_behind_it(tmp_path: Path) -> None:
    with Program(tmp_path) as first:
        first.to("inspect_the_product")
        id_ = first.step["preparation"]
        assert first.end() == 1
    kind, body = bodies(tmp_path / "trail.db")[-1]
    assert (kind, json.loads(body)["cause"]) == ("interrupted", "end of input")
    with Program(tmp_path) as second:
        assert second.step["preparation"] == id_
        assert second.step["step"] == "back_to_the_item"
        assert second.go_on()["outcome"] == "passed"
        assert second.step["step"] == "inspect_the_product"


@pytest.mark.parametrize(
    ("stop", "causes"),
    [
        (signal.SIGTERM, ["the station was shut down"]),
        (signal.SIGINT, ["stopped at the keyboard"]),
        (signal.SIGKILL, ["station stopped"]),
    ],
)
def test_a_stopped_program_loses_nothing_and_its_break_is_on_record(
    stop: signal.Signals, causes: list[str], tmp_path: Path
) -> None:
    with Program(tmp_path) as first:
        first.to("inspect_the_product")
        acknowledged = first.told[-1]["turn"]
        first.process.send_signal(stop)
        first.process.wait(timeout=30)
    with Program(tmp_path) as second:
        assert second.step["step"] == "back_to_the_item"
        assert second.step["turn"] == acknowledged + 2  # interrupted and resumed, nothing else
    found = [json.loads(body) for kind, body in bodies(tmp_path / "trail.db") if "cause" in body]
    assert [one["cause"] for one in found] == causes


def test_an_interruption_is_answered_by_coming_back(program: Program) -> None:
    program.to("see_the_patient")
    told = program.send(interrupt="call")
    assert told["outcome"] == "interrupted"
    assert program.send(seen={})["outcome"] == "not_understood"
    assert program.send(resume=True)["outcome"] == "passed"
    assert program.step["step"] == "back_to_the_record"


def test_ending_without_giving_is_told_with_its_place(program: Program) -> None:
    told = program.send(abandon="other", note="the patient sleeps")
    assert (told["outcome"], told["place"]) == ("closed", "abandoned")
    assert program.end() == 1


def test_a_reading_keeps_how_it_reached_the_other_program(program: Program) -> None:
    program.to("take_the_product")
    assert program.send(seen={"product": LABEL}, channel="scanned")["outcome"] == "passed"
    with Trail.open(program.trail, read_only=True) as trail:
        last = list(trail.since(0))[-1].event
    assert last.channel == "lines"
    assert last.body["seen"]["product"]["channel"] == "scanned"


def test_two_programs_at_one_preparation_do_not_pass_each_other(tmp_path: Path) -> None:
    with Program(tmp_path) as first:
        turn = first.step["turn"]
        with Program(tmp_path) as second:
            assert second.step["preparation"] == first.step["preparation"]
            assert second.go_on()["outcome"] == "passed"
        told = first.send(seen=first.answers(), turn=turn)
        assert told["outcome"] == "not_understood"
        assert "moved this preparation on" in told["sentence"]


def test_orders_that_cannot_be_read_hold_the_step_and_nothing_is_recorded(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    ward.mkdir()
    copied(ward)
    (ward / "scenario.toml").write_bytes((ROOT / "demo_db" / "scenario.toml").read_bytes())
    with Program(tmp_path, ward=ward) as program:
        head = program.head()
        edit(ward / ORDERS, '"dose": "7.5 mg"', '"dose": 7.5')
        told = program.go_on()
        assert told["outcome"] == "not_understood"
        assert "orders.json" in told["sentence"] and "Nothing was recorded" in told["sentence"]
        assert program.head() == head
        edit(ward / ORDERS, '"dose": 7.5', '"dose": "7.5 mg"')
        assert program.go_on()["outcome"] == "passed"


@pytest.mark.parametrize("words", [["ORD-101"], ["--as", NURSE]])
def test_order_and_person_are_named_beforehand(words: list[str], tmp_path: Path) -> None:
    told = run("prepare", *words, "--lines", "--trail", str(tmp_path / "t.db"), home=tmp_path)
    assert told.returncode == 2
    assert told.stdout == ""
    assert "name the order and the person" in told.stderr
    assert not (tmp_path / "t.db").exists()


LEARNT = """form = 1
[station."W7E-1"]
prefix = "not sent"
separator = "U+007C"
letters = "as printed"
ending = "enter"
tried_at = "2026-11-25T09:00:00Z"
by = "RN-12"
"""


def test_what_was_learnt_of_the_scanner_holds_for_another_program(tmp_path: Path) -> None:
    code = f"01{LABEL[5:19]}10LM|17280831"
    (tmp_path / "checklist").mkdir()
    (tmp_path / "checklist" / "scanners.toml").write_text(LEARNT, encoding="utf-8")
    with Program(tmp_path) as program:
        program.to("take_the_product")
        assert program.go_on(product=code)["outcome"] == "passed"
        _, body = bodies(program.trail)[-1]
        seen = json.loads(body)["seen"]
        assert seen["product"]["raw"] == code
        assert "LM" in json.dumps(seen["lot"]) and "2028-08-31" in json.dumps(seen["expiry"])


def test_without_that_the_stand_in_is_refused_in_words(program: Program) -> None:
    program.to("take_the_product")
    stop = program.go_on(product=f"01{LABEL[5:19]}10LM|17280831")
    assert stop["outcome"] == "refused"
    assert "cannot be read as a product. Scan another code" in json.dumps(stop)


def test_a_lot_in_doubt_is_sent_again_from_the_label(program: Program) -> None:
    program.to("take_the_product")
    stop = program.go_on(product=f"{LABEL}91X")
    assert stop["outcome"] == "refused"
    assert "The lot in this code may hold more" in json.dumps(stop)
    program.send(remedy="recheck")
    assert program.go_on(product=f"{LABEL}91X", lot="LM4476")["outcome"] == "passed"


def test_why_a_code_was_typed_is_kept_with_it(program: Program) -> None:
    program.to("take_the_product")
    before = program.head()
    turn = program.step["turn"]
    seen = program.answers()
    for keyed in ("no_code", {"lot": "no_code"}, {"product": "lazy"}):
        told = program.send(seen=seen, keyed=keyed, channel="typed")
        assert told["outcome"] == "not_understood", told
    told = program.send(seen={"pulse": "1"}, keyed={"product": "no_code"})
    assert told["outcome"] == "not_understood" and program.head() == before
    told = program.send(seen=seen, keyed={"product": "no_code"}, turn=turn, by=NURSE)
    assert told["outcome"] == "passed"
    (kind, body), (after, _) = bodies(program.trail)[-2:]
    assert (kind, json.loads(body)["text"], after) == (
        "noted", "code_keyed: product: no_code", "passed",
    )  # fmt: skip


def test_a_label_is_printed_by_lines_and_again_only_with_a_reason(program: Program) -> None:
    out = program.trail.parent / "label.pdf"
    told = program.send(print="label", out=str(out))
    assert told["outcome"] == "not_understood" and not out.exists()
    program.to("write_the_label")
    turn = program.step["turn"]
    told = program.send(print="label", out=str(out))
    assert (told["outcome"], told["number"], told["form"]) == ("printed", 1, "flag")
    assert program.hear()["turn"] == turn + 1
    assert out.read_bytes().startswith(b"%PDF")
    kind, body = bodies(program.trail)[-1]
    assert (kind, json.loads(body)["code"]) == ("printed", told["code"])
    other = out.with_name("other.svg")
    refused = [
        ({"out": str(out), "again": "not_printed"}, "is there already"),
        ({"out": str(other)}, "needs a reason"),
        ({"out": str(other), "again": "lost_it"}, "is no reason"),
        ({"out": str(other), "size": "5 x 5 mm", "again": "not_printed"}, "no label size"),
        ({"out": str(out.with_suffix(".exe"))}, "a file is wanted that ends in"),
        ({"out": str(other), "dpi": "203"}, "dpi a whole number"),
        ({"out": str(other), "vial": "no"}, "vial is true or false"),
        ({}, "out is no text"),
    ]
    for more, words in refused:
        told = program.send(print="label", **more)
        assert told["outcome"] == "not_understood" and words in told["sentence"], told
        assert not other.exists()
    assert program.send(print="box", out="x.pdf")["outcome"] == "not_understood"
    told = program.send(print="label", out=str(other), again="not_printed", by=NURSE)
    assert (told["outcome"], told["number"]) == ("printed", 2)


def test_the_description_of_the_lines_names_every_key_that_is_told(program: Program) -> None:
    from checklist.faces import lines

    assert lines.__doc__ is not None
    program.to("see_the_patient")
    program.send(interrupt="call")
    for told in program.told:
        for key in told:
            assert re.search(rf'"{key}"|`{key}`', lines.__doc__), key
