"""An HL7 v2 message taken apart: its segments and fields, each with the name to find it by.

The separators, repetitions and components are told apart by the library `hl7`; escapes are
undone here by the standard's own list (HL7 v2.5.1, chapter 2, use of escape sequences), since the
library leaves out without a word what it does not know.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from checklist.exchange.node import LONGEST
from checklist.extra import wanted
from checklist.intake.fault import Findings, NotAsWritten
from checklist.letters import unseen
from checklist.number import quoted

EXTRA = "hl7"
START = "MSH"
MOST_SEGMENTS, LONGEST_SEGMENT, MOST_FIELDS = 5_000, 64 * 1024, 512
KINDS = {("RDE", "O11"): "RXE", ("OMP", "O09"): "RXO"}
"""The messages that are read, with the segment that holds the order."""
_CHARACTER_SETS = ("", "ASCII", "UNICODE UTF-8")
_FRAME = ("\x0b", "\x1c\r", "\x1c")
BATCH = ("FHS", "BHS", "BTS", "FTS")


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment of a message. `place` names it in a doubt: "PID", or "RXE 2" for the second."""

    name: str
    place: str
    fields: Any
    separators: str
    findings: Findings

    def at(self, field: int, component: int = 0) -> str:
        """How a field is called in a doubt: "RXE-3", or "PID-3.1"."""
        number, _, which = self.place.partition(" ")
        name = f"{number}-{field}{f'.{component}' if component else ''}"
        return f"{name} (the {which} of its kind)" if which else name

    def doubt(self, field: int, sentence: str, component: int = 0) -> None:
        """Note what keeps a field from being taken."""
        self.findings.add(self.at(field, component), sentence)

    def there(self, field: int) -> bool:
        """Whether the field holds anything."""
        return bool(str(self.fields[field]).strip()) if field < len(self.fields) else False

    def repeats(self, field: int) -> Sequence[Any]:
        """The repetitions of a field, each to be asked for its components with `part`."""
        return list(self.fields[field]) if self.there(field) else []

    def text(self, field: int, component: int = 1) -> str:
        """A component of the first repetition, escapes undone; several repetitions are a doubt."""
        every = self.repeats(field)
        if len(every) > 1:
            self.doubt(field, "It is there more than once. Have it sent once.")
            return ""
        return self.part(every[0], component, field) if every else ""

    def part(self, repetition: Any, component: int, field: int) -> str:
        """A component of one repetition as plain text; "" for none, and for a doubt."""
        raw = _component(repetition, component)
        if raw == '""':
            self.doubt(field, 'The field says that the value is taken away (""). Look at it.')
            return ""
        try:
            text = " ".join(_unescaped(raw, self.separators).split())
        except NotAsWritten as fault:
            self.doubt(field, str(fault), component)
            return ""
        if unseen(text):
            mark = quoted(unseen(text))
            self.doubt(field, f"It holds a character that cannot be seen ({mark}).", component)
            return ""
        if len(text) > LONGEST:
            self.doubt(field, f"It has more than {LONGEST} characters. Have it shortened.")
            return ""
        return text


def segments_of(text: str, findings: Findings) -> list[Segment]:
    """The segments of one message of a kind that is read; none, with doubts, for anything else.

    Raises NeedsExtra where the library is not installed.
    """
    hl7 = wanted("hl7", EXTRA)
    plain = _unframed(text)
    lines = [line for line in re.split(r"\r\n|\r|\n", plain) if line.strip()]
    if not _fit(lines, findings):
        return []
    try:
        message = hl7.parse("\r".join(lines))
    except (hl7.HL7Exception, ValueError, IndexError, KeyError) as trouble:
        findings.add("MSH", f"It cannot be read as HL7 v2: {str(trouble)[:120]}. Have it mended.")
        return []
    separators = lines[0][3:8]
    counts: dict[str, int] = {}
    found = []
    for fields in message:
        name = str(fields[0])[:3]
        counts[name] = counts.get(name, 0) + 1
        place = name if counts[name] == 1 else f"{name} {_ordinal(counts[name])}"
        found.append(Segment(name, place, fields, separators, findings))
    return found if _is_read(found[0]) else []


def _unframed(text: str) -> str:
    """The message without the frame that a transport puts round it (MLLP)."""
    plain = text.removeprefix(_FRAME[0])
    for end in _FRAME[1:]:
        plain = plain.removesuffix(end)
    return plain


