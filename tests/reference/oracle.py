"""The measures of a study, reckoned a second time from the exact rules (10-26) alone.

    python3 oracle.py STUDY_DIR

prints JSON in the shape of `shedlight summary --json`. Slow and plain on purpose: every measure is
written as its rule reads, so that it can be held against the program. Times are whole microseconds.
"""

import json
import math
import statistics
import sys
from pathlib import Path

SECOND = 1_000_000
JOIN = 2 * SECOND  # rule 24: parts closer than this are one incident
AHEAD = 30 * SECOND  # rule 25: how far events alone look for a back-off
WARNING = 60 * SECOND  # rule 26
ALREADY = 3 * SECOND  # rule 18
HOLD = {"chelonian": 60.0, "lizard": 30.0, "snake": 30.0}  # METHODS: our default
LEVEL = {"none": 0, "watch": 1, "stop": 2}


def micros(seconds):
    return round(seconds * SECOND)


def seconds(time):
    return None if time is None else time / SECOND


# Stretches [a, b), as sorted lists of pairs.


def union(spans):
    joined = []
    for a, b in sorted(spans):
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        elif a < b:
            joined.append((a, b))
    return joined


def meet(spans, others):
    return union((max(a, c), min(b, d)) for a, b in spans for c, d in others if max(a, c) < min(b, d))


def without(spans, holes):
    left = []
    for a, b in spans:
        for c, d in union(holes):
            if c >= b or d <= a:
                continue
            if a < c:
                left.append((a, c))
            a = max(a, d)
        if a < b:
            left.append((a, b))
    return left


def length(spans):
    return sum(b - a for a, b in spans)


def inside(time, spans):
    """Rule 16: what starts at a moment has it, what ends there has not."""
    return any(a <= time < b for a, b in spans)


