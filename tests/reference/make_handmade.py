"""Writes small hand-made studies, one session each, that try the edges of rules 10-26.

    python3 make_handmade.py [DIR]

writes them to DIR (default: `handmade` beside this file), each with `expected.json`: what `oracle.py`
makes of it. The moments that matter are written out below; what the animal does in between is filled in
with a fixed seed. A study whose title is a question holds one that the rules leave open; `expected.json` is
the reading of `docs/METHODS.md`.
"""

import json
import random
import shutil
import sys
from pathlib import Path

sys.dont_write_bytecode = True
import oracle  # noqa: E402

SEED = 20
CHANCE = (1, 4, 9)  # drawn with SEED + number
SECOND = 1_000_000
FILM = "No film: this coding was made up to check the measures.\n"


def micros(seconds):
    tenths = round(seconds * 10)
    assert abs(tenths - seconds * 10) < 1e-6, f"{seconds} is no tenth of a second"
    return tenths * SECOND // 10


def rise(to, **how):
    return {"to": to, **how}


def concern(level, when="any", **more):
    return {"level": level, "when": when, **more}


def behaviour(id, kind, set=None, who="animal", **more):
    row = {"id": id, "name": id.replace("-", " ").capitalize(), "kind": kind}
    if set:
        row["set"] = set
    row["definition"] = {"onset": f"First picture of: {id.replace('-', ' ')}."}
    if kind == "state":
        row["definition"]["offset"] = "First picture without it."
    row["who"] = who
    return {**row, **more}


SETS = [
    {"id": "visibility", "name": "Visibility", "exhaustive": True},
    {"id": "activity", "name": "Activity", "exhaustive": False},
]


def behaviours():
    """Fresh each time, so that a study can change them."""
    by_count = rise("stop", count=3, window_s=10)
    return [
        behaviour("in-view", "state", "visibility", roles=["visible"]),
        behaviour("part-view", "state", "visibility", roles=["part_visible"]),
        behaviour("out-of-sight", "state", "visibility", roles=["excluded"], details=["cover", "frame"]),
        behaviour("still", "state", "activity"),
        behaviour("move", "state", "activity"),
        behaviour(
            "cover",
            "state",
            "activity",
            roles=["hide"],
            concern=[concern("watch", rise=rise("stop", after_s=20))],
        ),
        behaviour(
            "barrier",
            "state",
            "activity",
            roles=["escape"],
            concern=[concern("watch", rise=rise("stop", total_s=30))],
        ),
        behaviour(
            "display",
            "state",
            "activity",
            roles=["defensive"],
            concern=[concern("stop")],
            new_bout_after_s=2,
        ),
        behaviour("freeze", "state", "activity", roles=["freeze"], concern=[concern("watch")]),
        behaviour("on-station", "state", new_bout_after_s=1),
        behaviour("orient", "event", roles=["orient"]),
        behaviour("approach", "event", roles=["approach"]),
        behaviour("retreat", "event", roles=["retreat"], concern=[concern("watch", "in_presentation")]),
        behaviour("contact", "event", roles=["contact", "success"]),
        behaviour("tongue", "event"),
        behaviour("draw-back", "event", roles=["draw_back"], concern=[concern("watch", rise=by_count)]),
        behaviour(
            "hiss",
            "event",
            roles=["defensive"],
            concern=[concern("stop"), concern("watch", taxa=["chelonian"])],
        ),
        behaviour("lunge", "event", roles=["defensive"], concern=[concern("stop")]),
        behaviour("cue", "state", who="handler", roles=["cue"]),
        behaviour("other-cue", "state", who="handler", roles=["cue"]),
        behaviour("touch", "state", who="handler", roles=["handling"]),
        behaviour("disturbance", "state", who="handler", roles=["disturbance"]),
        behaviour("marker", "event", who="handler", roles=["marker"]),
        behaviour("food", "event", who="handler", roles=["food"]),
        behaviour("back-off", "event", who="handler", roles=["back_off"]),
        behaviour("prompt", "event", who="handler", roles=["prompt"]),
        behaviour("abort", "event", who="handler", roles=["abort"]),
        behaviour("void", "event", who="handler", roles=["void"]),
        behaviour("session-start", "event", who="handler", roles=["session_start"]),
        behaviour("session-end", "event", who="handler", roles=["session_end"]),
    ]


