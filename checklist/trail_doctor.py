"""The doctor of a trail: what a machine and a file are like, beside what keeps a trail safe.

Each look gives one line: what was seen, what is expected, and what to do where the two differ.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import stat
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from checklist import codec
from checklist import trail_file as file
from checklist import trail_verification as verifying
from checklist.timing import said_span
from checklist.trail_fault import TrailFault

# The fault in resetting the write-ahead log, when two connections write or fold it in at once: in
# 3.7.0 to 3.51.2, mended in 3.51.3 of 13 March 2026 (SQLite release notes).
MENDED = (3, 51, 3)
# Kinds of file system on which locks or the shared memory of the log do not hold between machines.
# SQLite, "Write-Ahead Logging" and "How To Corrupt An SQLite Database File"; the names are Linux's.
ELSEWHERE = frozenset((
    "9p", "afs", "beegfs", "ceph", "cifs", "coda", "fuse.glusterfs", "fuse.rclone", "fuse.s3fs",
    "fuse.sshfs", "glusterfs", "gpfs", "lustre", "ncpfs", "nfs", "nfs4", "orangefs", "smb3",
    "smbfs", "vboxsf",
))  # fmt: skip
FLEETING = frozenset(("ramfs", "tmpfs"))
# Common practice, no source.
LEAST_FREE = 256 * 1024 * 1024
MOST_LOG = 16 * 1024 * 1024
BACKUP_AGE = timedelta(days=1)
HEAD_AGE = timedelta(hours=12)
CLOCK_STEP = timedelta(minutes=2)
_REFERENCE = re.compile(r'"sealed:([^"]+)"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look: `what` was looked at, what was `seen` and is `expected`; `do` is "" when right."""

    what: str
    seen: str
    expected: str
    do: str = ""

    @property
    def right(self) -> bool:
        """Whether what was seen is what is expected."""
        return not self.do


def looks(path: Path, *, now: datetime) -> Iterator[Look]:
    """Look at everything around a trail, the file's content last; `now` is an aware UTC time.

    Nothing is written to the trail. The locks are tried on a file of their own in its folder.
    """
    place = file.existing(path)
    yield library(sqlite3.sqlite_version_info[:3])
    yield kind_of_disk(place.parent, mounts())
    yield locks(place.parent)
    yield free(shutil.disk_usage(place.parent).free)
    yield permissions(place)
    yield log_size(place)
    try:
        with closing(_opened(place)) as db:
            yield from settings(db)
            yield clock(_moments(db), now)
            yield last_backup(_last(db, "backed_up"), now)
            yield sealed_texts(db)
            found = verifying.verification(db)
    except TrailFault as fault:
        yield Look(what="content", seen=str(fault), expected="a trail that can be read", do=CALL)
        return
    yield content(found)


CALL = "Stop using this trail, leave the file as it is, and call IT."


def library(version: tuple[int, ...]) -> Look:
    """The SQLite library: one that has the known fault is safe with one writing program only."""
    seen = ".".join(map(str, version))
    mended = version >= MENDED
    return Look(
        what="SQLite library",
        seen=seen,
        expected=f"{'.'.join(map(str, MENDED))} or later",
        do=""
        if mended
        else "3.7.0 to 3.51.2 can damage the file when two programs write at once. Let one program"
        " write at a time, make checkpoints and backups, and ask IT for a later library.",
    )


def settings(db: sqlite3.Connection) -> Iterator[Look]:
    """How the file is written to: its journal, how far each write is brought to the disk."""
    for what, pragma, right, words in (
        ("journal", "journal_mode", ("wal", "delete"), "wal, or delete for a copy at rest"),
        ("disk sync", "synchronous", (2, 3), "2 (full) or 3 (extra)"),
    ):
        (found,) = db.execute(f"PRAGMA {pragma}").fetchone()
        do = "" if found in right else f"Close every program on the trail and open it again; {CALL}"
        yield Look(what=what, seen=str(found), expected=words, do=do)


def mounts() -> dict[str, str]:
    """Where each file system is mounted, and its kind; empty where the system does not say."""
    try:
        lines = Path("/proc/self/mountinfo").read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    found = {}
    for line in lines:
        before, _, after = line.partition(" - ")
        where = before.split(" ")[4].encode("ascii", "replace").decode("unicode_escape")
        found[where] = after.split(" ")[0]
    return found


