#!/usr/bin/env python3
"""Lays the rows of the views flat by the SQL that is shipped beside them, in DuckDB, and compares every cell with what enbloc
exports of the same cases. compare.py VIEWS_DIR ROWS_DIR TABLES_DIR NOT_CARRIED.json"""
import glob
import json
import math
import os
import sys

import duckdb

views, rows, tables, listed = sys.argv[1:]
with open(listed) as f:
    not_carried = {(c["table"], c["column"]): c for c in json.load(f)}
KEYS = {"case": ["case_key"], "lesion": ["case_key", "lesion"], "resection": ["case_key", "lesion"], "histology": ["case_key", "lesion"],
        "event": ["case_key", "kind", "timing", "day"], "assessment": ["case_key", "rule", "lesion", "event"]}
db = duckdb.connect()
TYPES = {"decimal": "DOUBLE", "boolean": "BOOLEAN"}


def columns_of(select):
    """Name and type of each column of a view."""
    for s in select:
        for c in s.get("column", []):
            yield c["name"], TYPES.get(c["type"], "VARCHAR")
        yield from columns_of(s.get("select", []))


for path in glob.glob(os.path.join(views, "*.json")):
    with open(path) as f:
        view = json.load(f)
    columns = ", ".join(f"'{n}': '{t}'" for n, t in columns_of(view["select"]))
    db.execute(f"CREATE TABLE {view['name']} AS SELECT * FROM read_json('{rows}/{view['name']}.ndjson', format = 'newline_delimited', columns = {{{columns}}})")
for name in ("fact", "part", "numbered", "answer", "lesion", "histology", "event", "case", "resection", "assessment"):
    with open(os.path.join(views, name + ".sql")) as f:
        db.execute(f'CREATE TABLE "{name}" AS ' + f.read())


def spelt(v):
    """A cell as text: figures by their value, days as YYYY-MM-DD, lists whose order means nothing sorted."""
    if v is None:
        return ""
    if isinstance(v, bool):
        return str(v).lower()
    if isinstance(v, str):
        return v
    if hasattr(v, "isoformat"):
        return v.isoformat()
    return f"{float(v):.9g}"


UNORDERED = {("resection", "aids"), ("case", "antithrombotics"), ("event", "interventions"), ("assessment", "missing")}
wrong, cells = [], 0
used = set()
for table, key in KEYS.items():
    theirs = db.execute(f"SELECT * FROM read_parquet('{tables}/{table}-*.parquet')")
    columns = [c[0] for c in theirs.description]
    exported = [dict(zip(columns, r)) for r in theirs.fetchall()]
    ours = db.execute(f'SELECT * FROM "{table}"')
    have = [c[0] for c in ours.description]
    viewed = [dict(zip(have, r)) for r in ours.fetchall()]
    missing = [c for c in columns if c not in have and (table, c) not in not_carried]
    if missing:
        wrong.append(f"{table}: neither carried nor listed: {', '.join(missing)}")
    # A column that is carried only beside another one is compared there.
    beside = {c: not_carried[table, c]["unless"] for c in columns if "unless" in not_carried.get((table, c), {})}
    compared = [c for c in columns if c in have and ((table, c) not in not_carried or c in beside)]
    used |= {(table, c) for c in columns if (table, c) in not_carried}
    key = [k for k in key if k in compared]

    def row(r):
        out = {}
        for c in compared:
            text = "" if c in beside and r[beside[c]] is None else spelt(r[c])
            out[c] = ";".join(sorted(text.split(";"))) if (table, c) in UNORDERED else text
        return out

    def name(r):
        return tuple(r[k] for k in key) + tuple(r.values())

    a, b = sorted(map(row, exported), key=name), sorted(map(row, viewed), key=name)
    if len(a) != len(b):
        wrong.append(f"{table}: {len(a)} rows exported, {len(b)} viewed")
    for x, y in zip(a, b):
        for c in compared:
            cells += 1
            if x[c] != y[c]:
                wrong.append(f"{table}.{c} at {[x[k] for k in key]} / {[y[k] for k in key]}: exported {x[c]!r}, viewed {y[c]!r}")
    print(f"{table}: {len(b)} rows, {len(compared)} columns")
for table, column in sorted(set(not_carried) - used):
    wrong.append(f"{table}.{column} is listed as not carried, and no table has it")
print(f"{cells} cells compared, {len(wrong)} differ; {len(not_carried)} columns are not carried, each with its reason")
by = {}
for line in wrong:
    by.setdefault(line.split(" ")[0], []).append(line)
for lines in by.values():
    print(len(lines), *lines[:3], sep="\n  ")
sys.exit(1 if wrong else 0)
