"""Orders taken from a file: shown beside those that stand, and written only when that is asked."""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import tempfile
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import typer

from checklist import library
from checklist.exchange.merging import Change, Kind, Merged, merged
from checklist.exchange.reading import taken_from
from checklist.exchange.structure import R4, RELEASES
from checklist.exchange.taken import OVER, Taken
from checklist.faces.leaving import CannotGoOn
from checklist.faces.review_desk import say, table
from checklist.faces.workplace import quoted
from checklist.intake.fault import Fault, Faults, Findings
from checklist.intake.ward import Ward, load_ward, reload_orders

ORDERS = "orders.json"


def take(
    file: Path,
    *,
    ward: Path | None,
    into: Path | None,
    leave_out: Sequence[str],
    drop: Sequence[str],
    as_json: bool,
    release: str = R4,
) -> None:
    """Show what taking a file would change, and with `into` change it. Raises Faults, CannotGoOn.

    Nothing is written when anything is in doubt, or when the file there changed meanwhile.
    """
    if release not in RELEASES:
        raise CannotGoOn(f"--release {release}: write {' or '.join(RELEASES)}.")
    here = load_ward(_ward_folder(ward, into))
    target = (into or here.folder) / ORDERS
    base, digest = _standing(target)
    findings = Findings(file.name)
    taken = taken_from(
        file, here.exchange, here.unit.timezone, findings, leave_out=leave_out, release=release
    )
    _all_left_out(taken, leave_out, findings)
    if findings.faults:
        _refused(taken, findings, as_json)
    found = merged(base, taken, findings, new_code=_codes(base, sure=into is not None), drop=drop)
    if findings.faults:
        _refused(taken, findings, as_json)
    text = json.dumps(found.document, ensure_ascii=False, indent=2) + "\n"
    read = _read_back(here, text)
    _clear(found, read, file.name)
    kept = put(target, text, digest) if into is not None and found.moves else ""
    remarks = [*taken.remarks, *_unknown(found, read), *_unreviewed(found, read)]
    if as_json:
        typer.echo(json.dumps(_data(found, remarks, written=into is not None and found.moves)))
        return
    _show(found, remarks)
    _said(file, found, into, kept, read)


def _ward_folder(ward: Path | None, into: Path | None) -> Path:
    if ward is not None:
        return ward
    if into is not None and (into / "unit.toml").is_file():
        return into
    return library.folder("demo_db")


def _standing(path: Path) -> tuple[Mapping[str, Any], str]:
    """The content and digest of the orders.json that stands, which was read without a fault."""
    if not path.parent.is_dir():
        raise CannotGoOn(f"There is no folder {path.parent}. Make it, or name another.")
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return {"patients": [], "orders": []}, ""
    except OSError as fault:
        raise CannotGoOn(f"{path} cannot be read ({fault.strerror}).") from fault
    try:
        content = json.loads(data)
        patients, orders = content["patients"], content["orders"]
        if not all(isinstance(one, dict) for one in (*patients, *orders)):
            raise TypeError("a line that is no object")
    except (ValueError, TypeError, KeyError, RecursionError) as fault:
        raise CannotGoOn(f"{path} is not as it should be. Look at it: checklist unit check") from (
            fault
        )
    return content, hashlib.sha256(data).hexdigest()


def _codes(base: Mapping[str, Any], *, sure: bool) -> Callable[[], str]:
    """New codes for patients, which say nothing about them; only numbered where none is kept."""
    known = {one.get("code") for one in base["patients"]}
    numbers = itertools.count(1)

    def code() -> str:
        while True:
            made = f"P-{uuid.uuid4().hex[:10].upper()}" if sure else f"NEW-{next(numbers)}"
            if made not in known:
                known.add(made)
                return made

    return code


def _all_left_out(taken: Taken, leave_out: Sequence[str], findings: Findings) -> None:
    for id_ in leave_out:
        if id_ not in taken.left_out and not findings.faults:
            findings.add(f"order {id_}", "It is to be left out, and is not in the file.")


def _refused(taken: Taken, findings: Findings, as_json: bool) -> None:
    """Tell what could be read beside each doubt, and take nothing."""
    # No patient: the number that the file knows them by is not for a screen.
    lines = [{**one, "patient": ""} for one in taken.orders]
    if as_json:
        doubts = [{"place": one.place, "sentence": one.sentence} for one in findings.faults]
        typer.echo(json.dumps({"orders": lines, "doubts": doubts, "taken": False}))
    elif lines:
        table(HEADS, [_row("read", one["id"], one) for one in lines])
    last = Fault(findings.file, "", f"Doubts: {len(findings.faults)}. Nothing was taken.")
    raise Faults([*findings.faults, last])


