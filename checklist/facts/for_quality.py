"""The questions of whoever looks after quality: how often, where, caught by whom, put right how."""

from __future__ import annotations

from checklist.facts.label import case
from checklist.facts.question import Question, of_preparations, of_rows

HARD = "tier = 'hard'"
FINDINGS = "count(*) AS refusals"
HIT = "count(DISTINCT base.preparation) AS preparations_hit"
PUT_RIGHT = "sum(CASE WHEN fate = 'recovered' THEN 1 ELSE 0 END) AS put_right"
ENDED = "sum(CASE WHEN fate IN ('discarded', 'abandoned') THEN 1 ELSE 0 END) AS ended"
REFUSED = "sum(CASE WHEN refusals > 0 THEN 1 ELSE 0 END) AS refused"
MISSES = "sum(CASE WHEN outcome = 'refused' THEN 1 ELSE 0 END)"
STOPS = "sum(refusals) AS stops"
SHIFT = f"{case('shift')} AS shift"
RECOVERY_LATE = 600
"""Seconds after which a refusal that is not put right is told apart (statistics of the trade)."""
FAST_SECOND = 10
"""Seconds under which a second reading can hardly be one's own. Common practice, no source."""

HOW_MUCH: tuple[Question, ...] = (
    of_preparations(
        "volume", (1,), "How many preparations were there, by unit and month, and how they ended?",
        keys=("unit", "month"),
        measures=(
            "sum(CASE WHEN ending = 'given' THEN 1 ELSE 0 END) AS given",
            "sum(CASE WHEN ending = 'discarded' THEN 1 ELSE 0 END) AS discarded",
            "sum(CASE WHEN ending = 'abandoned' THEN 1 ELSE 0 END) AS abandoned",
            "sum(CASE WHEN ending = '' THEN 1 ELSE 0 END) AS still_open",
        ),
    ),
    of_preparations(
        "refused-weekly", (2,), "What share of preparations had a refusal, week by week and unit?",
        keys=("unit", "week"), measures=(REFUSED,), marked="refusals > 0",
        share=("refused", "preparations"),
    ),
    of_preparations(
        "refusals-weekly", (3,), "How many refusals for each 1000 preparations, week by week?",
        keys=("week",), measures=(STOPS,), marked="refusals > 0", rate=("stops", "preparations"),
    ),
    of_rows(
        "reasons", (5,), "Which reasons make up most of the refusals?",
        source="findings LEFT JOIN hazards ON hazards.id = findings.hazard",
        keys=("reason",), where=HARD,
        measures=(FINDINGS, HIT, "max(coalesce(severity, 0)) AS severity", PUT_RIGHT, ENDED),
        order="refusals DESC, reason", rate=("refusals", "preparations"),
    ),
    of_rows(
        "reasons-weekly", (5,), "Which reasons were there, week by week and unit?",
        source="findings", keys=("unit", "week", "reason"), per=("unit", "week"), where=HARD,
        measures=(FINDINGS, HIT), rate=("refusals", "preparations"),
    ),
    of_preparations(
        "containers", (6,), "Which container has most refusals for each preparation?",
        keys=("container",), measures=(STOPS, REFUSED), marked="refusals > 0",
        rate=("stops", "preparations"),
    ),
    of_rows(
        "steps", (7,), "At which step of a container, for each try of it?",
        source="steps", keys=("container", "step"), per=("container",), where="side = ''",
        measures=(
            "count(*) AS tries",
            f"{MISSES} AS refused",
        ),
        marked="outcome = 'refused'", having=f"{MISSES} > 0",
        share=("refused", "tries"),
    ),
    of_rows(
        "funnel", (7,), "How many preparations reach each step, and how many pass it at once?",
        source="steps", keys=("container", "phase", "step"), per=("container",),
        where="side = '' AND item = '' AND attempt = 1",
        measures=(
            "count(*) AS reached",
            "sum(CASE WHEN outcome = 'passed' THEN 1 ELSE 0 END) AS passed_at_once",
        ),
        order="base.container, avg(base.number), base.phase, base.step",
        share=("passed_at_once", "reached"),
    ),
    of_rows(
        "confusions", (8,), "Which drugs and items are taken for one another?",
        source="findings", keys=("expected", "read"), where="read <> ''", measures=(FINDINGS, HIT),
        order="refusals DESC, expected, read",
    ),
    of_preparations(
        "units", (9,), "Do units differ? In the order of their names, with limits, no ranking.",
        keys=("unit",), measures=(REFUSED,), marked="refusals > 0",
        share=("refused", "preparations"),
    ),
    of_preparations(
        "shifts", (10,), "Is one shift different?", keys=("shift",), computed=(SHIFT,),
        measures=(STOPS, REFUSED), marked="refusals > 0", rate=("stops", "preparations"),
    ),
    of_preparations(
        "weekdays", (10,), "Is one day of the week different (1 is Monday)?", keys=("weekday",),
        measures=(STOPS, REFUSED), marked="refusals > 0", rate=("stops", "preparations"),
    ),
    of_preparations(
        "hours", (10,), "Is one hour of the day different?", keys=("hour",),
        measures=(STOPS, REFUSED), marked="refusals > 0", rate=("stops", "preparations"),
    ),
    of_preparations(
        "breaks", (20,), "Do refusals rise with interruptions?", keys=("interruptions",),
        computed=("CASE WHEN breaks > 3 THEN 3 ELSE breaks END AS interruptions",),
        measures=(STOPS, REFUSED), marked="refusals > 0", rate=("stops", "preparations"),
        note="3 stands for three and more. A long preparation has more time for both.",
    ),
    of_preparations(
        "rules", (22,), "Did another version of the rules change the rate?",
        keys=("workflow", "version", "software", "rules", "traits"),
        measures=("min(day) AS first_day", "max(day) AS last_day", STOPS),
        marked="refusals > 0", rate=("stops", "preparations"),
    ),
    of_rows(
        "hazards", (5, 25), "Which hazards do the refusals stand against?",
        source="findings LEFT JOIN hazards ON hazards.id = findings.hazard",
        keys=("hazard",), where=HARD, measures=("max(severity) AS severity", FINDINGS, HIT),
        rate=("refusals", "preparations"),
    ),
    of_rows(
        "classes", (6,), "Which class of drugs has most refusals for each preparation?",
        source="findings", keys=("drug_class",), per=("drug_class",), where=HARD,
        measures=(FINDINGS, HIT), rate=("refusals", "preparations"),
    ),
    of_rows(
        "notation", (8,), "Where can an entry not be read as written?",
        source="findings", keys=("container", "step"), per=("container",),
        where="reason = 'entry_unreadable'", measures=(FINDINGS, HIT),
        order="refusals DESC, container, step", rate=("refusals", "preparations"),
    ),
)  # fmt: skip