def kind_of_disk(folder: Path, mounted: dict[str, str]) -> Look:
    """The kind of file system that a folder lies on."""
    real = folder.resolve()
    above = [str(one) for one in (real, *real.parents) if str(one) in mounted]
    kind = mounted[above[0]] if above else ""
    do = ""
    if kind in ELSEWHERE:
        do = "Locks do not hold there between machines. Move the trail to a disk of this machine."
    elif kind in FLEETING:
        do = "It is empty after a restart. Move the trail to a disk of this machine."
    return Look(
        what="file system",
        seen=kind or "not said by this system",
        expected="a disk of this machine",
        do=do,
    )


HOLDER = """
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], uri=True, isolation_level=None)
db.execute("BEGIN IMMEDIATE")
db.execute("INSERT INTO tried VALUES (1)")
print("held", flush=True)
sys.stdin.read()
db.execute("ROLLBACK")
"""


def locks(folder: Path, *, vfs: str = "") -> Look:
    """Whether a lock that another process holds on a file in this folder is felt here.

    `vfs` names another way of SQLite to the file system, for a test of this very look.
    """
    expected = "one writer at a time"
    try:
        with TemporaryDirectory(prefix=".locks-", dir=folder) as scratch:
            felt = _felt(Path(scratch) / "tried", vfs)
    except (OSError, sqlite3.Error, subprocess.SubprocessError) as error:
        do = "Let this user write in the folder, or run this as the user of the trail."
        return Look(what="locks", seen=f"not tried ({error})", expected=expected, do=do)
    do = "" if felt else "Locks do not work here. Move the trail to a disk of this machine."
    seen = "one writer at a time" if felt else "two writers at once"
    return Look(what="locks", seen=seen, expected=expected, do=do)


