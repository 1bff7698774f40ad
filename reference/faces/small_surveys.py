"""Least, kink index and greatest flatness of small surveys of chance, every circuit solved on its own by SciPy's linprog (HiGHS).

Makes small_surveys.json beside it: 40 surveys of a face with nine stations and eight lines, blades by chance around a random
face; nothing is pruned, so this also checks the pruning. Surveys that no face explains are kept as such.
Needs numpy 2.4.6 and scipy 1.17.1. Run: python small_surveys.py
"""
import itertools
import json
import pathlib

import numpy as np
import scipy
from scipy.optimize import linprog

from straightedge import circuits, rows

HERE = pathlib.Path(__file__).parent
E = 0.010
PLACES = [(x, y) for y in (0.0, 70.0, 140.0) for x in (0.0, 210.0, 400.0)]
LINES = [[0, 1, 2], [3, 4, 5], [6, 7, 8], [0, 3, 6], [1, 4, 7], [2, 5, 8], [0, 4, 8], [6, 4, 2]]
PLACES[4] = (200.0, 70.0)
PLACES[1], PLACES[7] = (200.0, 0.0), (200.0, 140.0)


def solve(c, a, b, width):
    return linprog(c, A_ub=a, b_ub=b, bounds=[(None, None)] * width, method="highs",
                   options=dict(primal_feasibility_tolerance=1e-10, dual_feasibility_tolerance=1e-10))


def survey(rng):
    size, noise = rng.choice([0.03, 0.1]), rng.choice([0.0, 0.004, 0.03])
    z = rng.normal(0, size, 9)
    lines = []
    for line in LINES:
        p = np.array([PLACES[k] for k in line])
        s = np.hypot(*(p - p[0]).T)
        # The edge rests on its ends, or on the middle and one end.
        chord = z[line[0]] + (z[line[2]] - z[line[0]]) * s / s[2]
        rise = max(0.0, z[line[1]] - chord[1])
        edge = chord + rise * (s / s[1] if rng.random() < 0.5 else (s[2] - s) / (s[2] - s[1]))
        gap = np.maximum(0.0, edge - z[line] + rng.normal(0, noise, 3))
        passes = np.floor(gap * 100) / 100
        lines.append([(float(a), float(q[0]), float(q[1]), float(np.round(b, 3)), float(np.round(b + 0.01, 3)), k)
                      for a, q, b, k in zip(s, p, passes, line)])
    return lines


def answer(lines):
    seen = [[(a, k, max(0.0, b - E), r + E) for a, _, _, b, r, k in line] for line in lines]
    nodes = np.array(PLACES)
    gap, low, high, kink = rows(nodes, seen)
    n, width = 9, gap.shape[1]
    held = np.zeros((6, width))
    for i, k in enumerate((0, 2, 6)):
        held[2 * i, k], held[2 * i + 1, k] = 1, -1
    a, b = np.vstack([gap, -gap, held]), np.r_[high, -low, np.zeros(6)]
    one = np.ones((len(kink), 1))
    r = solve(np.r_[np.zeros(width), 1], np.vstack([np.c_[a, np.zeros((len(a), 1))], np.c_[kink, -one], np.c_[-kink, -one]]),
              np.r_[b, np.zeros(2 * len(kink))], width + 1)
    if r.status == 2:
        return None
    index, out = r.fun, {}
    for name, limit in (("limited", index + 0.005), ("free", None)):
        aa = a if limit is None else np.vstack([a, kink, -kink])
        bb = b if limit is None else np.r_[b, np.full(2 * len(kink), limit)]
        four, weight = circuits(nodes)
        best = 0.0
        for f, w in itertools.chain(zip(four, weight), zip(four, -weight)):
            c = np.zeros(width)
            np.add.at(c, f, -w)
            best = max(best, -solve(c, aa, bb, width).fun)
        # Least: the smallest h with every height between two planes h apart; planes a + b x + c y are three more numbers.
        t = np.c_[np.ones(n), nodes / 100]
        z = np.c_[np.eye(n), np.zeros((n, width - n)), -t]
        half = np.full((n, 1), -0.5)
        al = np.vstack([np.c_[aa, np.zeros((len(aa), 4))], np.c_[z, half], np.c_[-z, half]])
        least = solve(np.r_[np.zeros(width + 3), 1], al, np.r_[bb, np.zeros(2 * n)], width + 4).fun
        out[name] = dict(least=least, greatest=best)
    return dict(kink_index=index, **out)


if __name__ == "__main__":
    rng = np.random.default_rng(7)
    out = []
    for _ in range(40):
        lines = survey(rng)
        out.append(dict(lines=[[station[1:5] for station in line] for line in lines], answer=answer(lines)))
    print(sum(s["answer"] is None for s in out), "of", len(out), "are explained by no face")
    json.dump({"made_by": "small_surveys.py", "scipy": scipy.__version__, "surveys": out}, open(HERE / "small_surveys.json", "w"))
