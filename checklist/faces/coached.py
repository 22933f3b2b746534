"""Agreement, progress and feedback in words and values, the same for each face."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from checklist.educator.access import Act
from checklist.educator.agreeing import REWRITE, Agreed
from checklist.educator.counsel import of_person, of_preparation
from checklist.educator.progress import ALL, USUAL, Progress, chances, progress_of
from checklist.educator.watch import Watch
from checklist.faces.leaving import CannotGoOn
from checklist.faces.retelling import told
from checklist.faces.study import Study, every_watch, worded
from checklist.faces.workplace import preparation_of
from checklist.preparation import Entry
from checklist.review.cusum import Plan, Standing
from checklist.review.feedback import Sheet

LOOK_AHEAD = 50
"""For so many attempts the chances of each verdict are told."""
AGREED_HEADS = ("item", "", "prep.", "unseen", "same", "of 100", "kappa", "95 %")
AGREED_NOTE = f"* critical   rewrite?: kappa below {REWRITE} (common practice)"
NOBODY_TWICE = (
    "No preparation has been observed by two people yet. A second observer records the same"
    " preparation with `checklist review observe ID`."
)


def agreed_row(one: Agreed) -> tuple[str, ...]:
    """The row of one item under AGREED_HEADS."""
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


def headed(found: Progress) -> str:
    """Whose progress it is, with what, over how many attempts."""
    where = f", step {worded(found.step)} alone" if found.step else ""
    what = "all containers" if found.container == ALL else worded(found.container)
    return f"{found.person}   {what}{where}   {len(found.right)} attempts"


def attempts_of(
    desks: Sequence[Study],
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
    facts = [
        one
        for at in desks
        for one in at.facts_of([p.id for p in at.trail.preparations() if p.opened_by == person])
        if one.preparation.ending
    ]
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


def verdict(found: Progress) -> Iterator[str]:
    """What the curve says and how far that can be relied on, a sentence each."""
    yield f"Standing: {found.standing.value}."
    if found.relapsed:
        yield "The line of competence was reached before, and the upper line after it: teach again."
    if found.standing is not Standing.COMPETENT:
        yield f"At least {found.still} more attempts without a stop to `competent` at this plan."
    for one in found.repeated:
        yield (
            f"stopped at {worded(one.step)}: {one.share.count} of {one.share.base:g}"
            f" (of 100: {100 * one.share.low:.0f} to {100 * one.share.high:.0f})"
        )
    for who, competent, stop, still in chances(found.plan, LOOK_AHEAD):
        yield (
            f"Of 100 people who are truly {who}, within {LOOK_AHEAD} attempts {100 * competent:.0f}"
            f" reach `competent`, {100 * stop:.0f} are stopped, {100 * still:.0f} stay open."
        )
    rule = "nothing" if found.every else "no comparison"
    own = "" if found.every else " What the person told of themselves does not count."
    yield (
        f"An attempt is right when {rule} stopped the person's own work.{own} What was found about"
        " order or patient does not count."
    )


def sheet_of(at: Study, about: str, container: str, *, names: bool) -> Sheet:
    """The sheet of a person or a preparation, once the one who asks may see it."""
    with at.kept() as kept:
        watches = every_watch(kept)

        def unsealed(reference: str) -> str | None:
            return kept.unsealed(reference) if kept else None

        if about in at.ward.staff:
            found = attempts_of([at], about, container, "", USUAL)
            own = [one for one in watches if one.person == about]
            latest = newest(one for one in own if found.container in (ALL, one.container))
            last = at.trail.of(found.ids[-1])
            return of_person(
                found,
                latest,
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
        story, beside = told(at, id_)
        return of_preparation(
            story,
            newest(w for w in watches if w.about == id_),
            unsealed,
            unit=at.ward.unit.name,
            made=at.today,
            trail=at.verified,
            compared=beside,
            titles=_titles(at, entries),
            name=_name(at, story.person, names),
        )


def newest(watches: Iterable[Watch]) -> Watch | None:
    found = [one for one in watches if one.finished]
    return max(found, key=lambda one: one.last, default=None)


def _titles(at: Study, entries: tuple[Entry, ...]) -> dict[str, str]:
    steps = at.rules(entries).workflow.steps
    return {one.name: one.ask.rstrip(".") for one in steps}


def _name(at: Study, code: str, names: bool) -> str:
    known = at.ward.staff.get(code)
    return known.name if names and known else ""
