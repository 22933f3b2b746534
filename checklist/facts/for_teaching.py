"""The questions of the unit's educator that are about all together; about one person see review."""

from __future__ import annotations

from checklist.facts.question import Question, of_rows

MISSES = "sum(CASE WHEN outcome = 'refused' THEN 1 ELSE 0 END)"
FIRST = "attempt = 1 AND side = ''"
SPREAD_FLOOR = 3
"""Fewest preparations of a container in a quarter that keep a skill. Common practice, no source."""

TEACHING: tuple[Question, ...] = (
    of_rows(
        "first-time", (31,), "Which steps are right at the first try, by container?",
        source="steps", keys=("container", "step"), per=("container",), where=FIRST,
        measures=(
            "count(*) AS first_tries",
            f"{MISSES} AS not_right",
        ),
        marked="outcome = 'refused'", share=("not_right", "first_tries"),
    ),
    of_rows(
        "first-time-weekly", (37,), "Are first tries right, week by week and unit?",
        source="steps", keys=("unit", "week"), per=("unit", "week"), where=FIRST,
        measures=(
            "count(*) AS first_tries",
            f"{MISSES} AS not_right",
        ),
        marked="outcome = 'refused'", share=("not_right", "first_tries"),
    ),
    Question(
        name="teaching", numbers=(36,),
        asks="Where are first tries not right more often than at all steps of that kind of hands?",
        keys=("container", "step"),
        sql="WITH first AS (SELECT container, step, who, preparation, person,"
        " CASE WHEN outcome = 'refused' THEN 1 ELSE 0 END AS miss FROM steps"
        f" WHERE {FIRST}), usual AS (SELECT who, 1.0 * sum(miss) / count(*) AS share FROM first"
        " GROUP BY who) SELECT container, step, count(*) AS first_tries, sum(miss) AS not_right,"
        " round(count(*) * max(share), 1) AS expected,"
        " round(sum(miss) - count(*) * max(share), 1) AS excess,"
        " count(DISTINCT preparation) AS preparations, count(DISTINCT person) AS people"
        " FROM first JOIN usual ON usual.who = first.who GROUP BY container, step"
        " HAVING sum(miss) > count(*) * max(share) ORDER BY excess DESC, container, step",
        ids="SELECT DISTINCT container, step, preparation FROM steps"
        f" WHERE {FIRST} AND outcome = 'refused' ORDER BY container, step, preparation",
        share=("not_right", "first_tries"),
    ),
    Question(
        name="experience", numbers=(38,),
        asks="Do refusals fall with the months since somebody's first preparation here?",
        keys=("months_in",),
        sql="WITH begun AS (SELECT preparer, min(month) AS first_month FROM preparations"
        " GROUP BY preparer), each_one AS (SELECT p.preparation, p.preparer, p.refusals,"
        " (CAST(substr(p.month, 1, 4) AS INTEGER) - CAST(substr(b.first_month, 1, 4) AS INTEGER))"
        " * 12 + CAST(substr(p.month, 6, 2) AS INTEGER)"
        " - CAST(substr(b.first_month, 6, 2) AS INTEGER) AS months_in"
        " FROM preparations AS p JOIN begun AS b ON b.preparer = p.preparer)"
        " SELECT months_in, sum(refusals) AS stops, count(*) AS preparations,"
        " count(DISTINCT preparer) AS people FROM each_one GROUP BY months_in ORDER BY months_in",
        ids="WITH begun AS (SELECT preparer, min(month) AS first_month FROM preparations"
        " GROUP BY preparer), each_one AS (SELECT p.preparation, p.refusals,"
        " (CAST(substr(p.month, 1, 4) AS INTEGER) - CAST(substr(b.first_month, 1, 4) AS INTEGER))"
        " * 12 + CAST(substr(p.month, 6, 2) AS INTEGER)"
        " - CAST(substr(b.first_month, 6, 2) AS INTEGER) AS months_in"
        " FROM preparations AS p JOIN begun AS b ON b.preparer = p.preparer)"
        " SELECT months_in, preparation FROM each_one WHERE refusals > 0"
        " ORDER BY months_in, preparation",
        rate=("stops", "preparations"),
        note="The first month of the facts counts as month 0 for everybody who was there before.",
    ),
    Question(
        name="spread", numbers=(39,),
        asks="Is the work spread so that everyone keeps the skill, by unit and container?",
        keys=("unit", "container"),
        sql="WITH own AS (SELECT unit, container, preparer, count(*) AS made FROM preparations"
        " GROUP BY unit, container, preparer) SELECT unit, container, sum(made) AS preparations,"
        " count(*) AS people,"
        f" sum(CASE WHEN made < {SPREAD_FLOOR} THEN 1 ELSE 0 END) AS under_{SPREAD_FLOOR},"
        " min(made) AS fewest, percentile(made, 0.5) AS median, max(made) AS most"
        " FROM own GROUP BY unit, container ORDER BY unit, container",
        ids="SELECT unit, container, preparation FROM preparations"
        " ORDER BY unit, container, preparation",
        note="Name a quarter with --from and --to.",
    ),
    of_rows(
        "never-refused", (40,), "Which steps does nobody ever fail?",
        source="steps", keys=("container", "step"), per=("container",), where="side = ''",
        measures=("count(*) AS tries", f"{MISSES} AS refused"),
        having=f"{MISSES} = 0",
        share=("refused", "tries"),
        note="0 of n is not never: see the upper limit.",
    ),
)  # fmt: skip
