"""Which smallest zone belongs to which heights of heads.json: the same optimum in whole fractions, without any tolerance.

heads.json keeps the heights rounded to 0.00001 mm and the places to 0.001 mm, but its min_zone was taken before the rounding.
This makes the heights before the rounding once more, from the recipe that heads.json keeps (surface, seed, noise, tilt), and
works out both optima in whole fractions: the largest weighted sum of four heights whose weights undo every plane. It writes
heads_exact.json: per head the unrounded places and heights, and both optima, upright (along z) and square to the planes.

Needs numpy 2.4.6 (for the same chance); the optimum itself is plain Python. Run: python heads_exact.py
"""
import decimal
import itertools
import json
import pathlib
from fractions import Fraction

import numpy as np

HERE = pathlib.Path(__file__).parent
LENGTH, WIDTH, SEED = 440.0, 150.0, 20


def places():
    x, y = np.meshgrid(np.linspace(10, LENGTH - 10, 23), np.linspace(8, WIDTH - 8, 8), indexing="ij")
    return x.ravel(), y.ravel()


def height(k, x, y):
    u, v = 2 * x / LENGTH - 1, 2 * y / WIDTH - 1
    z = k.get("c", 0) + k.get("bow", 0) * u * u + k.get("crown_y", 0) * v * v + k.get("twist", 0) * u * v + k.get("u3", 0) * u**3
    for (cx, cy), depth, (sx, sy) in k.get("sinks", []):
        z = z - depth * np.exp(-(((x - cx) / sx) ** 2 + ((y - cy) / sy) ** 2) / 2)
    for a, lx, ly, p in k.get("waves", []):
        z = z + a * np.sin(2 * np.pi * x / lx + p) * np.cos(2 * np.pi * y / ly + p / 2)
    return z


def unrounded(number, surface):
    chance = np.random.default_rng(SEED + number)
    x, y = places()
    z = height(surface, x, y)
    return x, y, z + chance.normal(0, 0.002, len(z)) + chance.uniform(-0.5, 0.5) + 3e-4 * x - 2e-4 * y


def plane_of(four, points):
    """Plane and half width with the four points on it by turns of sign, exactly; None where the four say nothing."""
    p = [points[i] for i in four]

    def area(a, b, c):
        return (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])

    a, b, c, d = p
    weights = [area(b, c, d), -area(a, c, d), area(a, b, d), -area(a, b, c)]
    size = sum(abs(w) for w in weights)
    if size == 0:
        return None
    half = sum(w * q[2] for w, q in zip(weights, p)) / size
    signs = [(w > 0) - (w < 0) for w in weights]
    # z - sign * half on three of the four whose weights do not vanish together spans the plane.
    for three in itertools.combinations(range(4), 3):
        (x0, y0, z0), (x1, y1, z1), (x2, y2, z2) = [(p[i][0], p[i][1], p[i][2] - signs[i] * half) for i in three]
        det = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if det:
            slope_x = ((z1 - z0) * (y2 - y0) - (z2 - z0) * (y1 - y0)) / det
            slope_y = ((z2 - z0) * (x1 - x0) - (z1 - z0) * (x2 - x0)) / det
            return abs(half), slope_x, slope_y, z0 - slope_x * x0 - slope_y * y0
    return None


def smallest_zone(points):
    """Upright width and slopes, exact: one point after the other joins, the best four of five stay, until none stands out."""
    four = [0, len(points) // 3, 2 * len(points) // 3, len(points) - 1]
    while True:
        best = plane_of(four, points)
        assert best is not None
        half, sx, sy, c = best
        outs = [abs(z - sx * x - sy * y - c) for x, y, z in points]
        worst = max(range(len(points)), key=outs.__getitem__)
        if outs[worst] <= half:
            return 2 * half, sx, sy
        fives = itertools.combinations(four + [worst], 4)
        four = list(max((f for f in fives if plane_of(f, points)), key=lambda f: plane_of(f, points)[0]))


def optimum(x, y, z):
    points = [tuple(map(Fraction, p)) for p in zip(x, y, z)]
    upright, sx, sy = smallest_zone(points)
    decimal.getcontext().prec = 40
    tilt = 1 + sx * sx + sy * sy
    square = decimal.Decimal(upright.numerator) / upright.denominator / (decimal.Decimal(tilt.numerator) / tilt.denominator).sqrt()
    return float(upright), float(square)


if __name__ == "__main__":
    data = json.load(open(HERE / "heads.json"))
    out = {}
    for number, (name, head) in enumerate(data["heads"].items()):
        x, y, z = unrounded(number, head["surface"])
        dial = head["dial"]
        assert x.round(3).tolist() == dial["x"] and y.round(3).tolist() == dial["y"], name
        assert z.round(5).tolist() == dial["z"], f"{name}: another chance than the one of heads.json"
        # As texts, so that 0.07202 is 7202 over 100000 and not the nearest binary number.
        kept = optimum(*([repr(v) for v in dial[k]] for k in "xyz"))
        before = optimum(x.tolist(), y.tolist(), z.tolist())
        out[name] = dict(
            x=x.tolist(), y=y.tolist(), z=z.tolist(),
            unrounded=dict(upright_mm=before[0], square_mm=before[1]),
            rounded=dict(upright_mm=kept[0], square_mm=kept[1]),
        )
        print(f"{name:24} kept {dial['min_zone']:.10f}  unrounded {before[0]:.10f} (off {before[0] - dial['min_zone']:+.1e})"
              f"  rounded {kept[0]:.10f} (off {kept[0] - dial['min_zone']:+.1e})")
    json.dump({"made_by": "heads_exact.py", "numpy": np.__version__, "heads": out}, open(HERE / "heads_exact.json", "w"))
