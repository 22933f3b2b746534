"""Coded words and amounts of FHIR: what they mean on this ward, or the doubt about them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from checklist import ucum
from checklist.exchange.node import Node
from checklist.exchange.taken import amount
from checklist.intake.exchange import BETWEEN, Exchange
from checklist.intake.route import route_of
from checklist.number import NumberFault, quoted
from checklist.quantity import UnitFault

UCUM = "http://unitsofmeasure.org"
LOINC = "http://loinc.org"
BODY_WEIGHT = ("29463-7", "3141-9")
"""LOINC: body weight, and body weight measured. Both stand in the FHIR R4 example of a weight."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """A coded word: its codes as "system|code" in their order, its text, its codes' own words."""

    codes: tuple[str, ...]
    text: str
    shown: tuple[str, ...]

    @property
    def words(self) -> str:
        """The text, or else what its codes are shown as where they agree on it."""
        different = {one.casefold() for one in self.shown}
        return self.text or (self.shown[0] if len(different) == 1 else "")

    @property
    def is_weight(self) -> bool:
        """Whether it stands for body weight."""
        return any(f"{LOINC}{BETWEEN}{code}" in self.codes for code in BODY_WEIGHT)

    def looked_up(self, table: Mapping[str, str]) -> tuple[str, ...]:
        """What a table of the ward says for the codes, each thing once."""
        return tuple(dict.fromkeys(table[code] for code in self.codes if code in table))


def meaning(concept: Node) -> Meaning:
    """The codes and words of a CodeableConcept."""
    codings = list(concept.each("coding"))
    pairs = [(one.text("system"), one.text("code")) for one in codings]
    return Meaning(
        codes=tuple(f"{system}{BETWEEN}{code}" for system, code in pairs if system and code),
        text=concept.text("text"),
        shown=tuple(one.text("display") for one in codings if one.text("display")),
    )


def named_and_meant(node: Node, element: str) -> tuple[Node, Node]:
    """What an element says in codes or words, and what it refers to, in R4 or in R5.

    R4 has an element for each, such as medicationCodeableConcept; R5 one with both in it.
    """
    if node.there(element):
        both = node.part(element)
        return both.part("concept"), both.part("reference")
    return node.part(f"{element}CodeableConcept"), node.part(f"{element}Reference")


def form_of(medication: Node) -> Node:
    """The form of a Medication, in R4 or in R5."""
    return medication.part("doseForm" if medication.there("doseForm") else "form")


def strength_in(ingredient: Node) -> Node:
    """How much of an ingredient is in how much, in R4 or in R5."""
    return ingredient.part("strengthRatio" if ingredient.there("strengthRatio") else "strength")


def word_of(concept: Node, system: str, known: tuple[str, ...]) -> str:
    """The code of one system that a CodeableConcept holds; a doubt for one that is not known."""
    found = [one for one in concept.each("coding") if one.text("system") == system]
    if not found:
        concept.doubt(f"It holds no code of {quoted(system.rpartition('/')[2])}. Have it sent.")
        return ""
    code = found[0].text("code")
    if len(found) > 1 or code not in known:
        concept.doubt(f"{quoted(code)} is not one of {', '.join(known)}. Have it mended.")
        return ""
    return code


def drug_of(concept: Node, words: Exchange) -> str:
    """The drug's name: by the ward's table, else in the order's own words; a doubt for neither."""
    read = meaning(concept)
    known = read.looked_up(words.drugs)
    if len(known) > 1:
        concept.doubt(f"Its codes mean {' and '.join(known)} here. Have one of them sent.")
        return ""
    name = known[0] if known else read.words
    if not name:
        concept.doubt("No one name of a drug can be read here. Have its text sent.")
    return name


def route_in(concept: Node, words: Exchange) -> str:
    """The route by the ward's table, else by its words; a doubt for what is not known."""
    if concept.value is None:
        return ""
    read = meaning(concept)
    known = read.looked_up(words.routes)
    spelt = {_spelt(one) for one in (read.text, *read.shown)} - {""}
    if len(known) > 1 or len(spelt) > 1 or (known and spelt and spelt != set(known)):
        concept.doubt("Its codes and words mean different routes. Have one route sent.")
        return ""
    if not known and not spelt:
        said = read.words or ", ".join(read.codes)
        concept.doubt(f"The route {quoted(said)} is not known here. Put its code in exchange.toml.")
        return ""
    return known[0] if known else spelt.pop()


def _spelt(text: str) -> str:
    """The route code of a route's name, with or without the word route and a remark in brackets."""
    plain = re.sub(r" *\([^()]*\)$", "", text)
    return route_of(plain) or route_of(re.sub(r"(?i) route$", "", plain))


def amount_in(quantity: Node, words: Exchange) -> str:
    """An amount as orders.json writes it, with its own figures; "" where none can be read."""
    if quantity.value is None:
        return ""
    if quantity.there("comparator"):
        quantity.at("comparator").doubt("More or less than an amount is no amount. Have it sent.")
        return ""
    value, code = quantity.figures("value"), _unit_in(quantity, words)
    if not value and not quantity.there("value"):
        quantity.at("value").doubt("There is no number. Have it sent.")
    if not value or not code:
        return ""
    try:
        return amount(value, code)
    except (NumberFault, UnitFault) as fault:
        quantity.at("value").doubt(str(fault))
        return ""


def _unit_in(quantity: Node, words: Exchange) -> str:
    """The UCUM code of an amount; "" and a doubt for another."""
    system, code = quantity.text("system"), quantity.text("code")
    known = words.units.get(f"{system}{BETWEEN}{code}", "")
    if known:
        return known
    if not code or system != UCUM:
        unit = quantity.text("unit")
        said = f"The unit {quoted(unit or code)}" if unit or code else "It"
        quantity.at("code").doubt(f"{said} has no UCUM code. Have it sent, with its system.")
        return ""
    try:
        return ucum.unit(code).code
    except UnitFault as fault:
        quantity.at("code").doubt(str(fault))
        return ""
