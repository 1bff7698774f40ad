"""The face through the dial heights of two heads, by another algebra than the project's own. Makes warp.json beside it.

One bordered system [[C, T], [T', 0]] holds covariance C and planes T together; numpy solves it as it stands (the project
takes the triangle of C and the plane's own information). Needs numpy 2.4.6. Run: python warp.py
Heights are compared after the plane of least squares over the grid is taken off, so that it does not matter how they lie.
"""
import json
import pathlib

import numpy as np

HERE = pathlib.Path(__file__).parent
FROM, TO, COLUMNS, ROWS = (0.0, 0.0), (440.0, 150.0), 12, 5
QUADRATIC, CUBIC, FIELD, REACH, U = (0.04, 0.04, 0.015), 0.008, 0.005, 38.0, 0.002


def unit(p):
    return 2 * (p[:, 0] - FROM[0]) / (TO[0] - FROM[0]) - 1, 2 * (p[:, 1] - FROM[1]) / (TO[1] - FROM[1]) - 1


def covariance(p, q):
    def bent(p):
        u, v = unit(p)
        return np.c_[QUADRATIC[0] * u * u, QUADRATIC[1] * u * v, QUADRATIC[2] * v * v, CUBIC * u**3, CUBIC * u * u * v, CUBIC * u * v * v]

    d = ((p[:, None] - q[None]) ** 2).sum(2)
    return bent(p) @ bent(q).T + FIELD**2 * np.exp(-d / 2 / REACH**2)


def planes(p):
    return np.c_[np.ones(len(p)), *unit(p)]


if __name__ == "__main__":
    data = json.load(open(HERE / "heads.json"))
    along, across = np.linspace(FROM[0], TO[0], COLUMNS), np.linspace(FROM[1], TO[1], ROWS)
    grid = np.array([(x, y) for y in across for x in along])
    out = {"made_by": "warp.py", "numpy": np.__version__, "heads": {}}
    for name in ("twisted", "sunk_between_cylinders"):
        d = data["heads"][name]["dial"]
        # Every third point only, so that ground between them is uncertain.
        p, z = np.c_[d["x"], d["y"]][::3], np.array(d["z"])[::3]
        m = np.block([[covariance(p, p) + U**2 * np.eye(len(p)), planes(p)], [planes(p).T, np.zeros((3, 3))]])
        k = np.c_[covariance(grid, p), planes(grid)]
        mean = k @ np.linalg.solve(m, np.r_[z, np.zeros(3)])
        variance = np.diag(covariance(grid, grid)) - np.einsum("ij,ji->i", k, np.linalg.solve(m, k.T))
        t = planes(grid)
        level = mean - t @ np.linalg.lstsq(t, mean, rcond=None)[0]
        out["heads"][name] = dict(level=level.tolist(), sd=np.sqrt(variance).tolist())
    json.dump(out, open(HERE / "warp.json", "w"), indent=1)
