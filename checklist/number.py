"""Exact numbers as people type, read and say them: one strict grammar in, plain figures out."""

import re
import unicodedata
from fractions import Fraction

MAX_INTEGER_DIGITS = 7
MAX_DECIMALS = 6
SHOWN_PLACES = 4
"""Significant places kept when a number has to be shown rounded."""

_GRAMMAR = re.compile(
    rf"(?:0|[1-9][0-9]{{0,{MAX_INTEGER_DIGITS - 1}}})(?:\.[0-9]{{0,{MAX_DECIMALS - 1}}}[1-9])?"
)
_LONGEST_SHOWN = 24
_SCALE = 10**MAX_DECIMALS


class NumberFault(ValueError):
    """A typed number is not in the one accepted form; the message says what to do."""


def number(text: str) -> Fraction:
    """Read a typed number exactly.

    Accepted: ASCII digits, at most one point, a zero before the point, no zero at the end of
    the decimals, no sign, at most MAX_INTEGER_DIGITS digits before the point and MAX_DECIMALS
    after it. Spaces and tabs around the number are dropped. Nothing is ever repaired.
    Raises NumberFault with a sentence for the reader, TypeError when given anything but text.
    The form follows the rules for writing doses safely: Joint Commission, Official Do Not Use
    List (2017), for the leading and the trailing zero; the limits are our own.

    >>> number("0.75")
    Fraction(3, 4)
    >>> number("7.50")  # doctest: +IGNORE_EXCEPTION_DETAIL
    Traceback (most recent call last):
    NumberFault: "7.50" ends in a zero after the point. Leave that zero out.
    """
    if not isinstance(text, str):
        raise TypeError(f"A number is read from text, never from {type(text).__name__}.")
    typed = text.strip(" \t")
    if _GRAMMAR.fullmatch(typed):
        return Fraction(typed)
    raise NumberFault(_fault(typed))


def quoted(text: str) -> str:
    """The text in quotation marks, cut short, with every hidden character made visible."""
    shown = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text[:_LONGEST_SHOWN])
    return f'"{shown}{"..." if len(text) > _LONGEST_SHOWN else ""}"'


_TOO_LARGE = f"has more than {MAX_INTEGER_DIGITS} figures before the point. Use a larger unit."
_TOO_FINE = f"has more than {MAX_DECIMALS} figures after the point. Use a smaller unit."

# The order is the order of precedence: the first form that is seen names the trouble.
_SEEN = (
    (r"", "There is no number here. Type the number in figures."),
    (r"(?i)[+-]?\s*(?:nan|inf(?:inity)?)", "{} is not an amount. Type the number in figures."),
    (r".*,.*", "{} has a comma. Write a point for decimals and no mark between thousands."),
    (r"[0-9.]+[eE][+-]?[0-9]*|.*\^.*", "{} has a power of ten. Type all the figures."),
    (r".*_.*", "{} has an underscore. Type figures and one point only."),
    (r".*[0-9]:[0-9].*", "{} is a ratio. Type the amount and the volume as two numbers."),
    (r".*/.*", "{} is written as a fraction. Type it with a point."),
    (r".*%.*", "{} has a percent sign. Type the amount and the volume as two numbers."),
    (r"[+-].*", "{} has a sign in front. Type the number without a plus or a minus."),
    (r".*\s.*", "{} has a space inside. Type the figures without a space between them."),
    (r".*[^0-9.].*", "{} has something besides figures. Type figures and one point only."),
    (r"\.", "{} has no figures. Type the number in figures."),
    (r".*\..*\..*", "{} has more than one point. Look at the order and type the number afresh."),
    (r"\.[0-9]+", "{} starts with a point. Put a zero before the point."),
    (r"[0-9]+\.", "{} ends with a point. Leave the point out, or type the decimals after it."),
    (r"0[0-9].*", "{} starts with a zero that is not needed. Leave that zero out."),
    (r"[0-9]+\.[0-9]*0", "{} ends in a zero after the point. Leave that zero out."),
    (rf"[0-9]{{{MAX_INTEGER_DIGITS + 1},}}.*", f"{{}} {_TOO_LARGE}"),
    (rf".*\.[0-9]{{{MAX_DECIMALS + 1},}}", f"{{}} {_TOO_FINE}"),
)
_FORMS = tuple((re.compile(pattern, re.ASCII | re.DOTALL), say) for pattern, say in _SEEN)


