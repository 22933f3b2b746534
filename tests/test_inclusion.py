"""One preparation proved to a program that shares no code with the rest, run on its own."""

from __future__ import annotations

import ast
import copy
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from checklist.inclusion import NotCovered, proof_of
from checklist.note import note_in
from tests.faces import run
from tests.notaries import key_of, notarised, notary
from tests.ward_trail import event, fill, made

PROGRAM = Path(__file__).parents[1] / "checklist" / "independent" / "check_proof.py"
Proof = dict[str, Any]


def checked(
    folder: Path, proof: Proof | str, key: str, *more: str
) -> subprocess.CompletedProcess[str]:
    """The independent program, where neither this project nor its folder can be imported."""
    file = folder / "proof.json"
    file.write_text(proof if isinstance(proof, str) else json.dumps(proof), "utf-8")
    program = folder / "check_proof.py"
    program.write_text(PROGRAM.read_text("utf-8"), "utf-8")
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    return subprocess.run(
        [sys.executable, "-P", str(program), str(file), "--key", key, *more],
        capture_output=True, text=True, cwd=folder, env=kept, timeout=60, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def proved(tmp_path_factory: pytest.TempPathFactory) -> tuple[Proof, str]:
    """A whole preparation with witnessed steps, and its key."""
    folder = tmp_path_factory.mktemp("proved")
    scene = notarised(folder, "ORD-101")
    scene.finish()
    assert scene.station.notary is not None
    note = scene.station.notary.checkpoint()
    assert note is not None
    key = key_of(folder, scene.trail)
    proof = proof_of(scene.trail, scene.id, note, key)
    scene.trail.close()
    return proof, str(key)


def test_the_program_is_short_and_imports_one_package_beside_the_standard_library() -> None:
    text = PROGRAM.read_text("utf-8")
    assert len(text.splitlines()) <= 120
    imported = {
        (node.module if isinstance(node, ast.ImportFrom) else node.names[0].name) or ""
        for node in ast.walk(ast.parse(text))
        if isinstance(node, (ast.Import, ast.ImportFrom))
    }
    others = {one.partition(".")[0] for one in imported} - set(sys.stdlib_module_names)
    assert others == {"cryptography"}


def test_a_preparation_is_proved_without_the_trail(
    tmp_path: Path, proved: tuple[Proof, str]
) -> None:
    proof, key = proved
    found = checked(tmp_path, proof, key)
    assert (found.returncode, found.stderr) == (0, "")
    lines = found.stdout.splitlines()
    assert lines[-1] == "All of it stands in the trail whose head was signed."
    assert len(lines) == len(proof["entries"]) + 1
    assert any("signed: witnessed" in line for line in lines)


def test_the_program_imports_nothing_of_the_project(tmp_path: Path) -> None:
    program = (
        "import runpy, sys; runpy.run_path(sys.argv[1]);"
        "print([name for name in sys.modules if name.startswith('checklist')])"
    )
    found = subprocess.run(
        [sys.executable, "-P", "-c", program, str(PROGRAM)],
        capture_output=True, text=True, cwd=tmp_path, timeout=60, check=True,
    )  # fmt: skip
    assert found.stdout.strip() == "[]"


def of(proof: Proof, seq: int) -> Proof:
    return next(one for one in proof["entries"] if one["seq"] == seq)


def content_changed(proof: Proof) -> None:
    one = proof["entries"][5]
    one["content"] = one["content"].replace("RN-12", "RN-99")


def signature_at(proof: Proof) -> int:
    return next(
        n for n, one in enumerate(proof["entries"]) if json.loads(one["content"])[5] == "signed"
    )


def swapped(proof: Proof) -> None:
    entries = proof["entries"]
    entries[3], entries[4] = entries[4], entries[3]


def path_changed(proof: Proof) -> None:
    path = proof["entries"][2]["path"]
    path[0] = "00" * 32


def path_longer(proof: Proof) -> None:
    proof["entries"][2]["path"].append("00" * 32)


def path_shorter(proof: Proof) -> None:
    proof["entries"][2]["path"].pop()


def entry_left_out(proof: Proof) -> None:
    del proof["entries"][4]


def first_left_out(proof: Proof) -> None:
    del proof["entries"][0]


def all_left_out(proof: Proof) -> None:
    proof["entries"] = []


def other_number(proof: Proof) -> None:
    proof["entries"][2]["seq"] += 1


def other_preparation(proof: Proof) -> None:
    proof["preparation"] = "another"


def other_trail(proof: Proof) -> None:
    proof["trail"] = "another"


def size_changed(proof: Proof) -> None:
    lines = proof["checkpoint"].split("\n")
    lines[1] = str(int(lines[1]) + 1)
    proof["checkpoint"] = "\n".join(lines)


def root_changed(proof: Proof) -> None:
    lines = proof["checkpoint"].split("\n")
    lines[2] = "A" + lines[2][1:] if lines[2][0] != "A" else "B" + lines[2][1:]
    proof["checkpoint"] = "\n".join(lines)


def unsigned(proof: Proof) -> None:
    proof["checkpoint"] = proof["checkpoint"].rpartition("\n\n")[0] + "\n\n"


def other_form(proof: Proof) -> None:
    proof["form"] = "checklist inclusion 2"


def signature_moved(proof: Proof) -> None:
    at = signature_at(proof)
    entries = proof["entries"]
    entries.insert(1, entries.pop(at))


@pytest.mark.parametrize(
    "change",
    [
        content_changed, swapped, path_changed, path_longer, path_shorter, entry_left_out,
        first_left_out, all_left_out, other_number, other_preparation, other_trail, size_changed,
        root_changed, unsigned, other_form, signature_moved,
    ],
)  # fmt: skip
def test_a_proof_that_was_tampered_with_is_refused(
    tmp_path: Path, proved: tuple[Proof, str], change: Callable[[Proof], None]
) -> None:
    proof, key = copy.deepcopy(proved[0]), proved[1]
    change(proof)
    found = checked(tmp_path, proof, key)
    assert found.returncode == 1
    assert found.stderr.startswith("Not proved (") and "Traceback" not in found.stderr
    assert "All of it" not in found.stdout


def test_another_key_or_no_json_proves_nothing(tmp_path: Path, proved: tuple[Proof, str]) -> None:
    proof, key = proved
    with made(tmp_path, "x.db") as other:
        stranger = str(key_of(tmp_path, other))
    renamed = stranger.replace("7e-2026", "T-1")
    for given in (stranger, renamed, "", "a+b", key[:-1] + "A", "é" + key):
        assert checked(tmp_path, proof, given).returncode == 1
    for text in ("", "[]", "{", "null", '{"form": 1}', "[" * 5_000):
        assert checked(tmp_path, text, key).returncode == 1


def test_nothing_of_another_preparation_is_in_a_proof(proved: tuple[Proof, str]) -> None:
    for one in proved[0]["entries"]:
        array = json.loads(one["content"])
        assert array[3] in (proved[0]["preparation"], "")
        assert array[3] or array[5] == "signed"


def test_a_head_that_does_not_reach_far_enough_proves_nothing(tmp_path: Path) -> None:
    with made(tmp_path) as trail:
        fill(trail, 4)
        early = notary(tmp_path, trail).checkpoint()
        trail.append(event(90, "prep-9"))
        assert early is not None
        with pytest.raises(NotCovered, match="covers 4 entries"):
            proof_of(trail, "prep-9", early, key_of(tmp_path, trail))
        proof = proof_of(trail, "prep-1", early, key_of(tmp_path, trail))
        assert note_in(proof["checkpoint"]) == early
        assert len(proof["entries"]) == 4


def test_the_command_writes_a_proof_that_holds_and_keeps_a_file_that_is_there(
    tmp_path: Path,
) -> None:
    with made(tmp_path) as trail:
        fill(trail, 8)
    where = ["--trail", str(tmp_path / "ward.trail")]
    to = tmp_path / "out.json"
    done = run("trail", "prove", "prep-2", *where, "--to", str(to), home=tmp_path)
    assert done.returncode == 0, done.stderr
    key = run("trail", "key", *where, home=tmp_path).stdout.strip()
    assert checked(tmp_path, to.read_text("utf-8"), key).returncode == 0
    again = run("trail", "prove", "prep-2", *where, "--to", str(to), home=tmp_path)
    assert again.returncode == 2 and "There is a file" in again.stderr
    out = run("trail", "prove", "prep-1", *where, home=tmp_path)
    assert checked(tmp_path, out.stdout, key).returncode == 0
