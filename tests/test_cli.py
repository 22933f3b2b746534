"""The commands: help, exit codes, data on stdout, and what never gets there."""

from __future__ import annotations

import ast
import json
import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

import checklist.faces
from checklist import __version__, library
from checklist.faces.cli import app
from checklist.faces.saying import apart, harmless, lines
from checklist.trail import Trail
from tests.faces import ROOT, canaries, run, surroundings
from tests.scene import Scene
from tests.wards import FORMULARY, ORDERS, UNIT, copied, edit

FACES = Path(checklist.faces.__file__).parent
COMMANDS = [
    [],
    ["demo"],
    ["prepare"],
    ["show"],
    ["list"],
    ["orders"],
    ["orders", "take"],
    ["orders", "give-back"],
    ["trail"],
    ["trail", "verify"],
    ["unit"],
    ["unit", "check"],
    ["workflow"],
    ["workflow", "list"],
    ["workflow", "show"],
    ["workflow", "check"],
    ["workflow", "draw"],
]


def call(*words: object, text: str = "") -> tuple[int, str, str]:
    """Exit code, stdout and stderr of a command with `text` on its standard input."""
    told = [str(word) for word in words]
    done = CliRunner().invoke(app, told, env={"COLUMNS": "100"}, input=text)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(autouse=True)