class Record:
    """One coding, with what it takes to read it."""

    def __init__(self, study, session, ethogram, coding):
        self.study, self.session, self.coding = study, session, coding
        self.behaviours = ethogram["behaviours"]
        self.by_id = {b["id"]: b for b in self.behaviours}
        self.animal = next(a for a in study["animals"] if a["id"] == session["animal"])
        self.taxon = self.animal.get("taxon")
        self.plan = next((p for p in study.get("plans", []) if p["id"] == session.get("plan")), {})
        self.step = next((s for s in self.plan.get("steps", []) if s["n"] == session.get("step")), {})
        self.done = {b for p in coding.get("passes", []) if p.get("done") for b in p["behaviours"]}
        self.find_window()
        self.find_out_of_sight()

    def with_role(self, role):
        return [b for b in self.behaviours if role in b.get("roles", [])]

    def all_done(self, behaviours):
        return all(b["id"] in self.done for b in behaviours)

    def marks(self, behaviour, fits=lambda mark: True):
        """Rule 13: marks of passes that are not done count for nothing."""
        if behaviour["id"] not in self.done:
            return []
        return [m for m in self.coding["marks"] if m["behaviour"] == behaviour["id"] and fits(m)]

    # Seen and not seen.

    def find_window(self):
        """Rule 12."""
        clips = self.session["clips"]
        film = (min(c.get("offset", 0) for c in clips), max(c.get("offset", 0) + c["length"] for c in clips))
        window = self.coding.get("window")
        starts = [m["from"] for b in self.with_role("session_start") for m in self.marks(b)]
        ends = [m["from"] for b in self.with_role("session_end") for m in self.marks(b)]
        if window:
            window = (window["from"], window["to"])
        elif starts and ends:
            window = (min(starts), max(ends))
        else:
            window = film
        self.start, self.end = max(window[0], film[0]), min(window[1], film[1])
        shown = union(
            s
            for c in clips
            for s in without(
                [(c.get("offset", 0), c.get("offset", 0) + c["length"])],
                [(g["from"], g["to"]) for g in c.get("gaps", [])],
            )
        )
        self.gaps = without([(self.start, self.end)], shown)

    def find_out_of_sight(self):
        """Rules 4, 11, 12."""
        excluded = self.with_role("excluded")
        bouts = [(m["from"], self.to(m)) for b in excluded for m in self.marks(b)]
        self.hidden = meet(union(bouts + self.gaps), [(self.start, self.end)])
        self.observed = self.end - self.start
        self.visible = self.observed - length(self.hidden) if self.all_done(excluded) else None

    def to(self, mark):
        """Rule 3: what is open lasts to the window's end."""
        return self.end if mark["to"] is None else mark["to"]

    def is_cut(self, behaviour):
        """Rule 11: out of sight cuts the animal's behaviour, not itself and not the handler's."""
        return behaviour.get("who", "animal") == "animal" and "excluded" not in behaviour.get("roles", [])

    # Bouts and onsets.

    def bouts(self, behaviour, fits=lambda mark: True):
        """Rule 10: bouts with a shorter gap than `new_bout_after_s`, and touching ones, are one."""
        least = micros(behaviour.get("new_bout_after_s") or 0)
        bouts = []
        for a, b in sorted((m["from"], self.to(m)) for m in self.marks(behaviour, fits)):
            if bouts and (a - bouts[-1][1] < least or a == bouts[-1][1]):
                bouts[-1] = (bouts[-1][0], b)
            else:
                bouts.append((a, b))
        return bouts

    def pieces(self, behaviour, fits=lambda mark: True):
        """Rule 15: (from, to, start seen, end seen)."""
        hidden = self.hidden if self.is_cut(behaviour) else []
        edges = [self.start, self.end] + [t for span in hidden for t in span]
        window = [(self.start, self.end)]
        return [
            (a, b, a not in edges, b not in edges)
            for bout in self.bouts(behaviour, fits)
            for a, b in without(meet([bout], window), hidden)
        ]

    def onsets(self, behaviour, fits=lambda mark: True):
        """Rule 16: in the window, and seen when they are the animal's."""
        if behaviour["kind"] == "event":
            times = sorted(m["from"] for m in self.marks(behaviour, fits))
        else:
            times = [a for a, _ in self.bouts(behaviour, fits)]
        hidden = self.hidden if self.is_cut(behaviour) else []
        return [t for t in times if self.start <= t < self.end and not inside(t, hidden)]

    def onsets_of(self, *roles):
        """(time, role), in order; a behaviour with two of the roles is there twice."""
        return sorted((t, role) for role in roles for b in self.with_role(role) for t in self.onsets(b))

    def times_of(self, *roles):
        return sorted({t for t, _ in self.onsets_of(*roles)})


# Rules 10-16: behaviours.


def behaviour_row(record, behaviour):
    row = {"id": behaviour["id"], "kind": behaviour["kind"]}
    keys = "n n_complete total_s mean_s median_s sd_s min_s max_s share_visible per_visible_hour".split()
    row.update(dict.fromkeys(keys))
    if behaviour["id"] not in record.done:
        return row
    if behaviour["kind"] == "event":
        row["n"] = len(record.onsets(behaviour))
    else:
        pieces = record.pieces(behaviour)
        whole = [(b - a) / SECOND for a, b, begun, ended in pieces if begun and ended]
        total = sum(b - a for a, b, _, _ in pieces)
        row.update(n=len(pieces), n_complete=len(whole), total_s=seconds(total))
        if whole:
            row.update(mean_s=statistics.fmean(whole), median_s=statistics.median(whole))
            row.update(min_s=min(whole), max_s=max(whole))
        if len(whole) > 1:
            row["sd_s"] = statistics.stdev(whole)
        if record.visible:
            hides = "excluded" in behaviour.get("roles", [])
            row["share_visible"] = None if hides else total / record.visible
    if record.visible:
        row["per_visible_hour"] = row["n"] / (record.visible / SECOND / 3600)
    return row


