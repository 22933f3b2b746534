"""A trail as a file: where it is made, what is refused at its path, and how an archive is read."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from checklist import trail_schema
from checklist.trail import NotATrail, Trail, UnfitEvent
from tests.ward_trail import AT, event, filled, made, plain

PACKAGE = Path(trail_schema.__file__).parent


def test_an_archive_is_read_without_writing_anything_beside_it(tmp_path: Path) -> None:
    path = filled(tmp_path, 6)
    path.chmod(0o400)
    before = path.read_bytes(), path.stat().st_mtime_ns
    with Trail.open(path, read_only=True) as trail:
        assert [len(trail.of(each.id)) for each in trail.preparations()] == [4, 2]
        assert trail.verify().whole
        assert [each.name for each in tmp_path.iterdir()] == ["ward.trail"]
    assert Trail.examine(path).whole
    assert [each.name for each in tmp_path.iterdir()] == ["ward.trail"]
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


def refused_at(path: Path, says: str) -> None:
    for ask in (Trail.open, Trail.examine, lambda p: Trail.open(p, read_only=True)):
        with pytest.raises(NotATrail, match=says):
            ask(path)


def test_what_is_no_trail_is_refused_with_a_sentence_and_left_alone(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    refused_at(tmp_path, "is a folder. Give the path of a trail file in it")
    refused_at(tmp_path / "none.trail", "There is no file")
    refused_at(tmp_path / "no" / "none.trail", "There is no file")
    os.mkfifo(tmp_path / "pipe")
    refused_at(tmp_path / "pipe", "is a device or a pipe")
    (tmp_path / "linked").symlink_to(path)
    refused_at(tmp_path / "linked", "is a link to elsewhere")
    (tmp_path / "empty").touch()
    refused_at(tmp_path / "empty", "is empty: making it was cut short")
    unfinished = plain(tmp_path / "unfinished")
    unfinished.execute("PRAGMA journal_mode = WAL")
    unfinished.close()
    refused_at(tmp_path / "unfinished", "is empty: making it was cut short")
    (tmp_path / "note").write_text("Not a database at all. " * 40)
    refused_at(tmp_path / "note", "is not a trail")
    other = plain(tmp_path / "other.db")
    other.execute("CREATE TABLE entries (seq INTEGER)")
    other.close()
    refused_at(tmp_path / "other.db", "belongs to another program")
    (tmp_path / "second").hardlink_to(path)
    refused_at(path, "has a second name on this disk")
    (tmp_path / "second").unlink()
    assert Trail.examine(path).whole


def test_a_trail_of_a_later_form_is_refused_untouched(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    db = plain(path)
    db.execute("PRAGMA user_version = 3")
    db.close()
    before = path.read_bytes()
    refused_at(path, "has the form number 3; this program knows none above 2")
    assert path.read_bytes() == before


def test_a_new_trail_never_takes_the_place_of_anything(tmp_path: Path) -> None:
    path = filled(tmp_path, 2)
    before = path.read_bytes()
    with pytest.raises(NotATrail, match="There is already a file"):
        made(tmp_path)
    assert path.read_bytes() == before
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    with pytest.raises(NotATrail, match="There is already a file"):
        made(tmp_path, "dangling")
    (tmp_path / "new.trail-wal").write_bytes(b"left by another trail")
    with pytest.raises(NotATrail, match=r"There is already a file .*new\.trail-wal"):
        made(tmp_path, "new.trail")
    with pytest.raises(NotATrail, match="There is no folder"):
        made(tmp_path / "none")
    with pytest.raises(UnfitEvent, match="The trail's id has 0 characters"):
        Trail.create(tmp_path / "new", trail_id="", unit="W7E", at=AT)
    assert not (tmp_path / "new").exists()


def test_a_name_with_odd_characters_is_a_plain_file_name(tmp_path: Path) -> None:
    with made(tmp_path, "Ward 7 É?mode=memory#x%20.trail") as trail:
        trail.append(event(1))
    assert [p.name for p in tmp_path.iterdir()] == ["Ward 7 É?mode=memory#x%20.trail"]


def sources() -> dict[str, ast.Module]:
    return {
        path.relative_to(PACKAGE).as_posix(): ast.parse(path.read_text())
        for path in PACKAGE.rglob("*.py")
    }


def calls(tree: ast.Module) -> set[str]:
    functions = (node.func for node in ast.walk(tree) if isinstance(node, ast.Call))
    return {f.attr if isinstance(f, ast.Attribute) else getattr(f, "id", "") for f in functions}


def test_only_the_trail_makes_an_entry_and_nothing_transforms_a_table() -> None:
    called = {name: calls(tree) for name, tree in sources().items()}
    assert [name for name, names in called.items() if "Entry" in names] == ["trail.py"]
    assert [name for name, names in called.items() if "transform" in names] == []


def test_sqlite_utils_is_imported_only_where_a_trail_is_made() -> None:
    for name in ("trail.py", "trail_reading.py", "trail_schema.py", "trail_verification.py"):
        assert "sqlite_utils" not in (PACKAGE / name).read_text()
    top = sources()["trail_file.py"].body
    imports = [node for node in top if isinstance(node, (ast.Import, ast.ImportFrom))]
    assert "sqlite_utils" not in [getattr(node, "module", "") for node in imports]
    probe = "import sys, checklist.trail; sys.exit('sqlite_utils' in sys.modules)"
    ended = subprocess.run([sys.executable, "-c", probe], cwd=PACKAGE.parent, check=False)
    assert ended.returncode == 0
