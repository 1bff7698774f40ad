"""Peers of crates/inference/benches/life.rs on the same records, one thread: best of a few runs, wall time.

    OMP_NUM_THREADS=1 python peer.py [rows ...]        lifelines 0.30.3, NumPy 2.4.6, SciPy 1.17.1
"""
import sys
import time
import warnings

import numpy as np
from lifelines import WeibullFitter
from scipy.special import logsumexp

warnings.filterwarnings("ignore")


def even(counter):
    with np.errstate(over="ignore"):
        z = (counter + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        z = z ^ (z >> np.uint64(31))
    return ((z >> np.uint64(32)).astype(np.float64) + 0.5) / 4294967296.0


def columns(rows):
    n = 3 * rows
    u = even(np.arange(4 * n, dtype=np.uint64)).reshape(n, 4)
    v = np.where(u[:, 0] < 0.35, 0.0, 20e3 + 160e3 * u[:, 1])
    life = 160e3 * (-np.log(u[:, 2])) ** (1 / 2.3)
    end = v + 5e3 + 155e3 * u[:, 3]
    keep = np.flatnonzero(life > v)[:rows]
    return np.minimum(life, end)[keep], (life <= end)[keep], v[keep]


def numpy_newton(t, d, v, b=1.5):
    c = np.log(t).max()
    x, y = np.log(t) - c, np.log(v[v > 0]) - c
    D, sx = d.sum(), (np.log(t) - c)[d].sum()
    for _ in range(60):
        ex, ey = np.exp(b * x), np.exp(b * y)
        xe, ye = x * ex, y * ey
        s0, s1, s2 = ex.sum() - ey.sum(), xe.sum() - ye.sum(), (x * xe).sum() - (y * ye).sum()
        step = -(D / b + sx - D * s1 / s0) / (-D / b ** 2 - D * (s2 / s0 - (s1 / s0) ** 2))
        b += step if b + step > 0 else -b / 2
        if abs(step) < 1e-12 * b:
            break
    s0 = np.exp(b * x).sum() - np.exp(b * y).sum()
    return b, np.exp(c + np.log(s0 / D) / b)


def best(f, runs):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        out = f()
        times.append(time.perf_counter() - start)
    return min(times), out


for rows in [int(float(a)) for a in sys.argv[1:]] or [1000, 1_000_000]:
    t, d, v = columns(rows)
    s, (b, e) = best(lambda: numpy_newton(t, d, v), 9 if rows < 1e5 else 3)
    print(f"numpy newton  n={rows} {s * 1e3:.3f} ms  shape {b:.13g} scale {e:.13g}")
    s, w = best(lambda: WeibullFitter().fit(t, event_observed=d, entry=v), 3 if rows < 1e5 else 1)
    print(f"lifelines     n={rows} {s * 1e3:.3f} ms  shape {w.rho_:.13g} scale {w.lambda_:.13g}")

# The posterior of the twelve records of worked.json on a NumPy grid of 81 by 81, which is good to 2e-12.
recs = [("f", 0, 112e3, 0), ("f", 60e3, 141e3, 0), ("f", 95e3, 128e3, 0), ("f", 130e3, 187e3, 0), ("r", 0, 88e3, 0), ("r", 40e3, 163e3, 0),
        ("r", 110e3, 152e3, 0), ("r", 70e3, 205e3, 0), ("r", 0, 61e3, 0), ("r", 25e3, 99e3, 0), ("i", 0, 90e3, 120e3), ("i", 50e3, 50e3, 134e3)]


def grid(n):
    lb, le = np.log(2.5) + 0.25 * np.linspace(-7, 7, n), np.log(180e3) + 0.35 * np.linspace(-7, 7, n)
    B, E = np.meshgrid(lb, le, indexing="ij")
    b = np.exp(B)
    H = lambda t: np.exp(b * (np.log(t) - E)) if t > 0 else 0.0
    s = -0.5 * ((B - np.log(2.5)) / 0.25) ** 2 - 0.5 * ((E - np.log(180e3)) / 0.35) ** 2
    for kind, v, x, y in recs:
        s = s + H(v) - H(x)
        if kind == "f":
            s = s + B - b * E + (b - 1) * np.log(x)
        if kind == "i":
            s = s + np.log1p(-np.exp(-(H(y) - H(x))))
    w = np.exp(s - logsumexp(s[np.isfinite(s)]))
    w[~np.isfinite(w)] = 0
    return float((w * np.exp(-H(156e3))).sum() / (w * np.exp(-H(120e3))).sum())


for n in (41, 81):
    s, out = best(lambda: grid(n), 9)
    print(f"numpy grid {n}x{n} {s * 1e3:.3f} ms  survival {out:.12f}")
