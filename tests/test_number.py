"""Typed numbers: one form is read, every other is refused with its own sentence."""

import string
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from checklist.number import (
    MAX_DECIMALS,
    MAX_INTEGER_DIGITS,
    SHOWN_PLACES,
    NumberFault,
    decimals,
    exact,
    half_up,
    number,
    plain,
    said,
    shown,
)

READ = {
    "0": Fraction(0),
    "7": Fraction(7),
    "12": Fraction(12),
    "0.5": Fraction(1, 2),
    "1.25": Fraction(5, 4),
    "10": Fraction(10),
    "3.05": Fraction(61, 20),
    "9999999": Fraction(9999999),
    "9999999.999999": Fraction(9999999999999, 1000000),
    "0.000001": Fraction(1, 1000000),
    " 2.5\t": Fraction(5, 2),
}

# Leading and trailing zero: Joint Commission, Official Do Not Use List (2017).
# Comma as thousands mark, powers of ten: ISMP list of error-prone dose designations, as restated.
# The other forms are common practice, no source. Each class has a phrase of its own.
REFUSED = {
    "no number": ["", " ", "\t"],
    "is not an amount": ["NaN", "nan", "-nan", "inf", "-Infinity", "+inf"],
    "has a comma": ["0,5", "1,000", "1,5", ",5", "1,000.5"],
    "has a power of ten": ["1e3", "1E400", "2E+1", "1e-3", "10^6"],
    "has an underscore": ["1_000", "_1", "1_"],
    "is a ratio": ["1:1000", "1:10"],
    "written as a fraction": ["1/2", "3/4", "/2"],
    "has a percent sign": ["5%", "0.9 %"],
    "has a sign in front": ["+5", "-5", "-0", "+"],
    "has a space inside": ["1 000", "0. 5", "1\t0"],
    "has something besides figures": ["5mg", "1'000", "abc", "0x10", "5;", "True", "1:", "5-"],
    "has no figures": ["."],
    "has more than one point": ["1.2.5", "1..5", "..", "1.000.000"],
    "starts with a point": [".5", ".50", ".0"],
    "ends with a point": ["5.", "0.", "05."],
    "starts with a zero": ["05", "00", "00.5", "007", "05.50"],
    "ends in a zero": ["5.0", "2.50", "0.0", "0.10", "12.00", "1.0000000"],
    "figures before the point": ["10000000", "12345678.5", "9" * 5000],
    "figures after the point": ["0.1234567", "1." + "1" * 5000],
    "figures of another script": ["５", "٠.٥", "१२", "1２"],
    "a space that is not the plain one": ["5\u00a0", "\u00a05", "1\u202f000", "\u20035"],
    "a fraction or number sign": ["½", "1½", "²", "Ⅴ", "五"],
    "a sign that is not on the list": ["−5", "5µ", "·5", "5€"],
    "a hidden character": ["5\x00", "5\x1d", "5\n", "\x1b5", "1\u200b0", "\u202e5", "\ud800"],
}


@pytest.mark.parametrize("text", READ)
def test_a_number_in_the_accepted_form_is_read_exactly(text: str) -> None:
    assert number(text) == READ[text]
    assert type(number(text)) is Fraction


@pytest.mark.parametrize(
    ("phrase", "text"), [(phrase, text) for phrase, texts in REFUSED.items() for text in texts]
)
def test_any_other_form_is_refused_with_the_sentence_of_its_class(phrase: str, text: str) -> None:
    with pytest.raises(NumberFault) as refused:
        number(text)
    sentence = str(refused.value)
    assert phrase in sentence
    assert [other for other in REFUSED if other in sentence] == [phrase]
    assert sentence.endswith(".")
    assert sentence.isprintable()
    assert len(sentence) < 160


def test_the_limits_are_the_stated_ones_and_are_named_in_the_sentence() -> None:
    assert number("9" * MAX_INTEGER_DIGITS) == 10**MAX_INTEGER_DIGITS - 1
    assert number("0." + "9" * MAX_DECIMALS) < 1
    with pytest.raises(NumberFault, match=f"more than {MAX_INTEGER_DIGITS} figures"):
        number("9" * (MAX_INTEGER_DIGITS + 1))
    with pytest.raises(NumberFault, match=f"more than {MAX_DECIMALS} figures"):
        number("0." + "9" * (MAX_DECIMALS + 1))


@pytest.mark.parametrize("text", ["0,5", ".5", "5.0", "1 000", "1,000", "05"])
def test_a_refusal_never_offers_a_repaired_number(text: str) -> None:
    with pytest.raises(NumberFault) as refused:
        number(text)
    rest = str(refused.value).replace(f'"{text}"', "")
    assert not any(char.isdigit() for char in rest)


