"""A folder of facts: Parquet files by table, month and unit, and the list that says which count.

    exported.json                      # which files count, how far each trail was read
    key                                # what pseudonyms are made with; kept apart from what is sent
    preparations/month=2026-01/unit=W7E/...parquet
    steps/..., findings/..., pairs/..., releases/..., breaks/..., amounts/..., codes/...

Files are never changed. A file counts only once `exported.json`, which is swapped in one move,
names it; so an export that was cut short leaves the folder as it was before.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from checklist.extra import wanted
from checklist.facts.row import TABLES, Base, columns

LIST = "exported.json"
HALF = f"{LIST}.half"
KEY = "key"
FORMAT = 2
EXTRA = "analytics"


class FactsFault(Exception):
    """A folder of facts cannot be used as it stands: what was seen, what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class File:
    """One Parquet file: its path under the folder, its rows, SHA-256, and which trail it is of.

    `open` marks rows of preparations that had not come to an end, which the next export replaces.
    """

    table: str
    path: str
    rows: int
    sha256: str
    trail: str
    open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """How far one trail was read: number and digest of the last entry, and what was open then."""

    unit: str
    through: int
    digest: str
    open: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Exported:
    """What counts in a folder: its files, and how far each trail (by its id) was read."""

    files: tuple[File, ...] = ()
    trails: dict[str, Read] = field(default_factory=dict)

    def of(self, table: str) -> tuple[File, ...]:
        """The files of a table."""
        return tuple(each for each in self.files if each.table == table)


class Folder:
    """A folder of facts on disk; see the module. Nothing is made before something is written."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def exported(self) -> Exported:
        """What counts now; nothing for a folder that is new. Raises FactsFault."""
        file = self.path / LIST
        if not file.exists():
            # A list that is half written belongs to an export that is under way or was cut short.
            ours = {KEY, HALF, *TABLES}
            if self.path.is_dir() and any(each.name not in ours for each in self.path.iterdir()):
                raise FactsFault(
                    f"{self.path} holds other things and no {LIST}. Name an empty folder or a new"
                    " one."
                )
            return Exported()
        try:
            read = json.loads(file.read_text(encoding="utf-8"))
            if read["format"] != FORMAT:
                raise FactsFault(
                    f"{file} has the form {read['format']}; this program knows {FORMAT}. Export"
                    " anew into another folder."
                )
            return Exported(
                files=tuple(File(**each) for each in read["files"]),
                trails={
                    id_: Read(**{**one, "open": tuple(one["open"])})
                    for id_, one in read["trails"].items()
                },
            )
        except (OSError, ValueError, KeyError, TypeError) as fault:
            raise FactsFault(
                f"{file} cannot be read as a list of facts ({fault}). Export anew into another"
                " folder; the trail has everything."
            ) from fault

    def key(self) -> bytes:
        """The key of this folder's pseudonyms, made the first time it is asked for."""
        file = self.path / KEY
        if not file.exists():
            self.path.mkdir(parents=True, exist_ok=True)
            handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="ascii") as out:
                out.write(secrets.token_hex(32))
        return bytes.fromhex(file.read_text(encoding="ascii").strip())

    def write(
        self, table: str, rows: Sequence[Base], *, trail: str, name: str, still_open: bool = False
    ) -> tuple[File, ...]:
        """Write rows of one trail as files by month and unit; they do not count yet.

        `name` is the same for the same rows, so that writing again writes the same.
        """
        parts: dict[tuple[str, str], list[Base]] = {}
        for row in rows:
            parts.setdefault((row.month, row.unit), []).append(row)
        return tuple(
            self._part(table, part, trail=trail, name=name, still_open=still_open)
            for _, part in sorted(parts.items())
        )

    def _part(
        self, table: str, rows: Sequence[Base], *, trail: str, name: str, still_open: bool
    ) -> File:
        month, unit = rows[0].month, quote(rows[0].unit, safe="")
        short = hashlib.sha256(trail.encode()).hexdigest()[:8]
        path = f"{table}/month={month}/unit={unit}/{short}-{name}.parquet"
        target = self.path / path
        target.parent.mkdir(parents=True, exist_ok=True)
        half = target.with_suffix(".half")
        write_parquet(half, table, rows)
        found = hashlib.sha256(half.read_bytes()).hexdigest()
        half.replace(target)
        return File(
            table=table, path=path, rows=len(rows), sha256=found, trail=trail, open=still_open
        )

    def commit(self, before: Exported, after: Exported) -> None:
        """Make `after` what counts, and take away files that no longer do.

        Raises FactsFault when another export has been at work since `before` was read.
        """
        if self.exported() != before:
            raise FactsFault(
                f"Another export is at work in {self.path}. Nothing was changed. Try again when"
                " it is done."
            )
        data = {
            "format": FORMAT,
            "trails": {id_: asdict(one) for id_, one in sorted(after.trails.items())},
            "files": [asdict(each) for each in after.files],
        }
        half = self.path / HALF
        with half.open("w", encoding="utf-8") as out:
            out.write(json.dumps(data, indent=1))
            out.flush()
            os.fsync(out.fileno())
        half.replace(self.path / LIST)
        kept = {each.path for each in after.files}
        for each in before.files:
            if each.path not in kept:
                (self.path / each.path).unlink(missing_ok=True)

    def paths(self, table: str) -> list[str]:
        """The files of a table that count, as full paths. Raises FactsFault for a lost one."""
        found = [self.path / each.path for each in self.exported().of(table)]
        for each in found:
            if not each.is_file():
                raise FactsFault(f"The file {each} is gone. Export anew into another folder.")
        return [str(each) for each in found]

    def changed(self) -> list[str]:
        """A sentence for each file that is not as it was written."""
        faults = []
        for each in self.exported().files:
            file = self.path / each.path
            if not file.is_file():
                faults.append(f"{each.path} is gone.")
            elif hashlib.sha256(file.read_bytes()).hexdigest() != each.sha256:
                faults.append(f"{each.path} is not as it was written.")
        return faults


def write_parquet(file: Path, table: str, rows: Sequence[Base]) -> None:
    """Write rows as one Parquet file. Raises NeedsExtra."""
    parquet = wanted("pyarrow.parquet", EXTRA)
    parquet.write_table(arrow(table, rows), file, compression="zstd")


def arrow(table: str, rows: Sequence[Base]) -> Any:
    """Rows as an Arrow table with the columns of their facts table."""
    pyarrow = wanted("pyarrow", EXTRA)
    kinds = {"text": pyarrow.string(), "whole": pyarrow.int64(), "number": pyarrow.float64()}
    form = {name: kinds[kind] for name, kind in columns(table).items()}
    return pyarrow.table(
        {
            name: pyarrow.array([getattr(row, name) for row in rows], type=kind)
            for name, kind in form.items()
        }
    )


def without(exported: Exported, trail: str, *, only_open: bool) -> Exported:
    """What counts without a trail's files, or without those of its open preparations."""
    kept = tuple(
        each for each in exported.files if each.trail != trail or (only_open and not each.open)
    )
    return replace(exported, files=kept)


def with_files(exported: Exported, files: Iterable[File], trail: str, read: Read) -> Exported:
    """What counts with more files of a trail that was read so far."""
    return Exported(files=(*exported.files, *files), trails={**exported.trails, trail: read})
