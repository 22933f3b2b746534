"""A series in one line of a terminal, in characters that every terminal has a place for."""

from __future__ import annotations

from collections.abc import Sequence

_STEPS = "▁▂▃▄▅▆▇█"
_PLAIN = "_.-~^"


def line(values: Sequence[float], *, low: float = 0.0, plain: bool = False) -> str:
    """One character for each value, from `low` to the largest; `plain` in ASCII."""
    steps = _PLAIN if plain else _STEPS
    top = max(values, default=low)
    if not top > low:
        return steps[0] * len(values)
    last = len(steps) - 1
    return "".join(steps[round(last * (max(v, low) - low) / (top - low))] for v in values)


def bar(value: float, most: float, room: int, *, plain: bool = False) -> str:
    """A bar of at most `room` characters; anything above 0 has at least one."""
    if not (most > 0 and value > 0):
        return ""
    return ("#" if plain else "█") * max(1, round(room * value / most))
