"""Published data and their printed results, and the test that a value agrees to the last digit."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data" / "spc"


def read(name: str) -> Any:
    """One published set; its "source" says where it was printed."""
    return json.loads((DATA / f"{name}.json").read_text("utf-8"))


def same(value: float, printed: float, decimals: int) -> bool:
    """Whether the value is within half a unit of the last printed decimal."""
    return abs(value - printed) <= 0.5000001 * 10.0**-decimals


def all_same(values: Sequence[float], printed: Sequence[float], decimals: int) -> bool:
    """As `same`, one by one; False when the lengths differ."""
    return len(values) == len(printed) and all(
        same(a, b, decimals) for a, b in zip(values, printed, strict=True)
    )


def digits(value: float, printed: float, figures: int = 7) -> bool:
    """Whether the value agrees to so many significant figures, as packages print them."""
    return same(value, printed, figures - 1 - exponent(printed))


def exponent(value: float) -> int:
    """The power of ten of the first figure; 0 for 0."""
    return 0 if value == 0 else int(f"{abs(value):e}".split("e")[1])


def not_reproduced(file: str) -> list[Any]:
    """The printed values of a set that do not come back from its data, with the reason why."""
    return [row for row in read("not_reproduced")["rows"] if row["file"] == file]
