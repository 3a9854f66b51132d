#!/usr/bin/env python3
"""Recompute every indicator from the exported Parquet, independently: SQL written by hand against the columns of the
report (not against enbloc's predicates or its folded columns where the raw ones are there), DuckDB as engine, intervals by
statsmodels, quantiles by DuckDB. recompute.py DIR"""
import json
import math
import sys

import duckdb
from statsmodels.stats.proportion import proportion_confint

ABSENT = "('unknown', 'not-assessed', 'not-applicable')"
AS_OF = "DATE '2026-08-20'"


def rec(column):
    return f"coalesce({column} NOT IN {ABSENT}, false)"


def open_window(days):
    return f"(date_diff('day', session_date, {AS_OF}) < {days})"


# Three-valued logic is SQL's own: true, false, NULL. An absence is NULL.
BLOC = """CASE WHEN pieces > 1 THEN false
  WHEN visible_residual = 'yes' OR (coalesce(visible_residual, '') <> 'no' AND completion IN ('partial', 'abandoned')) THEN false
  WHEN pieces <= 1 AND (visible_residual = 'no' OR completion = 'complete') THEN true END"""
# A margin is clear, not clear, or unknown.
FREE = """CASE WHEN horizontal_margin = 'positive' OR vertical_margin = 'positive' THEN false
  WHEN horizontal_margin = 'negative' AND vertical_margin = 'negative' THEN true END"""
R0 = f"(({BLOC}) AND ({FREE}))"
ESD = "technique IN ('esd', 'hybrid-esd')"


def bled(days, extra="true"):
    """Delayed bleeding from the raw events: true, false, NULL."""
    own = "e.lesion = r.lesion OR (e.lesion IS NULL AND c.resections = 1)"
    maybe = "e.lesion IS NULL AND c.resections > 1"
    met = f"(e.bleeding_sign = 'yes' AND e.day <= {days} AND {extra})"
    late = "e.case_key = r.case_key AND e.kind = 'bleeding' AND e.timing = 'after'"
    not_met = f"""(e.bleeding_sign = 'no' OR e.day > {days} OR NOT coalesce({extra}, true))"""
    return f"""CASE WHEN EXISTS (SELECT 1 FROM event e WHERE {late} AND ({own}) AND {met}) THEN true
      WHEN EXISTS (SELECT 1 FROM event e WHERE {late} AND (({own}) OR ({maybe})) AND NOT coalesce({not_met}, false)) THEN NULL ELSE false END"""


def happened(which):
    own = "e.lesion = r.lesion OR (e.lesion IS NULL AND c.resections = 1)"
    return f"""CASE WHEN EXISTS (SELECT 1 FROM event e WHERE e.case_key = r.case_key AND ({own}) AND {which}) THEN true
      WHEN EXISTS (SELECT 1 FROM event e WHERE e.case_key = r.case_key AND e.lesion IS NULL AND c.resections > 1 AND {which}) THEN NULL
      ELSE false END"""


def answer(column):
    return f"CASE {column} WHEN 'yes' THEN true WHEN 'no' THEN false END"


EMERGENCY = "CASE e.emergency_endoscopy WHEN 'yes' THEN true WHEN 'no' THEN false END"
COLORECTUM, STOMACH = "organ IN ('colon', 'rectum')", "organ = 'stomach'"
FINAL = "coalesce(h.status IN ('final', 'amended', 'corrected'), false)"
GONE = "coalesce(retrieved = 'no', false)"
SM = f"""CASE WHEN h.pt IS NULL OR h.pt IN {ABSENT} THEN NULL ELSE h.pt IN ('pT1b', 'pT1b-SM1', 'pT1b-SM2', 'pT1b-SM3', 'pT1') END"""

