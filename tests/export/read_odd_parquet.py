"""Reads partitions of odd ids: read_odd_parquet.py DATASET IDS.json"""

import json
import sys

import duckdb
import pyarrow.dataset as arrow

folder, ids = sys.argv[1], json.load(open(sys.argv[2], encoding="utf-8"))
dataset = arrow.dataset(f"{folder}/sessions", partitioning=arrow.HivePartitioning.discover(infer_dictionary=False))
frame = dataset.to_table().to_pandas()
assert sorted(frame.animal_id) == sorted(ids), sorted(frame.animal_id)
assert (frame.animal == frame.animal_id).all(), frame[["animal", "animal_id"]]
rows = duckdb.sql(
    f"SELECT animal, animal_id, year FROM read_parquet('{folder}/sessions/**/*.parquet', "
    "hive_partitioning = true, hive_types = {'animal': VARCHAR, 'year': BIGINT})").fetchall()
assert sorted(row[1] for row in rows) == sorted(ids)
assert all(row[0] == row[1] for row in rows), rows
assert {row[2] for row in rows} == {2025, None}, rows
print(f"{len(rows)} odd ids")
