"""Every check and every reason: words, ways out, sources, and that nothing here ever raises."""

from __future__ import annotations

import csv
import re
import string
import tempfile
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checklist import library
from checklist.checks import CHECKS, REASONS
from checklist.definition import reasons_of
from checklist.notation import faults as notation_faults
from checklist.observation import (
    Channel,
    Identifier,
    IdentifierKind,
    Kind,
    ProductRead,
    Reading,
    Value,
)
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Tier, raised
from checklist.workflow import Step
from tests.scene import NURSE, START, Scene

DATA = Path(__file__).parent / "data"
EVERY = [s for w in library.workflows().values() for p in (*w.phases, *w.asides) for s in p.steps]
# A shared step with the same words stands once, whichever workflows have it.
STEPS: tuple[Step, ...] = tuple({(s.name, s.ask, s.fields, s.checks): s for s in EVERY}.values())
# Words that put the finding on a person, or that only a programmer would say.
BLAME = re.compile(
    r"\b(wrong|invalid|error|fail(ed|ure|s)?|illegal|forgot(ten)?|must|abort|exception|null"
    r"|mistake|user)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("code", REASONS)
def test_a_reason_says_found_why_and_next_in_few_plain_words(code: str) -> None:
    reason = REASONS[code]
    parts = (reason.found, reason.why, reason.next)
    assert all(part.strip() and part == part.strip() for part in parts)
    whole = " ".join(parts)
    assert len(whole.split()) <= 45, whole
    fixed = "".join(text for text, *_ in string.Formatter().parse(whole))
    assert not BLAME.search(fixed), fixed
    for part in parts[1:]:
        assert part.endswith((".", "}")), part
    assert not notation_faults(fixed, prose=True), fixed


@pytest.mark.parametrize("code", REASONS)
def test_a_reason_has_a_source_a_hazard_and_a_way_out(code: str) -> None:
    reason = REASONS[code]
    assert re.fullmatch(r"[a-z][a-z0-9_]+", reason.code)
    assert reason.source.title
    assert reason.source.status in ("published", "common practice", "from memory")
    assert reason.hazards and all(re.fullmatch(r"H[0-9]{2}", h) for h in reason.hazards)
    assert reason.remedies and len(set(reason.remedies)) == len(reason.remedies)
    if reason.firm:
        assert reason.tier is Tier.HARD


@pytest.mark.parametrize("name", CHECKS)
def test_a_check_is_a_sentence_that_holds_when_it_passes(name: str) -> None:
    check = CHECKS[name]
    assert check.doc and check.doc[0].isupper() and "." in check.doc
    assert check.reasons and len(set(check.reasons)) == len(check.reasons)
    assert not check.doc.lower().startswith(("check", "verify", "ensure"))


def test_every_check_and_every_reason_is_used_by_a_workflow() -> None:
    used = {name for step in EVERY for name in step.checks}
    assert used == set(CHECKS)
    given_codes = {r.code for step in EVERY for r in reasons_of(step)}
    assert given_codes == set(REASONS)


def test_codes_tiers_and_firmness_agree_with_the_trades_catalogue() -> None:
    """The catalogue's tiers; the codes that it lacks are our own and listed here."""
    own = {
        "check_failed", "entry_unreadable", "entry_missing", "not_the_preparer",
        "container_type_mismatch", "cd_witness_not_eligible", "more_given_than_drawn",
        "syringe_tolerance", "goes_together", "rate_above_limit", "rate_said_aloud",
    }  # fmt: skip
    # Raised as information here: the unit's caution would ask twice for what the step asks anyway.
    lower = {"interrupted"}
    with (DATA / "reason_codes.csv").open(encoding="utf-8") as file:
        catalogue = {row["code"]: row for row in csv.DictReader(file)}
    for code, reason in REASONS.items():
        if code in own:
            assert code not in catalogue
            continue
        tier = {"H": Tier.HARD, "S": Tier.SOFT, "I": Tier.INFORMATION}[catalogue[code]["tier"]]
        if code not in lower:
            assert reason.tier is tier, code
        assert reason.firm == (catalogue[code]["firm"] == "yes"), code


@pytest.mark.parametrize("step", STEPS, ids=lambda s: s.name)
def test_a_step_asks_for_one_act_in_few_words(step: Step) -> None:
    assert len(step.ask.split()) <= 16, step.ask
    assert len(step.how.split()) <= 20, step.how
    assert not re.match(r"(Confirm|Ensure|Verify|Make sure|Check)\b", step.ask.partition(": ")[2])
    assert not re.match(r"(Confirm|Ensure|Verify|Make sure|Check)\b", step.ask)
    for text in (step.ask, step.how, *(f.say for f in step.fields)):
        assert not BLAME.search(text), text
        assert not notation_faults(text, prose=True), text
    for field in step.fields:
        assert len(field.say.split()) <= 14
        if field.kind is Kind.SEEN:
            assert not field.say.endswith("?"), "a line states the finding"


def test_a_caution_is_never_given_for_a_hard_reason() -> None:
    with pytest.raises(ValueError, match="hard"):
        Caution(REASONS["filter_missing"], {"found": "none"})
    with pytest.raises(ValueError, match="no text for found"):
        Refusal(REASONS["filter_missing"])


def test_a_unit_raises_tiers_and_never_lowers_them() -> None:
    soft, info = REASONS["neck_not_wiped"], REASONS["protected_time_off"]
    tiers = {soft.code: Tier.HARD, info.code: Tier.SOFT}
    assert isinstance(raised(Caution(soft), tiers), Refusal)
    assert isinstance(raised(Pass(notes=(Note(info),)), tiers), Caution)
    assert isinstance(raised(Pass(notes=(Note(info),)), {info.code: Tier.HARD}), Refusal)
    hard = Refusal(REASONS["glass_visible"])
    assert raised(hard, {"glass_visible": Tier.INFORMATION}) == hard
    assert raised(Caution(soft), {soft.code: Tier.INFORMATION}) == Caution(soft)


# -- no check ever raises on a well-typed observation --------------------------------------------

QUANTITIES = st.builds(
    Quantity.of,
    st.fractions(min_value=0, max_value=5000),
    st.sampled_from(["mL", "mg", "mm", "um", "1", "{unit}", "kg"]),
)
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=30)
VALUES: dict[Kind, st.SearchStrategy[Value]] = {
    Kind.PRODUCT: st.builds(
        lambda code: ProductRead(code=code, lot="A", expiry=date(2027, 1, 1)),
        st.sampled_from(["09520007300114", "09520007300411", "09520007300817", "nothing"]),
    ),
    Kind.IDENTIFIER: st.builds(Identifier, st.sampled_from(IdentifierKind), TEXTS),
    Kind.QUANTITY: QUANTITIES,
    Kind.COUNT: st.builds(Quantity.of, st.integers(0, 999), st.just("1")),
    Kind.CONCENTRATION: st.sampled_from(
        [Concentration.parse("10 mg in 1 mL"), Concentration.parse("100 units/mL")]
    ),
    Kind.TEXT: TEXTS,
    Kind.DATE: st.dates(),
    Kind.TIME: st.datetimes(
        min_value=datetime(2000, 1, 1),  # noqa: DTZ001
        max_value=datetime(2100, 1, 1),  # noqa: DTZ001
    ).map(lambda d: d.replace(tzinfo=START.tzinfo)),
    Kind.SEEN: st.booleans(),
}


