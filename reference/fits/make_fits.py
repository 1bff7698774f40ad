"""Limits of tolerance classes from two general-purpose libraries, over a dense grid of sizes.

Libraries: pressfit 0.1.0 (PyPI, MIT), isofits 1.0 (PyPI, MIT). Both hold the tables of the standard as data, entered apart from
each other and from this project.

Grid: every 0.5 mm from 1 mm to 500 mm, and 0.001 mm to either side of every whole millimetre. Neighbouring sizes with the same
limits are written as one run [first size, last size, lower um, upper um], so the file stays small and the test walks the whole grid
again.

    pip install pressfit==0.1.0 isofits==1.0
    python make_fits.py            # writes fits.json beside it
"""

import json
from importlib.metadata import version
from pathlib import Path

import isofits
import pressfit
from data import hole_data, shaft_data  # the tables of isofits
from pressfit import tables

assert version("pressfit") == "0.1.0" and version("isofits") == "1.0"

GRID = sorted(
    {n / 2 for n in range(2, 1001)}
    | {round(n + e, 3) for n in range(1, 501) for e in (-0.001, 0.001) if 1 <= n + e <= 500}
)


def runs(limits):
    """Runs of equal limits along the grid; limits(size) gives (lower, upper) or None."""
    out, previous = [], None
    for size in GRID:
        pair = limits(size)
        if pair is None:
            continue
        if out and out[-1][2:] == list(pair) and out[-1][1] == previous:
            out[-1][1] = size
        else:
            out.append([size, size, *pair])
        previous = size
    return out


def whole(x):
    return int(x) if float(x).is_integer() else float(x)


def from_pressfit(letter, grade):
    def limits(size):
        it = tables.it_value(size, grade)
        if letter == "H":
            return (0, it)
        if letter == "js":
            return (whole(-it / 2), whole(it / 2))
        deviation = tables.shaft_deviation(size, letter, grade)
        return (deviation - it, deviation) if letter in "cdefgh" else (deviation, deviation + it)

    return limits


def from_isofits(body, name):
    def limits(size):
        if not 3 < size <= 400:
            return None
        upper, lower = isofits.isotol(body, size, name, "both")
        return (whole(lower), whole(upper))

    return limits


def main():
    out = {"grid": GRID, "pressfit 0.1.0": {}, "isofits 1.0": {}}
    for letter in ["H", *tables.SHAFT_LETTERS]:
        for grade in tables.GRADES:
            out["pressfit 0.1.0"][f"{letter}{grade}"] = runs(from_pressfit(letter, grade))
    for body, data in [("hole", hole_data), ("shaft", shaft_data)]:
        for name in list(data)[2:]:
            out["isofits 1.0"][name] = runs(from_isofits(body, name))
    # The whole-fit door of the first library agrees with its tables on every grid size of a few fits.
    for size in GRID[::37]:
        for name in ["H7/p6", "H7/g6", "H8/f7", "H7/s6"]:
            f = pressfit.fit(f"{size:g} {name}")
            hole, shaft = name.split("/")
            h = from_pressfit(hole[0], int(hole[1:]))(size)
            s = from_pressfit(shaft[0], int(shaft[1:]))(size)
            assert tuple(f.clearance_um) == (h[0] - s[1], h[1] - s[0]), (size, name)
    lines = ["{", f' "grid": "every 0.5 mm from 1 to 500, and 0.001 to either side of every whole millimetre; {len(GRID)} sizes",']
    for place, library in enumerate(["pressfit 0.1.0", "isofits 1.0"]):
        lines.append(f' "{library}": {{')
        rows = [f'  "{name}": {json.dumps(value, separators=(",", ":"))}' for name, value in out[library].items()]
        lines.append(",\n".join(rows))
        lines.append(" }" + ("," if place == 0 else ""))
    lines.append("}")
    Path(__file__).with_name("fits.json").write_text("\n".join(lines) + "\n")


main()
