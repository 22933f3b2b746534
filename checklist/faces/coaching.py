"""Agreement, progress and feedback at the terminal."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import typer

from checklist.educator.access import Act
from checklist.educator.agreeing import Agreed, agreed
from checklist.educator.counsel import plan_said
from checklist.educator.progress import Progress
from checklist.faces.coached import (
    AGREED_HEADS,
    AGREED_NOTE,
    NOBODY_TWICE,
    agreed_row,
    attempts_of,
    headed,
    sheet_of,
    verdict,
)
from checklist.faces.leaving import CannotGoOn
from checklist.faces.review_desk import desk, say, table
from checklist.faces.study import every_watch
from checklist.review.cusum import Plan
from checklist.review.feedback import Sheet, markdown, plain


def agreement(
    container: str, *, trail: Path | None, ward: Path | None, by: str, as_json: bool
) -> None:
    """Tell how far observers agree on each item."""
    with desk(trail, ward, by) as at:
        at.allow(Act.COMPARE)
        with at.kept() as kept:
            watches = [one for one in every_watch(kept) if container in ("", one.container)]
        rows = agreed(watches)
        if as_json:
            typer.echo(json.dumps([_agreed_data(one) for one in rows]))
            return
        say(at.verified)
        if not rows:
            say(NOBODY_TWICE)
            return
        say()
        table(AGREED_HEADS, [agreed_row(one) for one in rows], right=6)
        say()
        say(AGREED_NOTE)
        for why in dict.fromkeys(one.why for one in rows if one.why):
            say(f"- {why}")
        say("Observers are told apart, never named. Few preparations leave wide intervals.")


def _agreed_data(one: Agreed) -> dict[str, object]:
    return {
        "item": one.item,
        "critical": one.critical,
        "preparations": one.subjects,
        "observers": one.raters,
        "unseen": one.unseen,
        "same": one.same.count if one.same else None,
        "method": one.method,
        "kappa": one.kappa.kappa if one.kappa else None,
        "low": one.kappa.low if one.kappa else None,
        "high": one.kappa.high if one.kappa else None,
        "why": one.why,
        "rewrite": one.rewrite,
    }


def progress(
    person: str,
    container: str,
    step: str,
    plan: Plan,
    *,
    trails: Sequence[Path],
    ward: Path | None,
    by: str,
    as_json: bool,
    ids: bool,
    every: bool,
) -> None:
    """Tell a person's learning curve with one container, over one trail or several in a row."""
    with ExitStack() as opened:
        first = opened.enter_context(desk(trails[0] if trails else None, ward, by))
        code = first.person.code
        more = [opened.enter_context(desk(one, ward, code)) for one in trails[1:]]
        desks = [first, *more]
        found = attempts_of(desks, person, container, step, plan, every=every)
        if as_json:
            typer.echo(json.dumps(_progress_data(found)))
            return
        say(headed(found))
        say(desks[0].verified if len(desks) == 1 else f"{len(desks)} trails, each of them whole.")
        say(plan_said(found))
        say()
        table(
            ("attempts", "without a stop", "of 100 (95 %)", "middle time"),
            [
                (
                    f"{one.first} to {one.last}",
                    f"{one.right.count} of {one.right.base:g}",
                    f"{100 * one.right.low:.0f} to {100 * one.right.high:.0f}",
                    f"{one.minutes:.1f} min",
                )
                for one in found.blocks
            ],
            right=3,
        )
        say()
        _curve(found, ids=ids)
        _verdict(found)


def _curve(found: Progress, *, ids: bool) -> None:
    """The CUSUM, attempt by attempt."""
    heads = ("attempt", "day", *(("preparation",) if ids else ()), "outcome", "sum", "line reached")
    rows = []
    for number, one in enumerate(found.curve, start=1):
        outcome = "right" if found.right[number - 1] else "a stop"
        own = (found.ids[number - 1][:12],) if ids else ()
        reached = one.reached.value if one.reached else ""
        day = found.dates[number - 1]
        rows.append((f"{number}", day, *own, outcome, f"{one.sum:+.2f}", reached))
    table(heads, rows)


def _verdict(found: Progress) -> None:
    say()
    for line in verdict(found):
        say(line)


def _progress_data(found: Progress) -> dict[str, object]:
    plan = found.plan
    return {
        "person": found.person,
        "container": found.container,
        "step": found.step,
        "every": found.every,
        "plan": {
            "p0": plan.acceptable,
            "p1": plan.unacceptable,
            "alpha": plan.alpha,
            "beta": plan.beta,
            "s": plan.step,
            "h0": plan.competent,
            "h1": plan.stop,
        },
        "standing": found.standing.value,
        "relapsed": found.relapsed,
        "attempts": [
            {
                "preparation": found.ids[i],
                "day": found.dates[i],
                "right": found.right[i],
                "sum": one.sum,
                "reached": one.reached.value if one.reached else "",
            }
            for i, one in enumerate(found.curve)
        ],
    }


# -- feedback ------------------------------------------------------------------------------------


def feedback(
    about: str,
    container: str,
    out: Path | None,
    *,
    trail: Path | None,
    ward: Path | None,
    by: str,
    names: bool,
) -> None:
    """Make the one-page sheet of a person or a preparation."""
    with desk(trail, ward, by) as at:
        sheet = sheet_of(at, about, container, names=names)
        if out is None:
            typer.echo(plain(sheet), nl=False)
            return
        _write(sheet, out)
        say(f"Written: {out}")


def _write(sheet: Sheet, out: Path) -> None:
    if out.suffix not in (".txt", ".md"):
        raise CannotGoOn(f"{out.suffix or 'No ending'} is not known. Name a .txt or a .md file.")
    if out.exists():
        raise CannotGoOn(f"{out} is there already; nothing is overwritten. Name another file.")
    out.write_text(plain(sheet) if out.suffix == ".txt" else markdown(sheet), encoding="utf-8")
