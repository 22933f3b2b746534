"""The year of an invented hospital as told at the terminal."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typer

from checklist.faces.exporting import progress
from checklist.faces.leaving import CannotGoOn
from checklist.faces.workplace import quoted
from checklist.facts.engine import Duck, Engine
from checklist.facts.folder import Folder
from checklist.facts.pseudonym import pseudonyms
from checklist.review.cusum import Standing
from checklist.year import finding
from checklist.year.play import Stuck
from checklist.year.year import PLANTED
from checklist.year.year import make as play


def make(
    into: Path, *, preparations: int, seed: int, processes: int, stable: bool, quiet: bool
) -> None:
    """Play the year and say what it came to."""
    if into.exists() and any(into.iterdir()) and not (into / PLANTED).exists():
        raise CannotGoOn(f"{into} holds other things. Name an empty folder or a new one.")
    begun = time.monotonic()
    made = entries = 0
    with progress("preparations", quiet=quiet) as told:
        try:
            for part in play(
                into,
                preparations=preparations,
                seed=seed,
                planted=not stable,
                processes=processes,
                progress=told,
            ):
                made += part.preparations if part.entries else 0
                entries += part.entries
        except Stuck as fault:
            raise CannotGoOn(str(fault)) from fault
    took = time.monotonic() - begun
    typer.echo("An invented hospital: no person, patient or figure is real.")
    each = f", {made / took:.0f} preparations/s" if made and took else ""
    typer.echo(f"{made} preparations played, {entries} entries, {took:.0f} s{each}")
    where = quoted(into)
    typer.echo(f"next: checklist facts export {where}/trails/*.db --facts {where}/facts")


def find(made: Path, facts: Path) -> None:
    """Compare what the facts show with what was planted."""
    file = made / PLANTED
    if not file.is_file():
        raise CannotGoOn(
            f"There is no {PLANTED} in {made}. Make a year with `checklist year make`."
        )
    planted = json.loads(file.read_text(encoding="utf-8"))
    folder = Folder(facts)
    if not folder.exported().files:
        where = quoted(made)
        raise CannotGoOn(
            f"There are no facts in {facts} yet: checklist facts export {where}/trails/*.db"
            f" --facts {quoted(facts)}"
        )
    with Duck(folder) as engine:
        _shifts(engine, planted)
        if planted["learner"]:
            _learner(engine, folder, planted["learner"])


def _shifts(engine: Engine, planted: Mapping[str, Any]) -> None:
    from checklist import library
    from checklist.year.plan import read_plan

    plan = read_plan(library.folder("demo_db") / "year")
    shift = planted["shift"]
    since = f"{plan.year}-W{plan.shift.from_week:02d}" if plan.shift else ""
    typer.echo(
        f"Share of preparations with a refusal, weekly p chart, frozen on {finding.FROZEN} weeks,"
        " watched week by week:"
    )
    for unit in plan.units:
        points = finding.weekly(engine, unit.code)
        if len(points) <= finding.FROZEN:
            typer.echo(f"{unit.code}: too few weeks.")
            continue
        found = finding.shift(points, unit.code, since)
        own = bool(shift and shift["unit"] == unit.code)
        what = f"planted: times {shift['factor']} from {since}" if own else "nothing planted"
        typer.echo(
            f"{unit.code}: {100 * found.before:.1f} % before {since},"
            f" {100 * found.since_then:.1f} % from then on;"
            f" {what}"
        )
        if found.after is None:
            typer.echo("  no signal of more refusals from then on")
        else:
            week = "week" if found.after == 1 else "weeks"
            typer.echo(f"  first signal in {found.signal}, after {found.after} {week}")
        if found.earlier:
            typer.echo(f"  signals of more before that: {', '.join(found.earlier)}")
        typer.echo(
            f"  a unit where nothing changes shows a signal in {100 * found.steady:.0f} of 100"
            " such years"
        )


def _learner(engine: Engine, folder: Folder, learner: Mapping[str, Any]) -> None:
    person = pseudonyms(folder.key())("person", learner["code"])
    found = finding.learning(engine, person)
    plan = finding.LEARNING
    typer.echo(
        f"Learner planted in {learner['unit']}: {len(found.attempts)} preparations; not right in"
        f" {' then '.join(f'{100 * share:.0f} %' for share in found.thirds)} of them (by thirds)"
    )
    typer.echo(
        f"  CUSUM with {100 * plan.acceptable:.0f} % acceptable, {100 * plan.unacceptable:.0f} %"
        f" not, risks {plan.alpha} and {plan.beta}:"
    )
    for number, attempt in enumerate(found.attempts, start=1):
        if attempt.reached is Standing.COMPETENT:
            typer.echo(f"  reached the line of the competent at preparation {number}")
            break
        if attempt.reached is Standing.STOP:
            typer.echo(f"  reached the line for more teaching at preparation {number}")
    else:
        typer.echo("  has not reached the line of the competent")
    typer.echo("next: checklist ask experience --facts " + quoted(folder.path))