def passes(ethogram, not_done=()):
    groups = {"Handler": [], "Visibility and activity": [], "Approach and contact": [], "Watch and stop": []}
    for b in ethogram:
        if b["who"] == "handler":
            groups["Handler"].append(b["id"])
        elif b["kind"] == "state":
            groups["Visibility and activity"].append(b["id"])
        elif b["id"] in ("draw-back", "hiss", "lunge"):
            groups["Watch and stop"].append(b["id"])
        else:
            groups["Approach and contact"].append(b["id"])
    return [
        {"name": name, "behaviours": ids, "done": name not in not_done, "minutes": 1.0}
        for name, ids in groups.items()
    ]


class Study:
    """One study with one session; times are given in seconds."""

    def __init__(self, name, title, length=None, clips=None, taxon="lizard", step=None, after_stop=False):
        self.name, self.title, self.taxon = name, title, taxon
        self.clips = clips or [{"length": length}]
        self.end = max(c.get("offset", 0) + c["length"] for c in self.clips)
        self.step, self.after_stop = step, after_stop
        self.behaviours = behaviours()
        self.own = None
        self.marks = []
        self.window = None
        self.codings = [("K-01", "primary", ())]

    def behaviour(self, id):
        return next(b for b in self.behaviours if b["id"] == id)

    def state(self, id, *bouts, **more):
        assert self.behaviour(id)["kind"] == "state", id
        for a, z in bouts:
            assert z is None or a < z
            self.marks.append({"behaviour": id, "from": a, "to": z, **more})
        return self

    def event(self, id, *times, **more):
        assert self.behaviour(id)["kind"] == "event", id
        self.marks += [{"behaviour": id, "from": t, **more} for t in times]
        return self

    def sight(self):
        """In view wherever there is film and nothing is out of sight."""
        for a, z in self.free("visibility"):
            self.state("in-view", (a, z))
        return self

    def free(self, set):
        own = {b["id"] for b in self.behaviours if b.get("set") == set}
        taken = [
            (micros(m["from"]), micros(self.end if m["to"] is None else m["to"]))
            for m in self.marks
            if m["behaviour"] in own
        ]
        film = [(micros(c.get("offset", 0)), micros(c.get("offset", 0) + c["length"])) for c in self.clips]
        gaps = [(micros(a), micros(z)) for c in self.clips for a, z in c.get("gaps", [])]
        return [(a / SECOND, z / SECOND) for a, z in oracle.without(oracle.union(film), taken + gaps)]

    def fill(self, random):
        """Stillness and movement where nothing else was coded, with holes."""
        for a, z in self.free("activity"):
            t = round(a * 10)
            while t < round(z * 10):
                to = min(t + random.randint(5, 150), round(z * 10))
                what = random.choice(["still", "move", None])
                if what:
                    self.state(what, (t / 10, to / 10))
                t = to
        return self

    def write(self, root):
        folder = root / self.name
        (folder / "ethograms").mkdir(parents=True)
        (folder / "clips").mkdir()
        session = folder / "sessions" / "s1"
        session.mkdir(parents=True)
        write(folder / "study.json", self.study())
        write(folder / "ethograms" / "handmade.1.json", self.ethogram())
        write(session / "session.json", self.session())
        for i in range(len(self.clips)):
            (folder / "clips" / f"{i}.mp4").write_text(FILM, encoding="utf-8")
        for by, purpose, not_done in self.codings:
            write(session / f"{by}.1.coding.json", self.coding(by, purpose, not_done))
        write(folder / "expected.json", oracle.of_study(folder))

    def study(self):
        animal = {"id": "pebble", "name": "Pebble", "taxon": self.taxon}
        if self.own is not None:
            animal["concern"] = self.own
        plan = {"id": "plan", "animal": "pebble", "goal": "Comes to the target"}
        plan["end"] = {"after_stop": self.after_stop}
        plan["steps"] = [{"n": 1, "text": "touches the target", **(self.step or {})}]
        return {
            "format": "shedlight/study",
            "version": 1,
            "title": self.title,
            "people": [{"code": by} for by, _, _ in self.codings],
            "animals": [animal],
            "plans": [plan],
        }

    def ethogram(self):
        return {
            "format": "shedlight/ethogram",
            "version": 1,
            "id": "handmade",
            "revision": 1,
            "title": "Made up to check the measures",
            "sets": SETS,
            "behaviours": self.behaviours,
        }

    def session(self):
        clips = []
        for i, c in enumerate(self.clips):
            clip = {"id": i, "path": f"clips/{i}.mp4", "offset": micros(c.get("offset", 0))}
            clip["length"] = micros(c["length"])
            if "gaps" in c:
                clip["gaps"] = [{"from": micros(a), "to": micros(z)} for a, z in c["gaps"]]
            clips.append(clip)
        return {
            "format": "shedlight/session",
            "version": 1,
            "id": "s1",
            "animal": "pebble",
            "plan": "plan",
            "step": 1,
            "clips": clips,
        }

    def coding(self, by, purpose, not_done):
        is_open = any(m.get("to", 0) is None for m in self.marks)
        coding = {
            "format": "shedlight/coding",
            "version": 1,
            "session": "s1",
            "by": by,
            "purpose": purpose,
            "ethogram": {"id": "handmade", "revision": 1, "digest": ""},
            "rule": "continuous",
        }
        if self.window:
            coding["window"] = {"from": micros(self.window[0]), "to": micros(self.window[1])}
        coding["passes"] = passes(self.behaviours, not_done)
        coding["status"] = "open" if is_open else "closed"
        coding["marks"] = []
        order = sorted(self.marks, key=lambda m: (micros(m["from"]), m["behaviour"]))
        for id, m in enumerate(order, 1):
            mark = {"id": id, "behaviour": m["behaviour"], "from": micros(m["from"])}
            if "to" in m:
                mark["to"] = None if m["to"] is None else micros(m["to"])
            mark["clip"], mark["frame"] = self.picture(m["from"])
            mark.update({key: m[key] for key in ("detail", "reason") if key in m})
            mark["placed"] = "stepped"
            coding["marks"].append(mark)
        return coding

    def picture(self, time):
        """Ten pictures a second."""
        for i, c in enumerate(self.clips):
            start = c.get("offset", 0)
            if start <= time < start + c["length"] or i + 1 == len(self.clips):
                return i, round((time - start) * 10)


