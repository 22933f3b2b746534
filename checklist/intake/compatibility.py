"""compatibility.toml: what the ward's pharmacy has looked up about drugs and fluids put together.

    edition = "2026-11"

    [[pair]]
    drug = "potassium chloride"        # a drug of the formulary
    with = "sodium chloride"           # a drug or fluid of the formulary, or a material:
    where = "bag"                      #   soft bag, rigid bottle; bag, syringe or line
    judgement = "compatible"           # compatible, incompatible, or "no data" when none was found
    most = "40 mmol/L"                 # holds up to this concentration of the drug; may be left out
    within = "24 hours"                # and for this long; may be left out
    source = "table, page, year"

A ward without this file has no data on anything, and every mixture is refused. A row reads the
same from either side, so it stands once.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import Field

from checklist.compatibility import Compatibility, Judgement, Key, Pair, Where, key
from checklist.formulary import Formulary
from checklist.intake.amount import strength_of, time_of
from checklist.intake.fault import Findings, Record, said_place
from checklist.intake.page import MAX_TOML, page, toml
from checklist.number import quoted

FILE = "compatibility.toml"
MATERIALS = ("soft bag", "rigid bottle")
"""What a container is made of, beside the drugs and fluids that a row may name."""

Line = Annotated[str, Field(min_length=1, max_length=120)]


class _Pair(Record):
    drug: Line
    with_: Annotated[Line, Field(alias="with")]
    where: Line
    judgement: Line
    source: Line
    most: Line | None = None
    within: Line | None = None


class _Table(Record):
    edition: Line
    pair: list[Any] = Field(default_factory=list)


def compatibility_of(
    path: Path, findings: Findings, formulary: Formulary | None
) -> Compatibility | None:
    """The table of a file; empty when there is no file; None, with faults, when it has some."""
    if not path.exists():
        return Compatibility()
    found = page(path, findings, longest=MAX_TOML)
    tables = toml(found.text, findings) if found else None
    top = findings.check(_Table, tables, said_place("")) if tables is not None else None
    if found is None or top is None:
        return None
    rows: dict[Key, Pair] = {}
    for number, raw in enumerate(top.pair, start=1):
        place = f"pair {number}"
        pair = _pair(raw, place, findings, formulary)
        if pair is None:
            continue
        this = key(pair.drug, pair.other, pair.where)
        if this in rows:
            sentence = f"{quoted(pair.drug)} with {quoted(pair.other)} stands twice. Keep one row."
            findings.add(place, sentence)
        rows[this] = pair
    return Compatibility(pairs=MappingProxyType(rows), edition=top.edition, digest=found.digest)


def _pair(raw: object, place: str, findings: Findings, formulary: Formulary | None) -> Pair | None:
    one = findings.check(_Pair, raw, said_place(place))
    if one is None:
        return None
    known: Mapping[str, object] = formulary.drugs if formulary else {}
    if formulary is not None:
        for word, name in (("drug", one.drug), ("with", one.with_)):
            if name not in known and (word == "drug" or name not in MATERIALS):
                # No name is offered: the nearest drug name may well be a lookalike.
                sentence = "is not a drug of the formulary. Correct the name, or add the drug."
                findings.add(f"{place}, {word}", f"{quoted(name)} {sentence}")
    listed = findings.listed(f"{place}, where", one.where, list(Where))
    listed &= findings.listed(f"{place}, judgement", one.judgement, list(Judgement))
    if one.drug == one.with_:
        findings.add(f"{place}, with", "It is the drug itself. Name what it is put together with.")
    most = findings.read(f"{place}, most", strength_of, one.most or "")
    within = findings.read(f"{place}, within", time_of, one.within or "")
    if not listed:
        return None
    return Pair(
        drug=one.drug,
        other=one.with_,
        where=Where(one.where),
        judgement=Judgement(one.judgement),
        source=one.source,
        most=most,
        within=within,
    )
