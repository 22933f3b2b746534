"""The pages of published limits: every figure with its source, and how sure it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from checklist import library
from checklist.faces.web.pharmacy.keeper import Keeper
from checklist.number import NumberFault
from checklist.quantity import Quantity
from checklist.table import STATUSES
from checklist.toml_file import tables
from checklist.ucum import UnitFault

FILES = ("syringe", "needle", "site", "ampoule", "dose")
_APART = ("source", "status")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """One table of a file: its columns in words, and its rows with source and status apart."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[tuple[str, ...], str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """One file of figures. `counts` says how many rows have each status."""

    name: str
    title: str
    edition: int
    figures: tuple[Figures, ...]
    sources: Mapping[str, Mapping[str, str]]
    counts: Mapping[str, int]


async def every(keeper: Keeper, request: Request) -> Response:
    """The files of figures, and how many of their rows a page confirms."""
    found = await keeper.now()
    return keeper.page(request, "limits", found, files=[kept(name) for name in FILES])


async def one(keeper: Keeper, request: Request) -> Response:
    """One file of figures."""
    found = await keeper.now()
    name = request.path_params["name"]
    if name not in FILES:
        return keeper.missing(request, "table")
    return keeper.page(request, "limit", found, kept=kept(name))


def kept(name: str) -> Kept:
    """A shipped file of figures for reading. Raises TableFault where it is not as it has to be."""
    library.limits(), library.dose_figures()
    data = tables(library.folder("workflows") / "limits" / f"{name}.toml")
    made = tuple(_tables(data))
    status = [row[2] for one in made for row in one.rows]
    return Kept(
        name=name,
        title=str(data["title"]),
        edition=data["edition"],
        figures=made,
        sources=data["sources"],
        counts={word: status.count(word) for word in STATUSES if word in status},
    )


def _tables(data: Mapping[str, Any], above: str = "") -> Iterator[Figures]:
    for key, value in data.items():
        name = f"{above}{key.replace('_', ' ')}"
        if isinstance(value, list) and value and isinstance(value[0], dict):
            yield _table(name, value)
        elif isinstance(value, dict) and key != "sources":
            inner = {k: v for k, v in value.items() if not _is_table(v)}
            yield _table(name, [inner])
            yield from _tables({k: v for k, v in value.items() if _is_table(v)}, f"{name}: ")


def _is_table(value: object) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _table(name: str, rows: list[dict[str, Any]]) -> Figures:
    keys = list(dict.fromkeys(key for row in rows for key in row if key not in _APART))
    return Figures(
        name=name,
        columns=tuple(key.replace("_", " ") for key in keys),
        rows=tuple(
            (
                tuple(_shown(row.get(key)) for key in keys),
                row.get("source", ""),
                row.get("status", ""),
            )
            for row in rows
        ),
    )


def _shown(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    figure, _, code = str(value).partition(" ")
    try:
        return str(Quantity.of(figure, code))
    except (NumberFault, UnitFault):
        return str(value)