def own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keys and remembered heads of each test are its own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The trail of ORD-103 prepared with a stop, and given."""
    folder = tmp_path_factory.mktemp("finished")
    scene = Scene(folder, "ORD-103")
    scene.open()
    scene.to("fit_the_filter")
    scene.attempt({"filter_kind": "none", "pore": None})
    scene.station.remedy(scene.id, scene.station.screen(scene.id).ways[0], "RN-12", note="[red]")
    scene.finish()
    scene.trail.close()
    return folder / "trail.db"


# -- help ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_every_command_says_what_it_does(words: list[str]) -> None:
    for asked in ("-h", "--help"):
        code, out, err = call(*words, asked)
        assert code == 0 and err == ""
        assert out.startswith("Usage:")
    assert all(len(line) <= 100 for line in out.splitlines())


def test_help_needs_nothing_but_the_command_line_library() -> None:
    heavy = {"pydantic", "transitions", "sqlite_utils", "sqlite3", "biip", "rich", "tomllib"}
    code = (
        "import sys\nfrom checklist.faces import cli\n"
        "try:\n    cli.main()\nexcept SystemExit:\n    pass\n"
        f"print(sorted({heavy!r} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "--help"],
        capture_output=True,
        text=True,
        env=surroundings(ROOT),
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_the_version_is_told() -> None:
    assert call("--version") == (0, f"checklist {__version__}\n", "")


@pytest.mark.parametrize(
    "words", [["--none"], ["shw"], ["show", "--trail"], ["prepare", "ORD-103", "extra"]]
)
def test_a_mistyped_command_ends_with_2_and_nothing_on_stdout(words: list[str]) -> None:
    code, out, err = call(*words)
    assert (code, out) == (2, "")
    assert err


# -- preparations --------------------------------------------------------------------------------


def test_a_preparation_is_told_step_by_step(finished: Path) -> None:
    code, out, err = call("show", "--trail", finished)
    assert (code, err) == (0, "")
    assert "Order ORD-103: P-303   ondansetron  4 mg  intravenous" in out
    assert "RN-12   fit the filter: STOP filter_missing" in out
    assert "Take a new item and read its label: (kept apart)" in " ".join(out.split())
    assert "drawn_volume 2 mL typed" in out
    assert "stops 1   cautions 0   breaks 0   begun anew 0" in out
    assert "concentration: 2 mg/mL\n" in out
    assert out.splitlines()[-1].startswith("next: checklist trail verify --trail ")


def test_a_preparation_is_found_by_id_by_its_beginning_or_as_the_last(finished: Path) -> None:
    with Trail.open(finished, read_only=True) as trail:
        id_ = trail.preparations()[0].id
    shown = [call("show", name, "--trail", finished)[1] for name in (id_, id_[:4], "last")]
    assert shown[0] == shown[1] == shown[2]
    code, out, err = call("show", "nothing", "--trail", finished)
    assert (code, out) == (2, "")
    assert "There is no preparation 'nothing'" in err


def test_a_preparation_as_data_holds_every_entry(finished: Path) -> None:
    code, out, _ = call("show", "--json", "--trail", finished)
    told = json.loads(out)
    with Trail.open(finished, read_only=True) as trail:
        entries = [one for one in trail.since(0) if one.event.preparation]
    assert code == 0
    assert [one["digest"] for one in told["entries"]] == [one.digest.hex() for one in entries]
    assert told["place"] == "given" and told["closed"] is True and told["refusals"] == 1
    assert "names" not in told


def test_names_are_told_only_when_they_are_asked_for(finished: Path) -> None:
    names = ("Ottoline Brask", "30012415", "Wren Alderby", "19 Dec 1987")
    for form in ([], ["--json"]):
        plain = call("show", *form, "--trail", finished)[1]
        assert not [canary for canary in canaries() if canary in plain]
        asked = call("show", *form, "--names", "--as", "PH-2", "--trail", finished, text="270602\n")
        assert [name for name in (*names[:3], "[red]") if name not in asked[1]] == []
    with Trail.open(finished, read_only=True) as trail:
        assert [one.event.by for one in trail.acts(("names_shown",))] == ["PH-2", "PH-2"]


@pytest.mark.parametrize(
    ("words", "pin", "said"),
    [
        ([], "", "give your staff code with --as"),
        (["--as", "RN-12"], "270612", "this asks for pharmacist"),
        (["--as", "PH-2"], "270612", "does not fit PH-2"),
    ],
)
def test_names_are_not_told_to_whoever_may_not_see_them(
    finished: Path, words: list[str], pin: str, said: str
) -> None:
    code, out, err = call("show", "--names", *words, "--trail", finished, text=f"{pin}\n")
    assert (code, out) == (2, "")
    assert said in err
    assert not [canary for canary in canaries() if canary in out + err]


def test_preparations_are_listed(finished: Path) -> None:
    code, out, _ = call("list", "--trail", finished)
    assert code == 0
    assert "ORD-103  P-303  ondansetron  4 mg  intravenous  RN-12: given" in out
    told = json.loads(call("list", "--json", "--trail", finished)[1])
    (row,) = told["preparations"]
    assert (row["order"], row["patient"], row["place"]) == ("ORD-103", "P-303", "given")


def test_without_a_trail_there_is_a_sentence(tmp_path: Path) -> None:
    for words in (["show"], ["list"], ["trail", "verify"]):
        told = run(*words, home=tmp_path)
        assert (told.returncode, told.stdout) == (2, "")
        assert "There is no trail in" in told.stderr
        assert list(tmp_path.iterdir()) == []


def test_the_trail_last_written_to_is_meant_where_none_is_named(
    finished: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "checklist" / "practice"
    kept.mkdir(parents=True)
    shutil.copy(finished, kept / "ORD-103-001.db")
    told = run("show", home=tmp_path)
    assert told.returncode == 0, told.stderr
    assert "Order ORD-103" in told.stdout


def test_a_trail_away_from_its_ward_is_told_in_utc_and_without_a_label(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    ward.mkdir()
    copied(ward)
    edit(ward / UNIT, 'code = "W7E"', 'code = "OTHER"')
    edit(ward / UNIT, '"code and pin"', '"code only"')
    begun = run(
        "prepare", "ORD-103", "--as", "RN-12", "--lines", "--ward", str(ward), home=tmp_path
    )
    assert begun.returncode == 1, begun.stderr
    here = call("show", "--trail", ward / "trail.db")
    away = Path(shutil.copy(ward / "trail.db", tmp_path / "away.db"))
    told = call("show", "--trail", away)
    assert here[0] == told[0] == 0
    sentence = "the files of this ward are not at hand"
    assert sentence in told[1] and sentence not in here[1]
    assert "Label: not made" in told[1]


@pytest.mark.parametrize("columns", ["60", "80", "120"])
def test_what_is_told_fits_the_terminal(columns: str, finished: Path) -> None:
    told = run("show", "--trail", str(finished), home=finished.parent, COLUMNS=columns)
    assert told.returncode == 0, told.stderr
    shown = told.stdout.splitlines()
    for line, after in zip(shown, [*shown[1:], ""], strict=True):
        digest = re.search(r"[0-9a-f]{64}", line)
        if digest or line.startswith("next: "):
            continue
        assert len(line) <= int(columns), line
        assert not (re.search(r"[0-9]$", line) and re.match(r"\s*(mL|mg|s)\b", after)), line


# -- trails --------------------------------------------------------------------------------------


def test_a_whole_trail_is_verified(finished: Path) -> None:
    code, out, err = call("trail", "verify", "--trail", finished)
    assert (code, err) == (0, "")
    with Trail.open(finished, read_only=True) as trail:
        head = trail.head()
    assert f"{head.seq} entries, whole" in out and head.digest.hex() in out
    told = json.loads(call("trail", "verify", "--json", "--trail", finished)[1])
    assert told["whole"] is True and told["head"] == {"seq": head.seq, "digest": head.digest.hex()}


def test_a_changed_trail_ends_with_3_and_the_first_entry_that_is_not_as_it_was(
    finished: Path, tmp_path: Path
) -> None:
    path = tmp_path / "changed.db"
    shutil.copy(finished, path)
    with sqlite3.connect(path) as db:
        names = db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in names:
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE entries SET \"by\" = 'RN-27' WHERE seq = 5")
    db.close()
    code, out, err = call("trail", "verify", "--trail", path)
    assert code == 3
    assert "First entry that is not as recorded: 5." in err
    code, out, _ = call("trail", "verify", "--json", "--trail", path)
    assert code == 3
    assert json.loads(out)["first_break"]["seq"] == 5
    assert call("show", "--trail", path)[0] == 3


@pytest.mark.parametrize("what", ["text", "folder", "nothing", "link"])
def test_what_is_no_trail_is_left_alone(what: str, finished: Path, tmp_path: Path) -> None:
    path = tmp_path / "thing"
    if what == "text":
        path.write_text("a shopping list")
    elif what == "folder":
        path.mkdir()
    elif what == "link":
        path.symlink_to(finished)
    for words in (["show"], ["list"], ["trail", "verify"]):
        code, out, err = call(*words, "--trail", path)
        assert (code, out) == (2, ""), words
        assert str(path) in err
    assert path.exists() is (what != "nothing")


def test_the_trail_of_another_unit_is_refused(finished: Path, tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    ward.mkdir()
    copied(ward)
    edit(ward / UNIT, 'code = "W7E"', 'code = "OTHER"')
    edit(ward / UNIT, '"code and pin"', '"code only"')
    told = run(
        "prepare", "ORD-103", "--as", "RN-12", "--lines", "--ward", str(ward),
        "--trail", str(finished), home=tmp_path,
    )  # fmt: skip
    assert told.returncode == 2
    assert "is the trail of unit W7E; this ward is OTHER" in told.stderr


# -- wards ---------------------------------------------------------------------------------------


def test_a_ward_without_faults_is_told_with_what_was_read(tmp_path: Path) -> None:
    copied(tmp_path)
    code, out, err = call("unit", "check", tmp_path)
    assert (code, err) == (0, "")
    assert "Ward 7 East (W7E): no faults" in out
    told = json.loads(call("unit", "check", "--json", tmp_path)[1])
    kept = json.loads((tmp_path / ORDERS).read_text())["orders"]
    assert told["orders"] == len(kept) and told["faults"] == []


def test_every_fault_of_a_ward_is_told_at_once_and_nothing_is_written(tmp_path: Path) -> None:
    copied(tmp_path)
    edit(tmp_path / UNIT, "many_containers = 3", 'many_containers = "three"')
    edit(tmp_path / FORMULARY, 'drug = "naloxone"', 'drug = "naloxon"')
    edit(tmp_path / ORDERS, '"dose": "30 mg"', '"dose": 30')
    there = sorted(tmp_path.iterdir())
    code, out, err = call("unit", "check", tmp_path)
    assert (code, out) == (2, "")
    for file in (UNIT, FORMULARY, ORDERS):
        assert re.search(rf"^{re.escape(file)}, ", err, re.MULTILINE)
    told = json.loads(call("unit", "check", "--json", tmp_path)[1])
    assert {one["file"] for one in told["faults"]} == {UNIT, FORMULARY, ORDERS}
    prepared = run(
        "prepare", "ORD-103", "--as", "RN-12", "--lines", "--ward", str(tmp_path), home=tmp_path
    )
    assert (prepared.returncode, prepared.stdout) == (2, "")
    assert prepared.stderr == err
    assert sorted(tmp_path.iterdir()) == there


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["ORD-999", "--as", "RN-12"], "There is no order 'ORD-999'"),
        (["ORD-103", "--as", "RN-99"], "no member of staff has this code or badge"),
        (["ORD-103", "--as", "RN-12", "--container", "jug"], "no workflow"),
        (["ORD-103", "--as", "RN-12", "--ward", "none"], "There is no such folder"),
        (["ORD-103", "--as", "RN-12", "--trail", "none/t.db"], "There is no folder none"),
    ],
)
def test_what_cannot_be_prepared_is_told_in_a_sentence(
    words: list[str], sentence: str, tmp_path: Path
) -> None:
    told = run("prepare", *words, "--lines", "--practice", home=tmp_path)
    assert (told.returncode, told.stdout) == (2, "")
    assert sentence in told.stderr


# -- workflows -----------------------------------------------------------------------------------


def test_workflows_are_listed_shown_and_drawn() -> None:
    flow = library.workflows()["glass_ampoule"]
    assert "glass_ampoule   Glass ampoule" in call("workflow", "list")[1]
    (row,) = [
        one
        for one in json.loads(call("workflow", "list", "--json")[1])
        if one["name"] == "glass_ampoule"
    ]
    assert row["digest"] == flow.digest
    shown = call("workflow", "show", "glass_ampoule")[1]
    joined = " ".join(shown.split())
    for step in flow.steps:
        assert step.ask in joined
    assert json.loads(call("workflow", "show", "glass_ampoule", "--json")[1])["name"] == flow.name
    brief = call("workflow", "draw", "glass_ampoule")[1]
    full = call("workflow", "draw", "glass_ampoule", "--full")[1]
    assert brief.startswith("stateDiagram-v2\n") and full.startswith("stateDiagram-v2\n")
    assert len(full.splitlines()) > 3 * len(brief.splitlines())
    code, _, err = call("workflow", "show", "teapot")
    assert code == 2 and "There is no workflow 'teapot'" in err


def test_a_workflow_file_is_looked_over(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "workflows", tmp_path / "w")
    file = tmp_path / "w" / "glass_ampoule.toml"
    code, out, _ = call("workflow", "check", file)
    assert code == 0
    assert re.match(r"no faults: [0-9]+ steps, [0-9]+ checks\n", out)
    shared = tmp_path / "w" / "phases" / "open.toml"
    edit(shared, 'if_not = "neck_not_clear"', 'if_not = "neck_not_claer"')
    edit(file, 'title = "Glass ampoule"\n', 'title = "Glass ampoule"\ncolour = "red"\n')
    code, out, err = call("workflow", "check", file)
    assert (code, out) == (1, "")
    assert "colour" in err
    told = json.loads(call("workflow", "check", "--json", file)[1])
    assert len(told["faults"]) == len(err.splitlines())
    assert call("workflow", "check", tmp_path / "none.toml")[0] == 1


# -- words ---------------------------------------------------------------------------------------

# Words that blame, or say nothing; [prop] in the project's wording rules, common practice.
UNWANTED = re.compile(
    r"\b(confirm|error|invalid|failed|failure|wrong|illegal|forgot|abort|are you sure|ok)\b", re.I
)
TO_NURSES = ("answering", "blocks", "breaks", "guided", "handover", "preparing", "demo", "record")


@pytest.mark.parametrize("name", TO_NURSES)
def test_no_word_blames_or_says_nothing(name: str) -> None:
    tree = ast.parse((FACES / f"{name}.py").read_text(encoding="utf-8"))
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    said = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]
    assert said
    assert [text for text in said if UNWANTED.search(text)] == []


TEXT = st.text(
    st.sampled_from("abc 0123456789.,[]{}%\x1b\x07\u202e\u200b") | st.characters(), max_size=120
)


@settings(max_examples=150, deadline=None)
@given(TEXT, st.integers(20, 120))
def test_a_broken_text_loses_nothing_and_steers_nothing(text: str, width: int) -> None:
    shown = lines(text, width, first="  - ")
    assert "".join("".join(shown).split()) == "-" + "".join(harmless(text).split())
    assert not re.search(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u200b-\u200f]", "".join(shown))


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.sampled_from(["0.75 mL", "10 mg/mL", "7.5 mg", "25 Nov 2026", "now", "the dose"])),
    st.integers(20, 60),
)
def test_a_number_stays_with_its_unit_and_a_day_with_its_month(
    parts: list[str], width: int
) -> None:
    shown = lines(" ".join(parts), width)
    for line, after in zip(shown, [*shown[1:], ""], strict=True):
        assert not (line[-1:].isdigit() and re.match(r"(mL|mg|Nov)", after))
        assert len(line) <= width


def test_two_ends_of_a_line_share_it_where_they_fit() -> None:
    assert apart("left", "right", 20) == ["left           right"]
    assert apart("left" * 5, "right", 20) == ["left" * 5, "right"]


def test_data_in_brackets_is_told_as_it_is(finished: Path) -> None:
    """A lot may hold brackets, which a terminal library would take for markup."""
    asked = call("show", "--names", "--as", "PH-2", "--trail", finished, text="270602\n")[1]
    assert ": [red]" in " ".join(asked.split())
    with_colour = run("show", "--trail", str(finished), home=finished.parent, FORCE_COLOR="1")
    without = run("show", "--trail", str(finished), home=finished.parent, NO_COLOR="1")
    assert with_colour.stdout == without.stdout
