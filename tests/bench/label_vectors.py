#!/usr/bin/env python3
"""The common way to compare two codings in time, for tests/bench/agreement.rs: a label for every
picture at 30 a second, and scikit-learn's Cohen's kappa of all labels and of each label against the
rest. Reads the bouts of two codings, prints milliseconds (median of five) and the kappa."""
import json
import statistics
import sys
import time

import numpy as np
from sklearn.metrics import cohen_kappa_score

given = json.load(open(sys.argv[1]))
at = np.arange(0, given["length"], 1_000_000 / 30)
bouts = {
    who: (np.array(given[who]["from"]), np.array(given[who]["state"])) for who in ("first", "second")
}


def labels(who):
    start, state = bouts[who]
    return state[np.searchsorted(start, at, side="right") - 1]


def all_kappas():
    first, second = labels("first"), labels("second")
    each = [cohen_kappa_score(first == state, second == state) for state in range(given["states"])]
    return cohen_kappa_score(first, second), each


times = []
for _ in range(5):
    begun = time.perf_counter()
    kappa, each = all_kappas()
    times.append((time.perf_counter() - begun) * 1000)
print(json.dumps({"millis": statistics.median(times), "kappa": kappa, "labels": len(at)}))
