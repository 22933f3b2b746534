"""What a unit has chosen where the sources disagree, in words that every face shares."""

from __future__ import annotations

from collections.abc import Iterator

from checklist.setting import Bound, Setting, Settings, Value
from checklist.unit import Unit


def direction(one: Setting, value: Value) -> str:
    """Whether a value is tighter or looser than the shipped one, in a word or two."""
    if value == one.default:
        return "as shipped"
    looser = one.looser(value)
    if not one.tighter or looser == 0:
        return "another way"
    return "looser than shipped" if looser > 0 else "tighter than shipped"


def explained(unit: Unit, known: Settings) -> Iterator[str]:
    """Each difference of the unit from what is shipped, in plain sentences with both sides."""
    for key, one in known.choices.items():
        value = unit.settings[key]
        if value == one.default:
            continue
        yield (
            f"{one.title}: this unit has {said(value)}, shipped is {said(one.default)}"
            f" ({direction(one, value)}). {one.evidence}"
        )
        for side in one.sides:
            chosen = value if isinstance(value, tuple) else (str(value),)
            whose = "For it" if set(chosen) & set(side.values) else "On the other side"
            if not side.values:
                whose = "One source"
            yield f"{whose}: {side.says} ({side.source})"
        yield hangs_on(one)
    for bound, value in tightened(unit, known):
        yield f"{bound.title}: tightened from {bound.default} to {value} ({bound.source})."
    for code, tier in unit.raised.items():
        yield f"{code.replace('_', ' ')}: raised to {tier.value} by this unit."


def hangs_on(one: Setting) -> str:
    """What reads a setting, as a sentence."""
    if one.read_by:
        return f"What hangs on it: {', '.join(name.replace('_', ' ') for name in one.read_by)}."
    return "It is recorded with every preparation; no check hangs on it."


def said(value: Value) -> str:
    """A setting's value in words."""
    if isinstance(value, tuple):
        return ", ".join(word.replace("_", " ") for word in value) or "none"
    return str(value).replace("_", " ")


def following(values: tuple[str, ...]) -> str:
    """Which values follow one side of a disagreement, as the beginning of a sentence."""
    return f"{', '.join(v.replace('_', ' ') for v in values)}: " if values else ""


def tightened(unit: Unit, known: Settings) -> Iterator[tuple[Bound, str]]:
    """The limits that a unit has tightened, each with its own value as text."""
    for key, bound in known.bounds.items():
        value = getattr(unit, key)
        if value != getattr(type(unit)(code=unit.code, name=unit.name), key):
            yield bound, f"{value * 100} %" if key.startswith("rounding") else str(value)