# id: denominator, exclusion, numerator; of a resection.
PROPORTIONS = {
    "indication-recorded": (ESD, "false", rec("indication")),
    "indication-jges": (f"{ESD} AND {STOMACH}", "false",
                        "CASE WHEN indication_jges IN ('absolute-EMR-or-ESD', 'absolute-ESD', 'expanded') THEN true WHEN indication_jges = 'relative' THEN false END"),
    "morphology-recorded": (ESD, "false", f"{rec('paris')} AND {rec('predicted_histology')}"),
    "en-bloc": (ESD, "false", BLOC),
    "r0": (ESD, "false", R0),
    "curative-esge": (f"{ESD} AND organ IN ('oesophagus', 'stomach', 'colon', 'rectum')", "coalesce(curative_esge, '') = 'not-applicable'", answer("curative_esge")),
    "curative-jges": (f"{ESD} AND {STOMACH}", "coalesce(curative_jges, '') = 'not-applicable'", answer("curative_jges")),
    "curative-jes": (f"{ESD} AND organ = 'oesophagus' AND CASE WHEN mucosa IS NULL OR mucosa IN {ABSENT} THEN NULL ELSE mucosa = 'squamous' END",
                     "coalesce(curative_jes, '') = 'not-applicable'", answer("curative_jes")),
    "histology-arrived": (ESD, f"{GONE} OR {open_window(30)}", FINAL),
    "histology-complete": (f"{ESD} AND {FINAL}", "false",
                           f"{rec('h.pt')} AND {rec('horizontal_margin')} AND {rec('vertical_margin')} AND (({rec('lymphatic_invasion')} AND {rec('venous_invasion')}) OR {rec('lymphovascular_invasion')})"),
    "sm-depth-reported": (f"{ESD} AND {FINAL} AND {SM}", "false", "depth_um IS NOT NULL"),
    "hybrid": (ESD, "false", "technique = 'hybrid-esd'"),
    "completed": (ESD, "false", f"CASE WHEN completion IS NULL OR completion IN {ABSENT} THEN NULL ELSE completion = 'complete' END"),
    "perforation": (ESD, "false", f"""CASE WHEN muscle_injury IN ('IV', 'V') THEN true
        WHEN ({happened("e.kind = 'perforation'")}) THEN true
        WHEN ({happened("e.kind = 'perforation'")}) IS NULL THEN NULL
        WHEN muscle_injury IN ('0', 'I', 'II', 'III') THEN false END"""),
    "delayed-perforation": (ESD, open_window(30), happened("e.kind = 'perforation' AND e.timing = 'after'")),
    "delayed-bleeding-15d-emr": (f"technique IN ('emr', 'precut-emr', 'underwater-emr') AND {COLORECTUM}", open_window(15), bled(15)),
    "delayed-bleeding-28d": (f"{ESD} AND {STOMACH}", open_window(28), bled(28, EMERGENCY)),
    "delayed-bleeding-30d": (ESD, open_window(30), bled(30)),
    "any-event": (ESD, open_window(30), happened("true")),
    "site-recorded": (ESD, "false", rec("site")),
    "surgery-after-success": (f"{ESD} AND {R0}", "false", "CASE surgery_recorded WHEN 'yes' THEN true WHEN 'none-recorded' THEN false END"),
    "time-recorded": (ESD, "false", "resection_min IS NOT NULL"),
    "speed-9": (ESD, "false", "pi() / 4 * specimen_long_mm * specimen_short_mm / resection_min * 0.6 >= 9"),
    "specimen-pinned": (ESD, GONE, f"CASE WHEN pinned IS NULL OR pinned IN {ABSENT} THEN NULL ELSE pinned = 'yes' END"),
}
MEDIANS = {"duration": "resection_min", "speed": "pi() / 4 * specimen_long_mm * specimen_short_mm / resection_min * 0.6"}
FROM = """FROM resection r JOIN "case" c USING (case_key) JOIN lesion l ON l.case_key = r.case_key AND l.lesion = r.lesion
  LEFT JOIN histology h ON h.case_key = r.case_key AND h.lesion = r.lesion
  WHERE c.status IN ('signed', 'amended', 'corrected') AND c.test_data"""
GROUPS = {"": "''", "organ": "organ", "quarter": "year(session_date) || '-Q' || quarter(session_date)"}


def same(what, ours, theirs):
    both = ours is not None and theirs is not None
    if (ours is None) != (theirs is None) or both and not math.isclose(ours, theirs, rel_tol=1e-6, abs_tol=1e-9):
        wrong.append(f"{what}: enbloc {ours}, here {theirs}")


