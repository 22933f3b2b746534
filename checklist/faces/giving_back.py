"""A closed preparation given back to a health record, as a FHIR Bundle."""

from __future__ import annotations

import os
from pathlib import Path

import typer

from checklist import library
from checklist.exchange.closed import NotClosed, closed_of
from checklist.exchange.exact_json import written
from checklist.exchange.fhir_given import About, Resource, bundle_of
from checklist.exchange.fhir_r5 import as_r5
from checklist.exchange.structure import R5, RELEASES, sound
from checklist.faces.errand import errand
from checklist.faces.leaving import CannotGoOn, message
from checklist.faces.record import Told, told_of
from checklist.faces.workplace import (
    DEMONSTRATION,
    PRACTICE,
    preparation_of,
    prepared_in,
    real_clock,
    ward_of,
)
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Faults, Findings
from checklist.permission import Action
from checklist.trail import Trail


def give_back(
    named: str,
    *,
    trail: Path | None,
    ward: Path | None,
    out: Path | None,
    release: str,
    names: bool,
    by: str,
) -> None:
    """Print or write the Bundle of one closed preparation. With `names` it is recorded before.

    Raises CannotGoOn, NeedsExtra, and Faults for a Bundle that would not be as FHIR says.
    """
    if release not in RELEASES:
        raise CannotGoOn(f"--release {release}: write {' or '.join(RELEASES)}.")
    path = prepared_in(trail, ward)
    with Trail.open(path, read_only=True) as kept:
        id_ = preparation_of(kept, named).id
        told = told_of(kept, id_, ward_of(ward, kept, path), names=names)
        # Before anything is recorded or asked: whether it can be given back at all.
        _sound(_bundle(told, path, names=False), release)
    if out is not None and os.path.lexists(out):
        raise CannotGoOn(f"{out} is there already. Nothing was written; take another name.")
    if names:
        with errand(path, ward, by, Action.READ_NAMES) as here:
            here.record("names_shown", {"preparation": id_, "what": "orders give-back"})
    with Trail.open(path, read_only=True) as kept:
        told = told_of(kept, id_, ward_of(ward, kept, path), names=names)
        text = _sound(_bundle(told, path, names=names), release)
    if out is None:
        typer.echo(text)
        return
    _put(out, text)
    message(f"Written: {out}")
    if names:
        message("It names the patient and staff: delete it once it is handed over.")


def _bundle(told: Told, path: Path, *, names: bool) -> Resource:
    try:
        closed = closed_of(told.prep, told.entries, told.rules, library.required().giving)
    except NotClosed as fault:
        raise CannotGoOn(str(fault)) from fault
    ward, order = told.ward, told.prep.order
    patient = ward.patients.get(order.patient) if ward and names else None
    if names and (ward is None or patient is None):
        raise CannotGoOn(
            f"Patient {order.patient} is not in the files at hand, so no name can be told. Name"
            " the ward with --ward, or leave --names out."
        )
    practice = path.absolute().parent.name == PRACTICE or told.trail.origin.id == DEMONSTRATION
    about = About(
        trail=told.trail.origin.id,
        unit=told.trail.origin.unit,
        head=told.trail.head(),
        words=ward.exchange if ward else Exchange(),
        at=real_clock(),
        patient=patient,
        staff={code: one.name for code, one in ward.staff.items()} if ward and names else None,
        practice=practice,
    )
    return bundle_of(closed, about)


def _sound(bundle: Resource, release: str) -> str:
    """The Bundle as text, once each resource has the structure that FHIR gives it."""
    made = as_r5(bundle) if release == R5 else bundle
    findings = Findings(f"FHIR {release}")
    for number, entry in enumerate(made["entry"]):
        resource = entry["resource"]
        kind, place = resource["resourceType"], f"entry[{number}].resource"
        sound(kind, resource, place, findings, release)
        for inner in resource.get("contained", ()):
            sound(inner["resourceType"], inner, f"{place}.contained[0]", findings, release)
    if findings.faults:
        raise Faults(findings.faults)
    return written(made)


def _put(out: Path, text: str) -> None:
    """Write a file where none is, for its owner alone."""
    try:
        handle = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as there:
            there.write(f"{text}\n")
    except FileExistsError:
        raise CannotGoOn(
            f"{out} is there already. Nothing was written; take another name."
        ) from None
    except OSError as fault:
        raise CannotGoOn(f"{out} cannot be written ({fault.strerror}).") from fault
