"""Markup in every text that is ever shown back, in a real browser: nothing of it runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

from checklist.educator.watch import WORDS
from tests.browser import needs_chromium, pressed, sign_in
from tests.crawl import Hands, site
from tests.read_page import PLANTED, Page

WATCHING = """
window.found = [];
window.planted = () => window.found.push('a script ran');
document.addEventListener('securitypolicyviolation',
    (one) => window.found.push(`${one.violatedDirective} ${one.blockedURI}`));
"""
"""Run before every page: what a planted script would call, and what the page's policy stopped."""


@needs_chromium
def test_markup_in_what_people_typed_is_text_in_every_page_that_shows_it(tmp_path: Path) -> None:
    with site(tmp_path, facts=False) as here:
        work = here.shift("ORD-103")
        assert work.send("note", note=PLANTED).status_code == 303
        work.attempt({"first_identifier": PLANTED})
        work.send("remedy", remedy="recheck", note=PLANTED)
        assert work.send("end", because="other", note=PLANTED).status_code == 303
        open_one = here.shift("ORD-101", "RN-27", place="W7E-2")
        open_one.send("note", note=PLANTED)

        educator = here.person()
        educator.sign_in("ED-1", place="W7E-2")
        about, talk = f"/review/{work.id}/observe", f"/review/feedback/{work.id}/talk"
        data = {"phase": "order", "answer": "seen", "remark": PLANTED, "words": PLANTED}
        for item in _items(educator, about):
            assert educator.post(about, data={**data, "item": item}).status_code == 303
        learner: Any = work.tablet
        for who, column in ((learner, "learner"), (educator, "observer")):
            told = {**dict.fromkeys(WORDS, PLANTED), "column": column}
            # The observer's words are not taken while items are open, and are shown again.
            assert who.post(talk, data=told).status_code in (303, 422), column

        asked = quote(PLANTED, safe="")
        found: list[str] = []
        shown = 0

        def dialog(one: Any) -> None:
            found.append("a dialog")
            one.dismiss()

        def asked_for(one: Any) -> None:
            if one.url.endswith("/x"):
                found.append(one.url)

        turns = [
            ("RN-27", [open_one.address, f"/orders?patient={asked}"]),
            ("RN-12", [work.address, f"{work.address}/entries", talk, f"/review/{work.id}"]),
            ("ED-1", [f"/review?find={asked}", f"/review?person={asked}", f"/review/{asked}", about,
                      f"/review/{work.id}", talk, f"/review/feedback/{work.id}",
                      f"/review/progress/{asked}", f"/review/progress/RN-12?step={asked}"]),
            ("QI-1", [f"/quality?unit={asked}", f"/quality/preparations?of={asked}",
                      f"/quality/audit-size?share={asked}", f"/quality/gaps?reason={asked}",
                      f"/quality/trail/proof?preparation={asked}"]),
            ("PH-2", [f"/pharmacy/hazards?workflow={asked}", f"/pharmacy/workflows/{asked}"]),
        ]  # fmt: skip
        for code, paths in turns:
            page = here.page()
            page.add_init_script(WATCHING)
            page.on("dialog", dialog)
            page.on("request", asked_for)
            if code == "RN-12":
                page.goto(f"{here.address}/sign-in?next={asked}")
                page.fill("#code", PLANTED)
                page.fill("#pin", "000000")
                page.select_option("#place", "W7E-1")
                pressed(page, "main button.primary")
                assert page.input_value("#code") == PLANTED
                found += page.evaluate("window.found")
            sign_in(page, here.address, code, path="/help")
            for path in paths:
                page.goto(f"{here.address}{path}")
                found += [f"{one} at {path}" for one in page.evaluate("window.found")]
                shown += "planted()" in page.inner_text("main")
                assert page.evaluate("!document.querySelector('img[src=x]')"), path
        page = here.beside(open_one)
        page.add_init_script(WATCHING)
        page.goto(f"{here.address}{open_one.address}")
        for one in page.query_selector_all("main form.step input[type=text]"):
            one.fill(PLANTED)
        pressed(page, "main form.step button.primary")
        assert PLANTED in [
            one.input_value() for one in page.query_selector_all("main form.step input[type=text]")
        ]
        found += page.evaluate("window.found")
        assert found == []
        assert shown >= 2, "pages that show what was typed"


def _items(hands: Hands, path: str) -> list[str]:
    """The items of the first screen of an observation."""
    forms = Page(hands.get(path).text).forms
    return [one.values["item"] for one in forms if "item" in one.values][:2]
