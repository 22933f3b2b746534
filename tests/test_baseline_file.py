"""Frozen baselines in their file: nothing is replaced, and a change in the file is noticed."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from checklist import baseline_file
from checklist.baseline_file import BaselineFault
from checklist.review import baseline, phasing
from checklist.review.baseline import Baseline, Exclusion
from checklist.review.series import Bounds, Design, Kind, Point
from checklist.review.special_cause import WESTERN_ELECTRIC

AT = datetime(2026, 11, 25, 14, tzinfo=UTC)
DESIGN = Design(kind=Kind.P)


def line(start: int = 0, design: Design = DESIGN) -> Baseline:
    """A line frozen on twelve points, one of them left out."""
    counts = [3, 5, 2, 4, 6, 3, 5, 4, 2, 5, 3, 4]
    points = [Point(label=f"{start + i:02d}", count=n, size=50 + i) for i, n in enumerate(counts)]
    out = [Exclusion(label=points[4].label, reason="bank staff")]
    return baseline.freeze(design, points, reason="before the new shelf", excluded=out)


@pytest.mark.parametrize(
    "design",
    [DESIGN, Design(kind=Kind.U, rules=WESTERN_ELECTRIC), Design(kind=Kind.P, bounds=Bounds.EXACT)],
)
def test_what_was_kept_comes_back_to_the_last_digit(tmp_path: Path, design: Design) -> None:
    path = baseline_file.place(tmp_path)
    kept = baseline_file.keep(path, "stopped / W7E", line(design=design), by="QI-1", at=AT)
    assert baseline_file.read(path) == (kept,)
    assert kept.baseline == line(design=design)


def test_a_new_line_is_the_next_version_and_the_old_one_stays(tmp_path: Path) -> None:
    path = baseline_file.place(tmp_path)
    baseline_file.keep(path, "a", line(), by="QI-1", at=AT)
    first = path.read_bytes()
    baseline_file.keep(path, "b", line(), by="QI-1", at=AT)
    baseline_file.keep(path, "a", line(20), by="QI-2", at=AT)
    assert path.read_bytes().startswith(first)
    kept = baseline_file.read(path)
    assert [(one.series, one.baseline.version) for one in kept] == [("a", 1), ("b", 1), ("a", 2)]
    assert [one.version for one in baseline_file.of_series(kept, "a", DESIGN)] == [1, 2]
    assert baseline_file.of_series(kept, "a", Design(kind=Kind.U)) == ()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"bank staff", b"bank Staff"),
        (b'"version": 1', b'"version": 3'),
        (b"QI-1", b"QI-9"),
        (b'"kind": "p"', b'"kind": "q"'),
        (b"{", b"["),
    ],
)
@pytest.mark.parametrize("lines", [1, 2])
def test_a_changed_line_is_noticed(tmp_path: Path, old: bytes, new: bytes, lines: int) -> None:
    path = baseline_file.place(tmp_path)
    for _ in range(lines):
        baseline_file.keep(path, "a", line(), by="QI-1", at=AT)
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    with pytest.raises(BaselineFault, match="Put back a copy"):
        baseline_file.read(path)


def test_a_line_cut_out_or_cut_off_is_noticed(tmp_path: Path) -> None:
    path = baseline_file.place(tmp_path)
    for _ in range(3):
        baseline_file.keep(path, "a", line(), by="QI-1", at=AT)
    lines = path.read_bytes().splitlines(keepends=True)
    for whole in (lines[0] + lines[2], lines[1] + lines[2], b"".join(lines)[:-5]):
        path.write_bytes(whole)
        with pytest.raises(BaselineFault):
            baseline_file.read(path)
        with pytest.raises(BaselineFault):
            baseline_file.keep(path, "a", line(), by="QI-1", at=AT)


@pytest.mark.parametrize(("series", "by"), [("", "QI-1"), ("a", " ")])
def test_a_baseline_without_a_name_is_not_kept(tmp_path: Path, series: str, by: str) -> None:
    with pytest.raises(BaselineFault):
        baseline_file.keep(baseline_file.place(tmp_path), series, line(), by=by, at=AT)
    assert baseline_file.read(baseline_file.place(tmp_path)) == ()


LABELS = [f"{i:02d}" for i in range(40)]


def test_a_phase_begins_where_the_rules_change_and_keeps_the_line_that_is_its_own() -> None:
    found = phasing.phases(LABELS, {"25": "new rules: glass_ampoule 2"}, [line(0), line(26)])
    assert [(one.start, one.reason) for one in found] == [
        ("00", phasing.START),
        ("25", "new rules: glass_ampoule 2"),
    ]
    assert [one.baseline and one.baseline.labels[0] for one in found] == ["00", "26"]


def test_a_line_frozen_later_begins_a_phase_and_one_from_before_is_the_firsts() -> None:
    found = phasing.phases(LABELS[12:], {}, [line(0), line(20)])
    assert [one.start for one in found] == ["12", "20"]
    assert [one.baseline and one.baseline.labels[0] for one in found] == ["00", "20"]


def test_a_change_at_the_last_point_waits_for_a_second_one() -> None:
    assert len(phasing.phases(LABELS, {"39": "new rules"}, [])) == 1
    assert len(phasing.phases(LABELS, {"38": "new rules"}, [])) == 2
    assert len(phasing.phases(LABELS, {"38x": "new rules"}, [])) == 1
