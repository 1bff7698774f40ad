"""Least, kink index and proved greatest flatness of the five heads from their feeler readings, by HiGHS.

Makes straightedge.json beside it. Another road than the project's own: HiGHS solves every linear programme.
Needs numpy 2.4.6, scipy 1.17.1, highspy. Run: python straightedge.py [head ...]

Model. A line's edge is straight with two free numbers; gap = edge - height; "b passes, b' refused" means
max(0, b - e) <= gap <= b' + e with e = 2 sqrt(u_edge^2 + u_blade^2). Kink of a station: its height off the line through its
two neighbours on the line; kink index: the least bound on all kinks that still explains the readings; limit: index + 0.005 mm.
Least: one programme. Greatest: the largest, over all circuits (four stations with weights that kill every plane and add up
to two in size), of a programme over the same set; circuits whose bound from ranges of single heights is below what was
found are left out, so the greatest is proved.
"""
import itertools
import json
import pathlib
import sys
import time

import highspy
import numpy as np
from scipy.optimize import linprog

HERE = pathlib.Path(__file__).parent
INF = highspy.kHighsInf


def read(head, e):
    """Nodes (places), and per line the list of (place along, node, least gap, largest gap)."""
    key, nodes, lines = {}, [], []
    for line in head["straightedge"]:
        out = []
        start = line["stations"][0]
        for s in line["stations"]:
            k = (round(s["x"]), round(s["y"]))
            if k not in key:
                key[k] = len(nodes)
                nodes.append((s["x"], s["y"]))
            low = max(0.0, s["passes"] - e) if s["passes"] is not None else 0.0
            out.append((np.hypot(s["x"] - start["x"], s["y"] - start["y"]), key[k], low, s["next_refused"] + e))
        lines.append(out)
    return np.array(nodes), lines


def rows(nodes, lines):
    n, width = len(nodes), len(nodes) + 2 * len(lines)
    gap, low, high, kink = [], [], [], []
    for i, line in enumerate(lines):
        for s, k, lo, hi in line:
            r = np.zeros(width)
            r[n + 2 * i], r[n + 2 * i + 1], r[k] = 1, s / 100, -1
            gap.append(r), low.append(lo), high.append(hi)
        for (sa, a, *_), (sb, b, *_), (sc, c, *_) in zip(line, line[1:], line[2:]):
            r = np.zeros(width)
            t = (sb - sa) / (sc - sa)
            r[b] += 1
            r[a] -= 1 - t
            r[c] -= t
            kink.append(r)
    return np.array(gap), np.array(low), np.array(high), np.array(kink)


def kink_index(gap, low, high, kink):
    width = gap.shape[1]
    one = np.ones((len(kink), 1))
    zero = np.zeros((len(gap), 1))
    a = np.vstack([np.c_[gap, zero], np.c_[-gap, zero], np.c_[kink, -one], np.c_[-kink, -one]])
    b = np.r_[high, -low, np.zeros(2 * len(kink))]
    return linprog(np.r_[np.zeros(width), 1], A_ub=a, b_ub=b, bounds=[(None, None)] * width + [(0, None)], method="highs").fun


def least(n, gap, low, high, kink, limit):
    width = gap.shape[1]
    a = [np.c_[gap, np.zeros(len(gap))], np.c_[-gap, np.zeros(len(gap))]]
    a.append(np.c_[np.eye(n), np.zeros((n, width - n)), -np.ones(n)])
    b = [high, -low, np.zeros(n)]
    if limit is not None:
        a += [np.c_[kink, np.zeros(len(kink))], np.c_[-kink, np.zeros(len(kink))]]
        b += [np.full(2 * len(kink), limit)]
    bounds = [(0, None)] * n + [(None, None)] * (width - n) + [(0, None)]
    return linprog(np.r_[np.zeros(width), 1], A_ub=np.vstack(a), b_ub=np.concatenate(b), bounds=bounds, method="highs").fun


