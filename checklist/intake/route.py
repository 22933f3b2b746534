"""Routes as orders write them, and the code that stands for each in the checks.

Codes and terms: the local codes used beside SNOMED CT route terms (HL7 FHIR R5, value set
route-codes); the other words are common practice, no source.
"""

from collections.abc import Mapping
from types import MappingProxyType

_WORDS: Mapping[str, tuple[str, ...]] = {
    "SC": ("subcutaneous", "subcutaneously", "subcut"),
    "IM": ("intramuscular", "intramuscularly"),
    "IV": ("intravenous", "intravenously"),
    "ID": ("intradermal", "intradermally"),
    "PO": ("oral", "orally", "by mouth"),
    "NG": ("nasogastric tube", "by nasogastric tube"),
    "PEG": ("gastrostomy tube", "by gastrostomy tube"),
    "PR": ("rectal", "rectally", "per rectum"),
    "NAS": ("nasal", "intranasal"),
    "OPH": ("ophthalmic", "eye"),
    "OT": ("otic", "ear"),
    "TOP": ("topical", "topically"),
    "SL": ("sublingual", "sublingually"),
    "BUC": ("buccal",),
    "TD": ("transdermal",),
    "IT": ("intrathecal",),
    "EPI": ("epidural",),
    "IO": ("intraosseous",),
    "INH": ("inhaled", "inhalation", "by inhalation", "nebulised", "nebulized"),
    "IP": ("intraperitoneal",),
}

ROUTES = tuple(_WORDS)
"""The route codes that orders, products and competencies use."""

_CODES: Mapping[str, str] = MappingProxyType(
    {word: code for code, words in _WORDS.items() for word in words}
)


def route_of(text: str) -> str:
    """The route code that an order's text means, or "" when it is not known for sure.

    A code counts only in capitals, as listed; a word in any.
    """
    plain = " ".join(text.split())
    return plain if plain in ROUTES else _CODES.get(plain.lower(), "")


def word_of(code: str) -> str:
    """A route code written in full; "" for none."""
    return _WORDS[code][0] if code else ""
