"""Exact sums for the chest-clinic network: the full joint of 2^8 rows in exact fractions.

    python chest_clinic.py

This is plain summing, not elimination. Tables: Lauritzen and Spiegelhalter 1988, J. R. Stat. Soc. B 50, as
stored in asia.bif. Prints the probability of "yes" of every variable, without evidence and given xray = yes.
"""
from fractions import Fraction as F
from itertools import product

NAMES = ["asia", "tub", "smoke", "lung", "bronc", "either", "xray", "dysp"]


def chance(yes, state):
    return F(yes) if state else 1 - F(yes)


def joint(asia, tub, smoke, lung, bronc, either, xray, dysp):
    return (
        chance("0.01", asia)
        * chance("0.05" if asia else "0.01", tub)
        * chance("0.5", smoke)
        * chance("0.1" if smoke else "0.01", lung)
        * chance("0.6" if smoke else "0.3", bronc)
        * (1 if either == (lung or tub) else 0)
        * chance("0.98" if either else "0.05", xray)
        * chance({(1, 1): "0.9", (1, 0): "0.8", (0, 1): "0.7", (0, 0): "0.1"}[bronc, either], dysp)
    )


ROWS = [(states, joint(*states)) for states in product((1, 0), repeat=8)]
for seen in (None, NAMES.index("xray")):
    total = sum(p for states, p in ROWS if seen is None or states[seen])
    print("given nothing" if seen is None else "given xray = yes", total, float(total))
    for place, name in enumerate(NAMES):
        yes = sum(p for states, p in ROWS if states[place] and (seen is None or states[seen]))
        print(f"  {name}: {yes / total} = {float(yes / total)!r}")
