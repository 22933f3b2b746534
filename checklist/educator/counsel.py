"""From what was seen and recorded to the one page of feedback."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from checklist.checks import REASONS
from checklist.educator.progress import ALL, Progress
from checklist.educator.story import Compared, Story
from checklist.educator.watch import NOT_SO, SEEN, Watch
from checklist.review.cusum import Standing
from checklist.review.feedback import MOST, Sheet
from checklist.verdict import REMEDY_WORDS, Remedy

Unsealed = Callable[[str], str | None]
"""The text sealed under a reference; None once it was erased."""


def of_preparation(
    story: Story,
    watch: Watch | None,
    unsealed: Unsealed,
    *,
    unit: str,
    made: date,
    trail: str,
    compared: Sequence[Compared] = (),
    titles: Mapping[str, str],
    name: str = "",
) -> Sheet:
    """The sheet on one preparation, with what an observer saw of it where one did.

    `titles` maps a step to what it asks, for the reader.
    """
    told = _told(watch, unsealed)
    own = told.get("well", ()), told.get("change", ())
    return Sheet(
        person=story.person,
        name=name,
        unit=unit,
        about=f"preparation {story.id[:12]}, {story.container.replace('_', ' ')}, {story.ending}",
        made=made,
        trail=trail,
        observer=watch.observer if watch else "",
        learner=_learners(told),
        went_well=(*own[0], *_seen(watch), *_put_right(story))[:MOST],
        to_change=(*own[1], *_missed(watch), *_repeated_stops(story, titles))[:MOST],
        next_step=" ".join(told.get("next_step", ())),
        due=watch.due if watch else None,
        figures=tuple(_figures(story, compared)),
    )


def of_person(
    progress: Progress,
    watch: Watch | None,
    unsealed: Unsealed,
    *,
    unit: str,
    made: date,
    trail: str,
    titles: Mapping[str, str],
    name: str = "",
) -> Sheet:
    """The sheet on a person's way with one container; `watch` is their newest observation."""
    told = _told(watch, unsealed)
    tries, right = len(progress.right), sum(progress.right)
    change = [
        f"{titles.get(one.step, _words(one.step))}: stopped in {one.share.count} of"
        f" {one.share.base:g} preparations that came to it (of 100: {_span(one.share.low)} to"
        f" {_span(one.share.high)})"
        for one in progress.repeated
    ]
    figures = [f"{right} of {tries} preparations without a stop in the person's own work"]
    if progress.curve:
        figures.append(_standing(progress))
    return Sheet(
        person=progress.person,
        name=name,
        unit=unit,
        about=f"{tries} preparations, {_container(progress)}",
        made=made,
        trail=trail,
        observer=watch.observer if watch else "",
        learner=_learners(told),
        went_well=(*told.get("well", ()), *_seen(watch))[:MOST],
        to_change=(*told.get("change", ()), *_missed(watch), *change)[:MOST],
        next_step=" ".join(told.get("next_step", ())),
        due=watch.due if watch else None,
        figures=tuple(figures) if tries else (),
    )


def plan_said(progress: Progress) -> str:
    """What a person is judged by, every figure of it."""
    plan = progress.plan
    return (
        f"assumed: acceptable {100 * plan.acceptable:g} % of attempts not right (p0), not"
        f" acceptable {100 * plan.unacceptable:g} % (p1), risk of being stopped without cause"
        f" {100 * plan.alpha:g} % (alpha), of being passed without cause"
        f" {100 * plan.beta:g} % (beta); a right attempt takes {plan.step:.3f} off the"
        f" sum, another adds {1 - plan.step:.3f}; competent at -{plan.competent:.2f}, stop and"
        f" teach at +{plan.stop:.2f}"
    )


def _standing(progress: Progress) -> str:
    last = progress.curve[-1]
    more = (
        f"; at least {progress.still} more without a stop to `competent`"
        if progress.standing is not Standing.COMPETENT
        else ""
    )
    return (
        f"Learning curve: {progress.standing.value}, sum {last.sum:+.2f}{more}"
        f" ({plan_said(progress)})"
    )


