"""Labels derived from the facts: what a finding came to; pure rules, as SQL and as they stand.

A rule is a condition on the columns of a row of findings and the label it gives; the first rule
that holds gives it. Nothing here is stored, so that a definition can be changed, or another chosen
by name, and every number follows. The same rules are written as SQL (`case`) and evaluated on a
row (`label_of`); a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

Condition = tuple[tuple[str, tuple[Any, ...]], ...]
"""Columns with the values of which each must have one; text that ends in * is a beginning."""


class Rule(NamedTuple):
    """When every column named has one of its values, the label is this."""

    label: str
    when: Condition = ()


LATE = ("at the bedside", "once given")
"""A finding is late from the moment the dose was ready. Common practice, no source."""

LABELS: Mapping[str, tuple[Rule, ...]] = MappingProxyType(
    {
        "reached": (
            Rule("reached", (("dose_in", (1,)), ("stage", ("once given",)))),
            Rule("reached", (("dose_in", (1,)), ("fate", ("released",)))),
            Rule("not reached", (("fate", ("recovered", "discarded", "abandoned")),)),
            Rule("not reached", (("dose_in", (0,)), ("ending", ("discarded", "abandoned")))),
            Rule("not known"),
        ),
        "caught_by": (
            Rule("second person", (("who", ("checker", "witness")),)),
            Rule("own look", (("barrier", ("seen:*",)),)),
            Rule("entry as read", (("barrier", ("entries_are_read",)),)),
            Rule("comparison"),
        ),
        "late": (Rule("late", (("stage", LATE),)), Rule("in time")),
        "shift": (
            Rule("early", (("hour", tuple(range(7, 14))),)),
            Rule("late", (("hour", tuple(range(14, 21))),)),
            Rule("night"),
        ),
        "interrupted": (Rule("no break", (("breaks_before", (0,)),)), Rule("after a break")),
    }
)
"""The labels of a finding. Hours of shifts are common practice, no source."""

IDENTITY_HAZARDS = ("H01", "H02", "H03")

NEAR_MISSES: Mapping[str, tuple[str, Condition]] = MappingProxyType(
    {
        "stop": (
            "a stop (hard) that was found before the patient was reached",
            (("tier", ("hard",)), ("reached", ("not reached",))),
        ),
        "any": (
            "a stop or a caution that was found before the patient was reached",
            (("reached", ("not reached",)),),
        ),
        "late": (
            "a stop found only once the dose was ready, before the patient was reached",
            (("tier", ("hard",)), ("reached", ("not reached",)), ("late", ("late",))),
        ),
        "identity": (
            "a stop over another patient, another drug or another strength (hazards H01 to H03)",
            (
                ("tier", ("hard",)),
                ("reached", ("not reached",)),
                ("hazard", IDENTITY_HAZARDS),
            ),
        ),
    }
)
"""What counts as a near miss, by name: published definitions differ, so one is chosen and named."""

HARM: Mapping[str, str] = MappingProxyType(
    {
        "A": "circumstances that could cause error",
        "B": "did not reach the patient",
        "C": "reached the patient, no harm",
        "D": "reached the patient, watched more closely",
        "E": "temporary harm, treated",
        "F": "temporary harm, longer stay",
        "G": "permanent harm",
        "H": "needed life support",
        "I": "death",
    }
)
"""The letters of the NCC MERP index (2001), in our own short words; a person enters them."""


def label_of(name: str, row: Mapping[str, Any]) -> str:
    """The label `name` of a row of findings."""
    return next(rule.label for rule in LABELS[name] if _holds(rule.when, row))


def labels_of(row: Mapping[str, Any], near_miss: str) -> dict[str, Any]:
    """All labels of a row, with whether it is a near miss by the named definition."""
    found: dict[str, Any] = {name: label_of(name, row) for name in LABELS}
    _, when = NEAR_MISSES[near_miss]
    return {**found, "near_miss": int(_holds(when, {**row, **found}))}


def _holds(when: Condition, row: Mapping[str, Any]) -> bool:
    return all(any(_is(row[column], value) for value in values) for column, values in when)


def _is(seen: Any, wanted: Any) -> bool:
    if isinstance(wanted, str) and wanted.endswith("*"):
        return str(seen).startswith(wanted[:-1])
    return bool(seen == wanted)


def case(name: str) -> str:
    """The SQL expression of a label over the columns of `findings`."""
    rules = LABELS[name]
    cases = " ".join(f"WHEN {where(r.when)} THEN {_quoted(r.label)}" for r in rules[:-1])
    return f"CASE {cases} ELSE {_quoted(rules[-1].label)} END"


def where(when: Condition) -> str:
    """A condition as SQL."""
    return " AND ".join(_column(column, values) for column, values in when)


def _column(column: str, values: tuple[Any, ...]) -> str:
    begins = [v[:-1] for v in values if isinstance(v, str) and v.endswith("*")]
    if begins:
        (begin,) = begins
        return f"substr({column}, 1, {len(begin)}) = {_quoted(begin)}"
    return f"{column} IN ({', '.join(map(_quoted, values))})"


def _quoted(value: Any) -> str:
    return str(value) if isinstance(value, int) else "'" + str(value).replace("'", "''") + "'"


def found_view(near_miss: str) -> str:
    """The SQL of `found`: every finding with its labels. Raises KeyError for an unknown name."""
    labels = ", ".join(f"{case(name)} AS {name}" for name in LABELS)
    _, when = NEAR_MISSES[near_miss]
    return (
        f"SELECT *, CASE WHEN {where(when)} THEN 1 ELSE 0 END AS near_miss"
        f" FROM (SELECT findings.*, {labels} FROM findings) AS labelled"
    )