def _felt(path: Path, vfs: str) -> bool:
    uri = path.absolute().as_uri() + (f"?vfs={vfs}" if vfs else "")
    with closing(sqlite3.connect(uri, uri=True, isolation_level=None, timeout=0)) as db:
        db.execute("CREATE TABLE tried (one INTEGER)")
        with subprocess.Popen(
            [sys.executable, "-I", "-c", HOLDER, uri],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as holder:
            assert holder.stdout is not None
            if holder.stdout.readline() != "held\n":
                raise OSError("a second process could not open a file here")
            try:
                db.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                return error.sqlite_errorcode == sqlite3.SQLITE_BUSY
            finally:
                holder.communicate("")
            db.execute("ROLLBACK")
            return False


def free(left: int) -> Look:
    """Room on the disk, in bytes."""
    short = not left >= LEAST_FREE
    return Look(
        what="disk space",
        seen=_mib(left),
        expected=f"{_mib(LEAST_FREE)} or more",
        do="Make room on this disk before the next preparation." if short else "",
    )


def permissions(place: Path) -> Look:
    """Who may read and write the trail, and who may take it out of its folder."""
    found = place.stat()
    around = place.parent.stat().st_mode
    open_to = []
    if found.st_mode & 0o077:
        open_to.append("the file is open to others")
    if around & 0o002 and not around & stat.S_ISVTX:
        open_to.append("anybody may remove it from its folder")
    if hasattr(os, "geteuid") and os.geteuid() not in (0, found.st_uid):
        open_to.append("it belongs to another user")
    return Look(
        what="permissions",
        seen=f"{stat.filemode(found.st_mode)}{''.join(f'; {one}' for one in open_to)}",
        expected="-rw------- and a folder of its own",
        do=f"As the trail's user: chmod 600 {place.name}; keep it in a folder that only this user"
        " may write to."
        if open_to
        else "",
    )


def log_size(place: Path) -> Look:
    """The write-ahead log: a long one means that something reads the trail and never lets go."""
    log = file.companions(place)[0]
    size = log.stat().st_size if log.is_file() else 0
    return Look(
        what="write-ahead log",
        seen=_mib(size),
        expected=f"at most {_mib(MOST_LOG)}",
        do="" if size <= MOST_LOG else "Close what reads the trail, such as a report left open.",
    )


def clock(moments: Iterable[tuple[int, datetime]], now: datetime) -> Look:
    """The clock against the entries' numbers and times: never before the last, seldom gone back."""
    last: datetime | None = None
    steps, longest, where = 0, CLOCK_STEP, 0
    for seq, at in moments:
        if last is not None and last - at > CLOCK_STEP:
            steps += 1
            longest, where = max((longest, where), (last - at, seq))
        last = at
    seen = f"{now:%Y-%m-%d %H:%M:%S} UTC"
    do = ""
    if last is not None and not now >= last - CLOCK_STEP:
        seen += f", the last entry {last:%Y-%m-%d %H:%M:%S}"
        do = "Set the clock of this machine before the next preparation."
    elif steps:
        seen += f"; went back {steps} times, most by {said_span(longest)} at entry {where}"
        do = "Ask IT to have the clock set by a time server. The order is that of the entries."
    return Look(what="clock", seen=seen, expected="after the last entry, never back", do=do)


def last_backup(made: datetime | None, now: datetime) -> Look:
    """How long ago a backup was recorded, None for never."""
    late = not (made is not None and now - made <= BACKUP_AGE)
    return Look(
        what="last backup",
        seen="none recorded" if made is None else f"{said_span(now - made)} ago",
        expected=f"within {said_span(BACKUP_AGE)}",
        do="checklist trail backup FILE, to another disk." if late else "",
    )


def sealed_texts(db: sqlite3.Connection) -> Look:
    """The texts kept apart: each is there, or an entry says by whose act it was erased."""
    named: set[str] = set()
    erased: set[str] = set()
    for kind, body in db.execute("SELECT kind, body FROM main.entries"):
        named.update(_REFERENCE.findall(body))
        if kind == "erased":
            erased.update(codec.body(body)["references"])
    there = {reference for (reference,) in db.execute("SELECT reference FROM main.private")}
    lost = named - there - erased
    seen = f"{len(there)} kept, {len(erased)} erased"
    return Look(
        what="texts kept apart",
        seen=f"{seen}, {len(lost)} gone without an entry" if lost else seen,
        expected="each kept, or erased by an entry",
        do=f"Somebody took them out behind this program's back. {CALL}" if lost else "",
    )


def outside(key: Path, head: Path | None, *, behind: int, now: datetime) -> Iterator[Look]:
    """The key that signs the trail's heads, and the newest head kept outside the trail.

    `head` is its file, None for none; `behind` is how many entries were recorded after it.
    """
    do, seen = "", str(key)
    if not key.is_file():
        seen, do = (
            f"none in {key.parent}",
            "checklist trail checkpoint makes one, and signs a head.",
        )
    elif os.name == "posix" and key.stat().st_mode & 0o077:
        seen, do = f"{key}, open to others", f"chmod 600 {key}, and ask IT who had it."
    yield Look(what="signing key", seen=seen, expected="one, for this user alone", do=do)
    seen, late = "none", behind > 0
    if head is not None:
        age = now - datetime.fromtimestamp(head.stat().st_mtime, UTC)
        seen = f"{said_span(age)} ago, {behind} entries before the last"
        late = behind > 0 and not age <= HEAD_AGE
    yield Look(
        what="last checkpoint",
        seen=seen,
        expected=f"within {said_span(HEAD_AGE)}, where anything was recorded since",
        do="checklist trail checkpoint, and keep what it prints elsewhere." if late else "",
    )


def content(found: verifying.Verification) -> Look:
    """Whether every entry is as it was recorded."""
    seen = f"{found.entries} entries, whole" if found.whole else "not as it was recorded"
    return Look(
        what="content",
        seen=seen,
        expected="every entry as it was recorded",
        do="" if found.whole else f"checklist trail verify says what is amiss. {CALL}",
    )


def _moments(db: sqlite3.Connection) -> Iterator[tuple[int, datetime]]:
    for seq, at in db.execute("SELECT seq, at FROM main.entries ORDER BY seq"):
        yield seq, codec.time_in(at)


def _last(db: sqlite3.Connection, kind: str) -> datetime | None:
    sql = "SELECT at FROM main.entries WHERE kind = ? ORDER BY seq DESC LIMIT 1"
    found = db.execute(sql, (kind,)).fetchone()
    return None if found is None else codec.time_in(found[0])


def _mib(size: int) -> str:
    return f"{size / (1 << 20):,.1f} MiB"


def _opened(place: Path) -> sqlite3.Connection:
    return file.opened(place, how=file.way_to_read(place), patience_ms=file.PATIENCE_MS)
