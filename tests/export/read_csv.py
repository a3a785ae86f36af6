"""Reads an export as other tools do: Python's csv module, pandas and the Frictionless validator."""

import csv
import json
import sys
from pathlib import Path

import pandas
from frictionless import validate

folder = Path(sys.argv[1])
package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
numbers = {}
for resource in package["resources"]:
    with open(folder / resource["path"], encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, strict=True))
    head, rows = rows[0], rows[1:]
    fields = {field["name"]: field for field in resource["schema"]["fields"]}
    assert head == list(fields), resource["name"]
    for row in rows:
        assert len(row) == len(head), (resource["name"], row)
        for name, cell in zip(head, row):
            if cell == "":
                continue
            kind = fields[name]["type"]
            if kind == "number":
                float(cell)
            elif kind == "integer":
                int(cell)
            elif kind == "boolean":
                assert cell in ("true", "false"), cell
            elif kind == "string":
                assert cell[0] not in "=+-@\t\r\n＝＋－＠", cell
    numbers[resource["name"]] = len(rows)
print(f"csv: {numbers['marks']} marks, {numbers['presentations']} presentations")

for name, wanted in numbers.items():
    assert len(pandas.read_csv(folder / f"{name}.csv")) == wanted, name
marks = pandas.read_csv(folder / "marks.csv")
states = marks[(marks.kind == "state") & (marks.open == False)]  # noqa: E712
assert ((states.to_s - states.from_s - states.duration_s).abs() < 1e-6).all()
print("pandas reads them")

report = validate(str(folder / "datapackage.json"))
assert report.valid, report.flatten(["type", "rowNumber", "fieldNumber", "message"])[:10]
print("frictionless finds them valid")