def write(path, value):
    path.write_text(text(value, 0) + "\n", encoding="utf-8")


def text(value, depth):
    """Two spaces of indent; what fits a line and holds no list of objects stands on one."""
    flat = json.dumps(value, ensure_ascii=False)
    has_rows = isinstance(value, list) and any(isinstance(v, dict) for v in value)
    if not (isinstance(value, (dict, list)) and value) or (depth > 0 and not has_rows and "[{" not in flat):
        return flat
    if depth > 1 and len(flat) < 400:
        return flat
    inner, outer = "  " * (depth + 1), "  " * depth
    if isinstance(value, dict):
        rows = [f"{inner}{json.dumps(k)}: {text(v, depth + 1)}" for k, v in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{outer}}}"
    return "[\n" + ",\n".join(inner + text(v, depth + 1) for v in value) + f"\n{outer}]"


# The studies.


def bout_edges():
    s = Study("bout-edges", "Bouts that touch, are cut, or lie close together", 120)
    s.window = (10, 100)
    s.state("out-of-sight", (30, 36), (60, 62.4), (97, 105), detail="cover")
    s.state("part-view", (36, 38.5))
    s.state("move", (5, 12), (36, 40), (106, 110))  # cut by the start; begins as it comes in sight
    s.state("display", (14, 16), (17.5, 19), (21, 22))  # a gap of 1.5 s, and one of 2 s
    s.state("still", (24, 30), (40, 44), (44, 47))  # ends as it goes out of sight; touching bouts
    s.state("cover", (57, 65))  # through out of sight
    s.state("barrier", (80, 90))
    s.state("freeze", (95, 99))
    s.state("on-station", (50, 52), (52.9, 54), (55, 56), (70, 97))
    s.state("touch", (28, 34), (96, 104))  # the handler's: cut by the window alone
    s.event("tongue", 9.9, 10, 29.9, 30, 35.9, 36, 99.9, 100)
    s.event("marker", 9.9, 10, 30, 99.9, 100)
    return s.sight()