@pytest.mark.parametrize("order_id", ["ORD-101", "ORD-104"])
@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_no_check_raises_on_a_well_typed_observation(order_id: str, data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as folder:
        scene = Scene(Path(folder), order_id=order_id)
        scene.wait(minutes=15)
        scene.open()
        while not scene.station.find(scene.id).closed:
            prep = scene.station.find(scene.id)
            spot = scene.station.rules_of(prep.workflow).layout.spots[prep.place]
            around = scene.station.surroundings(prep, scene.station.person(NURSE), spot)
            seen = {
                f.name: Reading(
                    "raw",
                    data.draw(
                        st.sampled_from(f.answers) if f.kind is Kind.CHOICE else VALUES[f.kind]
                    ),
                    Channel.TYPED,
                )
                for f in spot.step.fields
            }
            for name in spot.step.checks:
                verdict = CHECKS[name](seen, prep, around)
                assert isinstance(verdict, Pass | Caution | Refusal)
            scene.on()
        scene.trail.close()


# -- one graduation either side of the limit -----------------------------------------------------


@pytest.mark.parametrize(
    ("order_id", "right", "step"),
    [("ORD-101", "0.75", "0.01"), ("ORD-102", "3", "0.1"), ("ORD-103", "2", "0.1")],
)
def test_one_line_above_or_below_the_dose_flips_the_verdict(
    order_id: str, right: str, step: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=order_id)
    scene.open()
    scene.to("set_the_dose")
    line = Quantity.of(step, "mL")
    dose = Quantity.of(right, "mL")
    for read, code in ((dose + line, "volume_over_target"), (dose - line, "volume_under_target")):
        outcome = scene.attempt({"drawn_volume": str(read)})
        assert [t.code for t in outcome.told] == [code]
        scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    assert scene.attempt({"drawn_volume": right}).entry.event.kind == "passed"
