"""What verifying, signing and keeping heads cost, against their bare parts run beside them.

Run it: python -m tests.benchmarks.trail_heads [ENTRIES]. Verification is set against reading all
rows alone plus hashing their bytes alone (goal: at most 1.5 times their sum); a head against the
entries since the last one and against building the tree anew; an entry with a signature against
one without. Least of several rounds each, in time on the clock.
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from checklist import trail_reading as reading
from checklist import trail_schema as schema
from checklist import trail_verification as verifying
from checklist.chain import Head, Row, digest, entry_bytes
from checklist.heads import Heads
from checklist.merkle import Frontier, Tree
from checklist.notary import Notary
from checklist.note import origin_of
from checklist.signing import Keys
from checklist.trail import Trail
from checklist.trail_file import TO_WRITE, opened
from tests.ward_trail import event, made, plain

BODY = (
    '{{"checks":[["the_hands_are_the_right_ones","pass"],["entries_are_read","pass"],'
    '["drawn_volume_is_the_target","pass"]],"not_compared":[],"notes":[],"reasons":[],'
    '"seen":{{"drawn_volume":{{"channel":"typed","raw":"{0}","value":{{"quantity":"0.75 mL"}}}}}}}}'
)
ROUNDS = 3


def least(act: Callable[[], object], times: int = ROUNDS) -> float:
    """The least time of an act, in seconds."""
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        act()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def filled_at_once(folder: Path, count: int) -> Path:
    """A trail of so many entries as a ward makes them, written without syncing each."""
    with made(folder) as trail:
        origin, path = trail.origin, trail.path

    def rows() -> Iterator[Row]:
        last = origin.genesis
        for seq in range(1, count + 1):
            prep, turn = divmod(seq - 1, 40)
            at = f"2026-11-25T{seq // 3600 % 24:02d}:{seq // 60 % 60:02d}:{seq % 60:02d}.123456Z"
            row = Row(
                seq, f"{seq:032x}", f"prep-{prep:027d}", turn, "passed" if turn else "opened",
                "draw_up" if turn else "", "draw_up/next", at, "RN-12", "S1", "typed",
                BODY.format(seq), last, b"",
            )  # fmt: skip
            last = digest(entry_bytes(origin.id, row))
            yield row._replace(digest=last)

    db = plain(path)
    db.execute("PRAGMA synchronous = OFF")
    db.execute("BEGIN")
    db.executemany(schema.INSERT, rows())
    db.execute("COMMIT")
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.close()
    return path


def verification(path: Path) -> None:
    """The chain of a trail, and the whole of its verification, against reading and hashing."""
    db = opened(path, how=TO_WRITE, patience_ms=1_000)
    origin = reading.origin(db)
    end = reading.last(db, origin).seq
    everything = f"SELECT {schema.COLUMNS} FROM main.entries ORDER BY seq"
    some = min(end, 200_000)
    contents = [b"\x00" + entry_bytes(origin.id, row) for row in reading.rows(db, 0, some)]

    def read() -> None:
        for _ in db.execute(everything):
            pass

    def hashed() -> None:
        for content in contents:
            hashlib.sha256(content).digest()

    def chain() -> None:
        assert verifying.break_after(db, origin, Head(0, origin.genesis), end) is None

    times = {act: least(act) for act in (read, hashed, chain)}
    base = times[read] + times[hashed] * end / some
    print(
        f"chain of {end:,} entries: {times[chain]:.2f} s; reading {times[read]:.2f} s plus hashing"
        f" {times[hashed] * end / some:.2f} s; ratio {times[chain] / base:.2f} (goal at most 1.5)"
    )
    check = least(lambda: db.execute("PRAGMA integrity_check").fetchall(), 1)
    whole = least(lambda: Trail.examine(path), 1)
    print(f"all of verification: {whole:.2f} s, of which SQLite's own check {check:.2f} s")
    db.close()


def heads(path: Path, folder: Path) -> None:
    """A head with its folder at hand, one that finds only the folder, and a tree built anew."""
    with Trail.open(path) as trail:
        keys = Keys(folder / "keys")
        keeping = Notary(trail, keys, Heads(folder / "heads", origin_of(trail.origin.id)))
        first = least(keeping.checkpoint, 1)
        numbers = iter(range(10))

        def after_one() -> float:
            trail.append(event(10**9 + next(numbers), f"later-{time.perf_counter_ns()}"))
            return least(keeping.checkpoint, 1)

        def found_anew() -> float:
            trail.append(event(10**9 + next(numbers), f"later-{time.perf_counter_ns()}"))
            kept = Heads(folder / "heads", origin_of(trail.origin.id))
            return least(Notary(trail, keys, kept).checkpoint, 1)

        one = min(after_one() for _ in range(4))
        other = min(found_anew() for _ in range(4))
        leaves = b"".join(found for _, found in trail.digests())
    tree = least(lambda: Tree(leaves).root(), 1)
    edge = Frontier()
    for at in range(0, len(leaves), 32):
        edge.add(leaves[at : at + 32])
    print(
        f"a head after one more of {len(leaves) // 32:,} entries: {one * 1000:.2f} ms; in a new"
        f" process {other * 1000:.2f} ms; the first {first:.2f} s; the tree anew {tree:.2f} s;"
        f" the root from its edge {least(edge.root) * 1e6:.0f} us"
    )


def signed_entries(folder: Path) -> None:
    """An entry with its signature against one without, each in one durable transaction."""
    with made(folder, "signed.trail") as trail:
        keeping = Notary(trail, Keys(folder / "keys"), Heads(folder / "heads-2", "x"))
        keeping.attest(event(0, kind="proceeded", turn=1))
        times: dict[bool, list[float]] = {False: [], True: []}
        for number in range(1, 201):
            for signed in times:
                prep = f"prep-{number}-{signed}"
                trail.append(event(10 * number + signed, prep))
                act = event(10 * number + 5 + signed, prep, 1, kind="proceeded")
                attest = keeping.attest(act) if signed else None
                begun = time.perf_counter()
                trail.append(act, attest=attest)
                times[signed].append(time.perf_counter() - begun)
    with_, without = (sorted(times[one])[100] * 1000 for one in (True, False))
    print(
        f"an entry signed: {with_:.2f} ms; unsigned: {without:.2f} ms; ratio {with_ / without:.2f}"
    )


def main(count: int = 1_000_000) -> None:
    """Print one line for each."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = filled_at_once(folder, count)
        verification(path)
        heads(path, folder)
        signed_entries(folder)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