def window_marks():
    clips = [{"length": 60}, {"offset": 62.5, "length": 77.5, "gaps": [(100, 101.2)]}]
    s = Study("session-marks", "Session marks as the window, gaps in the film", clips=clips, taxon="chelonian")
    s.event("session-start", 8).event("session-end", 130)
    s.state("move", (4, 11), (55, 60), (62.5, 66), (120, 130)).state("on-station", (101.2, 104))
    s.state("freeze", (96, 103))  # through the gap inside a clip
    s.state("touch", (58, 66), (125, 138))
    s.event("tongue", 7.9, 8, 59.9, 62.5, 99.9, 101.2, 129.9, 130)
    s.event("marker", 8, 59.9, 62.5, 130)
    s.state("cue", (2, 12), (20, 40), (50, 59), (70, 90), (97, 99.9), (110, 135))
    s.event("orient", 9, 21.4, 51.3, 71, 112.2)
    s.event("approach", 10, 22, 53, 74.4, 115)
    s.event("contact", 11, 25, 82.3, 130)  # the last one on the window's end
    s.event("retreat", 57.5, 129.9)
    return s.sight()


def ends():
    step = {"success": "contact", "hold_s": 12}
    s = Study("ends", "What ends a presentation", 120, step=step)
    s.state("cue", (5, 25)).event("contact", 17)  # on the limited hold
    s.state("cue", (30, 50)).event("approach", 35).event("contact", 42.1)  # after it
    s.state("cue", (55, 60)).event("contact", 60).event("orient", 56.3)  # on the cue's end
    s.state("cue", (65, 70)).event("retreat", 70).event("contact", 70.1)
    s.state("cue", (75, 95)).event("orient", 79).event("retreat", 78.5)  # ended by the next cue
    s.state("other-cue", (80.5, 90)).event("contact", 84.9).event("approach", 82)
    s.state("cue", (113, 120)).event("retreat", 114.5).event("approach", 113.9)  # by the window's end
    s.event("approach", 26, 105).event("retreat", 28, 112.9)
    s.state("out-of-sight", (44, 47), (100, 103.3))
    return s


def voids():
    clips = [{"length": 145, "gaps": [(105, 106)]}]
    s = Study("voids", "What makes a presentation void", clips=clips)
    s.state("cue", (5, 25)).state("disturbance", (9, 12)).event("orient", 7).event("contact", 15)
    s.state("cue", (30, 40)).state("out-of-sight", (31, 36.1)).event("orient", 30.5)  # 51 %
    s.state("cue", (45, 55)).state("out-of-sight", (46, 51)).event("approach", 52)  # 50 %
    s.state("cue", (60, 70)).state("out-of-sight", (60.5, 66)).event("contact", 69)
    s.event("approach", 63)  # not seen
    s.state("cue", (75, 90)).event("void", 90, reason="camera was knocked").event("orient", 78)
    s.state("cue", (95, 115)).event("orient", 96.2).event("contact", 110)
    s.state("disturbance", (120, 123)).event("approach", 129.5)
    s.state("disturbance", (138, 140))
    s.state("cue", (132, 137)).event("contact", 134).event("orient", 132.7)
    return s


def aborts():
    step = {"success": "contact", "hold_s": 30}
    s = Study("aborts", "How a presentation is aborted", 200, step=step, after_stop=True)
    s.state("cue", (5, 30)).event("abort", 12).event("orient", 7.7).event("contact", 20)
    s.state("cue", (35, 60)).event("lunge", 40).event("back-off", 43.2).event("contact", 50)
    s.state("cue", (65, 75)).state("cover", (66, 79)).event("draw-back", 67).event("back-off", 70.5)
    s.state("cue", (80, 100)).event("lunge", 84).event("contact", 90).event("back-off", 95)
    s.state("cue", (105, 150)).event("lunge", 110).event("back-off", 139)  # the hold ends first
    s.state("cue", (160, 180)).state("display", (165, 169)).event("orient", 161.1).event("abort", 171)
    s.state("cue", (185, 195)).event("back-off", 186).event("lunge", 187).event("contact", 189)
    s.event("retreat", 163, 188)
    return s


