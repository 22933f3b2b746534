"""Who works at the nurse's pages, and what comes between: second persons, breaks, other tablets."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.scene import COLLEAGUE, NURSE, START
from tests.wards import DEMO, edit
from tests.web import PINS, tablets
from tests.web_nurse import Shift, desk_and_clock, is_wiped, shift, words

# -- the second person -----------------------------------------------------------------------------


def test_the_second_person_signs_in_for_one_step_sees_no_answer_and_hands_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("second_person_works_it_out")
        wiped = one.page()
        is_wiped(one, wiped)
        before = len(one.kinds())
        # Not the preparer, with or without their PIN; that it was offered is noted.
        answer = one.send("second_in", code=NURSE, pin=PINS[NURSE])
        assert answer.status_code == 422 and "the same eyes" in answer.text
        noted = one.beside.station.entries(one.id)[-1].event
        assert noted.body["text"] == "checker_same_person: offered at sign-in"
        assert len(one.kinds()) == before + 1
        # Not without a PIN that fits, and nobody that is not known.
        for code, pin in ((COLLEAGUE, "000000"), ("XX-9", "975310")):
            answer = one.send("second_in", code=code, pin=pin)
            assert answer.status_code == 403 and "Stop." in answer.text
            is_wiped(one, answer.text)
            assert pin not in words(answer.text)
        # Nothing else is shown while the second person is asked for.
        for below in ("/entries", "/label", "/label.svg", "/why", "/steps"):
            assert one.tablet.get(f"{one.address}{below}").status_code == 303, below
        # Answers without a second person are not taken.
        answer = one.send("attempt", **one.right())
        assert answer.status_code == 303 and len(one.kinds()) == before + 1
        one.hand_over()
        page = one.page()
        assert page.count('name="own.checker_volume"') == 1 and "seen." not in page
        assert one.tablet.get(one.address).headers["cache-control"] == "no-store"
        answer = one.attempt()
        assert answer.headers["location"].endswith("/back")
        back = one.page("/back")
        assert "same in each point" in back and "0.75" not in back
        event = one.beside.station.entries(one.id)[-1].event
        assert (event.kind, event.by) == ("passed", COLLEAGUE)
        # The colleague is gone with the step.
        assert one.place == "make_the_neck_ready"
        assert NURSE in words(one.page())


def test_answers_that_differ_stop_for_both_and_another_person_can_be_fetched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("second_person_works_it_out")
        answer = one.attempt({"checker_volume": "0.5"})
        assert answer.headers["location"] == one.address
        page = one.page()
        assert "double_check_disagrees" in page
        assert not re.search(r'<input[^>]*type="text"', page), "nobody overwrites"
        assert "0.75" not in page and "morphine" not in words(page)
        one.send("remedy", remedy="second_person")
        assert one.place == "second_person_works_it_out"
        is_wiped(one, one.page())
        one.finish()
        assert one.place == "given"


def test_nobody_is_free_puts_the_dose_on_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("second_person_works_it_out")
        assert one.send("nobody_free").status_code == 303
        assert one.screen.stands == "interrupted"
        event = one.beside.station.entries(one.id)[-1].event
        assert event.body["cause"] == "nobody_free"
        assert "Interrupted at" in one.page()


def test_a_caution_that_the_unit_keeps_for_a_second_person_is_let_pass_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    edit(ward / "orders.json", '"dose": "7.5 mg"', '"dose": "12.5 mg"')
    desk, clock = desk_and_clock(tmp_path, monkeypatch, ward=ward)
    with tablets(desk) as [tablet]:
        one = Shift(desk, tablet, "ORD-101", clock)
        one.begin()
        one.attempt()
        assert [told.code for told in one.screen.reasons] == ["dose_outside_range"]
        page = one.page()
        assert "second person to let this pass" in page and 'name="pin"' in page
        before = one.kinds()
        because = {"because": "prescriber_knows"}
        assert one.send("proceed", **because).status_code == 422
        answer = one.send("proceed", **because, code=NURSE, pin=PINS[NURSE])
        assert answer.status_code == 422 and "the same eyes" in answer.text
        answer = one.send("proceed", **because, code=COLLEAGUE, pin="000000")
        assert answer.status_code == 403 and "000000" not in answer.text
        assert one.kinds() == before
        answer = one.send("proceed", **because, code=COLLEAGUE, pin=PINS[COLLEAGUE])
        assert answer.status_code == 303
        event = one.beside.station.entries(one.id)[-1].event
        assert (event.kind, event.by) == ("proceeded", COLLEAGUE)
        one.beside.close()


# -- breaks ----------------------------------------------------------------------------------------


def test_from_any_step_one_press_interrupts_and_coming_back_reads_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: set[str] = set()
    with shift(tmp_path, monkeypatch) as (one, _):
        while not one.screen.prep.closed:
            step, number = one.place, one.screen.number
            if step not in seen:
                assert one.send("interrupt").status_code == 303
                assert one.kinds()[-1] == "interrupted"
                again = one.send("interrupt")
                assert (
                    again.status_code == 303 and one.kinds().count("interrupted") == len(seen) + 1
                )
                away = one.page()
                assert f"step {number} of" in away and 'name="seen.' not in away
                # Nothing can be entered from here, and no path leads on but coming back.
                assert one.send("attempt").status_code == 409
                assert one.send("resume").status_code == 303
                seen.add(step)
                assert "/" in one.place or one.screen.stands == "refused" or step == one.place
                page = one.page()
                assert "Changed" in page and "nothing in the order" in page
                if "/" in one.place:
                    assert one.place.endswith("/reverify"), one.place
                continue
            on_again(one)
        assert one.place == "given"


def on_again(one: Shift) -> None:
    """One right step; a break at a critical step is answered by the first way that stays."""
    answer = one.attempt()
    assert answer.status_code == 303
    if one.screen.stands == "refused":
        assert {told.code for told in one.screen.reasons} <= {"interrupted_at_critical_step"}
        way = one.screen.ways[0].value
        assert one.send("remedy", remedy=way).status_code == 303


def test_what_came_between_may_be_told_once_and_is_kept_beside_the_break(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.on()
        one.send("interrupt")
        assert one.send("cause", cause="made up").status_code == 400
        assert one.send("cause", cause="call").status_code == 303
        assert one.send("cause", cause="alarm").status_code == 303
        last, told = (one.event for one in one.beside.station.entries(one.id)[-2:])
        assert (last.kind, last.body["cause"]) == ("interrupted", "not said")
        assert (told.kind, told.body["cause"]) == ("explained", "call")
        page = one.page()
        assert "A call" in page and 'name="cause"' not in page
        one.send("resume")
        assert one.send("cause", cause="alarm").status_code == 303
        assert one.kinds()[-1] == "resumed"


def test_an_order_that_changed_during_the_break_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    desk, clock = desk_and_clock(tmp_path, monkeypatch, ward=ward)
    with tablets(desk) as [tablet]:
        one = Shift(desk, tablet, "ORD-103", clock)
        one.begin()
        one.on()
        one.send("interrupt")
        edit(ward / "orders.json", '"indication": "nausea"', '"indication": "vertigo"')
        one.send("resume")
        assert "the order; read it again" in words(one.page())
        one.beside.close()


# -- another tablet, another time ------------------------------------------------------------------


def test_another_tablet_takes_it_up_as_a_break_and_the_first_one_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, many=2) as (one, [first, second]):
        one.to("take_the_product")
        held = one.page()
        second.sign_in(NURSE, place="W7E-2")
        assert 'href="/preparation/' in second.get("/orders").text
        page = second.get(one.address).text
        assert "Take it up here" in page and "Another sign-in has it in hand" in page
        assert 'name="seen.' not in page
        turn = str(one.screen.prep.turn)
        answer = second.post(one.address, data={"act": "take_up", "turn": turn})
        assert answer.status_code == 303
        entries = one.beside.station.entries(one.id)
        assert [e.event.kind for e in entries[-2:]] == ["interrupted", "resumed"]
        assert entries[-2].event.body["cause"] == "taken up at another sign-in"
        assert one.place.endswith("/reverify")
        # The page that the first tablet still shows does nothing any more.
        before = one.kinds()
        stale = re.search(r'name="turn" value="([0-9]+)"', held)
        assert stale is not None
        form = {"act": "attempt", "turn": stale[1], "seen.product": "PH-103"}
        answer = first.post(one.address, data=form)
        assert answer.status_code == 409
        assert "nothing was entered" in answer.text and "See where it stands" in answer.text
        assert "Take it up here" in first.get(one.address).text
        assert one.kinds() == before


def test_signing_out_in_the_middle_counts_as_a_break(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, [tablet]):
        one.to("take_the_product")
        tablet.post("/sign-out")
        assert tablet.get(one.address).headers["location"].startswith("/sign-in")
        tablet.sign_in(NURSE)
        page = one.page()
        assert 'name="seen.' not in page
        act = "take_up" if "Take it up here" in page else "resume"
        assert one.send(act).status_code == 303
        assert one.place == "take_the_product/reverify"
        assert "interrupted" in one.kinds()


def test_a_server_that_stopped_in_the_middle_loses_nothing_and_leads_on_by_reading_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        id_, kinds = one.id, one.kinds()
    desk, clock = desk_and_clock(tmp_path, monkeypatch)
    with tablets(desk) as [tablet]:
        clock.wait(600)
        again = Shift(desk, tablet, "ORD-103", clock)
        tablet.sign_in(NURSE)
        again.beside.id = id_
        assert again.kinds()[: len(kinds)] == kinds
        # Beginning the order leads to what is open, and not to a second preparation.
        answer = tablet.post("/orders", data={"order": "ORD-103"})
        assert answer.headers["location"] == again.address
        page = again.page()
        assert 'name="seen.' not in page
        assert again.send("take_up" if "Take it up here" in page else "resume").status_code == 303
        assert again.place == "take_the_product/reverify"
        again.finish()
        assert again.place == "given"
        again.beside.close()


def test_stopped_at_any_step_the_next_server_and_a_fresh_browser_lose_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    id_, kinds, stopped, over, now = "", list[str](), list[str](), False, START
    while not over:
        desk, clock = desk_and_clock(tmp_path, monkeypatch)
        clock.now = now
        with tablets(desk) as [tablet]:
            one = Shift(desk, tablet, "ORD-103", clock)
            tablet.sign_in(NURSE)
            one.open()  # leads to the preparation that is open, once there is one
            id_ = id_ or one.id
            assert one.id == id_ and one.kinds()[: len(kinds)] == kinds
            page = one.page()
            if "Take it up here" in page:
                assert 'name="seen.' not in page
                assert one.send("take_up").status_code == 303
            if one.screen.stands == "interrupted":
                assert one.send("resume").status_code == 303
            if len(kinds) > 1:
                assert one.place.endswith("/reverify") or one.screen.stands == "refused"
            while one.place.endswith("/reverify") or one.screen.stands == "refused":
                on_again(one)
            while not one.screen.prep.closed and one.place in stopped:
                on_again(one)
            stopped.append(one.place)
            kinds, over, now = one.kinds(), one.screen.prep.closed, clock.now
            one.beside.close()
    assert stopped[-1] == "given" and len(stopped) == len(set(stopped)) > 15
    assert kinds.count("opened") == 1 and kinds.count("interrupted") == len(stopped) - 2


# -- forms that were sent before -------------------------------------------------------------------


def test_a_form_sent_twice_is_one_entry_and_an_old_one_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        turn = str(one.screen.prep.turn)
        form = {**one.right(), "act": "attempt", "turn": turn}
        first = one.tablet.post(one.address, data=form)
        again = one.tablet.post(one.address, data=form)
        assert first.status_code == again.status_code == 303
        assert one.kinds() == ["opened", "passed"]
        one.on()
        # The page before the last one, come back to and sent with another answer.
        old = one.tablet.post(one.address, data={**form, "seen.first_identifier": "30012088"})
        assert old.status_code == 409 and "nothing was entered" in old.text
        for wrong in ("99", "-1", "x", "", "1e3", "9" * 40):
            answer = one.tablet.post(one.address, data={**form, "turn": wrong})
            assert answer.status_code == 400, wrong
            assert "<h1" in answer.text and "See where it stands" in answer.text
        assert one.kinds() == ["opened", "passed", "passed"]


@pytest.mark.parametrize(
    "form",
    [
        {}, {"act": "given"}, {"act": "attempt"}, {"act": "remedy", "remedy": "ignore"},
        {"act": "proceed", "because": "ok"}, {"act": "end"}, {"act": "show"},
        {"act": "attempt", "seen.drawn_volume": "2"}, {"act": "attempt", "own.checker_volume": "2"},
    ],
    ids=str,
)  # fmt: skip
def test_a_form_that_no_page_sends_records_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: dict[str, str]
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        answer = one.tablet.post(one.address, data={"turn": "0", **form})
        assert answer.status_code in (303, 400, 409, 422)
        assert one.kinds() == ["opened"]
        if answer.status_code != 303:
            assert "<main" in answer.text


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "\x00", "]d2\x1d(01)", "'\"--"])
def test_markup_in_an_answer_is_inert(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        for form in (
            {**one.right(), "seen.first_identifier": text},
            {"act": "note", "note": text},
        ):
            act = form.pop("act", "attempt")
            answer = one.send(act, **form)
            assert answer.status_code in (303, 400, 422)
            assert "<script>alert" not in answer.text
        assert "<script>alert" not in one.page("/entries")


def test_a_preparation_that_is_not_there_and_people_without_the_role_are_told_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, many=2) as (one, [first, second]):
        assert first.get("/preparation/none").status_code == 404
        assert first.post("/preparation/none", data={"act": "note"}).status_code == 404
        assert second.get(one.address).status_code in (303, 307)
        second.sign_in("QI-1")
        assert second.get(one.address).status_code == 403
        assert second.post(one.address, data={"act": "interrupt"}).status_code == 403
        assert one.kinds() == ["opened"]


# -- ending, notes, entries, label -----------------------------------------------------------------


def test_ending_needs_a_listed_reason_and_accounts_for_what_was_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("draw_up")
        page = one.page("/end")
        reasons = re.findall(r'name="because" value="(\w+)"', page)
        assert reasons and "checked" not in page
        before = one.kinds()
        assert one.send("end").status_code == 422
        assert one.send("end", because="other").status_code == 422
        assert one.send("end", because="made up").status_code == 409
        assert one.kinds() == before
        assert one.send("end", because=reasons[0]).status_code == 303
        page = one.page()
        assert "What was opened is accounted for" in page
        assert not one.screen.prep.closed
        one.finish()
        assert one.place == "discarded"
        done = words(one.page())
        assert "discarded, not given" in done
        assert one.send("attempt").status_code == 409


def test_a_note_is_kept_once_and_its_words_stand_nowhere_in_the_chain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        turn = "0"
        form = {"act": "note", "turn": turn, "note": "the lamp flickers"}
        assert one.tablet.post(one.address, data=form).status_code == 303
        assert one.tablet.post(one.address, data=form).status_code == 303
        assert one.kinds() == ["opened", "noted"]
        assert "lamp" not in str(one.beside.station.entries(one.id)[-1].event.body)
        entries = one.page("/entries")
        assert "kept apart" in entries and "lamp" not in entries


def test_what_may_have_to_be_read_again_stands_in_the_entries_only_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, _):
        one.to("change_the_needle")
        page = words(one.page("/entries"))
        assert "Volume you read: entered, not shown until the end" in page
        assert "30011742" not in page and "Expected: about half a container" in page
        one.finish()
        assert "Volume you read: 0.75 mL" in words(one.page("/entries"))


def test_a_label_is_looked_at_on_its_own_page_printed_once_and_again_for_a_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch, "ORD-101") as (one, [tablet]):
        one.to("set_the_dose")
        assert "Nothing is drawn up yet" in one.page("/label")
        one.to("write_the_label")
        assert f"{one.address}/label" in one.page()
        page = one.page("/label")
        assert "items are on it" in page
        picture = tablet.get(f"{one.address}/label.svg")
        assert picture.headers["content-type"] == "image/svg+xml"
        assert picture.content.startswith(b"<svg")
        strange = tablet.get(f"{one.address}/label?size=40+x+15+mm")
        assert strange.status_code == 422 and "Stop." in strange.text
        small = one.page("/label?size=20+x+20+mm")
        assert "No print." in small and "no room for" in small and "--size" not in small
        turn = str(one.screen.prep.turn)
        printed = tablet.post(f"{one.address}/label", data={"size": "", "turn": turn})
        assert printed.headers["content-type"] == "application/pdf"
        assert printed.content.startswith(b"%PDF") and one.kinds()[-1] == "printed"
        twice = tablet.post(f"{one.address}/label", data={"size": "", "turn": turn})
        assert twice.status_code == 409 and "needs a reason" in twice.text
        assert one.kinds().count("printed") == 1
        again = tablet.post(
            f"{one.address}/label", data={"size": "", "turn": turn, "again": "unreadable"}
        )
        assert again.content.startswith(b"%PDF") and one.kinds().count("printed") == 2
        # The step's own page, made before the prints, still holds.
        one.finish()
        assert one.place == "given"


def test_the_steps_on_paper_have_the_numbers_of_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        page = words(one.page("/steps"))
        for number, step in enumerate(
            one.beside.station.rules_of(one.screen.prep.workflow).workflow.steps, start=1
        ):
            assert f"{number} {step.ask}" in page


# -- orders ----------------------------------------------------------------------------------------


def test_ones_own_open_preparation_stands_first_and_no_name_is_in_the_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.faces import canaries

    with shift(tmp_path, monkeypatch, many=2) as (one, [first, second]):
        mine = first.get("/orders").text
        assert mine.index("Your open preparations") < mine.index("Orders due")
        assert mine.index(one.address) < mine.index('value="ORD-101"')
        assert 'value="ORD-103"' not in mine
        assert "in 20 min" in mine and "stopped" in mine
        for name in canaries():
            assert name not in mine
        second.sign_in(COLLEAGUE, place="W7E-2")
        theirs = second.get("/orders").text
        assert f"begun by {NURSE}" in theirs and "Your open preparations" not in theirs
        assert 'value="ORD-103"' not in theirs
        one.finish()
        assert "given 14:0" in first.get("/orders").text
        assert "never tried" not in first.get("/orders").text
        first.desk.scanners.path.unlink()
        assert "The scanner of this place was never tried" in first.get("/orders").text
        few = first.get("/orders?patient=P-301").text
        assert 'value="ORD-101"' in few and 'value="ORD-102"' not in few
        assert first.post("/orders", data={"order": "ORD-999"}).status_code == 404


def test_where_several_containers_would_do_the_one_in_hand_is_chosen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    text = (ward / "formulary.toml").read_text(encoding="utf-8")
    block = next(b for b in text.split("\n\n") if "09520007300411" in b and "[product" in b)
    more = block.replace("09520007300411", "09520007300480").replace(
        'container = "glass_ampoule"', 'container = "plastic_ampoule"'
    )
    (ward / "formulary.toml").write_text(f"{text}\n\n{more}\n", encoding="utf-8")
    desk, _ = desk_and_clock(tmp_path, monkeypatch, ward=ward)
    with tablets(desk) as [tablet]:
        tablet.sign_in(NURSE)
        answer = tablet.post("/orders", data={"order": "ORD-103"})
        assert answer.status_code == 200
        offered = re.findall(r'name="container" value="(\w+)"', answer.text)
        assert offered == ["glass_ampoule", "plastic_ampoule"]
        assert "checked" not in answer.text
        wrong = tablet.post("/orders", data={"order": "ORD-103", "container": "bag"})
        assert "Nothing was begun yet" in wrong.text
        right = tablet.post("/orders", data={"order": "ORD-103", "container": "glass_ampoule"})
        assert right.status_code == 303
