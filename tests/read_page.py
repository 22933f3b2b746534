"""A page as a parser of HTML sees it: its forms and fields, links, and whatever is alive in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

PLANTED = "\"'></textarea></title></option><script>planted()</script><img src=x onerror=planted()>"
"""Closes whatever it could stand in, and then does something."""


@dataclass
class Form:
    """One form: where it leads, its fields as they stand, and the names of all of them."""

    action: str
    method: str
    values: dict[str, str] = field(default_factory=dict)
    names: list[str] = field(default_factory=list)

    @property
    def act(self) -> str:
        """What a form of a preparation is for; "" for others."""
        return self.values.get("act", "")


class Page(HTMLParser):
    """What stands on a page. `alive` is what a browser would run or load that is not ours."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.alive: list[str] = []
        self._form: Form | None = None
        self._select = ""
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what a tag adds."""
        have = {name: value or "" for name, value in attrs}
        for name, value in have.items():
            leads = name in ("href", "src", "action", "formaction", "xlink:href")
            ours = value.startswith(("/", "?", "#")) and not value.startswith("//")
            drawn = tag == "img" and value.startswith("data:image/")
            if name.startswith("on") or "style" in name or (leads and value and not ours | drawn):
                self.alive.append(f"<{tag} {name}={value[:60]}>")
        if tag in ("script", "iframe", "object", "embed", "base") and not (
            have.get("src", "").startswith("/static/")
        ):
            self.alive.append(f"<{tag}>")
        if tag == "a" and "href" in have:
            self.links.append(have["href"])
        self._formed(tag, have)

    def _formed(self, tag: str, have: dict[str, str]) -> None:
        if tag == "form":
            self._form = Form(have.get("action", ""), have.get("method", "get"))
            self.forms.append(self._form)
        if self._form is None:
            return
        name, value, form = have.get("name", ""), have.get("value", ""), self._form
        if tag == "option" and self._select:
            if "selected" in have or self._select not in form.values:
                form.values[self._select] = value
            return
        if not name:
            return
        form.names.append(name)
        if tag == "select":
            self._select = name
        elif tag == "button":
            form.values.setdefault(name, value)
        elif tag in ("input", "textarea"):
            loose = have.get("type") in ("radio", "checkbox")
            if not loose or "checked" in have:
                form.values[name] = value

    def handle_data(self, data: str) -> None:
        """Gather what is read."""
        self.text += data

    def handle_endtag(self, tag: str) -> None:
        """Close a form or a list."""
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = ""
