"""Which cells of a table are too small to show, so that no person can be made out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from checklist.review.unusable import whole

TOO_FEW = "too few to show"
"""What stands in a hidden cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """The fewest people and preparations that a shown cell holds (common practice)."""

    people: int = 5
    preparations: int = 20


FLOOR = Floor()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What a cell rests on: how many preparations by how many people."""

    people: int
    preparations: int


def shown(cell: Cell, floor: Floor = FLOOR) -> bool:
    """Whether the cell holds enough people and enough preparations; not for not-a-number."""
    return bool(cell.people >= floor.people and cell.preparations >= floor.preparations)


def screen(cells: Sequence[Cell], *, total_shown: bool, floor: Floor = FLOOR) -> tuple[bool, ...]:
    """For each cell of a row or column, whether it may be shown.

    Cells below the floor are hidden. Where the total is shown as well, what is hidden can be worked
    out from the rest, so that the smallest of the shown cells is hidden too until those hidden make
    up the floor together and are two or more. Empty cells (no preparation) count as known and stay
    shown. The same cells always give the same answer. Raises Unusable for a count that is not
    whole.
    Source: complementary suppression, Hundepool et al., Statistical Disclosure Control, 2012,
    chapter 4.
    """
    for cell in cells:
        whole("The number of people", cell.people)
        whole("The number of preparations", cell.preparations)
    visible = [cell.preparations == 0 or shown(cell, floor) for cell in cells]
    if total_shown and not all(visible):
        order = sorted(
            (place for place, cell in enumerate(cells) if visible[place] and cell.preparations),
            key=lambda place: (cells[place].preparations, cells[place].people, place),
        )
        for place in order:
            hidden = [cell for cell, seen in zip(cells, visible, strict=True) if not seen]
            if len(hidden) >= 2 and shown(_joined(hidden), floor):
                break
            visible[place] = False
    return tuple(visible)


def _joined(cells: Sequence[Cell]) -> Cell:
    """The cells as one. People may be in several, so only the most in one cell are sure."""
    return Cell(
        people=max(cell.people for cell in cells),
        preparations=sum(cell.preparations for cell in cells),
    )