def held():
    step = {"success": "on-station", "held_s": 5, "hold_s": 20}
    s = Study("held", "Success that has to hold, and prompts", 145, step=step)
    s.state("cue", (5, 20)).state("on-station", (8, 13))  # just long enough
    s.state("cue", (25, 40)).state("on-station", (27, 31.9), (33, 40)).event("contact", 26)
    s.state("cue", (45, 60)).state("on-station", (50, 58)).state("out-of-sight", (53, 54))
    s.state("cue", (65, 75)).state("on-station", (70, 75)).event("orient", 66)  # on the cue's end
    s.state("cue", (80, 95)).event("prompt", 82).state("on-station", (84, 90)).event("contact", 84.5)
    s.state("cue", (100, 115)).event("prompt", 99.9, 106.1).state("on-station", (101, 107))
    s.state("cue", (120, 140)).state("on-station", (121, 124), (124.4, 128))  # one bout
    s.event("approach", 6, 49, 83).event("retreat", 59)
    return s


def already():
    s = Study("already", "Already near, wavering, refusing", 190, taxon="chelonian")
    s.event("approach", 17).state("cue", (20, 30)).event("contact", 24)  # 3.0 s before
    s.event("approach", 31.9).state("cue", (35, 45)).event("orient", 36).event("approach", 40)  # 3.1 s
    s.event("approach", 48).event("retreat", 49).state("cue", (50, 60)).event("approach", 53)
    s.state("cue", (65, 75)).event("approach", 65)  # on the cue's own picture
    s.state("cue", (80, 95)).event("approach", 82, 86).event("retreat", 84).event("contact", 90)
    s.state("cue", (100, 115)).event("retreat", 101, 106).event("approach", 103, 104)
    s.state("cue", (120, 130)).event("approach", 121, 122).event("retreat", 123, 130)
    s.state("cue", (135, 145)).state("cover", (138, 143)).event("approach", 143.5)
    s.state("cue", (150, 158)).state("barrier", (152, 155)).event("back-off", 156.9)
    s.state("cue", (165, 170))
    s.state("cue", (175, 185)).state("out-of-sight", (177, 179)).event("retreat", 178).event("orient", 179)
    return s


def rises():
    s = Study("rises", "Levels that rise", 180)
    s.state("cover", (5, 40)).state("out-of-sight", (20, 22))  # 15 s and 18 s
    s.state("cover", (45, 70), (75, 95))  # past 20 s, and just 20 s
    s.state("barrier", (100, 112), (115, 125), (130, 145), (150, 153))  # 30 s in all at 138
    s.event("draw-back", 160, 164, 169, 171).event("back-off", 66.6, 149)
    return s.sight()


def own_rules():
    s = Study("own-rules", "What holds for the taxon and for the animal", 100, taxon="chelonian")
    s.own = [
        {"behaviour": "barrier", "rules": [concern("stop")], "reason": "broke a claw at the glass"},
        {"behaviour": "freeze", "rules": [], "reason": "it rests like that"},
    ]
    s.behaviour("lunge")["concern"] = [concern("watch"), concern("stop", taxa=["snake", "lizard"])]
    s.behaviour("tongue")["concern"] = [concern("watch"), concern("none", taxa=["chelonian"])]
    s.behaviour("cover")["concern"] = [concern("watch"), concern("stop", "in_presentation")]
    s.event("hiss", 10).event("lunge", 20).event("tongue", 25)
    s.state("barrier", (30, 36)).state("freeze", (40, 45))
    s.state("cue", (55, 65)).state("cover", (50, 70)).event("retreat", 54, 60, 65.1)
    s.state("cue", (80, 90)).event("retreat", 90).event("orient", 81)
    s.event("back-off", 33.3)
    return s.sight()


def incidents():
    s = Study("incidents", "Incidents, backing off, warning", 200, after_stop=True)
    s.state("cue", (3, 7)).event("contact", 5.5)  # before the first one
    s.event("draw-back", 8).event("hiss", 10, 11.9, 13.9).event("back-off", 13)
    s.state("cue", (25, 35)).event("orient", 26)
    s.event("draw-back", 44.9)
    s.state("display", (50, 58)).event("back-off", 54.5)
    s.state("display", (62, 66)).event("back-off", 67)
    s.event("lunge", 75, 110).event("back-off", 105.1, 139.9)  # 30.1 s and 29.9 s
    s.state("freeze", (120, 126)).event("draw-back", 127.9, 129.9, 145)
    s.state("freeze", (150, 156), (158, 162)).state("display", (156, 158))  # watch, stop, watch
    s.state("cue", (170, 180)).event("retreat", 180).event("approach", 172)
    s.state("display", (190, None))
    return s


