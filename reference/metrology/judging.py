"""Reference values for doubt, axes, bores and journals.  Python 3.11, NumPy 2.4.6, SciPy 1.17.1.

python3 judging.py > judging.json

None of these roads is the one the project takes: minimax by SLSQP from many starts, chances by quadrature over the
offset of the centre, thin rings and strips by summing small pieces.
"""
import json
import sys
import numpy as np
import scipy
from scipy import integrate, optimize, stats

out = {"made_with": {"python": sys.version.split()[0], "numpy": np.__version__, "scipy": scipy.__version__}}

# Straightness of an axis: smallest cylinder about a line, by SLSQP from 40 starts, smallest kept.
def axis(points):
    p = np.array(points, float)
    z = (p[:, 2] - p[:, 2].mean()) / np.ptp(p[:, 2])
    scale = max(np.ptp(p[:, 0]), np.ptp(p[:, 1]))
    q = (p[:, :2] - p[:, :2].mean(0)) / scale
    rng = np.random.default_rng(1)
    best = np.inf
    for _ in range(40):
        x0 = np.append(rng.normal(0, 0.3, 4), 2.0)
        con = {"type": "ineq", "fun": lambda x: x[4] ** 2 - ((q[:, 0] - x[0] - x[2] * z) ** 2 + (q[:, 1] - x[1] - x[3] * z) ** 2)}
        r = optimize.minimize(lambda x: x[4], x0, method="SLSQP", constraints=[con], options={"ftol": 1e-15, "maxiter": 1000})
        x = r.x
        best = min(best, np.hypot(q[:, 0] - x[0] - x[2] * z, q[:, 1] - x[1] - x[3] * z).max())
    return 2 * best * scale

rng = np.random.default_rng(11)
sets = [[[0, 0, 0], [0.012, 0.004, 110], [0.020, 0.010, 220], [0.014, 0.006, 330], [0, 0, 440]]]
for n in (5, 7, 9):
    sets.append([[round(float(rng.normal(0, 0.01)), 4), round(float(rng.normal(0, 0.01)), 4), 95.0 * k] for k in range(n)])
out["axis_straightness"] = [{"centres": s, "diameter": axis(s)} for s in sets]

# Chance that a bore cleans up: quadrature over the offset of the centre (two normal axes), reading normal about its truth.
def cleans(room, u, offset):
    f = lambda e: e / offset**2 * np.exp(-e * e / (2 * offset**2)) * stats.norm.cdf((room - 2 * e) / u)
    return integrate.quad(f, 0, 12 * offset, limit=400, epsabs=1e-13)[0]

std, hone, clean, u, offset = 86.0, 0.05, 0.01, float(np.hypot(0.0025, 0.002)), 0.015
worst = {"1": 86.061, "2": 86.052, "3": 86.058, "4": 86.094}
rows = []
for score in (0.0, 0.04):
    for size in (0.25, 0.50, 0.75, 1.00):
        each = {c: cleans(std + size - hone - clean - d - 2 * (score if c == "4" else 0), u, offset) for c, d in worst.items()}
        rows.append({"score": score, "oversize": size, "each": each, "all": float(np.prod(list(each.values())))})
out["clean_up"] = {"u": u, "offset": offset, "hone": hone, "clean": clean, "standard": std, "worst": worst, "rows": rows}

# Crank undersize: a journal drawn as an eccentric circle inside the worn outline, the largest that fits by search.
def largest_inside(outline, centre_free):
    angles = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    r = outline(angles)
    x, y = r * np.cos(angles), r * np.sin(angles)
    if not centre_free:
        return 2 * r.min()
    g = lambda c: -np.hypot(x - c[0], y - c[1]).min()
    best = optimize.minimize(g, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 20000})
    return -2 * best.fun

# Standard 57.112 mm, worn flat on one side by 0.094 mm of diameter (all on one side: the flat is 0.094 deep).
flat = lambda a: np.minimum(28.556, (28.556 - 0.094) / np.maximum(np.cos(a), 1e-9) * (np.cos(a) > 0) + 28.556 * (np.cos(a) <= 0))
out["crank"] = {"standard": 57.112, "worn_one_side": 0.094, "on_original_centre": largest_inside(flat, False), "on_worn_centre": largest_inside(flat, True)}

# Ring gap: the ring's middle line laid round two bores by summing chords; the change of the gap is the change of length.
def around(diameter, n=200000):
    a = np.linspace(0, 2 * np.pi, n + 1)
    return np.hypot(np.diff(np.cos(a)), np.diff(np.sin(a))).sum() * diameter / 2
out["ring_gap"] = {"bore": 88.0, "wider": 0.0254, "gap_change": float(around(88.0254) - around(88.0))}

# Bearing crush: pressure p on a half shell, summed over small pieces, is held by the two parting faces (force = stress x wall).
def back_pressure(stress, wall, radius, n=200000):
    a = (np.arange(n) + 0.5) * np.pi / n
    lift_per_p = (np.sin(a) * radius * np.pi / n).sum()
    return 2 * stress * wall / lift_per_p
housing, excess, wall, modulus = 57.15, 0.1524, 1.5621, 207e3
stress = modulus * excess / around(housing)
out["crush"] = {"housing": housing, "excess": excess, "wall": wall, "hoop": float(stress), "pressure": float(back_pressure(stress, wall, housing / 2)), "squeeze": float(excess / np.pi)}

# Plastic strip: the round section summed in slices; pressed flat it is a rectangle of the same area.
def strip(d, w, n=200000):
    y = (np.arange(n) + 0.5) / n * d - d / 2
    return float((2 * np.sqrt(d * d / 4 - y * y)).sum() * d / n / w)
out["strip"] = [{"strip": d, "width": w, "clearance": strip(d, w)} for d, w in ((0.26, 1.06), (0.36, 0.9), (0.13, 0.4))]
json.dump(out, sys.stdout, indent=1)
print()
