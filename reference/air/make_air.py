"""Leak-down and cranking pressure by libraries and by another road.

Leak-down: mass flow of a nozzle from fluids 1.3.1 (critical pressure, stagnation pressure and temperature from the Mach number, flow
as density x area x speed), the Mach number by root search; the pressure between orifice and leak by a second root search.
Cranking: the compression integrated step by step from intake closing to the top, dp/p = -n dV/V, the volume by the coordinates of
crank pin and piston pin (a circle cut with a line), with SciPy; air pressure from the standard atmosphere of fluids.

    pip install fluids==1.3.1 scipy==1.17.1 numpy==2.4.6
    python make_air.py             # writes air.json beside it
"""

import json
import math
from pathlib import Path

import fluids
import numpy
import scipy
from fluids.atmosphere import ATMOSPHERE_1976
from fluids.compressible import P_critical_flow, P_stagnation, T_stagnation
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

assert fluids.__version__ == "1.3.1" and scipy.__version__ == "1.17.1" and numpy.__version__ == "2.4.6"
K, R = 1.4, 287.05


def nozzle(area, p0, p, t0):
    """kg/s through an ideal nozzle of this area in m2 from p0 to p (absolute Pa)."""
    p = max(p, P_critical_flow(p0, K))
    # Ratio of stagnation temperature by the stagnation pressure: find the static temperature.
    t = brentq(lambda t: P_stagnation(p, t, t0, K) - p0, 0.5 * t0, t0, xtol=1e-12, rtol=1e-15)
    mach = brentq(lambda m: T_stagnation(t, p, p0, K) - t * (1 + (K - 1) / 2 * m * m), 0.0, 1.5)
    return p / (R * t) * area * mach * math.sqrt(K * R * t)


def tester(orifice_mm, supply, hole_mm, atmosphere, celsius):
    t0 = celsius + 273.15
    a = math.pi / 4 * (orifice_mm / 1000) ** 2
    b = math.pi / 4 * (hole_mm / 1000) ** 2
    inside = brentq(
        lambda p: nozzle(a, supply + atmosphere, p, t0) - nozzle(b, p, atmosphere, t0),
        atmosphere * (1 + 1e-9), (supply + atmosphere) * (1 - 1e-12), xtol=1e-7, rtol=1e-14,
    )
    return {
        "percent": 100 * (1 - (inside - atmosphere) / supply),
        "kg_per_s": nozzle(b, inside, atmosphere, t0),
    }


LEAKS = [
    (orifice, supply, hole, atmosphere, celsius)
    for orifice in (0.6, 1.016, 1.524, 2.5)
    for supply in (100e3, 551580.58, 800e3)
    for hole in (0.15, 0.5, 0.81, 1.3, 2.2, 4.0)
    for atmosphere, celsius in ((101325.0, 20.0), (84500.0, 35.0))
]

ENGINES = [
    (9.98, 86.0, 134.0, 50.0), (9.98, 86.0, 134.0, 70.0), (11.5, 92.0, 150.0, 35.0), (8.2, 101.6, 155.0, 62.0), (17.5, 95.0, 148.0, 28.0),
]


def crank(ratio, stroke, rod, closing, exponent, height):
    r = stroke / 2
    air = ATMOSPHERE_1976(Z=height).P

    def pin(angle):  # height of the piston pin: the circle of the rod about the crank pin, cut with the bore line
        x, y = r * math.sin(angle), r * math.cos(angle)
        return y + math.sqrt(rod * rod - x * x)

    clearance = stroke / (ratio - 1)

    def volume(angle):
        return clearance + (r + rod) - pin(angle)

    def slope(angle, p):
        h = 1e-5
        dv = (volume(angle + h) - volume(angle - h)) / (2 * h)
        return [-exponent * p[0] / volume(angle) * dv]

    start, end = math.pi + math.radians(closing), 2 * math.pi
    sol = solve_ivp(slope, (start, end), [air], rtol=1e-11, atol=1e-6, method="DOP853")
    return {"air_Pa": air, "gauge_Pa": sol.y[0, -1] - air, "effective_ratio": volume(start) / clearance}


out = {
    "leaks": [
        {"orifice_mm": o, "supply_Pa": s, "hole_mm": h, "atmosphere_Pa": a, "celsius": c, **tester(o, s, h, a, c)}
        for o, s, h, a, c in LEAKS
    ],
    "cranking": [
        {"ratio": e[0], "stroke_mm": e[1], "rod_mm": e[2], "closing_deg": e[3], "exponent": n, "height_m": z, **crank(*e, n, z)}
        for e in ENGINES for n in (1.2, 1.25, 1.3) for z in (0, 400, 1500, 3000)
    ],
}
lines = ["{"]
for place, (key, rows) in enumerate(out.items()):
    lines.append(f' "{key}": [')
    lines.append(",\n".join("  " + json.dumps(row) for row in rows))
    lines.append(" ]" + ("," if place == 0 else ""))
Path(__file__).with_name("air.json").write_text("\n".join([*lines, "}"]) + "\n")
