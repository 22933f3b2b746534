"""Drug names in tall-man letters, as the published lists write them."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from functools import cache

from checklist import library

FILE = "labels/tall_man.csv"


@cache
def listed() -> Mapping[str, str]:
    """Each name of the lists in lower case, and as the list writes it.

    FDA and ISMP lists of look-alike drug names with recommended tall-man letters; which list and
    edition a name is from, and whether a page was seen, stands beside it in the file.
    """
    text = (library.folder("workflows") / FILE).read_text(encoding="utf-8")
    return {row["name"].lower(): row["name"] for row in csv.DictReader(text.splitlines())}


def tall(text: str) -> str:
    """The text with every listed name in it as the lists write it; all else stays as it is."""
    return re.sub(r"[A-Za-z]+", lambda m: listed().get(m[0].lower(), m[0]), text)
