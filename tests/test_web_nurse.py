"""The nurse's pages over HTTP: whole preparations, stops and ways, the second person, breaks.

What has to hold of each page is looked at on every page of every demonstration order: one thing to
do, where it stands, no expected value before the entry, no patient's name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from html import unescape
from pathlib import Path

import pytest

import tests.way_answers  # noqa: F401  (the answers of orders that are run in or mixed)
from checklist.checks import REASONS
from checklist.engine import GO_ON
from checklist.faces.web.nurse.view import SECOND
from checklist.number import NumberFault, number, said
from checklist.observation import Channel
from checklist.verdict import REMEDY_WORDS, Remedy
from tests.faces import canaries
from tests.scene import CALLS, COLLEAGUE, LABELS, NURSE
from tests.test_seeded_errors import SEEDS, Seed, nothing
from tests.web import tablets
from tests.web_nurse import Shift, desk_and_clock, faults, is_wiped, shift, words

ORDERS = sorted(one for one in LABELS if "@" not in one and one not in CALLS)
AMPOULE = "ORD-103"
SHOWN = ("label_drug", "label_dose", "read_drug", "name_on_label", "bedside_drug", "bedside_dose")
"""Fields whose expected value is the order's own drug or dose, which a preparer's band shows."""


# -- every page ------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", ORDERS)
def test_an_order_is_prepared_to_given_and_each_page_is_as_a_page_has_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, order: str
) -> None:
    with shift(tmp_path, monkeypatch, order) as (one, _):
        while not one.screen.prep.closed:
            spot = one.screen.spot
            assert spot is not None
            page = one.page()
            if spot.step.who in SECOND:
                is_wiped(one, page)
                one.hand_over()
                page = one.page()
            _is_a_page(one, page)
            _gives_nothing_away(one, page)
            one.on()
        assert one.place == "given"
        done = one.page()
        assert "Not checked by this tool" in done
        assert "Open in it: nothing." in words(done)
        # A note: why a code was typed, where the item has none that can be scanned.
        assert set(one.kinds()) <= {"opened", "passed", "cautioned", "proceeded", "noted"}
        assert one.beside.trail.verify().whole
        for page in one.pages:
            for name in canaries():
                assert name not in unescape(page), name


def _is_a_page(one: Shift, page: str) -> None:
    screen = one.screen
    assert screen.spot is not None
    assert len(re.findall(r'class="(?:button )?primary"', page)) == 1
    assert page.count('aria-current="step"') == 1
    assert f"step {screen.number} of {screen.total}" in page
    title = unescape(title_of(page))
    assert title.startswith(f"step {screen.number} of {screen.total}, ")
    assert 'type="number"' not in page
    assert "I was interrupted" in page
    assert "Get help" in page
    assert {"Do, then enter", "Read, then do"} & set(re.findall(r'class="mode">([^<]*)<', page))
    assert page.count("checked") == 0
    for tag in re.findall(r"<input[^>]*type=\"text\"[^>]*>", page):
        assert 'autocomplete="off"' in tag and 'value=""' in tag, tag
    drug = screen.prep.order.drug
    second = screen.spot.step.who in SECOND
    assert (drug in title) is not second
    names = re.findall(r'name="((?:seen|own)\.[a-z_]+)"', page)
    assert {n.partition(".")[0] for n in names} <= {"own" if second else "seen"}
    if second:
        assert f"<b>{COLLEAGUE}</b>" in page
        assert 'class="case"' in page and "morphine" not in words(page)


def title_of(page: str) -> str:
    """What stands in the title of a page."""
    found = re.search(r"<title>(.*?)</title>", page, re.DOTALL)
    assert found is not None
    return found[1]


def _gives_nothing_away(one: Shift, page: str) -> None:
    """No spelling of an expected value stands anywhere in a response before the entry is stored."""
    spot = one.screen.spot
    assert spot is not None
    one.beside.now = one.clock.now
    right = one.beside.right()
    bare = re.sub(r'<div class="case"[^>]*>.*?</div>', "", page, flags=re.DOTALL)
    bare = bare.replace(one.id, "").replace(one.id[:8], "").replace(one.screen.prep.order.drug, "")
    bare = bare.replace(title_of(page), "").replace('maxlength="200"', "")
    bare = unescape(re.sub(r'value="\d+"(?=>)', "", bare)).replace("\u00a0", " ")
    second = spot.step.who in SECOND
    for field in spot.step.fields:
        answer = right.get(field.name, "")
        if not field.hidden or not answer or (field.name in SHOWN and not second):
            continue
        if field.private:
            assert answer not in bare, field.name
            continue
        for text in spellings(answer, field.unit):
            assert not re.search(rf"(?<![\w.,]){re.escape(text)}(?![\w.,]\w)", bare), (
                field.name,
                text,
            )


def spellings(answer: str, unit: str) -> Iterator[str]:
    """An expected answer in the forms that could give it away: as it is, with a comma, without the
    zero, in the next smaller unit, in words. One bare figure is looked for with its unit.
    """
    try:
        value = number(answer)
    except NumberFault:
        if any(char.isdigit() for char in answer):
            yield answer
        return
    shown = unit if unit not in ("", "1") else ""
    yield said(value) + (" millilitre" if unit == "mL" else " ")
    if "." in answer or len(answer) > 2:
        yield answer
        yield answer.replace(".", ",")
        if answer.startswith("0."):
            yield answer[1:]
    elif shown:
        yield f"{answer} {shown}"
    if unit == "mL" and value.denominator != 1:
        yield str(Fraction(value) * 1000)


def test_the_search_for_expected_values_sees_one() -> None:
    assert set(spellings("0.75", "mL")) == {
        "0.75", "0,75", ".75", "750", "zero point seven five millilitre",
    }  # fmt: skip
    assert set(spellings("2", "mL")) == {"2 mL", "two millilitre"}


# -- planted errors --------------------------------------------------------------------------------

PLANTED = {
    name: seed
    for name, seed in SEEDS.items()
    if seed.change is nothing and (not seed.by or seed.step in ("second_person_works_it_out",))
}


@pytest.mark.parametrize("order", sorted({seed.order for seed in PLANTED.values()}))
def test_a_planted_error_stops_on_a_page_with_found_why_next_and_ways(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, order: str
) -> None:
    seeds = {n: s for n, s in PLANTED.items() if s.order == order and not s.by}
    told = 0
    with shift(tmp_path, monkeypatch, order) as (one, _):
        while not one.screen.prep.closed:
            step = one.place
            for name, seed in seeds.items():
                if seed.step == step:
                    told += _caught(one, name, seed)
                    _come_back(one, step)
            one.on()
        assert one.place == "given"
    assert told == len(seeds)


def _caught(one: Shift, name: str, seed: Seed) -> int:
    answer = one.attempt(seed.seen)
    if seed.code == "entry_unreadable":  # told at its field, and noted
        assert answer.status_code == 422 and one.kinds()[-1] == "noted", name
        assert "Not entered:" in answer.text
        return 1
    assert answer.status_code == 303, (name, faults(answer.text))
    stands = "caution" if seed.tier == "soft" else "refused"
    assert one.screen.stands == stands, name
    page = one.page()
    text = words(page).replace("\u00a0", " ")
    mine = next(told for told in one.screen.reasons if told.code == seed.code)
    for part in (mine.found, mine.why, mine.next, seed.code):
        assert " ".join(part.split()) in text, (name, part)
    assert ("STOP" if stands == "refused" else "CAUTION") in page
    assert len(re.findall(r'class="(?:button )?primary"', page)) == 1, name
    assert 'name="seen.' not in page and 'name="own.' not in page, "nothing is typed past a stop"
    ways = re.findall(r'name="remedy" value="(\w+)"', page)
    assert ways == [way.value for way in one.screen.ways]
    # After two refusals of who or what it is, reading again is no longer a way.
    worn_out = REASONS[seed.code].identity and seed.way is Remedy.RECHECK
    way = ways[0] if worn_out else seed.way.value
    assert way in ways, name
    first = re.search(r'<button class="primary">(.*?)</button>', page)
    assert first is not None and unescape(first[1]) == REMEDY_WORDS[Remedy(ways[0])]
    answer = one.send("remedy", remedy=way)
    assert answer.status_code == 303
    assert one.screen.stands in ("closed", "step")
    return 1


def _come_back(one: Shift, step: str) -> None:
    """Go rightly to a step again; where the way led out, the order is begun anew."""
    for _ in range(90):
        if one.place == step:
            return
        if one.screen.prep.closed:
            one.open()
        else:
            one.on()
    raise AssertionError(f"never came back to {step}")


def test_a_first_refusal_of_a_reading_does_not_say_the_volume_and_the_working_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("set_the_dose")
        page = one.page()
        assert "Show my own working" not in page
        assert one.send("show").status_code == 409
        one.attempt({"drawn_volume": "0.9"})
        page = one.page()
        assert "0.75" not in page and "You read 0.9" in page
        assert one.send("show").status_code == 303
        assert "volume = 0.75" in words(one.page()).replace("\u00a0", " ")
        assert one.kinds()[-1] == "revealed"
        one.send("show")
        assert one.kinds().count("revealed") == 1
        one.send("remedy", remedy="adjust")
        assert "0.75" not in one.page()
        one.finish()
        assert one.place == "given"


def test_a_caution_needs_a_chosen_reason_and_another_reason_needs_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("waste_the_rest")
        one.attempt({"waste_method": "sink"})
        page = one.page()
        assert "checked" not in page
        assert re.findall(r'name="because" value="(\w+)"', page) == list(GO_ON)
        before = one.kinds()
        for form in ({}, {"note": "only words"}, {"because": "other"}, {"because": "made up"}):
            answer = one.send("proceed", **form)
            assert answer.status_code == 422, form
            assert "Not entered yet" in answer.text
            assert form.get("note", "") in answer.text
        assert one.kinds() == before
        assert one.send("proceed", because="other", note="the kit is used up").status_code == 303
        assert one.kinds()[-1] == "proceeded"
        assert "Another reason" in one.page() or one.screen.spot.step.who in SECOND  # type: ignore[union-attr]


# -- what is typed ---------------------------------------------------------------------------------

STRANGE = (
    "0,5", "1.2.5", "1 000", "1,000", "5.", ".5", "05", "5.0", "1e3", "-2", "٠.٥", "2-",
    "1\u00a0000", "\uff15", "5" * 5_000,
)  # fmt: skip


@pytest.mark.parametrize("text", STRANGE, ids=lambda text: ascii(text)[:12])
def test_a_number_in_another_form_is_told_at_the_field_and_stays_as_it_was_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("see_the_patient")
        form = {**one.right(), "seen.assessment": text, "seen.assessment.said": text}
        answer = one.send("attempt", **form)
        assert answer.status_code == 422
        assert f'value="{text}"' in unescape(answer.text)
        assert 'aria-invalid="true"' in answer.text
        assert "seen-assessment-fault" in answer.text
        assert one.place == "see_the_patient"
        kept = one.beside.station.entries(one.id)[-1].event
        assert kept.kind == "noted" and kept.body["text"].startswith("entry_unreadable: assessment")
        # The page that tells it can be sent again as it stands.
        turn = re.search(r'name="turn" value="(\d+)"', answer.text)
        assert turn is not None
        again = one.tablet.post(
            one.address, data={**one.right(), "act": "attempt", "turn": turn[1]}
        )
        assert again.status_code == 303 and one.place != "see_the_patient"


def test_a_number_counts_only_once_its_words_were_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("work_out_the_volume")
        form = {k: v for k, v in one.right().items() if not k.endswith(".said")}
        before = one.kinds()
        answer = one.send("attempt", **form)
        assert answer.status_code == 200 and one.kinds() == before
        assert "two millilitres" in answer.text
        assert 'name="seen.own_volume.said" value="2"' in answer.text
        # Words of another number do not count for this one.
        answer = one.send("attempt", **{**form, "seen.own_volume": "2.5",
                                        "seen.own_volume.said": "2"})  # fmt: skip
        assert answer.status_code == 200 and one.kinds() == before
        assert "two point five millilitres" in answer.text
        answer = one.send("attempt", **{**form, "seen.own_volume.said": "2"})
        assert answer.status_code == 303 and one.kinds()[-1] == "passed"


@pytest.mark.parametrize(
    ("kind", "code", "text", "told"),
    [
        ("quantity", "mL", "0.75", "zero point seven five millilitres"),
        ("quantity", "mL", "1", "one millilitre"),
        ("count", "", "12", "twelve"),
        ("concentration", "", "10 mg in 1 mL", "ten milligrams in one millilitre"),
        ("quantity", "mL", "0,75", ""),
        ("quantity", "mL", "", ""),
        ("quantity", "furlong", "1", ""),
        ("product", "", "1", ""),
        ("text", "", "1", ""),
    ],
)
def test_words_of_a_number_are_those_of_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, code: str, text: str, told: str
) -> None:
    desk, _ = desk_and_clock(tmp_path, monkeypatch)
    with tablets(desk) as [tablet]:
        tablet.sign_in(NURSE)
        answer = tablet.post("/spoken", data={"kind": kind, "code": code, "text": text})
        assert answer.json() == {"words": told}


def test_an_empty_answer_is_told_and_a_tick_says_that_nothing_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        before = one.kinds()
        answer = one.send("attempt")
        assert answer.status_code == 422 and one.kinds() == before
        assert answer.text.count("No answer yet") >= 2
        both = {**one.right(), "seen.product.none": "1"}
        assert one.send("attempt", **both).status_code == 422
        assert one.kinds() == before
        nothing_there = {f"seen.{n}.none": "1" for n in ("product", "expiry", "lot")}
        answer = one.send("attempt", **nothing_there)
        assert answer.status_code == 303 and one.screen.stands == "refused"
        assert {told.code for told in one.screen.reasons} == {
            "label_unreadable", "expiry_unreadable",
        }  # fmt: skip


def test_how_an_answer_came_is_told_by_its_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        one.on()
        seen = one.beside.station.entries(one.id)[-1].event.body["seen"]
        assert seen["product"]["channel"] == Channel.SCANNED.value
        one.on()
        seen = one.beside.station.entries(one.id)[-1].event.body["seen"]
        assert {each["channel"] for each in seen.values()} == {Channel.CHOSEN.value}
