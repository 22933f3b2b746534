"""A drawing as one web page that needs nothing else: no network, no script, every mark a link."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from html import escape

from checklist.drawing import picture
from checklist.drawing.plot import Group, Plot
from checklist.drawing.sheet import Sheet, texts

_STYLE = """
body { font: 16px/1.5 "DejaVu Sans", Verdana, Arial, sans-serif; color: #000; background: #fff;
  margin: 1rem auto; padding: 0 1rem; max-width: 75rem; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.2rem; margin-top: 2rem; } h3 { font-size: 1rem; }
figure { margin: 0; overflow-x: auto; }
svg { max-width: 100%; height: auto; min-width: 45rem; }
svg a:focus-visible { outline: 3px solid #000; outline-offset: 3px; }
svg a:hover path { stroke-width: 3px; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font-size: 0.9rem; }
th, td { border-bottom: 1px solid #767676; padding: 0.3rem 0.6rem; text-align: left;
  vertical-align: top; }
tbody th { white-space: nowrap; }
td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; }
a { color: #000; } a:focus-visible { outline: 3px solid #000; outline-offset: 2px; }
section:target { outline: 3px solid #000; outline-offset: 4px; }
code { font-size: 0.9rem; overflow-wrap: anywhere; }
li { margin-bottom: 0.3rem; }
.stamp { border: 3px solid #000; padding: 0.6rem; font-weight: bold; }
footer { font-size: 0.9rem; margin-top: 2rem; border-top: 1px solid #767676; }
@media print { body { margin: 0; max-width: none; font-size: 9pt; } section { break-inside: avoid; }
  svg { min-width: 0; } }
@page { size: A4 landscape; margin: 15mm; }
"""


def page(plot: Plot, *, command: str = "checklist review") -> str:
    """The page of a drawing; `command` is what shows one preparation, its id after it.

    The picture, the notes, the figures as a table, and for each mark the list of its preparations.
    Raises NeedsExtra without the library that draws.
    """
    # The notes and the origin stand in the page as text, so not in the picture a second time.
    bare = replace(plot, title="", about=(), notes=(), foot=())
    title = escape(plot.title)
    parts = [
        f"<h1>{title}</h1>",
        f'<p class="stamp">{escape(plot.stamp)}</p>' if plot.stamp else "",
        "".join(f"<p>{escape(line)}</p>" for line in plot.about),
        _figure(plot, picture.svg(bare)),
        _notes(plot.notes),
        "<h2>Figures</h2>",
        _table(plot.sheet, plot.groups),
        _lists(plot.groups, command),
        f"<footer>{''.join(f'<p>{escape(line)}</p>' for line in plot.foot)}</footer>",
    ]
    head = (
        '<meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy()}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{_STYLE}</style>"
    )
    body = "\n".join(part for part in parts if part)
    whole = f'<html lang="en"><head>{head}</head>\n<body><main>{body}</main></body></html>'
    return f"<!doctype html>\n{whole}\n"


def _policy() -> str:
    """Nothing may be loaded and nothing may run; only this page's own style counts."""
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _figure(plot: Plot, svg: str) -> str:
    label = escape(plot.described, quote=True)
    named = svg.replace("<svg ", f'<svg role="group" aria-label="{label}" ', 1)
    return f"<figure>{named}<figcaption>{_how_to(plot)}</figcaption></figure>"


def _how_to(plot: Plot) -> str:
    if not any(group.ids for group in plot.groups):
        return ""
    return "Press a mark, or go to it with Tab and press Enter, to see its preparations."


def _notes(notes: Sequence[str]) -> str:
    if not notes:
        return ""
    return f"<h2>Notes</h2><ul>{''.join(f'<li>{escape(note)}</li>' for note in notes)}</ul>"


def _table(sheet: Sheet, groups: Sequence[Group]) -> str:
    leads = {group.name: group.key for group in groups if group.ids}
    numbers = [
        bool(sheet.rows) and all(not isinstance(row[place], str) for row in sheet.rows)
        for place in range(len(sheet.columns))
    ]
    sides = [' class="number"' if number else "" for number in numbers]
    heads = "".join(
        f'<th scope="col"{side}>{escape(name)}</th>'
        for name, side in zip(sheet.columns, sides, strict=True)
    )
    rows = []
    for row in texts(sheet):
        first = escape(row[0])
        if row[0] in leads:
            first = f'<a href="#{leads[row[0]]}">{first}</a>'
        cells = "".join(
            f"<td{side}>{escape(cell)}</td>" for cell, side in zip(row[1:], sides[1:], strict=True)
        )
        rows.append(f'<tr><th scope="row"{sides[0]}>{first}</th>{cells}</tr>')
    body = f"<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody>"
    box = '<div class="scroll" tabindex="0" role="group" aria-label="Figures">'
    return f"{box}<table>{body}</table></div>"


def _lists(groups: Sequence[Group], command: str) -> str:
    known = [group for group in groups if group.ids]
    if not known:
        return ""
    told = f"<p>Show one with <code>{escape(command)} ID</code>.</p>"
    return f"<h2>Preparations</h2>{told}" + "".join(_list(group) for group in known)


def _list(group: Group) -> str:
    count = f"{len(group.ids)} preparation{'' if len(group.ids) == 1 else 's'}"
    ids = "".join(f"<li><code>{escape(one)}</code></li>" for one in group.ids)
    return (
        f'<section id="{group.key}" tabindex="-1"><h3>{escape(group.name)}: {count}</h3>'
        f"<ul>{ids}</ul></section>"
    )
