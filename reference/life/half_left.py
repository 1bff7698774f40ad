"""How much further until half have failed, for the stated lives and records of make_reference.py -> half_left.json

Python 3 without libraries: trapezium grids of 301 by 301 over seven prior spreads either way, the place of one half by halving.
Nothing of the program's nodes, sums of powers or closed forms is used. Survivals are written too, to be held against the adaptive
quadrature of reference.json.
"""
import json, math
from statistics import NormalDist

G = NormalDist().inv_cdf(0.95)


def grid(tenth, half, half_factor, gap_factor, records, n=301, reach=7.0):
    beta0 = math.log(math.log(2.0) / -math.log(0.9)) / math.log(half / tenth)
    sb, st = math.log(gap_factor) / G, math.log(half_factor) / G
    nodes = []
    for i in range(n):
        x = reach * (2 * i / (n - 1) - 1)
        beta = beta0 * math.exp(sb * x)
        for j in range(n):
            y = reach * (2 * j / (n - 1) - 1)
            eta = half * math.exp(st * y) / math.log(2.0) ** (1 / beta)
            H = lambda t: (t / eta) ** beta if t > 0 else 0.0
            s = -0.5 * (x * x + y * y)
            for kind, a, b, v in records:
                s += H(v)
                if kind == "failed":
                    s += math.log(beta / eta) + (beta - 1) * math.log(a / eta) - H(a)
                elif kind == "good":
                    s -= H(a)
                else:
                    s += -H(a) + math.log(-math.expm1(H(a) - H(b)))
            nodes.append((s, beta, eta))
    top = max(s for s, _, _ in nodes)
    return [(math.exp(s - top), b, e) for s, b, e in nodes if s > top - 40]


def survival(nodes, age, ahead):
    reach = lambda t: sum(w * math.exp(-((t / e) ** b)) for w, b, e in nodes) if t > 0 else sum(w for w, _, _ in nodes)
    return reach(age + ahead) / reach(age)


def half_left(nodes, age, most):
    low, high = 0.0, most
    while high - low > 1e-9 * high:
        mid = 0.5 * (low + high)
        low, high = (mid, high) if survival(nodes, age, mid) > 0.5 else (low, mid)
    return high


recs = [("failed", 96.0, None, 0.0), ("failed", 141.0, None, 60.0), ("good", 163.0, None, 40.0), ("between", 90.0, 120.0, 0.0),
        ("good", 205.0, None, 70.0), ("between", 50.0, 134.0, 50.0), ("failed", 187.0, None, 130.0)]
out = []
for name, records in (("stated", []), ("with records", recs)):
    nodes = grid(70.0, 160.0, 1.5, 1.6, records)
    for age in (0.0, 120.0, 250.0):
        out.append(dict(what=name, age=age, half_left=half_left(nodes, age, 2000.0), lasts_36=survival(nodes, age, 36.0)))
json.dump(out, open("half_left.json", "w"), indent=1)
