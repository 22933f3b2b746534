"""Rules of writing a dose: each misread form is found, and no safe form is."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.notation import (
    BLOCK,
    DOSE,
    DRUG,
    FREQUENCY,
    MAX_CHARACTERS,
    ROUTE,
    RULES,
    SCOPES,
    TextTooLong,
    faults,
)

# The lists are those of the Joint Commission (Official Do Not Use List), ISMP (error-prone
# abbreviations and dose designations) and FDA (ratio strengths), each named at its rule; the
# examples are our own.
_PUBLISHED = json.loads((Path(__file__).parent / "data" / "writing_rules.json").read_text("utf-8"))
LISTED = {rule["id"]: rule for rule in _PUBLISHED["rules"]}
BAD = [(name, text) for name, rule in LISTED.items() for text in rule["bad"]]
GOOD = [text for rule in LISTED.values() for text in rule["good"]]


def found(text: str, *scopes: str, prose: bool = False) -> list[str]:
    return [fault.rule.id[:3] for fault in faults(text, scopes or SCOPES, prose=prose)]


def test_the_rules_are_the_published_ones() -> None:
    assert [rule.id for rule in RULES] == list(LISTED)
    for rule in RULES:
        listed = LISTED[rule.id]
        assert (rule.scope, rule.severity) == (listed["scope"], listed["severity"])
        assert rule.status == listed["status"]
        assert rule.source


@pytest.mark.parametrize(("name", "text"), BAD)
def test_a_misread_form_is_found_by_its_own_rule(name: str, text: str) -> None:
    hits = [fault for fault in faults(text, [LISTED[name]["scope"]]) if fault.rule.id == name]
    assert hits
    for fault in hits:
        assert text[fault.place : fault.place + len(fault.found)] == fault.found


@pytest.mark.parametrize("text", GOOD)
def test_a_safe_form_is_found_by_no_rule(text: str) -> None:
    assert found(text) == []


# Forms that the plain reading of a rule would miss or take wrongly; the expected column follows
# from the same published rule, the sentences are our own.
EDGES = [
    ("give 3.0.", ["W01"]),  # at the end of a sentence
    ("1,000.0 mL", ["W01"]),  # in a grouped number
    ("2.50.", ["W02"]),
    ("30microgram", ["W04"]),  # a unit written in full
    ("20MG", ["W04"]),
    ("5ml", ["W04", "W13"]),
    ("25 G needle", []),  # a gauge is no gram
    ("adrenaline 1 in 1,000", ["W17"]),  # a ratio in words
    ("1 in 10 patients", []),
    ("10*6 units", ["W24"]),
    ("10⁶ units", ["W24"]),
    ("−2 mL", ["W26"]),  # the true minus sign
    ("give -2 mL", ["W26"]),
    ("10 - 20 mL", []),  # a range
    ("5 mL - 10 mL", []),
    ("0 units", ["W26"]),
    ("0 micrograms", ["W26"]),
    ("120/80", []),
    ("20 mg/2 mL", []),
    ("1,234,567 units", []),
]


@pytest.mark.parametrize(("text", "rules"), EDGES)
def test_the_edges_of_the_dose_rules(text: str, rules: list[str]) -> None:
    assert found(text, DOSE) == rules


def test_only_the_rules_of_the_asked_fields_are_looked_for() -> None:
    text = "MS 3.0 mg QD OU"
    assert found(text, DRUG) == ["W16"]
    assert found(text, DOSE) == ["W01"]
    assert found(text, FREQUENCY) == ["W14"]
    assert found(text, ROUTE) == ["W28"]
    assert found(text) == ["W16", "W01", "W14", "W28"]


def test_a_full_stop_after_a_unit_counts_in_an_order_and_not_at_the_end_of_a_sentence() -> None:
    text = "The dose is 2 mL. Draw up 2 mL."
    assert found(text) == ["W10", "W10"]
    assert found(text, prose=True) == []
    assert found("5 mL. slowly", prose=True) == ["W10"]
    assert found("2.50 mL.", prose=True) == ["W02"]


def test_a_fault_says_what_was_seen_why_and_what_to_write() -> None:
    (fault,) = faults("30 µg", [DOSE])
    assert str(fault) == (
        '"µg" is easily misread: u is read as m, and the dose is a thousandfold. Write microgram.'
    )
    assert fault.rule.severity == BLOCK


def test_our_own_words_keep_the_rules() -> None:
    for rule in RULES:
        for text in (rule.why, rule.use_instead):
            assert faults(text, [DOSE, FREQUENCY, ROUTE], prose=True) == ()


def test_a_text_that_is_too_long_is_refused() -> None:
    assert faults("2 mL " * (MAX_CHARACTERS // 5)) == ()
    with pytest.raises(TextTooLong, match="Send it in parts"):
        faults("x" * (MAX_CHARACTERS + 1))


def test_a_scope_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="No such scope: dose"):
        faults("2 mL", ["dose"])


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.sampled_from("0123456789.,:/-+ eEuUgmLlqd^*µ\n\u00a0aXIV"), max_size=60))
def test_any_text_is_looked_through_and_every_place_is_true(text: str) -> None:
    for fault in faults(text):
        assert fault.found
        assert text[fault.place : fault.place + len(fault.found)] == fault.found
        assert str(fault)


@settings(max_examples=150, deadline=None)
@given(st.integers(1, 999), st.sampled_from(["mg", "mL", "microgram", "units", "mmol"]))
def test_every_plain_dose_is_safe_and_its_trailing_zero_is_not(amount: int, unit: str) -> None:
    assert found(f"{amount} {unit}") == []
    assert found(f"{amount}.0 {unit}") == ["W01"]
    assert found(f"0.{amount}5 {unit}") == []
    assert found(f".{amount}5 {unit}") == ["W03"]


@pytest.mark.parametrize("piece", ["0", "1,", "10", ".1", "a", "a1", "1 ", "1.", "q.", "V", "1/"])
def test_the_longest_text_is_looked_through_whatever_it_repeats(piece: str) -> None:
    """A pattern that walked the same figures again and again would not come to an end here."""
    text = (piece * MAX_CHARACTERS)[: MAX_CHARACTERS - 8] + " 5.50 mg"
    hits = faults(text)
    assert "W02" in {fault.rule.id[:3] for fault in hits}
    assert [fault.place for fault in hits] == sorted(fault.place for fault in hits)
