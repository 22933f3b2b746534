"""How far observers agree, item by item: Cohen for the same two, Fleiss for any."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist.educator.watch import NOT_OBSERVABLE, NOT_SO, SEEN, Watch
from checklist.review import agreement
from checklist.review.interval import Interval, proportion
from checklist.review.unusable import Unusable

REWRITE = 0.4
"""Below this kappa an item is to be dropped or put into other words. Common practice."""
WORDS = (SEEN, NOT_SO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreed:
    """How far observers agree on one item.

    `subjects` are the preparations that as many observers (`raters`) answered for this item; those
    in which one could not see it are counted in `unseen` and left out. `same` is the share on
    which all agree. `method` is "Cohen" or "Fleiss", `kappa` None with `why` where it cannot be
    worked out.
    """

    item: str
    say: str
    critical: bool
    subjects: int
    raters: int
    unseen: int
    same: Interval | None
    method: str
    kappa: agreement.Kappa | None
    why: str = ""

    @property
    def rewrite(self) -> bool:
        """Whether the item is to be put into other words."""
        return self.kappa is not None and not self.kappa.kappa >= REWRITE


def agreed(watches: Sequence[Watch]) -> tuple[Agreed, ...]:
    """The agreement for each item that several observers answered of the same preparations.

    Only finished observations count, the first of each observer of a preparation. Observers are
    told apart and never named. Items stand in the order of the workflow.
    """
    by_prep: dict[str, dict[str, Watch]] = {}
    for watch in watches:
        if watch.finished:
            by_prep.setdefault(watch.about, {}).setdefault(watch.observer, watch)
    together = [list(seen.values()) for seen in by_prep.values() if len(seen) > 1]
    items = {one.name: one for group in together for watch in group for one in watch.items}
    return tuple(
        _item(one.name, one.say, one.critical, [_words(group, one.name) for group in together])
        for one in items.values()
    )


def _words(group: Sequence[Watch], item: str) -> Mapping[str, str]:
    """What each observer of one preparation answered about an item."""
    return {w.observer: w.answers[item].word for w in group if item in w.answers}


def _item(name: str, say: str, critical: bool, told: Sequence[Mapping[str, str]]) -> Agreed:
    asked = [one for one in told if len(one) > 1]
    usable = [one for one in asked if NOT_OBSERVABLE not in one.values()]
    sizes = Counter(map(len, usable))
    # As many observers for each subject: the commonest number, the larger of two equal ones.
    raters = max(sizes, key=lambda size: (sizes[size], size)) if sizes else 0
    subjects = [one for one in usable if len(one) == raters]
    same = sum(len(set(one.values())) == 1 for one in subjects)
    method, kappa, why = _kappa(subjects, raters)
    return Agreed(
        item=name,
        say=say,
        critical=critical,
        subjects=len(subjects),
        raters=raters,
        unseen=len(asked) - len(usable),
        same=proportion(same, len(subjects)) if subjects else None,
        method=method,
        kappa=kappa,
        why=why,
    )


def _kappa(
    subjects: Sequence[Mapping[str, str]], raters: int
) -> tuple[str, agreement.Kappa | None, str]:
    if not subjects:
        return "", None, "No preparation was answered by two observers."
    pairs = {tuple(sorted(one)) for one in subjects}
    if raters == 2 and len(pairs) == 1:
        first, second = next(iter(pairs))
        table = agreement.tally([(one[first], one[second]) for one in subjects], WORDS)
        try:
            return "Cohen", agreement.of_two(table).kappa, ""
        except Unusable as fault:
            return "Cohen", None, str(fault)
    counts = [[list(one.values()).count(word) for word in WORDS] for one in subjects]
    try:
        return "Fleiss", agreement.of_many(counts).kappa, ""
    except Unusable as fault:
        return "Fleiss", None, str(fault)