def proportion(db, name, by):
    inside, outside, counted = PROPORTIONS[name]
    rows = db.execute(f"""WITH x AS (SELECT {GROUPS[by]} AS g, ({inside}) AS i, ({outside}) AS o, ({counted}) AS n {FROM})
      SELECT g, count(*) FILTER (i AND NOT o AND n), count(*) FILTER (i AND NOT o AND n IS NOT NULL), count(*) FILTER (i AND o),
        count(*) FILTER (i IS NULL OR i AND o IS NULL OR i AND NOT o AND n IS NULL) FROM x GROUP BY g""").fetchall()
    return {r[0]: r[1:] for r in rows}


def check(db, folder, by):
    report = json.load(open(f"{folder}/indicators-{by}.json"))
    cache, done = {}, set()
    for r in report["results"]:
        name, group = r["indicator"], r.get("group", "")
        what = f"{name} {by} {group}"
        done.add(name)
        if name in PROPORTIONS:
            cache.setdefault(name, proportion(db, name, by))
            k, n, excluded, open_ = cache[name].get(group, (0, 0, 0, 0))
            if n + excluded + open_ == 0:
                same(what, r.get("denominator"), None)
                continue
            same(what + " denominator", r.get("denominator"), n)
            same(what + " excluded", r.get("excluded"), excluded)
            same(what + " not evaluable", r.get("not_evaluable"), open_)
            if n:
                low, high = proportion_confint(k, n, alpha=0.05, method="wilson")
                same(what + " numerator", r.get("numerator"), k)
                same(what + " rate", r.get("rate"), k / n)
                same(what + " lower", r.get("ci95_lower"), low)
                same(what + " upper", r.get("ci95_upper"), high)
        elif name in MEDIANS:
            n, q1, q2, q3 = db.execute(f"SELECT count(v), quantile_cont(v, 0.25), quantile_cont(v, 0.5), quantile_cont(v, 0.75) FROM (SELECT {MEDIANS[name]} AS v, {GROUPS[by]} AS g {FROM} AND {ESD}) WHERE g = ?", [group]).fetchone()
            same(what + " n", r.get("denominator"), n or r.get("denominator"))
            for key, v in (("quartile1", q1), ("median", q2), ("quartile3", q3)):
                same(f"{what} {key}", r.get(key), v)
        elif name == "volume":
            same(what, r.get("numerator", 0), db.execute(f"SELECT count(*) FROM (SELECT {GROUPS[by]} AS g {FROM} AND {ESD}) WHERE g = ?", [group]).fetchone()[0])
        elif name == "stay-recorded":
            if by == "organ":
                continue  # an event that names no lesion has no organ: held against the whole only
            k, n = db.execute(f"""SELECT count(e.unplanned_nights), count(*) FROM event e JOIN "case" c USING (case_key)
              WHERE c.status IN ('signed', 'amended', 'corrected') AND c.test_data AND {GROUPS[by] if by else "''"} = ?""", [group]).fetchone()
            same(what + " numerator", r.get("numerator"), k)
            same(what + " denominator", r.get("denominator"), n)
        else:
            wrong.append(f"{name}: nobody recomputes it")
    missing = set(PROPORTIONS) | set(MEDIANS) | {"volume", "stay-recorded"}
    if done != missing:
        wrong.append(f"not reported by enbloc: {missing - done}")
    return len(report["results"])


wrong = []
folder = sys.argv[1]
db = duckdb.connect()
for name in ("case", "lesion", "resection", "histology", "event", "assessment"):
    db.execute(f"""CREATE TABLE "{name}" AS SELECT * FROM read_parquet('{folder}/{name}-*.parquet')""")
    csv = db.execute(f"""SELECT count(*) FROM read_csv('{folder}/{name}-*.csv', header = true, all_varchar = true)""").fetchone()[0]
    same(f"rows of {name}", csv, db.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0])
figures = sum(check(db, folder, by) for by in GROUPS)
cases = db.execute('SELECT count(*) FROM "case"').fetchone()[0]
print(f"{cases} cases, {figures} figures, {len(wrong)} differ")
for line in wrong[:40]:
    print(line)
sys.exit(1 if wrong else 0)
