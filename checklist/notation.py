"""The writing rules: forms of a dose, frequency, route or drug name that are easily misread."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from checklist.number import quoted

MAX_CHARACTERS = 4_000
"""The longest text that is looked through; an order line has some two hundred."""

DOSE, FREQUENCY, ROUTE, DRUG = "dose_text", "frequency", "route", "drug_name"
SCOPES = (DOSE, FREQUENCY, ROUTE, DRUG)
BLOCK, WARN = "block", "warn"


@dataclass(frozen=True, slots=True, kw_only=True)
class WritingRule:
    """One form that must not be written.

    `scope` is the field it is looked for in; `severity` is "block" or "warn". `why` says how the
    form is misread and `use_instead` what to write. `prose`, when given, stands in for `pattern`
    in whole sentences. `status` is "confirmed", "common practice" or "from memory".
    """

    id: str
    scope: str
    pattern: str
    severity: str
    why: str
    use_instead: str
    source: str
    status: str
    prose: str = ""
    form: re.Pattern[str] = field(init=False, repr=False, compare=False)
    prose_form: re.Pattern[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "form", re.compile(self.pattern))
        object.__setattr__(self, "prose_form", re.compile(self.prose or self.pattern))


@dataclass(frozen=True, slots=True, kw_only=True)
class NotationFault:
    """A form that was found: its rule, the very text, and its place counted from 0."""

    rule: WritingRule
    found: str
    place: int

    def __str__(self) -> str:
        rule = self.rule
        return f"{quoted(self.found)} is easily misread: {rule.why}. Write {rule.use_instead}."


class TextTooLong(ValueError):
    """A text is longer than MAX_CHARACTERS and was not looked through."""


def faults(
    text: str, scopes: Iterable[str] = SCOPES, *, prose: bool = False
) -> tuple[NotationFault, ...]:
    """Every misread form in `text`, in the order of their places.

    Only the rules of `scopes` are looked for: run the dose rules on a dose, never on a lot number
    or a date. With `prose` the text is whole sentences, and a full stop that ends one is no fault.
    Raises TextTooLong, and ValueError for a scope that does not exist.

    >>> [fault.found for fault in faults("give 3.0 mg", [DOSE])]
    ['3.0']
    >>> print(faults("30 ug", [DOSE])[0])
    "ug" is easily misread: u is read as m, and the dose is a thousandfold. Write microgram.
    """
    if len(text) > MAX_CHARACTERS:
        raise TextTooLong(
            f"The text has {len(text):,} characters; {MAX_CHARACTERS:,} can be looked through."
            " Send it in parts."
        )
    asked = frozenset(scopes)
    if unknown := asked - set(SCOPES):
        raise ValueError(f"No such scope: {', '.join(sorted(unknown))}. Use {', '.join(SCOPES)}.")
    seen = [
        NotationFault(rule=rule, found=match.group(), place=match.start())
        for rule in RULES
        if rule.scope in asked
        for match in (rule.prose_form if prose else rule.form).finditer(text)
    ]
    return tuple(sorted(seen, key=lambda fault: (fault.place, fault.rule.id)))


_JOINT_COMMISSION = "Joint Commission, Official Do Not Use List, fact sheet of 2017-06-09"
_ISMP_2005 = "ISMP, list of error-prone abbreviations, 2005 printing (Nephrology Nursing Journal)"
_ISMP_2006 = "ISMP, list of 2006, extracts in J R Soc Interface, table 3"
_ISMP_OLDER = "ISMP, error-prone dose designations, older printing as restated"
_ISMP = "ISMP, List of Error-Prone Abbreviations, Symbols and Dose Designations, as restated"
_ISMP_2021 = "ISMP, List of Error-Prone Abbreviations, Symbols, and Dose Designations, 2021"
_COURSE = "Practical-nurse drug calculation course, best practices page, after Pickar"
_FDA = "FDA, Single Entity Injectable Drug Products: ratio strengths removed (2017; USP 2016-05-01)"
_PRACTICE = "common practice, no source"
_SEEN, _TRADE, _MEMORY = "confirmed", "common practice", "from memory"

# A number starts where no figure, point or comma stands before it, so that each pattern looks at
# a long row of figures once only.
_START = r"(?<![\d.,])"
_UNITS = r"(?:mg|mcg|micrograms?|g|mL|units?)"


def _rule(
    name: str, scope: str, severity: str, pattern: str, why: str, use_instead: str,
    source: str, status: str = _SEEN, prose: str = "",
) -> WritingRule:  # fmt: skip
    return WritingRule(
        id=name, scope=scope, severity=severity, pattern=pattern, why=why,
        use_instead=use_instead, source=source, status=status, prose=prose,
    )  # fmt: skip


RULES: tuple[WritingRule, ...] = (
    _rule(
        "W01_trailing_zero", DOSE, BLOCK, _START + r"\d[\d,]*\.0+(?!\d|\.\d)",
        "when the point is missed, the dose is tenfold", "the whole number without a point",
        _JOINT_COMMISSION,
    ),
    _rule(
        "W02_trailing_zero_after_fraction", DOSE, BLOCK,
        _START + r"\d[\d,]*\.\d*[1-9]0+(?!\d|\.\d)",
        "the last zero says nothing and can be misread", "it without the last zero", _COURSE,
    ),
    _rule(
        "W03_no_leading_zero", DOSE, BLOCK, r"(?<!\d)\.\d+",
        "when the point is missed, the dose is tenfold", "a zero before the point",
        _JOINT_COMMISSION,
    ),
    _rule(
        "W04_no_space_number_unit", DOSE, BLOCK,
        r"\d(?:mg|MG|mcg|MCG|micrograms?|microg|nanograms?|g|kg|m[lL]|ML|L|units?|mmol|mEq)\b",
        "an m next to a number is read as zeros", "one space between number and unit",
        _ISMP_OLDER,
    ),
    _rule(
        "W05_U_for_unit", DOSE, BLOCK, r"\d\s*[uU]\b",
        "U is read as a zero, a four or a volume", "units in full", _JOINT_COMMISSION,
    ),
    _rule(
        "W06_IU", DOSE, BLOCK, r"\b[iI]\.?[uU]\b\.?",
        "it is read as a vein or as the number ten", "units in full", _JOINT_COMMISSION,
    ),
    _rule(
        "W07_microgram_symbol", DOSE, BLOCK, r"(?<![A-Za-z])(?:[µμ]|u)g\b",
        "u is read as m, and the dose is a thousandfold", "microgram", _ISMP_2005,
    ),
    _rule(
        "W08_large_number_ungrouped", DOSE, WARN, _START + r"\d{4,}(?![\d,])",
        "the zeros of a long number are miscounted", "a comma between the thousands", _ISMP_2006,
    ),
    _rule(
        "W09_decimal_comma", DOSE, BLOCK, r"(?<![\d,])\d{1,3},\d{1,2}(?![\d,])",
        "a comma stands between thousands here", "a point before the decimals", _PRACTICE, _TRADE,
    ),
    _rule(
        "W10_unit_with_period", DOSE, BLOCK, r"\b(?:mg|mcg|kg|mL|mEq|mmol)\.(?!\w)",
        "the stop after a unit is read as a one", "the unit without a stop", _ISMP_OLDER,
        prose=r"\b(?:mg|mcg|kg|mL|mEq|mmol)\.(?!\w|\s*$|\s+[A-Z])",
    ),
    _rule(
        "W11_plural_unit", DOSE, BLOCK, r"\b(?:mgs|mcgs|mLs|mls|gms|mEqs|kgs)\b",
        "the s is read as a figure or as another unit", "the unit without an s", _COURSE,
    ),
    _rule(
        "W12_cc", DOSE, BLOCK, r"\d\s*(?:cc|CC|Cc)\b",
        "it is read as zeros or as units", "mL", _ISMP_2005,
    ),
    _rule(
        "W13_small_l", DOSE, WARN, r"\d\s*(?:ml|l|dl)\b",
        "a small l is read as a one", "the unit with a capital L", _COURSE,
    ),
    _rule(
        "W14_qd", FREQUENCY, BLOCK, r"(?i)(?<!\w)q\.?\s?d\.?(?![A-Za-z])",
        "it is read as four times a day or every other day", "daily", _JOINT_COMMISSION,
    ),
    _rule(
        "W15_qod", FREQUENCY, BLOCK, r"(?i)(?<!\w)q\.?\s?o\.?\s?d\.?(?![A-Za-z])",
        "it is read as daily or four times a day", "every other day", _JOINT_COMMISSION,
    ),
    _rule(
        "W16_MS_MSO4_MgSO4", DRUG, BLOCK, r"(?<![A-Za-z])(?:MS|MSO4|MgSO4)(?![A-Za-z0-9])",
        "morphine is read as magnesium, or the other way round",
        "morphine sulfate or magnesium sulfate in full", _JOINT_COMMISSION,
    ),
    _rule(
        "W17_ratio_strength", DOSE, BLOCK,
        r"\b1\s*(?::|in)\s*\d{1,3}(?:[, \u2009\u202f]?\d{3})+\b",
        "the zeros of a ratio are miscounted", "the amount in each mL", _FDA,
    ),
    _rule(
        "W18_units_slash_number", DOSE, WARN, r"(?i)units?\s*/\s*\d",
        "the stroke is read as a one", "a word: per, or, and", _ISMP_2005,
    ),
    _rule(
        "W19_symbols", DOSE, WARN, "[@&+°<>≥≤]",
        "the sign is read as a figure", "it as a word", _ISMP_2005,
    ),
    _rule(
        "W20_roman_dose", DOSE, BLOCK,
        r"\b[IVX]{1,4}\s+(?:tablets?|units?|mg|mL|ampoules?|vials?)\b",
        "a Roman figure is read as another number or as a letter", "1, 2, 3", _ISMP,
    ),
    _rule(
        "W21_name_dose_run_together", DOSE, BLOCK,
        r"(?<![A-Za-z])[A-Za-z]{4,}\d+(?:\.\d+)?\s*(?:mg|mcg|g|mL|units)\b",
        "the last letter of the name is read as a one", "a space between name and dose", _ISMP,
    ),
    _rule(
        "W22_fraction_slash", DOSE, BLOCK, r"\b\d/\d\b",
        "one half is read as one or two", "half, or 0.5", _ISMP,
    ),
    _rule(
        "W23_two_points", DOSE, BLOCK, r"(?<!\d)\d+\.\d+\.\d+",
        "this is not a number", "the number again", _PRACTICE, _TRADE,
    ),
    _rule(
        "W24_scientific_or_power", DOSE, BLOCK,
        r"\b\d+(?:\.\d+)?[eE][+-]?\d+\b|10\s?[\^*]\s?\d|10[\u2070\u00b9\u00b2\u00b3\u2074-\u2079]",
        "not everyone reads a power of ten", "the full figures, or the word million", _ISMP_OLDER,
    ),
    _rule(
        "W25_M_K_multiplier", DOSE, BLOCK, r"\d\s?(?:MM|M|K|k)\b(?!\s?g)",
        "M is a thousand to some and a million to others", "thousand or million in full",
        _ISMP_2021, _MEMORY,
    ),
    _rule(
        "W26_negative_or_zero_dose", DOSE, BLOCK,
        rf"(?<![\w.])(?<!\d\s)[-−]\d|(?<![\w.])(?<!\w\s)[-−]\s\d"
        rf"|{_START}0+(?:\.0*)?\s+{_UNITS}\b",
        "a dose is above zero", "the dose again", _PRACTICE, _TRADE,
    ),
    _rule(
        "W27_hs_bt_qhs_qn", FREQUENCY, BLOCK, r"\b(?:HS|hs|BT|qhs|qn|q1d)\b",
        "half strength is read as bedtime, and a night as an hour",
        "at bedtime, nightly or daily", _ISMP_2005,
    ),
    _rule(
        "W28_ear_eye", ROUTE, BLOCK, r"\b(?:AD|AS|AU|OD|OS|OU)\b",
        "an ear is read as an eye, or as a time", "right ear, left eye or each eye in full",
        _ISMP_2005,
    ),
    _rule(
        "W29_route_forms", ROUTE, WARN, r"\b(?:IJ|IN|OJ|per os|SQ|sq|sub q)\b",
        "it is read as another route", "injection, intranasal, by mouth or subcut", _ISMP_2005,
    ),
    _rule(
        "W30_dc", DOSE, WARN, r"(?<![A-Za-z])[dD]/?[cC](?![A-Za-z])",
        "it is read as discharge or as discontinue", "the word in full", _ISMP_2005,
    ),
    _rule(
        "W31_drug_abbreviation", DRUG, WARN,
        r"\b(?:HCT|HCTZ|MTX|AZT|CPZ|TAC|PTU|ZnSO4|TNK|tPA|KCl|NaCl)\b",
        "a short name can stand for two drugs", "the generic name in full", _ISMP_2021, _MEMORY,
    ),
    _rule(
        "W32_unit_before_number", DOSE, WARN, r"\b(?:mg|mL|mcg|units)\s+\d+(?:\.\d+)?\s*$",
        "the unit stands after the number", "the number, then the unit", _COURSE,
    ),
    _rule(
        "W33_nanogram", DOSE, WARN, r"\d\s*(?:ng|nanog)\b",
        "it is read as mg or as a stomach tube", "nanogram in full", _ISMP_2021, _MEMORY,
    ),
    _rule(
        "W34_apothecary", DOSE, WARN, r"\d\s*gr\b|\bgtts?\b",
        "a grain is read as a gram, and not everyone knows the short word for drops",
        "a metric unit, or drops", _ISMP_2021, _MEMORY,
    ),
)  # fmt: skip
"""The rules by number. KCl and NaCl in W31 are our own strictness; SQ in W29 is from memory."""
