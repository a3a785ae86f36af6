"""Reads a Parquet export with PyArrow, pandas and DuckDB, and runs the queries of docs/QUERIES.md: totals as ours.

    read_parquet.py WORK QUERIES.md

WORK holds dataset/ and collections/*/ (exports), csv/ (the same study as CSV) and summary.json."""

import json
import math
import os
import re
import sys
from pathlib import Path

import duckdb
import pandas
import pyarrow.dataset as arrow

work, page = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
os.chdir(work)
dictionary = json.loads(Path("dataset/dictionary.json").read_text(encoding="utf-8"))
summary = json.loads(Path("summary.json").read_text(encoding="utf-8"))
SAME = {"string": "string", "integer (64 bit)": "int64", "number (64 bit)": "double", "boolean": "bool",
        "date": "date32[day]", "timestamp (microseconds, UTC)": "timestamp[us, tz=UTC]"}


def close(ours, theirs, what):
    if ours is None or theirs is None or (isinstance(theirs, float) and math.isnan(theirs)):
        assert ours is None and (theirs is None or math.isnan(theirs)), (what, ours, theirs)
    else:
        assert math.isclose(ours, theirs, rel_tol=1e-9, abs_tol=1e-6), (what, ours, theirs)


# Every table: the columns of the dictionary, the rows of the CSV, the same values.
rows = {}
for table in dictionary["tables"]:
    name = table["name"]
    dataset = arrow.dataset(f"dataset/{name}", partitioning=arrow.HivePartitioning.discover(infer_dictionary=False))
    names = [column["name"] for column in table["columns"]]
    assert dataset.schema.names == names + table["partitions"], (name, dataset.schema.names)
    for column in table["columns"]:
        assert str(dataset.schema.field(column["name"]).type) == SAME[column["type"]], (name, column)
        assert column["description"], (name, column)
        assert not column["name"].endswith("_s") or column["unit"] == "s", (name, column)
    frame = dataset.to_table().to_pandas()
    rows[name] = frame
    for path in sorted(Path("dataset", name).glob("**/*.parquet")):
        carried = arrow.dataset(path).schema.metadata[b"shedlight.dictionary"]
        assert json.loads(carried)["columns"] == table["columns"], path
    assert (frame.animal.astype(str) == frame.animal_id).all() or frame.animal.isna().any(), name
for name in ["sessions", "codings", "marks", "presentations"]:
    own, theirs = rows[name], pandas.read_csv(f"csv/{name}.csv")
    assert len(own) == len(theirs) > 0, name
    key = [column for column in ["session", "coding", "by", "mark", "number"] if column in theirs.columns]
    own, theirs = (frame.sort_values(key).reset_index(drop=True) for frame in (own, theirs))
    for column in theirs.select_dtypes("number").columns:
        difference = (pandas.to_numeric(own[column]).astype(float) - theirs[column].astype(float)).abs()
        assert (own[column].isna() == theirs[column].isna()).all(), (name, column)
        assert not (difference > 1e-9).any(), (name, column)
measures = pandas.read_csv("csv/measures.csv")
assert len(rows["measures"]) == (measures.scope == "coding").sum()
assert len(rows["animal_measures"]) == (measures.scope == "animal").sum()
print(f"arrow: {len(rows['marks'])} marks, {len(rows['presentations'])} presentations, {len(rows['incidents'])} incidents")

# The page's queries, as they are printed there.
queries = dict(re.findall(r"```sql\n-- name: (\w+)\n(.*?)```", page.read_text(encoding="utf-8"), re.S))
assert sorted(queries) == ["incidents", "latencies", "looked_for", "time_budgets"], sorted(queries)
db = duckdb.connect()


def ask(name):
    cursor = db.execute(queries[name])
    columns = [column[0] for column in cursor.description]
    return [dict(zip(columns, row)) for row in cursor.fetchall()]


animals = {own["animal"]: own for own in summary["animals"]}
budgets = {(row["animal_id"], row["behaviour"]): row for row in ask("time_budgets")}
compared = 0
for animal, own in animals.items():
    for behaviour in own["behaviours"]:
        if behaviour["kind"] != "state":
            continue
        row = budgets.pop((animal, behaviour["id"]))
        close(behaviour["total_s"], row["total_s"], (animal, behaviour["id"]))
        close(own["visible_s"], row["visible_s"], animal)
        if behaviour["share_visible"] is not None:
            close(behaviour["share_visible"], row["share_visible"], (animal, behaviour["id"]))
            compared += 1
assert not budgets and compared > 0, budgets
latencies = {row["animal_id"]: row for row in ask("latencies")}
for animal, own in animals.items():
    row, ours = latencies.pop(animal), own["latency"]["approach"]
    assert (row["n"], row["reached"]) == (ours["n"], ours["reached"]), (animal, row, ours)
    close(ours["median_s"], row["median_s"], animal)
assert not latencies
stops = {animal: len(own["concern"]["stop_incidents"]) for animal, own in animals.items()}
looked = {row["animal_id"]: row for row in ask("looked_for")}
for animal, own in animals.items():
    assert looked[animal]["sessions"] == looked[animal]["sessions_looked_for"] == len(own["sessions"])
    assert looked[animal]["incidents"] == stops[animal]
collections = len(list(Path("collections").iterdir()))
across = ask("incidents")
assert sum(row["incidents"] for row in across) == collections * sum(stops.values()) > 0
assert sum(row["within_5_s"] for row in across) == collections * sum(
    sum(one["back_off_s"] is not None and one["back_off_s"] <= 5 for one in own["concern"]["stop_incidents"])
    for own in animals.values())
close(collections * sum(own["visible_s"] for own in animals.values()) / 3600,
      sum(row["visible_hours"] for row in across), "hours")
print(f"duckdb: {compared} shares, {len(animals)} medians, {sum(stops.values())} incidents as ours")