def by_chance(number, random, length=150):
    """Everything by chance, with no two moments the same where that would leave two readings."""
    taxon = random.choice(["lizard", "snake", "chelonian"])
    held = random.random() < 0.3
    step = {"success": "on-station", "held_s": 3} if held else {"success": "contact"}
    step["hold_s"] = random.choice([8, 12, 20])
    s = Study(f"chance-{number}", f"By chance, {number}", length, taxon=taxon, step=step, after_stop=True)
    used = set()

    def moment(low, high):
        while True:
            t = random.randint(round(low * 10), round(high * 10)) / 10
            if t not in used:
                used.add(t)
                return t

    def bouts(id, n, shortest, longest, taken, clear_of=()):
        for _ in range(n):
            a = moment(1, length - longest - 1)
            z = moment(a + shortest, a + longest)
            if all(z < c or a > d for c, d in taken) and not any(a <= t <= z for t in clear_of):
                taken.append((a, z))
                s.state(id, (a, z))

    cues = []
    bouts("cue", 12, 3, 25, cues)
    bouts("disturbance", 1, 1, 5, [])
    bouts("touch", 2, 1, 9, [])
    bouts("on-station", 8, 1, 9, [], [a for a, _ in cues])
    bouts("out-of-sight", 4, 1, 6, [])
    busy = []
    bouts("display", 3, 0.5, 8, busy)
    bouts("cover", 2, 10, 35, busy)
    bouts("barrier", 4, 3, 16, busy)
    bouts("freeze", 3, 2, 9, busy)
    counts = {"orient": 9, "approach": 14, "retreat": 9, "contact": 5, "tongue": 6, "draw-back": 6}
    counts.update({"hiss": 2, "lunge": 2, "back-off": 6, "prompt": 3, "abort": 1, "marker": 3})
    for id, n in counts.items():
        for _ in range(n):
            s.event(id, moment(0.1, length - 0.1))
    return s


# Where the rules say one thing and another was found, or seems to be meant elsewhere.


def passes_not_done():
    s = Study("passes-not-done", "Rule 13: what hangs on a pass that is not done has no value", 90)
    s.codings = [
        ("K-01", "primary", ("Approach and contact",)),
        ("K-02", "second", ("Handler",)),
        ("K-03", "repeat", ()),
    ]
    s.state("out-of-sight", (30, 36), detail="frame")
    s.state("display", (60, 66))
    s.state("cover", (12, 15))
    s.state("cue", (5, 20), (40, 55), (70, 80))
    s.event("orient", 6, 41.2, 72).event("approach", 8, 43.5).event("retreat", 50)
    s.event("contact", 10.4).event("hiss", 48, 64).event("draw-back", 75)
    s.event("back-off", 51.2, 62).event("marker", 10.9)
    return s


def stop_then_cue_ends():
    s = Study("stop-then-cue-ends", "Rule 19: a stop-level onset, then the cue's end before success", 60)
    s.state("cue", (5, 20)).event("lunge", 12).event("approach", 8).event("back-off", 21.5)
    s.state("cue", (30, 45)).state("display", (40, 48)).event("retreat", 42)
    return s


def same_picture():
    step = {"success": "contact", "hold_s": 20}
    s = Study("same-picture", "Rules 19 and 24: two marks on one picture", 90, step=step)
    s.state("cue", (5, 20)).event("prompt", 15).event("contact", 15)  # not before it
    s.state("cue", (30, 45)).event("lunge", 35).event("back-off", 40).event("contact", 40)
    s.event("draw-back", 60, 70).event("lunge", 60).event("hiss", 75)
    return s


def window_beyond_film():
    s = Study("window-beyond-film", "Rule 12: observed is what the film shows of the window", 80)
    s.window = (10, 95)
    s.state("disturbance", (4, 6), (30, 34)).event("approach", 18, 41)
    s.state("display", (70, 80)).event("marker", 12)
    return s


def details():
    s = Study("details", "Rule 23: concern of marks with one detail", 90)
    freeze, tongue = s.behaviour("freeze"), s.behaviour("tongue")
    for b in (freeze, tongue):
        b["details"] = ["at the handler"]
        b["concern"] = [concern("watch"), concern("stop", detail="at the handler")]
    s.event("tongue", 5).event("tongue", 12, 70, detail="at the handler")
    s.state("freeze", (20, 25)).state("freeze", (25, 31), detail="at the handler")  # touching
    s.state("freeze", (50, 54), detail="at the handler").state("freeze", (54, 58))
    return s


