"""The smallest zone by SciPy's linprog (HiGHS): values for the tests, and time beside ours on the same points.

Makes zones.json beside it, then runs `cargo bench` and prints both times and their ratio.
Needs numpy 2.4.6 and scipy 1.17.1. Run: python peer.py [--values]   (--values: no timing)
"""
import json
import os
import pathlib
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy.optimize import linprog

HERE = pathlib.Path(__file__).parent
ROOT = HERE.parent.parent


def zone(x, y, z, tolerance=None):
    """min h with |z - (a + b x + c y)| <= h / 2: the width along z."""
    xs, ys, zs = (x - x.mean()) / np.ptp(x), (y - y.mean()) / np.ptp(y), (z - z.mean()) / np.abs(z - z.mean()).max()
    plane = np.c_[np.ones(len(x)), xs, ys]
    half = np.full((len(x), 1), 0.5)
    a, b = np.vstack([np.c_[-plane, -half], np.c_[plane, -half]]), np.r_[-zs, zs]
    options = {} if tolerance is None else dict(primal_feasibility_tolerance=tolerance, dual_feasibility_tolerance=tolerance)
    r = linprog([0, 0, 0, 1], A_ub=a, b_ub=b, bounds=[(None, None)] * 3 + [(0, None)], method="highs", options=options)
    scale = np.abs(z - z.mean()).max()
    slope = np.hypot(r.x[1] / np.ptp(x), r.x[2] / np.ptp(y)) * scale
    return r.x[3] * scale / np.sqrt(1 + slope**2)


def large():
    k = np.arange(10_000)
    u, v = (k % 100) / 49.5 - 1, (k // 100) / 49.5 - 1
    chance = (k * 7919) % 1009 / 1009 * 0.004
    return 220 * (u + 1), 75 * (v + 1), 0.1 * u * u + 0.04 * u * v + 0.003 * np.sin(37 * u + 11 * v) + chance


def quickest(points, runs):
    times = []
    for _ in range(runs):
        t = time.perf_counter()
        zone(*points)
        times.append(time.perf_counter() - t)
    return min(times)


if __name__ == "__main__":
    data = json.load(open(HERE / "heads.json"))
    sets = {n: tuple(np.array(h["dial"][k]) for k in "xyz") for n, h in data["heads"].items()}
    values = {n: zone(*p, tolerance=1e-10) for n, p in sets.items()}
    values["large"] = zone(*large(), tolerance=1e-10)
    json.dump({"made_by": "peer.py", "scipy": scipy.__version__, "zone_mm": values}, open(HERE / "zones.json", "w"), indent=1)
    if "--values" in sys.argv:
        sys.exit()
    subprocess.run(["cargo", "bench", "-q", "-p", "mechanics", "--bench", "flatness", "--", "zone"], cwd=ROOT, check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "criterion"
    for label, bench, points, runs in [(f"184 points, {n}", f"zone-184-{n}", p, 60) for n, p in sets.items()] + [
        ("10000 points", "zone-10000", large(), 5)
    ]:
        ours = json.load(open(target / bench / "new" / "estimates.json"))["median"]["point_estimate"] * 1e-9
        theirs = quickest(points, runs)
        print(f"{label}: linprog {theirs * 1e3:.2f} ms (quickest of {runs}), ours {ours * 1e6:.1f} us (median), ratio {theirs / ours:.0f}")