def _read_back(ward: Ward, text: str) -> Ward:
    """The ward with the orders that would stand, read by the reader of orders.json."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / ORDERS).write_text(text, encoding="utf-8")
        return replace(reload_orders(replace(ward, folder=Path(folder))), folder=ward.folder)


def _clear(found: Merged, read: Ward, name: str) -> None:
    """Nothing that was taken may be unreadable at the bedside."""
    faults = [
        Fault(name, f"order {one.id}, {key}", sentence)
        for one in found.changes
        if one.kind in (Kind.NEW, Kind.CHANGED)
        for key, sentence in read.orders[one.id].unreadable.items()
    ]
    if faults:
        raise Faults(faults)


def put(target: Path, text: str, digest: str) -> str:
    """Write the file in one move; the one before is kept under the name that is given back."""
    handle, beside = tempfile.mkstemp(dir=target.parent, prefix=".orders-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as there:
            there.write(text)
            there.flush()
            os.fsync(there.fileno())
        before, stands = _standing_bytes(target)
        if stands != digest:
            raise CannotGoOn(
                f"{target} was changed by somebody meanwhile. Nothing was taken; look again."
            )
        kept = _kept(target, before, digest) if digest else ""
        if digest:
            Path(beside).chmod(target.stat().st_mode & 0o777)
        Path(beside).replace(target)
    except OSError as fault:
        raise CannotGoOn(f"{target} cannot be written ({fault.strerror}).") from fault
    finally:
        Path(beside).unlink(missing_ok=True)
    return kept


def _standing_bytes(target: Path) -> tuple[bytes, str]:
    try:
        data = target.read_bytes()
    except FileNotFoundError:
        return b"", ""
    return data, hashlib.sha256(data).hexdigest()


def _kept(target: Path, before: bytes, digest: str) -> str:
    """The name under which the file before is kept; nothing is ever written over."""
    path = target.with_name(f"orders-before-{digest[:12]}.json")
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        if path.read_bytes() == before:
            return path.name
        raise CannotGoOn(f"{path} is there with another content. Look at it first.") from None
    with os.fdopen(handle, "wb") as there:
        there.write(before)
        there.flush()
        os.fsync(there.fileno())
    return path.name


# -- told ----------------------------------------------------------------------------------------


HEADS = ("what", "order", "patient", "dose", "due", "status")


def _row(what: str, id_: str, line: Mapping[str, Any]) -> tuple[str, ...]:
    if not line:
        return (what, id_, "", "", "", "")
    dose = "  ".join(line[key] for key in ("drug", "dose", "route") if line.get(key))
    due = line.get("due", "") or line.get("frequency", "")
    return (what, id_, str(line.get("patient", "")), dose, due, line.get("status", "active"))


def _running(run: Mapping[str, str]) -> str:
    """How a dose runs in, as one line."""
    over = f"over {run['duration']}" if "duration" in run else ""
    parts = (
        run["into"], f"{run['carrier']} {run['carrier_strength']}", run["volume"],
        run.get("rate", ""), over,
    )  # fmt: skip
    return ", ".join(one for one in parts if one)


def _show(found: Merged, remarks: Sequence[str]) -> None:
    """The order lines of the file as a table, then each change and remark in words."""
    quiet = (Kind.PASSED_OVER, Kind.STAYS)
    rows = [_row(str(one.kind), one.id, one.line) for one in found.changes if one.kind not in quiet]
    if rows:
        table(HEADS, rows)
    for one in found.changes:
        if one.kind is Kind.NEW and "infusion" in one.line:
            say(f"{one.id}: {_running(one.line['infusion'])}", "runs in  ")
        for sentence in one.said:
            say(f"{one.id}: {sentence}", "changes  ")
        if one.kind is Kind.PASSED_OVER:
            say(f"{one.id}: it is {one.line['status']}, and does not stand here", "remark   ")
    for sentence in found.people:
        say(sentence, "patient  ")
    for sentence in remarks:
        say(sentence, "remark   ")
    if stay := sum(one.kind is Kind.STAYS for one in found.changes):
        say(f"{stay} orders that are not in the file stay as they are", "stays    ")


def _said(file: Path, found: Merged, into: Path | None, kept: str, read: Ward) -> None:
    if not found.moves:
        typer.echo("Nothing would change.")
        return
    if into is None:
        typer.echo("Looked at only: nothing was written.")
        typer.echo(f"next: checklist orders take {quoted(file)} --into DIR")
        return
    say(f"Written: {into / ORDERS}")
    if kept:
        say(f"The file before it is kept as {kept}. It names patients: delete it in time.")
    if (into / "unit.toml").is_file():
        first = next((one.id for one in found.changes if one.kind is Kind.NEW), "")
        first = first or next(iter(read.orders), "")
        typer.echo(f"next: checklist prepare {quoted(first)} --ward {quoted(into)}")


def _unknown(found: Merged, read: Ward) -> list[str]:
    """Remarks on drugs that the formulary does not have."""
    lines = (one for one in found.changes if one.kind in (Kind.NEW, Kind.CHANGED))
    drugs = ((one.id, one.line.get("drug", "")) for one in lines)
    return [
        f'order {id_}: "{drug}" is no drug of this formulary. If it is one under another name, put'
        " its code in exchange.toml."
        for id_, drug in drugs
        if read.formulary.drug(drug) is None
    ]


def _unreviewed(found: Merged, read: Ward) -> list[str]:
    """Remarks on orders that a nurse will be held up with, since no pharmacist has looked at them.

    FHIR has no place for that in an order, so a pharmacist puts it in by hand.
    """
    if not read.unit.pharmacist_review_expected:
        return []
    return [
        f"order {one.id}: no pharmacist's review is in it, so each dose is held up. Once it was"
        " reviewed, write reviewed_by in orders.json."
        for one in found.changes
        if one.kind in (Kind.NEW, Kind.CHANGED)
        and one.line.get("status", "active") not in OVER
        and not one.line.get("reviewed_by")
    ]


def _data(found: Merged, remarks: Sequence[str], *, written: bool) -> dict[str, Any]:
    def shown(one: Change) -> dict[str, Any]:
        return {"order": one.id, "what": str(one.kind), "line": one.line, "changes": one.said}

    return {
        "orders": [shown(one) for one in found.changes],
        "patients": found.people,
        "remarks": list(remarks),
        "doubts": [],
        "taken": written,
    }