def approach_figures(record, presentations):
    known = record.all_done(record.with_role("approach") + record.with_role("retreat"))
    if not known:
        return dict.fromkeys(("approaches", "retreats", "share", "index", "vacillating"))
    a = len(record.onsets_of("approach"))
    r = len(record.onsets_of("retreat"))
    return {
        "approaches": a,
        "retreats": r,
        "share": a / (a + r) if a + r else None,
        "index": (a - r) / (a + r) if a + r else None,
        "vacillating": None if presentations is None else sum(is_vacillating(record, p) for p in presentations),
    }


def is_vacillating(record, presentation):
    """Rule 22."""
    turns = []
    for t, role in record.onsets_of("approach", "retreat"):
        if presentation["from"] <= t <= presentation["to"] and (not turns or turns[-1] != role):
            turns.append(role)
    return len(turns) >= 3


# Rules 17-20: presentations.


def success_behaviours(record):
    named = record.step.get("success")
    return [record.by_id[named]] if named else record.with_role("success")


def success_moments(record):
    """Rule 18: the onset, or the moment at which it has held `held_s`."""
    held = record.step.get("held_s")
    moments = []
    for b in success_behaviours(record):
        if held and b["kind"] == "state":
            moments += [a + micros(held) for a, z, _, _ in record.pieces(b) if z - a >= micros(held)]
        else:
            moments += record.onsets(b)
    return sorted(t for t in moments if t < record.end)


def lasting(record, behaviour):
    """Bouts; of an event its moments, each as the shortest there is."""
    if behaviour["kind"] == "state":
        return meet(record.bouts(behaviour), [(record.start, record.end)])
    return [(t, t + 1) for t in record.onsets(behaviour)]


def first(times, low, high):
    return next((t for t in sorted(times) if low <= t <= high), None)


def find_presentations(record):
    """None while the pass that holds the cue is not done."""
    cues = record.with_role("cue")
    if not record.all_done(cues):
        return None
    shown = sorted(bout for b in cues for bout in record.bouts(b) if record.start <= bout[0] < record.end)
    hold = record.step.get("hold_s")
    hold = micros(HOLD[record.taxon] if hold is None else hold)
    disturbances = [bout for b in record.with_role("disturbance") for bout in lasting(record, b)]
    found = []
    for number, (cue, cue_end) in enumerate(shown, 1):
        ends = [(cue_end, "cue ended"), (cue + hold, "hold"), (record.end, "window")]
        ends += [(a, "next cue") for a, _ in shown if a > cue]
        # A disturbance that runs already when the cue is shown voids it there.
        ends += [(max(a, cue), "void") for a, z in disturbances if z > cue]
        ends += [(max(a, cue), "gap") for a, z in record.gaps if z > cue]
        ends += [(t, "abort") for t in record.times_of("abort") if t >= cue]
        ends += [(t, "success") for t in success_moments(record) if t >= cue]
        # Rule 16: what lies on the end is inside. Of one moment the first of these ends it.
        order = ["success", "void", "abort", "cue ended", "hold", "next cue", "window", "gap"]
        to, why = min(ends, key=lambda end: (end[0], order.index(end[1])))
        found.append({"number": number, "from": cue, "cue_to": cue_end, "to": to, "end": why})
    # Rule 19: a stop-level onset, then the cue's end or a back-off before anything else ended it.
    stops = stop_onsets(record, found)
    for p in found:
        stop = first(stops, p["from"], p["to"])
        if stop is None:
            continue
        back_off = first(record.times_of("back_off"), stop + 1, p["to"])
        before = back_off is not None and (back_off < p["to"] or p["end"] not in ("success", "void", "gap"))
        if before:
            p.update(to=back_off, end="abort")
        elif p["end"] == "cue ended":
            p["end"] = "abort"
    for p in found:
        fill(record, p)
    return found