def _fit(lines: list[str], findings: Findings) -> bool:
    """Whether the lines can be those of one message, before a library sees them."""
    begun = len(findings.faults)
    if not lines or not lines[0].startswith(START):
        seen = quoted(lines[0][:8] if lines else "")
        what = "a batch" if lines and lines[0][:3] in BATCH else f"{seen}, not with MSH"
        findings.add("MSH", f"The file begins with {what}. Have one message sent in a file.")
        return False
    marks = lines[0][3:8]
    if len(marks) < 5 or len(set(marks)) < 5 or any(c.isalnum() or c.isspace() for c in marks):
        sentence = "gives no five different separators. Have the message sent with |^~\\&."
        findings.add("MSH-2", f"{quoted(marks)} {sentence}")
        return False
    if lines[0][8:9] not in (marks[0], "#"):
        findings.add("MSH-2", "It has more than four characters. Have the usual ^~\\& sent.")
    if len(lines) > MOST_SEGMENTS:
        findings.add("MSH", f"It has more than {MOST_SEGMENTS} segments. Have it sent in parts.")
    for number, line in enumerate(lines, start=1):
        if not re.match(r"[A-Z][A-Z0-9]{2}" + re.escape(marks[0]), line):
            name = quoted(line[:4])
            findings.add(f"line {number}", f"{name} begins no segment. Have the line mended.")
        elif line.startswith(START) and number > 1:
            findings.add(f"line {number}", "A second message begins here. Have each in a file.")
        if len(line) > LONGEST_SEGMENT or line.count(marks[0]) > MOST_FIELDS:
            findings.add(f"line {number}", "The segment is too long to be one. Have it mended.")
        if len(findings.faults) - begun > 20:
            break
    return len(findings.faults) == begun


def _is_read(head: Segment) -> bool:
    """Whether the header says that this is an order, for use, in letters that were read right."""
    clear = True
    kind = (head.text(9, 1), head.text(9, 2))
    if kind not in KINDS:
        known = " and ".join("^".join(one) for one in KINDS)
        said = quoted("^".join(kind))
        head.doubt(9, f"{said} is not read here. Read are {known}, pharmacy orders.")
        clear = False
    use = head.text(11)
    if use != "P":
        head.doubt(11, f"{quoted(use)} is not P: the message is not from a system in use.")
        clear = False
    if not re.fullmatch(r"2\.[3-8](?:\.[0-9])?", head.text(12)):
        head.doubt(12, f"{quoted(head.text(12))} is no version from 2.3 to 2.8. Have it sent so.")
        clear = False
    for one in head.repeats(18):
        name = head.part(one, 1, 18)
        if name.upper() not in _CHARACTER_SETS:
            head.doubt(18, f"The letters are in {quoted(name)}. Have UNICODE UTF-8 sent.")
            clear = False
    return clear and not head.findings.faults


def _component(repetition: Any, component: int) -> str:
    """The text of a component as it stands, subcomponents with their separators."""
    if isinstance(repetition, str):
        return repetition if component == 1 else ""
    return str(repetition[component - 1]) if component <= len(repetition) else ""


def _unescaped(raw: str, separators: str) -> str:
    r"""The text with its escapes undone; raises NotAsWritten for one that says nothing here.

    Separators as \F\ \S\ \T\ \R\ \E\, hexadecimal figures as \X..\ (read as UTF-8), and the marks
    for loud print and line ends, which are left away or become a space.
    """
    field, component, repetition, escape, sub = tuple(separators)
    plain = {"F": field, "S": component, "T": sub, "R": repetition, "E": escape}
    parts = raw.split(escape)
    if len(parts) % 2 == 0:
        raise NotAsWritten("An escape begins here and does not end. Have the field mended.")
    return "".join(
        part if number % 2 == 0 else _escape(part, plain) for number, part in enumerate(parts)
    )


def _escape(name: str, plain: dict[str, str]) -> str:
    if name in plain:
        return plain[name]
    if name in ("H", "N"):
        return ""
    if re.fullmatch(r"\.(?:br|sp[0-9]*|fi|nf|in[+-]?[0-9]*|ti[+-]?[0-9]*|sk[0-9]*|ce)", name):
        return " "
    if re.fullmatch(r"X(?:[0-9A-Fa-f]{2})+", name):
        try:
            return bytes.fromhex(name[1:]).decode("utf-8")
        except UnicodeDecodeError:
            pass
    raise NotAsWritten(f"The escape {quoted(name)} says nothing here. Have plain letters sent.")


def _ordinal(number: int) -> str:
    end = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if 10 < number % 100 < 14 else end}"


def groups(segments: Sequence[Segment]) -> Iterator[list[Segment]]:
    """Each ORC with the segments that follow it, up to the next."""
    group: list[Segment] = []
    for one in segments:
        if one.name == "ORC":
            if group:
                yield group
            group = [one]
        elif group:
            group.append(one)
    if group:
        yield group