def orient_on_cue():
    s = Study("orient-on-cue", "Rule 18 leaves the approach out, METHODS does not", 60)
    s.state("cue", (5, 15)).event("orient", 5).event("approach", 8).event("contact", 12)
    s.state("cue", (30, 45)).event("orient", 32).event("approach", 35)
    return s


def touching_cues():
    s = Study("touching-cues", "Rule 10: touching bouts of the cue are one bout", 60)
    s.state("cue", (5, 15), (15, 30)).event("orient", 7).event("contact", 20)
    return s


# Questions the rules leave open.


def void_mark():
    step = {"success": "contact", "hold_s": 20}
    s = Study("void-mark", "QUESTION: does a void mark end the presentation?", 70, step=step)
    s.state("cue", (5, 20)).event("void", 10, reason="camera was knocked")
    s.event("orient", 14).event("contact", 16)
    s.state("cue", (30, 45)).event("void", 40, reason="camera was knocked").event("orient", 33)
    return s


def held_before_cue():
    step = {"success": "on-station", "held_s": 5}
    title = "QUESTION: does holding that began before the cue count from the cue or from its start?"
    s = Study("held-before-cue", title, 80, step=step)
    s.state("on-station", (8, 20)).state("cue", (10, 25))
    s.state("on-station", (35, 55)).state("cue", (45, 60))
    return s


def raised_abort():
    title = "QUESTION: does an onset that is at stop level through a rise abort?"
    s = Study("raised-abort", title, 150, step={"success": "contact", "hold_s": 25})
    s.state("cue", (5, 25)).event("draw-back", 10, 12, 14).event("back-off", 20)
    s.state("barrier", (40, 75), (90, 94)).state("cue", (85, 105)).event("back-off", 97)
    return s


def pieces_as_onsets():
    title = "QUESTION: is a bout that comes back into sight an onset where onsets are counted?"
    s = Study("pieces-as-onsets", title, 60)
    s.behaviour("freeze")["concern"] = [concern("watch", rise=rise("stop", count=2, window_s=20))]
    s.state("freeze", (10, 25)).state("out-of-sight", (14, 19))
    return s


def same_moment():
    step = {"success": "contact", "hold_s": 20}
    title = "QUESTION: what ends a presentation when two endings fall on one picture?"
    s = Study("same-moment", title, 60, step=step)
    s.state("disturbance", (15, 18)).state("cue", (5, 25)).event("contact", 15)
    s.event("abort", 40).state("cue", (30, 45)).event("contact", 40)
    return s


def questions_of_passes():
    title = "QUESTION: do marks of passes that are not done hide, abort, or set the window?"
    s = Study("passes", title, 90)
    s.codings = [
        ("K-01", "primary", ("Visibility and activity",)),
        ("K-02", "second", ("Watch and stop",)),
        ("K-03", "repeat", ("Handler",)),
    ]
    s.event("session-start", 4).event("session-end", 85)
    s.state("out-of-sight", (30, 36)).state("cue", (10, 20), (40, 55))
    s.event("tongue", 33).event("orient", 11).event("lunge", 45).event("back-off", 50)
    s.event("approach", 12, 31).event("contact", 15)
    return s


def studies():
    chance = random.Random(SEED)
    agreed = [bout_edges(), window_marks(), ends(), voids(), aborts(), held(), already()]
    agreed += [rises(), own_rules(), incidents()]
    agreed += [by_chance(number, random.Random(SEED + number)) for number in CHANCE]
    found = [passes_not_done(), stop_then_cue_ends(), same_picture(), window_beyond_film(), details()]
    found += [orient_on_cue(), touching_cues()]
    questions = [void_mark(), held_before_cue(), raised_abort(), pieces_as_onsets()]
    questions += [same_moment(), questions_of_passes()]
    for s in agreed + found:
        yield s.fill(chance)
    yield from questions


def main():
    root = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "handmade"
    if root.exists():
        shutil.rmtree(root)
    for s in studies():
        s.write(root)


if __name__ == "__main__":
    main()