def _container(progress: Progress) -> str:
    return "all containers" if progress.container == ALL else _words(progress.container)


def _told(watch: Watch | None, unsealed: Unsealed) -> dict[str, tuple[str, ...]]:
    """The words of the talk that are still there, by name."""
    if watch is None:
        return {}
    found = {name: unsealed(reference) for name, reference in watch.words.items()}
    return {name: (text,) for name, text in found.items() if text}


def _learners(told: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """What the learner said, or why nothing was."""
    said = (*told.get("learner_well", ()), *told.get("learner_change", ()))
    return said or tuple(f"Nothing was said: {why}" for why in told.get("learner_skipped", ()))


def _seen(watch: Watch | None) -> tuple[str, ...]:
    return tuple(f"{one.say}." for one in watch.answered(SEEN, critical=True)) if watch else ()


def _missed(watch: Watch | None) -> tuple[str, ...]:
    """What was not so, critical items first."""
    if watch is None:
        return ()
    missed = sorted(watch.answered(NOT_SO), key=lambda one: not one.critical)
    return tuple(
        f"{'Critical. ' if one.critical else ''}Was not so: {one.say[0].lower()}{one.say[1:]}."
        for one in missed
    )


def _put_right(story: Story) -> tuple[str, ...]:
    """What was stopped once and put right at once."""
    once = [f for f in story.findings if f.fate == "recovered" and f.tier == "hard"]
    tried = {(f.step, f.reason): f.tries for f in once}
    return tuple(
        f"Put right at the first try: {_found(f.reason)}"
        f"{f' ({_way(f.remedy)})' if f.remedy else ''}."
        for f in once
        if tried[f.step, f.reason] == 1
    )


def _repeated_stops(story: Story, titles: Mapping[str, str]) -> tuple[str, ...]:
    again: dict[tuple[str, str], int] = {}
    for one in story.findings:
        if one.tier == "hard":
            again[one.step, one.reason] = max(one.tries, again.get((one.step, one.reason), 0))
    return tuple(
        f"{titles.get(step, _words(step))}: {_found(reason)}, {times} times"
        for (step, reason), times in again.items()
        if times > 1
    )


def _figures(story: Story, compared: Sequence[Compared]) -> list[str]:
    stops = sum(f.tier == "hard" for f in story.findings)
    cautions = sum(f.tier == "soft" for f in story.findings)
    seconds = story.moments[-1].since
    away = sum(one.away or 0.0 for one in story.breaks)
    lines = [
        f"{len(story.stays)} steps in {_time(seconds)}; {_many(stops, 'stop')},"
        f" {_many(cautions, 'caution')}, {_many(len(story.breaks), 'break')}"
        + (f" of {_time(away)} together" if away else "")
    ]
    agreed = sum(one.agreed for one in story.pairs)
    if story.pairs:
        lines.append(f"second person: agreed {agreed} of {len(story.pairs)} times")
    lines += [
        f"To ask about: {', '.join(map(_words, one.steps))} took {one.seconds:.0f} s; hands take at"
        f" least {one.needed} s ({'; '.join(one.sources)})"
        for one in story.too_fast
    ]
    slow = [one for one in compared if one.unit and one.stay.seconds > one.unit.high]
    lines += [
        f"{_words(one.stay.step)}: {one.stay.seconds:.0f} s; the unit's middle half is"
        f" {one.unit.low:.0f} to {one.unit.high:.0f} s ({one.unit.preparations} preparations)"
        for one in sorted(slow, key=lambda one: -one.stay.seconds)[:2]
        if one.unit
    ]
    return lines


def _found(code: str) -> str:
    reason = REASONS.get(code)
    if reason is None or reason.slots:
        return _words(code)
    return reason.found.rstrip(".")


def _way(remedy: str) -> str:
    return REMEDY_WORDS[Remedy(remedy)].lower()


def _words(name: str) -> str:
    base, _, item = name.partition("@")
    return base.replace("_", " ") + (f" ({item})" if item else "")


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _time(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def _span(share: float) -> str:
    return f"{100 * share:.0f}"
