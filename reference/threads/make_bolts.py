"""A bolt turned past snug, by another road than the closed form: a chain of elements solved for every degree of turning.

The bolt is two rods in a row (waist, free thread) of a metal that is elastic up to yield and then hardly hardens (1e-7 of its
stiffness), the joint is a spring. For each turning angle the common force is found by root search so that the growth of the rods and
the squeeze of the joint add up to the advance of the thread from the load at snug on. Also: preload of a screw from torque by
rolling out one turn of the thread as an inclined plane and balancing forces numerically.

    pip install scipy==1.17.1 numpy==2.4.6
    python make_bolts.py           # writes bolts.json beside it
"""

import json
import math
from pathlib import Path

import numpy
import scipy
from scipy.optimize import brentq

assert scipy.__version__ == "1.17.1" and numpy.__version__ == "2.4.6"

HARDENING = 1e-7


def growth(force, length, area, modulus, yielding):
    stress = force / area
    elastic = min(stress, yielding) / modulus
    return length * (elastic + max(0.0, stress - yielding) / (modulus * HARDENING))


def section(d, p):
    return math.pi / 4 * (d - 0.938194 * p) ** 2  # ISO 898-1 in its one-line form


CASES = [
    # d, p, waist across, waist along, thread, E GPa, joint ratio, snug N, yield MPa, angles
    dict(d=10, p=1.5, waist=7.5, along=70, thread=32, e=205, ratio=3.0, snug=11900, y=940, angles=[0, 30, 60, 90, 99, 120, 180]),
    dict(d=12, p=1.25, waist=9.0, along=110, thread=25, e=207, ratio=4.5, snug=20000, y=1100, angles=[15, 45, 90, 150, 200]),
    dict(d=8, p=1.25, waist=8.0, along=40, thread=20, e=200, ratio=2.0, snug=6000, y=640, angles=[10, 30, 45, 60, 90]),
    dict(d=11, p=1.5, waist=8.2, along=95, thread=18, e=205, ratio=6.0, snug=15000, y=940, angles=[45, 90, 135, 180]),
]


def turn(case):
    thread_area = section(case["d"], case["p"])
    waist_area = math.pi / 4 * case["waist"] ** 2
    e = case["e"] * 1000.0
    kb = 1.0 / (case["along"] / (e * waist_area) + case["thread"] / (e * thread_area))
    kj = case["ratio"] * kb

    def bolt(force):
        return growth(force, case["along"], waist_area, e, case["y"]) + growth(force, case["thread"], thread_area, e, case["y"])

    rows = []
    for angle in case["angles"]:
        advance = angle / 360.0 * case["p"]

        def miss(force):
            return bolt(force) - bolt(case["snug"]) + (force - case["snug"]) / kj - advance

        force = brentq(miss, case["snug"] - 1e-6, 1e6, xtol=1e-9, rtol=1e-14)
        rows.append({"angle_deg": angle, "load_N": force, "stretch_mm": bolt(force) - bolt(case["snug"])})
    return {**{k: v for k, v in case.items() if k != "angles"}, "bolt_kN_per_mm": kb / 1000.0, "rows": rows}


def incline(d, p, mu_t, mu_n, rubbing, torque):
    """Preload by balancing a block on the rolled-out thread: normal and friction forces in the plane of pitch and turn."""
    d2 = d - 0.6495190528 * p

    def torque_of(force):
        slope = math.atan2(p, math.pi * d2)
        # Unknowns: normal force N on the flank, circumferential force H. The flank leans 30 degrees in the axial plane;
        # its share along the axis is N cos(flank) with the flank angle seen in the normal plane.
        flank = math.atan(math.tan(math.radians(30)) * math.cos(slope))
        a = numpy.array(
            [
                [math.cos(flank) * math.cos(slope) - mu_t * math.sin(slope), 0.0],
                [math.cos(flank) * math.sin(slope) + mu_t * math.cos(slope), -1.0],
            ]
        )
        _, h = numpy.linalg.solve(a, numpy.array([force, 0.0]))
        return h * d2 / 2 + mu_n * force * rubbing / 2

    return brentq(lambda f: torque_of(f) - torque, 1.0, 1e7, xtol=1e-6)


TORQUES = [
    dict(d=10, p=1.5, mu_t=0.12, mu_n=0.12, rubbing=13.5, torque=40000),
    dict(d=10, p=1.5, mu_t=0.10, mu_n=0.10, rubbing=13.5, torque=40000),
    dict(d=12, p=1.25, mu_t=0.14, mu_n=0.11, rubbing=15.5, torque=90000),
    dict(d=8, p=1.25, mu_t=0.08, mu_n=0.10, rubbing=10.6, torque=22000),
]

out = {
    "turned": [turn(case) for case in CASES],
    "torque": [{**case, "preload_N": incline(**case)} for case in TORQUES],
}
Path(__file__).with_name("bolts.json").write_text(json.dumps(out, indent=1) + "\n")