def circuits(nodes):
    n = len(nodes)
    xy = (nodes - nodes.mean(0)) / 100
    four = np.array(list(itertools.combinations(range(n), 4)))
    q = np.concatenate([np.ones((n, 1)), xy], 1)[four]
    weight = np.stack([(-1) ** k * np.linalg.det(np.delete(q, k, axis=1)) for k in range(4)], 1)
    size = np.abs(weight).sum(1)
    keep = size > 1e-9
    return four[keep], weight[keep] * 2 / size[keep][:, None]


def greatest(nodes, gap, low, high, kink, limit):
    n, width = len(nodes), gap.shape[1]
    h = highspy.Highs()
    for name, value in (("output_flag", False), ("presolve", "off"), ("threads", 1), ("simplex_strategy", 4),
                        ("primal_feasibility_tolerance", 1e-9), ("dual_feasibility_tolerance", 1e-9)):
        h.setOptionValue(name, value)
    corners = [int(np.argmin((nodes @ d))) for d in ([1, 1], [-1, 1], [1, -1], [-1, -1])]
    for k in range(width):
        h.addVar(0 if k in corners[:3] else -INF, 0 if k in corners[:3] else INF)
    a = np.vstack([gap, kink]) if limit is not None else gap
    lo = np.r_[low, np.full(len(kink), -limit)] if limit is not None else low
    hi = np.r_[high, np.full(len(kink), limit)] if limit is not None else high
    for r, l, u in zip(a, lo, hi):
        at = np.nonzero(r)[0]
        h.addRow(l, u, len(at), at.astype(np.int32), r[at])
    columns, count = np.arange(width, dtype=np.int32), 0

    def most(v):
        nonlocal count
        c = np.zeros(width)
        c[:n] = -v
        h.changeColsCost(width, columns, c)
        h.run()
        count += 1
        return -h.getInfo().objective_function_value, np.array(h.getSolution().col_value)[:n]

    four, weight = circuits(nodes)
    bound = np.full((2, len(four)), np.inf)
    for drop in range(4):
        gauge = [c for k, c in enumerate(corners) if k != drop]
        base = np.c_[np.ones(3), nodes[gauge]]
        top, bottom = np.zeros(n), np.zeros(n)
        for i in range(n):
            if i in gauge:
                continue
            v = np.zeros(n)
            v[i] = 1
            v[gauge] -= np.linalg.solve(base.T, np.r_[1, nodes[i]])
            top[i], bottom[i] = most(v)[0], -most(-v)[0]
        for s, w in enumerate((weight, -weight)):
            bound[s] = np.minimum(bound[s], np.maximum(w * bottom[four], w * top[four]).sum(1))
    index, wide, bound = np.r_[four, four], np.r_[weight, -weight], bound.ravel()
    best = 0.0
    for j in np.argsort(-bound):
        if bound[j] <= best + 1e-9:
            break
        for _ in range(4):
            v = np.zeros(n)
            np.add.at(v, index[j], wide[j])
            value, z = most(v)
            bound[j] = min(bound[j], value)
            best = max(best, value)
            now = (wide * z[index]).sum(1)
            j = int(now.argmax())
            if now[j] <= best + 1e-9:
                break
    return best, count


if __name__ == "__main__":
    data = json.load(open(HERE / "heads.json"))
    e = 2 * np.hypot(data["straightedge_u"], data["blade_u"])
    path = HERE / "straightedge.json"
    out = json.load(open(path)) if path.exists() else {"made_by": "straightedge.py", "highspy": "", "expanded_mm": e, "heads": {}}
    out["highspy"] = highspy.Highs().version()
    for name in sys.argv[1:] or list(data["heads"]):
        nodes, lines = read(data["heads"][name], e)
        gap, low, high, kink = rows(nodes, lines)
        index = kink_index(gap, low, high, kink)
        limit = index + 0.005
        t = time.process_time()
        top, count = greatest(nodes, gap, low, high, kink, limit)
        out["heads"][name] = dict(
            stations=len(nodes), kink_index=index, least=least(len(nodes), gap, low, high, kink, limit),
            least_without_limit=least(len(nodes), gap, low, high, kink, None), greatest=top,
            programmes=count, seconds=time.process_time() - t, truth=data["heads"][name]["true_flatness_on_stations"])
        print(name, out["heads"][name], flush=True)
        json.dump(out, open(path, "w"), indent=1)