@pytest.mark.parametrize("thing", [5, 0.5, Fraction(1, 2), None, True, b"5", float("nan")])
def test_a_number_is_read_from_text_only(thing: object) -> None:
    with pytest.raises(TypeError):
        number(thing)  # type: ignore[arg-type]


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.one_of(st.sampled_from(string.digits + ".,eE-+_/: "), st.characters())))
@example("1" * 101)
@example("1" * 99 + ".5")
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    try:
        value = number(text)
    except NumberFault as fault:
        assert str(fault).endswith(".")
    else:
        assert plain(value) == text.strip(" \t")


@settings(max_examples=200, deadline=None)
@given(st.fractions())
def test_a_stored_number_is_read_back_without_loss(value: Fraction) -> None:
    assert exact(plain(value)) == value


@pytest.mark.parametrize("text", ["0", "7", "0.75", "12500", "2/3", "-0.5", "-1/3", "0.0000001"])
def test_a_number_is_stored_in_one_form(text: str) -> None:
    assert plain(exact(text)) == text


@pytest.mark.parametrize(
    "text", ["", "1e3", "1/0", "1/-2", "½", "1.5/2", "nan", "--1", "1_0", "٣", "1.", "9" * 4001]
)
def test_a_stored_number_in_another_form_is_refused(text: str) -> None:
    with pytest.raises(NumberFault):
        exact(text)


def test_decimals_are_counted_where_they_end() -> None:
    assert [decimals(Fraction(1, n)) for n in (1, 2, 3, 4, 5, 6, 8, 10, 80)] == [
        0, 1, None, 2, 1, None, 3, 1, 4,
    ]  # fmt: skip


# Half up is the teaching rule: 80.5 -> 81, 2.25 to tenths -> 2.3 (nursing course handout, rounding
# rules for drug calculations for adults); built-in rounding to even would give 80 and 2.2.
def test_a_half_goes_up() -> None:
    assert half_up(Fraction(161, 2)) == 81
    assert half_up(Fraction(45, 2)) == 23
    assert half_up(Fraction(5, 2) - Fraction(1, 10**30)) == 2


SHOWN = {
    "0": "0",
    "1/2": "0.5",
    "3/4": "0.75",
    "12500": "12,500",
    "999": "999",
    "1000": "1,000",
    "1234567.25": "1,234,567.25",
    "0.000001": "0.000001",
    "2/3": "about 0.6667",
    "1/3": "about 0.3333",
    "100/3": "about 33.33",
    "1000000/7": "about 142,857",
    "9999.96": "9,999.96",
    "29999/3": "about 10,000",
    "3700/3": "about 1,233",
    "0.0000001": "about 0.0000001",
    "-1/2": "minus 0.5",
    "-1/3": "minus about 0.3333",
    "1/300000": "about 0.000003333",
}


@pytest.mark.parametrize("value", SHOWN)
def test_figures_are_shown_as_the_writing_rules_want_them(value: str) -> None:
    assert shown(Fraction(value)) == SHOWN[value]


@settings(max_examples=200, deadline=None)
@given(st.fractions(min_value=0))
def test_what_is_shown_is_the_value_or_says_about(value: Fraction) -> None:
    text = shown(value)
    figures = Fraction(text.removeprefix("about ").replace(",", ""))
    if text.startswith("about "):
        assert abs(figures - value) * 10**SHOWN_PLACES <= 5 * value
    else:
        assert figures == value
    assert (figures == 0) == (value == 0)
    assert not text.endswith(".")
    assert "." not in text or not text.endswith("0")


SAID = {
    "0": "zero",
    "0.75": "zero point seven five",
    "1": "one",
    "10.05": "ten point zero five",
    "15": "fifteen",
    "20": "twenty",
    "42": "forty-two",
    "100": "one hundred",
    "115": "one hundred fifteen",
    "3200": "three thousand two hundred",
    "12500": "twelve thousand five hundred",
    "1000000": "one million",
    "9876543": "nine million eight hundred seventy-six thousand five hundred forty-three",
    "1000000000": "one billion",
    "999000000000": "nine hundred ninety-nine billion",
    "1000000000000": "one trillion",
    "1000000000000000": "one zero zero zero zero zero zero zero zero zero zero zero zero zero zero"
    " zero",
    "2/3": "about zero point six six six seven",
    "-2": "minus two",
}


@pytest.mark.parametrize("value", SAID)
def test_figures_are_said_in_words(value: str) -> None:
    assert said(Fraction(value)) == SAID[value]
