"""What a person would write in pandas for the same archive: time budgets and mean bouts by animal, nothing else.

    budgets.py STUDY

Reads every session.json and coding of the study; prints one line an animal and state. Bouts are taken as coded: not cut at out of sight, no
latencies, no incidents, no intervals. The benchmark runs it beside `shedlight summary`, which does all of that."""

import json
import sys
from pathlib import Path

import pandas

columns = {"animal": [], "behaviour": [], "from": [], "to": []}
visible = {}
for folder in sorted(Path(sys.argv[1], "sessions").iterdir()):
    animal = json.loads((folder / "session.json").read_bytes())["animal"]
    for path in folder.glob("*.coding.json"):
        for mark in json.loads(path.read_bytes())["marks"]:
            if "to" not in mark:
                continue
            columns["animal"].append(animal)
            columns["behaviour"].append(mark["behaviour"])
            columns["from"].append(mark["from"])
            columns["to"].append(mark["to"])
frame = pandas.DataFrame(columns)
frame["seconds"] = (frame["to"] - frame["from"]) / 1e6
groups = frame.groupby(["animal", "behaviour"]).seconds.agg(["count", "sum", "mean"]).reset_index()
visible = groups[groups.behaviour == "in-view"].set_index("animal")["sum"]
groups["share"] = groups["sum"] / groups.animal.map(visible)
groups.to_csv(sys.stdout, index=False)
