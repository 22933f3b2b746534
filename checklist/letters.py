"""Which characters may stand in a text that people are to read."""

import unicodedata


def unseen(text: str) -> str:
    """The first character that cannot be seen or that turns text round; empty when there is none.

    A plain space is seen. Line ends, tabs, controls, direction marks, zero-width marks, spaces
    of other widths, surrogates and unassigned code points are not.
    """
    for char in text:
        category = unicodedata.category(char)
        if category[0] == "C" or category in ("Zl", "Zp") or (category == "Zs" and char != " "):
            return char
    return ""
