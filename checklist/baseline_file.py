"""Frozen baselines in a file that only grows: one JSON object a line, each with its reason.

A line holds the series it is for, its version from 1 up, who froze it when and why, and the digest
of the line before, so that a line that was changed, cut out or put in is noticed.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from checklist.review.baseline import Baseline, Exclusion
from checklist.review.series import Bounds, Design, GapCentre, GapCount, Kind
from checklist.review.special_cause import rules_named

FOLDER, FILE = "review", "baselines.jsonl"
"""Where a ward keeps its baselines: in this file of this folder."""


class BaselineFault(Exception):
    """The file of baselines cannot be used. The message says where, and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A baseline as it was kept: the series it is for, by whom and when (UTC)."""

    series: str
    by: str
    at: datetime
    baseline: Baseline


def place(ward: Path) -> Path:
    """The file of a ward's baselines."""
    return ward / FOLDER / FILE


def read(path: Path) -> tuple[Kept, ...]:
    """Every baseline that was kept, oldest first; none where there is no file.

    Raises BaselineFault for a line that is not as it was written, or that cannot be read.
    """
    if not path.exists():
        return ()
    try:
        return _read(path, path.read_bytes())
    except OSError as fault:
        raise BaselineFault(f"{path} cannot be read ({fault.strerror}).") from fault


def keep(path: Path, series: str, frozen: Baseline, *, by: str, at: datetime) -> Kept:
    """Add a baseline to the file as the next version of its series; nothing is ever replaced.

    Raises BaselineFault for a file that is not whole, or a reason, name or series that is empty.
    """
    for name, text in (("reason", frozen.reason), ("name", by), ("series", series)):
        if not text.strip():
            raise BaselineFault(f"A baseline is kept with a {name}. Say it, then freeze again.")
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+b") as file:
        _hold(file)
        file.seek(0)
        whole = file.read()
        known = [one for one in _read(path, whole) if one.series == series]
        kept = Kept(
            series=series,
            by=by,
            at=at.astimezone(UTC),
            baseline=replace(frozen, version=len(known) + 1),
        )
        data = _plain(kept, _digest(whole))
        line = _spelt({**data, "check": _check(data)})
        file.write(line.encode() + b"\n")
        file.flush()
        os.fsync(file.fileno())
    return kept


def of_series(kept: Sequence[Kept], series: str, design: Design) -> tuple[Baseline, ...]:
    """The baselines of a series that were frozen for this design, oldest first."""
    return tuple(
        one.baseline for one in kept if one.series == series and one.baseline.design == design
    )


def _hold(file: BinaryIO) -> None:
    """Let nobody else add a line meanwhile, where the system can."""
    with contextlib.suppress(ImportError):
        import fcntl

        fcntl.flock(file.fileno(), fcntl.LOCK_EX)


def _digest(whole: bytes) -> str:
    """The digest of the last line, "" when there is none."""
    lines = whole.splitlines()
    return hashlib.sha256(lines[-1]).hexdigest() if lines else ""


def _spelt(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, sort_keys=True)


def _check(data: dict[str, Any]) -> str:
    """The digest of a line's own content, so that a change in the last line shows, too."""
    return hashlib.sha256(_spelt(data).encode()).hexdigest()


def _read(path: Path, whole: bytes) -> tuple[Kept, ...]:
    if whole and not whole.endswith(b"\n"):
        raise BaselineFault(f"The last line of {path} is cut off. Put back a copy of the file.")
    found: list[Kept] = []
    before = ""
    for number, line in enumerate(whole.splitlines(), 1):
        try:
            data = json.loads(line)
            kept = _kept(data)
            follows = data["before"] == before and data.pop("check") == _check(data)
        except (KeyError, TypeError, ValueError, AttributeError) as fault:
            raise BaselineFault(
                f"Line {number} of {path} is not a baseline ({fault}). Put back a copy of the file."
            ) from fault
        versions = [one.baseline.version for one in found if one.series == kept.series]
        if not follows or kept.baseline.version != len(versions) + 1:
            raise BaselineFault(
                f"Line {number} of {path} does not follow the one before it: a line was changed,"
                " cut out or put in. Put back a copy of the file."
            )
        found.append(kept)
        before = hashlib.sha256(line).hexdigest()
    return tuple(found)


def _plain(kept: Kept, before: str) -> dict[str, Any]:
    frozen, design = kept.baseline, kept.baseline.design
    return {
        "before": before,
        "series": kept.series,
        "by": kept.by,
        "at": kept.at.isoformat(),
        "version": frozen.version,
        "reason": frozen.reason,
        "design": {
            "kind": str(design.kind),
            "rules": design.rules.name,
            "bounds": None if design.bounds is None else str(design.bounds),
            "centre": str(design.centre),
            "gap": str(design.gap),
            "screened": design.screened,
        },
        "labels": list(frozen.labels),
        "sizes": list(frozen.sizes),
        "excluded": [{"label": one.label, "reason": one.reason} for one in frozen.excluded],
        "centre": frozen.centre,
        "mean": frozen.mean,
        "spread": frozen.spread,
        "sigma_z": frozen.sigma_z,
        "scatter_chance": frozen.scatter_chance,
        "digest": frozen.digest,
    }


def _kept(data: dict[str, Any]) -> Kept:
    design = data["design"]
    frozen = Baseline(
        design=Design(
            kind=Kind(design["kind"]),
            rules=rules_named(design["rules"]),
            bounds=None if design["bounds"] is None else Bounds(design["bounds"]),
            centre=GapCentre(design["centre"]),
            gap=GapCount(design["gap"]),
            screened=bool(design["screened"]),
        ),
        version=int(data["version"]),
        reason=str(data["reason"]),
        labels=tuple(map(str, data["labels"])),
        sizes=tuple(map(float, data["sizes"])),
        excluded=tuple(Exclusion(label=o["label"], reason=o["reason"]) for o in data["excluded"]),
        centre=float(data["centre"]),
        mean=float(data["mean"]),
        spread=_number(data["spread"]),
        sigma_z=_number(data["sigma_z"]),
        scatter_chance=_number(data["scatter_chance"]),
        digest=str(data["digest"]),
    )
    at = datetime.fromisoformat(data["at"])
    return Kept(series=str(data["series"]), by=str(data["by"]), at=at, baseline=frozen)


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)