def fill(record, p):
    """Latencies and outcome."""
    low, high = p["from"], p["to"]
    orient = first(record.times_of("orient"), low, high)
    approach = first(record.times_of("approach"), low, high)
    contact = first(record.times_of("contact"), low, high)
    success = first(success_moments(record), low, high) if p["end"] == "success" else None
    # Rule 18: "already".
    before = [t for t in record.times_of("approach") if low - ALREADY <= t < low]
    since = any(before[-1] < t <= low for t in record.times_of("retreat")) if before else False
    p["left_out"] = orient == low or (bool(before) and not since)
    if p["left_out"]:
        orient, approach = low, None
    p["latency"] = {
        name: None if t is None else t - low
        for name, t in (("orient", orient), ("approach", approach), ("contact", contact), ("success", success))
    }
    # Rule 20.
    p["watched"] = high - low
    marked = first(record.times_of("void"), low, high)
    if marked is not None:
        p["watched"] = marked - low
    out_of_sight = length(meet([(low, high)], record.hidden))
    if p["end"] in ("void", "gap") or marked is not None or 2 * out_of_sight > high - low:
        p["outcome"] = "void"
    elif p["end"] == "success":
        prompted = any(low <= t < success for t in record.times_of("prompt"))
        p["outcome"] = "success_prompted" if prompted else "success"
    elif p["end"] == "abort":
        p["outcome"] = "aborted"
    else:
        turns = [
            (t, role)
            for t, role in record.onsets_of("approach", "retreat", "hide", "escape")
            if low <= t <= high
        ]
        p["refused_at"] = turns[-1][0] if turns and turns[-1][1] != "approach" else None
        p["outcome"] = "passive_refusal" if p["refused_at"] is None else "opt_out"
    if not is_known(record, p["outcome"]):
        p["outcome"] = None


def is_known(record, outcome):
    """Rule 13: what hangs on a pass that is not done is not known."""
    needed = success_behaviours(record)
    if outcome in ("opt_out", "passive_refusal"):
        for role in ("approach", "retreat", "hide", "escape", "abort", "back_off"):
            needed = needed + record.with_role(role)
        needed = needed + [
            b
            for b in record.behaviours
            for rule in rules_of(record, b)
            if "stop" in (rule["level"], rule.get("rise", {}).get("to"))
        ]
    return record.all_done(needed)


def success_figures(record, presentations):
    outcomes = None if presentations is None else [p["outcome"] for p in presentations]
    if outcomes is None or None in outcomes:
        return dict.fromkeys(("k", "n", "void", "aborted", "prompted", "opt_out", "opt_out_honoured"))
    count = outcomes.count
    return {
        "k": count("success"),
        "n": count("success") + count("opt_out") + count("passive_refusal"),
        "void": count("void"),
        "aborted": count("aborted"),
        "prompted": count("success_prompted"),
        "opt_out": count("opt_out"),
        "opt_out_honoured": sum(p["outcome"] == "opt_out" and is_honoured(record, p) for p in presentations),
    }


def is_honoured(record, p):
    """Rule 26."""
    target = micros(record.study.get("targets", {}).get("back_off_s", 5))
    answers = [p["cue_to"]] + record.times_of("back_off")
    return any(p["refused_at"] <= t <= p["refused_at"] + target for t in answers)


def latency_figures(record, presentations):
    found = {}
    for name in ("orient", "approach", "contact", "success"):
        behaviours = success_behaviours(record) if name == "success" else record.with_role(name)
        if presentations is None or not record.all_done(behaviours):
            found[name] = {"n": None, "reached": None, "median_s": None}
            continue
        cases = []
        for p in presentations:
            if name == "approach" and p["left_out"]:
                continue
            value = p["latency"][name]
            cases.append((p["watched"], False) if value is None else (value, True))
        reached = sum(seen for _, seen in cases)
        found[name] = {"n": len(cases), "reached": reached, "median_s": seconds(product_limit_median(cases))}
    return found


