"""Agreement, progress and feedback at the terminal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from pathlib import Path

import typer

from checklist.educator.access import Act
from checklist.educator.agreeing import REWRITE, Agreed, agreed
from checklist.educator.counsel import of_person, of_preparation, plan_said
from checklist.educator.progress import ALL, USUAL, Progress, chances, progress_of
from checklist.educator.watch import Watch
from checklist.faces.leaving import CannotGoOn
from checklist.faces.replaying import told as story_told
from checklist.faces.review_desk import Desk, desk, say, table, worded
from checklist.faces.workplace import preparation_of
from checklist.preparation import Entry
from checklist.review.cusum import Plan, Standing
from checklist.review.feedback import Sheet, markdown, plain

LOOK_AHEAD = 50
"""For so many attempts the chances of each verdict are told."""


def agreement(
    container: str, *, trail: Path | None, ward: Path | None, by: str, as_json: bool
) -> None:
    """Tell how far observers agree on each item."""
    with desk(trail, ward, by) as at:
        at.allow(Act.COMPARE)
        with at.kept() as kept:
            watches = [one for one in at.watches(kept) if container in ("", one.container)]
        rows = agreed(watches)
        if as_json:
            typer.echo(json.dumps([_agreed_data(one) for one in rows]))
            return
        say(at.verified)
        if not rows:
            say(
                "No preparation has been observed by two people yet. A second observer records the"
                " same preparation with `checklist review observe ID`."
            )
            return
        say()
        heads = ("item", "", "prep.", "unseen", "same", "of 100", "kappa", "95 %")
        table(heads, [_agreed_row(one) for one in rows], right=6)
        say()
        say(f"* critical   rewrite?: kappa below {REWRITE} (common practice)")
        for why in dict.fromkeys(one.why for one in rows if one.why):
            say(f"- {why}")
        say("Observers are told apart, never named. Few preparations leave wide intervals.")


def _agreed_row(one: Agreed) -> tuple[str, ...]:
    same = one.same
    kappa = one.kappa
    return (
        f"{one.item}{' *' if one.critical else ''}",
        f"{one.method}{' rewrite?' if one.rewrite else ''}",
        str(one.subjects),
        str(one.unseen),
        f"{same.count}/{same.base:g}" if same else "-",
        f"{100 * same.low:.0f} to {100 * same.high:.0f}" if same else "-",
        f"{kappa.kappa:.2f}" if kappa else "-",
        f"{kappa.low:.2f} to {kappa.high:.2f}" if kappa else "-",
    )


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
        where = f", step {worded(step)} alone" if step else ""
        what = "all containers" if found.container == ALL else worded(found.container)
        say(f"{person}   {what}{where}   {len(found.right)} attempts")
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


def attempts_of(
    desks: Sequence[Desk],
    person: str,
    container: str,
    step: str,
    plan: Plan,
    *,
    every: bool = False,
) -> Progress:
    """A person's attempts over one trail or several, once the one who asks may see them."""
    for at in desks:
        at.allow(Act.SEE, person)
    facts = [one for at in desks for one in at.all_facts(lambda entry: entry.event.by == person)]
    known = sorted({one.preparation.container for one in facts})
    if not facts:
        raise CannotGoOn(f"{person} has ended no preparation in this trail yet.")
    if not container and len(known) > 1:
        raise CannotGoOn(
            f"{person} prepared from several containers: {', '.join(known)}. Name one with"
            f" --container, or `{ALL}` for all together."
        )
    if container and container not in (ALL, *known):
        raise CannotGoOn(
            f"{person} has ended no preparation with {container!r}; there are {', '.join(known)}."
        )
    found = progress_of(facts, person, container or known[0], plan, step=step, every=every)
    if not found.right:
        raise CannotGoOn(f"No attempt of {person} came to a step {step!r}. Look at the name.")
    return found


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
    say(f"Standing: {found.standing.value}.")
    if found.relapsed:
        say("The line of competence was reached before, and the upper line after it: teach again.")
    if found.standing is not Standing.COMPETENT:
        say(f"At least {found.still} more attempts without a stop to `competent` at this plan.")
    for one in found.repeated:
        say(
            f"stopped at {worded(one.step)}: {one.share.count} of {one.share.base:g}"
            f" (of 100: {100 * one.share.low:.0f} to {100 * one.share.high:.0f})"
        )
    told = chances(found.plan, LOOK_AHEAD)
    for who, competent, stop, still in told:
        say(
            f"Of 100 people who are truly {who}, within {LOOK_AHEAD} attempts {100 * competent:.0f}"
            f" reach `competent`, {100 * stop:.0f} are stopped, {100 * still:.0f} stay open."
        )
    rule = "nothing" if found.every else "no comparison"
    own = "" if found.every else " What the person told of themselves does not count."
    say(
        f"An attempt is right when {rule} stopped the person's own work.{own} What was found about"
        " order or patient does not count."
    )


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


def sheet_of(at: Desk, about: str, container: str, *, names: bool) -> Sheet:
    """The sheet of a person or a preparation, once the one who asks may see it."""
    with at.kept() as kept:
        watches = at.watches(kept)

        def unsealed(reference: str) -> str | None:
            return kept.unsealed(reference) if kept else None

        if about in at.ward.staff:
            found = attempts_of([at], about, container, "", USUAL)
            own = [one for one in watches if one.person == about]
            newest = _newest(one for one in own if found.container in (ALL, one.container))
            last = at.trail.of(found.ids[-1])
            return of_person(
                found,
                newest,
                unsealed,
                unit=at.ward.unit.name,
                made=at.today,
                trail=at.verified,
                titles=_titles(at, last),
                name=_name(at, about, names),
            )
        id_ = preparation_of(at.trail, about).id
        entries = at.trail.of(id_)
        at.allow(Act.SEE, entries[0].event.by, entries[0].event.preparation)
        story, beside = story_told(at, id_)
        return of_preparation(
            story,
            _newest(w for w in watches if w.about == id_),
            unsealed,
            unit=at.ward.unit.name,
            made=at.today,
            trail=at.verified,
            compared=beside,
            titles=_titles(at, entries),
            name=_name(at, story.person, names),
        )


def _newest(watches: Iterable[Watch]) -> Watch | None:
    found = [one for one in watches if one.finished]
    return max(found, key=lambda one: one.last, default=None)


def _titles(at: Desk, entries: tuple[Entry, ...]) -> dict[str, str]:
    steps = at.rules(entries).workflow.steps
    return {one.name: one.ask.rstrip(".") for one in steps}


def _name(at: Desk, code: str, names: bool) -> str:
    known = at.ward.staff.get(code)
    return known.name if names and known else ""


def _write(sheet: Sheet, out: Path) -> None:
    if out.suffix not in (".txt", ".md"):
        raise CannotGoOn(f"{out.suffix or 'No ending'} is not known. Name a .txt or a .md file.")
    if out.exists():
        raise CannotGoOn(f"{out} is there already; nothing is overwritten. Name another file.")
    out.write_text(plain(sheet) if out.suffix == ".txt" else markdown(sheet), encoding="utf-8")
