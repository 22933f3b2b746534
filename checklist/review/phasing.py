"""Where a chart's phases begin and which frozen line each has; for counts, never for doses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from checklist.review.baseline import Baseline
from checklist.review.chart import Phase

START = "the start of the series"


def phases(
    labels: Sequence[str], changes: Mapping[str, str], frozen: Sequence[Baseline]
) -> tuple[Phase, ...]:
    """A phase from the start, from each change of rules, and from each baseline frozen later.

    `labels` are the points in order of time; `changes` say what is new from a label on, which need
    not be a point itself; `frozen` are the baselines of this series, oldest first. Each phase has
    the newest baseline that begins in it, the first phase also one from before. A stretch of one
    point is joined to what is beside it, since no line can be drawn through it.
    """
    starts = {labels[0]: START}
    for since, what in changes.items():
        after = [label for label in labels if label >= since]
        if len(after) > 1 and after[0] != labels[0]:
            known = starts.get(after[0])
            starts[after[0]] = f"{known}; {what}" if known else what
    for one in frozen:
        if one.labels[0] in labels[1:-1]:
            starts.setdefault(one.labels[0], f"new line: {one.reason}")
    ordered: list[str] = []
    for place, label in enumerate(labels):
        if label in starts and (not ordered or place - labels.index(ordered[-1]) > 1):
            ordered.append(label)
    return tuple(
        Phase(start=label, reason=starts[label], baseline=_newest(frozen, labels, label, end))
        for label, end in zip(ordered, [*ordered[1:], ""], strict=True)
    )


def _newest(
    frozen: Sequence[Baseline], labels: Sequence[str], start: str, end: str
) -> Baseline | None:
    inside = labels[labels.index(start) : labels.index(end) if end else None]
    fitting = [
        one
        for one in frozen
        if one.labels[0] in inside or (start == labels[0] and one.labels[0] not in labels)
    ]
    return fitting[-1] if fitting else None