def product_limit_median(cases):
    """First time at which the share still waiting is at most 0.5; cases are (time, reached)."""
    share = 1.0
    for time in sorted({t for t, seen in cases if seen}):
        waiting = sum(t >= time for t, _ in cases)
        ended = sum(t == time and seen for t, seen in cases)
        share *= 1 - ended / waiting
        if share <= 0.5 + 1e-9:
            return time
    return None


# Rules 23-26: concern.


def rules_of(record, behaviour):
    """Rule 23: the animal's own over those that name its taxon over the rest."""
    for own in record.animal.get("concern", []):
        if own["behaviour"] == behaviour["id"]:
            return own["rules"]
    rules = behaviour.get("concern", [])
    named = [r for r in rules if record.taxon in r.get("taxa", [])]
    return named or [r for r in rules if not r.get("taxa")]


def levels(record, presentations):
    """(from, to, level, behaviour) of what runs; to == from for an event."""
    found = []
    for b in record.behaviours:
        for rule in rules_of(record, b):
            found += [(a, z, level, b["id"]) for a, z, level in levels_by(record, b, rule, presentations) if level]
    return found


def levels_by(record, b, rule, presentations):
    def fits(mark):
        return rule.get("detail") is None or mark.get("detail") == rule["detail"]

    base = LEVEL[rule["level"]]
    rise = rule.get("rise") or {}
    raised = LEVEL[rise["to"]] if rise else base
    within = None
    if rule.get("when", "any") == "in_presentation":
        within = [(p["from"], p["to"]) for p in presentations or []]
    onsets = record.onsets(b, fits)
    if within is not None:
        onsets = [t for t in onsets if any(a <= t <= z for a, z in within)]

    def full(t):
        """The count is full with the onset at t."""
        back = micros(rise["window_s"])
        return sum(t - back <= o <= t for o in onsets) >= rise["count"]

    if b["kind"] == "event":
        for t in onsets:
            yield t, t, raised if "count" in rise and full(t) else base
        return
    pieces = [(a, z) for a, z, _, _ in record.pieces(b, fits)]
    if within is not None:
        pieces = meet(pieces, within)
    total = 0
    for a, z in pieces:
        turn = z
        if "after_s" in rise:
            turn = a + micros(rise["after_s"])
        elif "total_s" in rise:
            turn = a + micros(rise["total_s"]) - total
        elif "count" in rise:
            turn = a if a in onsets and full(a) else z
        total += z - a
        turn = min(max(turn, a), z)
        for c, d, level in ((a, turn, base), (turn, z, raised)):
            if c < d:
                yield c, d, level


def level_at(found, time, behaviour=None):
    running = [
        level
        for a, z, level, b in found
        if (a <= time < z or a == z == time) and behaviour in (None, b)
    ]
    return max(running, default=0)


def stop_onsets(record, presentations):
    """Onsets of what is at stop level from its first picture on."""
    found = levels(record, presentations)
    return sorted(
        t for b in record.behaviours for t in record.onsets(b) if level_at(found, t, b["id"]) == LEVEL["stop"]
    )


def parts_at(found, level):
    """Stretches and moments at exactly this level."""
    turns = sorted({t for a, z, _, _ in found for t in (a, z)})
    states = [f for f in found if f[0] < f[1]]
    parts = union((a, z) for a, z in zip(turns, turns[1:]) if level_at(states, a) == level)
    moments = {a for a, z, _, _ in found if a == z and level_at(found, a) == level}
    return sorted(parts + [(t, t) for t in moments if not inside(t, parts)])


def incidents_of(parts):
    """Rule 24: (from, to, whether a state is in it)."""
    found = []
    for a, z in parts:
        if found and a - found[-1][1] < JOIN:
            found[-1] = (found[-1][0], max(z, found[-1][1]), found[-1][2] or a < z)
        else:
            found.append((a, z, a < z))
    return found


