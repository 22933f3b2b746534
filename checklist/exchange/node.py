"""A value inside a JSON resource with the path to it, so that each doubt says where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from checklist.intake.fault import Bare, Findings
from checklist.letters import unseen
from checklist.number import quoted

LONGEST = 120
"""Characters in a text that is taken; a line of orders.json holds no more."""


@dataclass(frozen=True, slots=True)
class Node:
    """A value and its path, such as entry[2].resource.status. `value` is None where nothing is.

    What has another form than was asked for is a doubt, noted in `findings`, and reads as nothing.
    """

    value: Any
    path: str
    findings: Findings

    def doubt(self, sentence: str) -> None:
        """Note what keeps this value from being taken."""
        self.findings.add(self.path, sentence)

    def there(self, key: str) -> bool:
        """Whether the object holds something under this key."""
        return isinstance(self.value, dict) and key in self.value

    @property
    def names(self) -> tuple[str, ...]:
        """The keys of the object."""
        return tuple(self.value) if isinstance(self.value, dict) else ()

    def at(self, key: str) -> Node:
        """What the object holds under a key, or a node of nothing."""
        found = self.value.get(key) if isinstance(self.value, dict) else None
        return Node(found, f"{self.path}.{key}" if self.path else key, self.findings)

    def part(self, key: str) -> Node:
        """The object under a key; another value there is a doubt."""
        found = self.at(key)
        if found.value is None or isinstance(found.value, dict):
            return found
        found.doubt("It is not an object. Have the resource sent as its standard says.")
        return Node(None, found.path, self.findings)

    def each(self, key: str) -> Iterator[Node]:
        """The items of the list under a key; anything but a list there is a doubt."""
        found = self.at(key)
        if found.value is None:
            return
        if not isinstance(found.value, list):
            found.doubt("It is not a list. Have the resource sent as its standard says.")
            return
        for number, item in enumerate(found.value):
            yield Node(item, f"{found.path}[{number}]", self.findings)

    def text(self, key: str) -> str:
        """The text under a key, see `word`."""
        return self.at(key).word()

    def word(self) -> str:
        """The text on one line, "" for none. Other values and hidden marks are doubts.

        Line ends, tabs and several spaces become one space.
        """
        if self.value is None:
            return ""
        if not isinstance(self.value, str):
            self.doubt("It is not a text. Have the resource sent as its standard says.")
            return ""
        plain = " ".join(self.value.split())
        if unseen(plain):
            mark = quoted(unseen(plain))
            self.doubt(f"The text holds a character that cannot be seen ({mark}). Have it mended.")
            return ""
        if len(plain) > LONGEST:
            self.doubt(f"The text has more than {LONGEST} characters. Have it shortened.")
            return ""
        return plain

    def true(self, key: str) -> bool:
        """Whether true stands under a key; anything but true and false is a doubt."""
        found = self.at(key)
        if found.value is None or isinstance(found.value, bool):
            return bool(found.value)
        found.doubt("It is neither true nor false. Have the resource sent as its standard says.")
        return False

    def figures(self, key: str) -> str:
        """The figures of the number under a key exactly as they stand in the file; "" for none."""
        found = self.at(key)
        if found.value is None:
            return ""
        if not isinstance(found.value, Bare):
            found.doubt("It is not a number. Have the resource sent as its standard says.")
            return ""
        return found.value.text