AFTERWARDS: tuple[Question, ...] = (
    of_rows(
        "recovery", (13,), "How quickly are refusals put right, by reason?",
        source="findings", keys=("reason",), where=HARD,
        measures=(
            FINDINGS, PUT_RIGHT, ENDED,
            "percentile(CASE WHEN fate = 'recovered' THEN wait END, 0.5) AS median_s",
            "percentile(CASE WHEN fate = 'recovered' THEN wait END, 0.9) AS ninetieth_s",
            (f"sum(CASE WHEN fate <> 'recovered' OR wait > {RECOVERY_LATE} THEN 1 ELSE 0 END)"
            " AS not_within_10_min"),
        ),
        share=("put_right", "refusals"),
        note="An end without giving competes with being put right: `checklist chart` draws both.",
    ),
    of_rows(
        "ends", (14,), "How often does a refusal lead to an end without giving, by reason?",
        source="findings", keys=("reason",), where=HARD, measures=(FINDINGS, ENDED),
        marked="fate IN ('discarded', 'abandoned')", share=("ended", "refusals"),
    ),
    of_rows(
        "retries", (15,), "Is the same thing tried again and again?",
        source="(SELECT preparation, unit, month, week, container, step, reason, max(tries) AS most"
        " FROM findings WHERE tier = 'hard' GROUP BY preparation, unit, month, week, container,"
        " step, reason) AS each_step",
        keys=("reason",),
        measures=(
            "count(*) AS refused_steps",
            "sum(CASE WHEN most >= 3 THEN 1 ELSE 0 END) AS three_or_more",
        ),
        marked="most >= 3", share=("three_or_more", "refused_steps"),
    ),
    of_rows(
        "remedies", (13,), "Which way out was taken after which reason?",
        source="findings", keys=("reason", "remedy", "fate"), where=HARD, measures=(FINDINGS, HIT),
    ),
    of_rows(
        "second-checks", (16,), "Did the second person find anything?",
        source="pairs", keys=("role", "step"),
        measures=(
            "count(*) AS checks",
            "sum(CASE WHEN agreed = 0 THEN 1 ELSE 0 END) AS found",
        ),
        marked="agreed = 0", share=("found", "checks"),
    ),
    of_rows(
        "independence", (17,), "Was the second check one's own: another person, not primed?",
        source="pairs", keys=("role",), where="role <> 'giver'",
        measures=(
            "count(*) AS checks",
            "sum(same_person) AS same_person",
            "sum(same_station) AS same_station",
            f"sum(CASE WHEN apart < {FAST_SECOND} THEN 1 ELSE 0 END) AS too_soon",
            (f"sum(CASE WHEN shown_before = 1 OR same_person = 1 OR apart < {FAST_SECOND}"
            " THEN 1 ELSE 0 END) AS primed"),
        ),
        marked=f"shown_before = 1 OR same_person = 1 OR apart < {FAST_SECOND}",
        share=("primed", "checks"),
        note="Primed: the working had been shown, or it is the same person, or under 10 seconds.",
    ),
    of_rows(
        "time", (18,), "How much time does each step take?",
        source="steps", keys=("container", "step"), per=("container",), where="side = ''",
        measures=(
            "count(*) AS tries",
            "percentile(seconds, 0.5) AS median_s",
            "percentile(seconds, 0.9) AS ninetieth_s",
            "round(1000.0 * sum(seconds) / 60 / max(made.preparations)) AS minutes_in_1000",
        ),
    ),
    of_rows(
        "too-fast", (19,), "Which steps are done faster than hands can?",
        source="steps", keys=("container", "step"), per=("container",),
        where="side = '' AND shortest > 0 AND outcome = 'passed' AND attempt = 1",
        measures=(
            "count(*) AS done",
            "max(shortest) AS shortest_s",
            "sum(CASE WHEN seconds < shortest THEN 1 ELSE 0 END) AS faster",
        ),
        marked="seconds < shortest", share=("faster", "done"),
        note="A question to ask, not an accusation; entering late looks the same.",
    ),
    of_rows(
        "reach", (25,), "What would have reached the patient: severity by stage of finding?",
        source="found LEFT JOIN hazards ON hazards.id = found.hazard",
        keys=("severity", "stage", "reached"), where=HARD, measures=(FINDINGS, HIT),
    ),
    of_rows(
        "harm", (25,), "With what harm, by the letters that people entered (NCC MERP index)?",
        source="(SELECT found.*, coalesce(letter, CASE WHEN reached = 'not reached' THEN 'B'"
        " ELSE 'to be judged' END) AS harm, CASE WHEN letter IS NULL THEN 'by rule'"
        " ELSE 'entered' END AS said FROM found LEFT JOIN harms ON harms.id = found.preparation)"
        " AS each_one",
        keys=("harm", "said", "reached"), measures=(FINDINGS, HIT),
        note="B is given by rule where the patient was not reached; all else a person judges.",
    ),
    of_rows(
        "near-misses", (25,), "Near misses by the chosen definition: caught by whom, where, late?",
        source="found", keys=("caught_by", "stage", "late"), where="near_miss = 1",
        measures=("count(*) AS near_misses", HIT), rate=("near_misses", "preparations"),
    ),
    of_rows(
        "near-misses-weekly", (25,), "Near misses week by week and unit?",
        source="found", keys=("unit", "week"), per=("unit", "week"), where="near_miss = 1",
        measures=("count(*) AS near_misses", HIT), rate=("near_misses", "preparations"),
    ),
    of_rows(
        "late", (25,), "What is found only once the dose is ready?",
        source="found", keys=("reason", "stage"), where=f"late = 'late' AND {HARD}",
        measures=(FINDINGS, HIT), rate=("refusals", "preparations"),
    ),
    of_rows(
        "overrides", (23,), "Which cautions are gone past, and with which reason?",
        source="releases", keys=("reason", "because"),
        measures=(
            "count(*) AS releases",
            "sum(by_preparer) AS by_the_preparer",
        ),
    ),
    of_rows(
        "cautions", (23,), "How often is a caution gone past rather than acted on?",
        source="findings", keys=("reason",), where="tier = 'soft'",
        measures=(
            "count(*) AS cautions",
            "sum(CASE WHEN fate = 'released' THEN 1 ELSE 0 END) AS released",
        ),
        marked="fate = 'released'", share=("released", "cautions"),
    ),
    of_rows(
        "interruptions", (20,), "What interrupts, at which stage, for how long?",
        source="breaks", keys=("cause", "stage"),
        measures=(
            "count(*) AS breaks",
            "sum(critical) AS at_a_critical_step",
            "percentile(away, 0.5) AS median_away_s",
        ),
    ),
    of_rows(
        "typed-codes", (24,), "How often is a product's code typed in place of a scan?",
        source="codes", keys=("unit", "container"), per=("unit", "container"),
        measures=(
            "count(*) AS codes",
            "sum(CASE WHEN channel = 'typed' OR why <> '' THEN 1 ELSE 0 END) AS typed",
        ),
        marked="channel = 'typed' OR why <> ''", share=("typed", "codes"),
    ),
    of_rows(
        "typed-why", (24,), "Why is a product's code typed in place of a scan?",
        source="codes", keys=("why",), where="channel = 'typed' OR why <> ''",
        measures=("count(*) AS codes",),
        note="An empty reason: the code came from another program that gave none.",
    ),
    Question(
        name="worked-around", numbers=(24,),
        asks="Was an order's dose given within 10 minutes of an end, under another id?",
        keys=("unit", "container"),
        sql="SELECT ended.unit AS unit, ended.container AS container, count(*) AS again_within_10,"
        " max(made.preparations) AS preparations, max(made.people) AS people"
        " FROM preparations AS ended JOIN preparations AS again ON again.line = ended.line"
        " AND again.preparation <> ended.preparation AND again.opened_at >= ended.closed_at"
        " AND again.ending = 'given'"
        " JOIN (SELECT unit, container, count(*) AS preparations,"
        " count(DISTINCT preparer) AS people FROM preparations GROUP BY unit, container) AS made"
        " ON made.unit = ended.unit AND made.container = ended.container"
        " WHERE ended.ending IN ('abandoned', 'discarded')"
        " AND again.opened_s - ended.closed_s <= 600"
        " GROUP BY ended.unit, ended.container ORDER BY unit, container",
        ids="SELECT DISTINCT ended.unit AS unit, ended.container AS container,"
        " ended.preparation AS preparation FROM preparations AS ended"
        " JOIN preparations AS again ON again.line = ended.line"
        " AND again.preparation <> ended.preparation AND again.opened_at >= ended.closed_at"
        " AND again.ending = 'given' WHERE ended.ending IN ('abandoned', 'discarded')"
        " AND again.opened_s - ended.closed_s <= 600 ORDER BY unit, container, preparation",
        note="Most of these are a fresh start with a new item, as the way out asks. What is given"
        " outside the program is not seen.",
    ),
    of_rows(
        "balance", (16,), "Does the controlled stock add up, by product and measure?",
        source="amounts", keys=("unit", "product", "drug", "measure"),
        measures=(
            "sum(CASE WHEN field = 'count_taken' THEN number ELSE 0 END) AS taken",
            "sum(CASE WHEN field = 'drawn_volume' THEN number ELSE 0 END) AS drawn",
            "sum(CASE WHEN field = 'given_volume' THEN number ELSE 0 END) AS given",
            ("sum(CASE WHEN field IN ('wasted_volume', 'discarded_volume') THEN number ELSE 0 END)"
            " AS wasted"),
            "sum(CASE WHEN field LIKE 'witness%volume' THEN number ELSE 0 END) AS seen_wasted",
        ),
        order="unit, drug, product, measure",
    ),
)  # fmt: skip