def concern_figures(record, presentations):
    concerned = [b for b in record.behaviours if rules_of(record, b)]
    rules = [rule for b in concerned for rule in rules_of(record, b)]
    lacks_cue = presentations is None and any(rule.get("when") == "in_presentation" for rule in rules)
    if lacks_cue or not record.all_done(concerned):
        keys = ("watch_s", "stop_s", "watch_incidents", "stop_incidents", "continued_after_stop")
        return dict.fromkeys(keys)
    found = levels(record, presentations)
    watch, stop = (parts_at(found, LEVEL[name]) for name in ("watch", "stop"))
    stops = incidents_of(stop)
    continued = []
    if stops and record.plan.get("end", {}).get("after_stop"):
        continued = [seconds(p["from"]) for p in presentations or [] if p["from"] > stops[0][0]]
    return {
        "watch_s": seconds(length(watch)),
        "stop_s": seconds(length(stop)),
        "watch_incidents": len(incidents_of(watch)),
        "stop_incidents": [stop_row(record, found, stops, i) for i in range(len(stops))],
        "continued_after_stop": continued,
    }


def stop_row(record, found, stops, i):
    at, ended, is_state = stops[i]
    # Rule 25.
    limit = min([record.end] + [a for a, _, _ in stops[i + 1 : i + 2]])
    limit = min(limit, ended if is_state else at + AHEAD)
    back_off = next((t for t in record.times_of("back_off") if at < t <= limit), None)
    # Rule 26: moments at which something comes to watch level; a piece is a bout (rule 15).
    watched = [a for a, _, level, b in found if level == LEVEL["watch"] == level_at(found, a, b)]
    warned = [t for t in watched if at - WARNING <= t < at]
    running = [b["id"] for b in record.behaviours if level_at(found, at, b["id"]) == LEVEL["stop"]]
    return {
        "at_s": seconds(at),
        "behaviour": running[0],
        "back_off_s": None if back_off is None else seconds(back_off - at),
        "warning_s": seconds(at - min(warned)) if warned else None,
    }


def resume_figures(record):
    """Rule 26: from a disturbance's end to the first approach."""
    found = []
    for b in record.with_role("disturbance"):
        if b["kind"] == "event" or not record.all_done(record.with_role("approach")):
            continue
        for _, end in record.bouts(b):
            if record.start <= end < record.end:
                after = next((t for t in record.times_of("approach") if t >= end), None)
                found.append({"at_s": seconds(end), "resume_s": None if after is None else seconds(after - end)})
    return sorted(found, key=lambda row: row["at_s"])


def summary(record):
    presentations = find_presentations(record)
    return {
        "session": record.session["id"],
        "animal": record.session["animal"],
        "by": record.coding["by"],
        "purpose": record.coding["purpose"],
        "observed_s": seconds(record.observed),
        "visible_s": seconds(record.visible),
        "behaviours": [behaviour_row(record, b) for b in record.behaviours],
        "approach": approach_figures(record, presentations),
        "presentations": presentations
        and [
            {
                "number": p["number"],
                "cue_s": seconds(p["from"]),
                "end_s": seconds(p["to"]),
                "outcome": p["outcome"],
                **{f"{name}_s": seconds(value) for name, value in p["latency"].items()},
            }
            for p in presentations
        ],
        "success": success_figures(record, presentations),
        "latency": latency_figures(record, presentations),
        "concern": concern_figures(record, presentations),
        "resume": resume_figures(record),
    }


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))


def records(folder):
    study = read(folder / "study.json")
    for path in sorted(folder.glob("sessions/*/*.coding.json")):
        coding = read(path)
        named = coding["ethogram"]
        ethogram = read(folder / "ethograms" / f"{named['id']}.{named['revision']}.json")
        yield Record(study, read(path.parent / "session.json"), ethogram, coding)


def of_study(folder):
    return {"codings": [summary(record) for record in records(Path(folder))]}


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    json.dump(of_study(sys.argv[1]), sys.stdout, indent=2)
    print()
