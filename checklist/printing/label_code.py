"""The number in a label's code: it leads to the preparation and says nothing about the patient."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Self

from checklist.interop.gs1 import OWN_LABEL

DIGITS = 16
_PREFIX = re.compile(rf"(?:\][dQC][0-9])?(?:\({OWN_LABEL}\)|{OWN_LABEL})?")


class NotALabelCode(ValueError):
    """A text that is not the code of a label of ours. The message is a sentence for a person."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelCode:
    """Which label of which preparation, in 16 figures: trail 4, opening entry 8, label 2, check 2.

    `trail` is made from the trail's id, so that a label of another unit is told apart, `opened` is
    the number of the entry that opened the preparation, `number` counts its labels from 1; 0 is a
    specimen. The two last figures are those of ISO/IEC 7064, MOD 97-10: one figure that is not as
    printed, or two that changed places, are seen.
    """

    trail: int
    opened: int
    number: int

    @classmethod
    def of(cls, trail_id: str, opened: int, number: int) -> Self:
        """The code for a label. Raises ValueError beyond 99,999,999 entries or 99 labels."""
        if not (0 < opened < 10**8 and 0 <= number < 100):
            raise ValueError(f"there is no code for label {number} of entry {opened}")
        return cls(trail=mark_of(trail_id), opened=opened, number=number)

    @classmethod
    def read(cls, text: str) -> Self:
        """The code as scanned (with its prefixes), as printed in fours, or bare.

        Raises NotALabelCode.
        """
        scanned = text.strip(" \t\r\n")
        bare = scanned[len(_PREFIX.match(scanned)[0]) :].replace(" ", "")  # type: ignore[index]
        if len(scanned.replace(" ", "")) == DIGITS:
            bare = scanned.replace(" ", "")
        if not re.fullmatch(rf"[0-9]{{{DIGITS}}}", bare, re.ASCII):
            raise NotALabelCode(
                f"This is not the code of a label: it has {DIGITS} figures. Scan it again, or type"
                " the figures that stand on the label."
            )
        if int(bare) % 97 != 1:
            raise NotALabelCode(
                "One of these figures is not as on the label: they do not add up. Read it again."
            )
        return cls(trail=int(bare[:4]), opened=int(bare[4:12]), number=int(bare[12:14]))

    @property
    def figures(self) -> str:
        """The 16 figures without spaces."""
        bare = f"{self.trail:04d}{self.opened:08d}{self.number:02d}"
        return f"{bare}{98 - int(bare) * 100 % 97:02d}"

    @property
    def grouped(self) -> str:
        """The figures in fours, for the eye."""
        return " ".join(self.figures[i : i + 4] for i in range(0, DIGITS, 4))

    @property
    def bracketed(self) -> str:
        """The whole element string as people write it: "(91)...", for the maker of the symbol."""
        return f"({OWN_LABEL}){self.figures}"


def mark_of(trail_id: str) -> int:
    """Four figures that tell one trail from another, from the SHA-256 of its id."""
    return int.from_bytes(hashlib.sha256(trail_id.encode()).digest()[:8]) % 10_000
