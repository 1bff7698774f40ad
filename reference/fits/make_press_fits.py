"""Press fits of two rings with heat, by solving the elastic boundary-value problem numerically.

Each ring obeys plane-stress elasticity with its own metal and its own even temperature:
    s_r = E/(1-v^2) (u' + v u/r - (1+v) a T),  s_t = E/(1-v^2) (u/r + v u' - (1+v) a T),  s_r' + (s_r - s_t)/r = 0
Free at the inside of the inner and the outside of the outer ring; at the joint the stresses are equal and the outer ring is moved
out against the inner one by half the interference. SciPy's collocation solver does the rest; no closed form is used.

Also: expansion, stiffness and cross contraction of pure metals from the element table of pymatgen-core.

    pip install scipy==1.17.1 numpy==2.4.6 && pip install --no-deps pymatgen-core==2026.10.16
    python make_press_fits.py      # writes press_fits.json beside it
"""

import gzip
import json
from importlib.metadata import files, version
from pathlib import Path

import numpy as np
import scipy
from scipy.integrate import solve_bvp

assert scipy.__version__ == "1.17.1" and np.__version__ == "2.4.6" and version("pymatgen-core") == "2026.10.16"

CASES = [
    # joint, outside, inside, interference mm; E MPa, v, a 1/K, T K above room for outer and inner
    dict(d=36, do=60, di=30, delta=0.130, outer=(71e3, 0.33, 21.5e-6, 0), inner=(120e3, 0.30, 12e-6, 0)),
    dict(d=36, do=60, di=30, delta=0.130, outer=(71e3, 0.33, 21.5e-6, 180), inner=(120e3, 0.30, 12e-6, 180)),
    dict(d=36, do=60, di=30, delta=0.130, outer=(71e3, 0.33, 21.5e-6, 160), inner=(120e3, 0.30, 12e-6, 240)),
    dict(d=42, do=75, di=35, delta=0.090, outer=(110e3, 0.26, 11e-6, 150), inner=(210e3, 0.30, 11e-6, 230)),
    dict(d=31.5, do=52, di=26, delta=0.075, outer=(71e3, 0.33, 21.5e-6, 90), inner=(115e3, 0.34, 17.5e-6, 150)),
    dict(d=55, do=110, di=20, delta=0.055, outer=(207e3, 0.292, 11.5e-6, 40), inner=(207e3, 0.292, 11.5e-6, 0)),
]


def solve(case):
    c, b, a = case["d"] / 2, case["do"] / 2, case["di"] / 2
    eo, vo, ao, to = case["outer"]
    ei, vi, ai, ti = case["inner"]

    def ring(r, u, s, e, v, x):
        du = s * (1 - v * v) / e - v * u / r + (1 + v) * x
        st = e / (1 - v * v) * (u / r + v * du - (1 + v) * x)
        return du, (st - s) / r, st

    def ode(x, y):
        ui, si, uo, so = y
        ri, ro = a + (c - a) * x, c + (b - c) * x
        dui, dsi, _ = ring(ri, ui, si, ei, vi, ai * ti)
        duo, dso, _ = ring(ro, uo, so, eo, vo, ao * to)
        return np.vstack([dui * (c - a), dsi * (c - a), duo * (b - c), dso * (b - c)])

    def ends(y0, y1):
        return np.array([y0[1], y1[3], y1[1] - y0[3], y0[2] - y1[0] - case["delta"] / 2])

    x = np.linspace(0, 1, 201)
    sol = solve_bvp(ode, ends, x, np.zeros((4, x.size)), tol=1e-10, max_nodes=100000)
    assert sol.success
    _, _, st_i = ring(c, sol.y[0, -1], sol.y[1, -1], ei, vi, ai * ti)
    _, _, st_o = ring(c, sol.y[2, 0], sol.y[3, 0], eo, vo, ao * to)
    return {"pressure": -sol.y[1, -1], "outer_hoop": float(st_o), "inner_hoop": float(st_i)}


def metals():
    path = next(f for f in files("pymatgen-core") if f.name == "periodic_table.json.gz")
    table = json.load(gzip.open(path.locate()))
    keys = {"expansion_per_K": "Coefficient of linear thermal expansion", "modulus_GPa": "Youngs modulus", "poisson": "Poissons ratio"}
    return {word: {k: table[e][v] for k, v in keys.items()} for word, e in [("aluminium", "Al"), ("iron", "Fe"), ("copper", "Cu")]}


out = {"metals": metals(), "press_fits": [{**case, **solve(case)} for case in CASES]}
Path(__file__).with_name("press_fits.json").write_text(json.dumps(out, indent=1, default=float) + "\n")