def _fault(typed: str) -> str:
    """The sentence for a text that is not in the accepted form."""
    head = typed[:100]  # the sentence depends on the start only, whatever the length
    for char in head:
        foreign_space = char.isspace() and not char.isascii()
        if not (char.isprintable() or char == "\t" or foreign_space):
            return f"{quoted(typed)} has a hidden character. Clear the field and type it again."
        if not char.isascii():
            return f"{quoted(typed)} has {_stranger(char)}. Type plain figures 0 to 9 and a point."
    for form, sentence in _FORMS:
        if form.fullmatch(head):
            return sentence.format(quoted(typed))
    raise AssertionError(f"no sentence for {quoted(typed)}")


def _stranger(char: str) -> str:
    """What a character outside ASCII is, in plain words."""
    if char.isspace():
        return "a space that is not the plain one"
    if char.isdecimal():
        return "figures of another script"
    if char.isnumeric():
        return "a fraction or number sign"
    return f"a sign that is not on the list ({unicodedata.name(char, 'no name').lower()})"


def decimals(value: Fraction) -> int | None:
    """How many decimals write the value exactly; None when no number of them does."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives) if rest == 1 else None


def half_up(value: Fraction) -> int:
    """The nearest whole number; a half goes up."""
    return (2 * value.numerator + value.denominator) // (2 * value.denominator)


def plain(value: Fraction) -> str:
    """The value without loss, for storing: "0.75", or "2/3" when no decimals write it."""
    places = decimals(value)
    return str(value) if places is None else _pointed(value, places)


def exact(text: str) -> Fraction:
    """Read back what `plain` wrote; raises NumberFault for any other text."""
    if not re.fullmatch(r"-?[0-9]{1,2000}(?:\.[0-9]{1,2000}|/[1-9][0-9]{0,2000})?", text):
        raise NumberFault(f"{quoted(text)} is not a stored number. Look at the record's source.")
    return Fraction(text)


def shown(value: Fraction) -> str:
    """Figures for people: grouped by comma from 1,000, a zero before the point, none at the end.

    A value with more than MAX_DECIMALS decimals is shown rounded (half up) to SHOWN_PLACES
    significant places, never short of whole numbers, with "about " in front. A value that is
    not zero is never shown as zero. A value below zero is shown with the word minus.
    """
    if value.numerator < 0:
        return f"minus {shown(-value)}"
    about, whole, part = _figures(value)
    return f"{about}{whole:,}.{part}" if part else f"{about}{whole:,}"


def said(value: Fraction) -> str:
    """The value in English words, decimals figure by figure: "zero point seven five"."""
    if value.numerator < 0:
        return f"minus {said(-value)}"
    about, whole, part = _figures(value)
    figures = " ".join(_ONES[int(figure)] for figure in part)
    return f"{about}{_whole(whole)}{f' point {figures}' if part else ''}"


def _figures(value: Fraction) -> tuple[str, int, str]:
    """The value as people read it: "about " when that is not the value itself, its whole part and
    its decimals. It is not below zero. Whole-number arithmetic, for this is done for every line.
    """
    above, below = value.numerator, value.denominator
    if _SCALE % below == 0:
        about, places, nearest = "", MAX_DECIMALS, above * (_SCALE // below)
    else:
        about, places, least = "about ", 0, below * 10 ** (SHOWN_PLACES - 1)
        while above < least:
            above, places = above * 10, places + 1
        nearest = (2 * above + below) // (2 * below)
    whole, part = divmod(nearest, 10**places)
    return about, whole, f"{part:0{places}d}".rstrip("0") if part else ""


def _pointed(value: Fraction, places: int) -> str:
    """The value with exactly this many decimals, which must write it exactly."""
    scaled = value * 10**places
    assert scaled.denominator == 1, "the caller counted the decimals"
    figures = str(abs(scaled.numerator)).rjust(places + 1, "0")
    text = f"{figures[:-places]}.{figures[-places:]}" if places else figures
    return f"-{text}" if value < 0 else text


_ONES = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_POWERS = (
    (10**12, "trillion"), (10**9, "billion"), (10**6, "million"), (10**3, "thousand"),
    (100, "hundred"),
)  # fmt: skip


def _whole(value: int) -> str:
    """A whole number in words; beyond the named powers, figure by figure."""
    if value < 20:
        return _ONES[value]
    if value < 100:
        ones = f"-{_ONES[value % 10]}" if value % 10 else ""
        return f"{_TENS[value // 10]}{ones}"
    if value >= 10**15:
        return " ".join(_ONES[int(figure)] for figure in str(value))
    power, name = next((power, name) for power, name in _POWERS if value >= power)
    rest = f" {_whole(value % power)}" if value % power else ""
    return f"{_whole(value // power)} {name}{rest}"
