"""Chances that a timing drive of a short-lived family fails within 36 000 miles -> drive_life.json

Stated: one in ten by 50 000, half by 110 000, both factors 1.5. Plain Python: trapezium grids of 201 by 201, and for a doubted
mileage 4000 places of the true distance in logarithms. Nothing of the program's nodes or closed forms is used.
"""
import json, math
from statistics import NormalDist

G, N = NormalDist().inv_cdf(0.95), NormalDist()
TENTH, HALF, AHEAD = 50e3, 110e3, 36e3


def grid(n=201, reach=7.0):
    beta0 = math.log(math.log(2.0) / -math.log(0.9)) / math.log(HALF / TENTH)
    s = math.log(1.5) / G
    out = []
    for i in range(n):
        x = reach * (2 * i / (n - 1) - 1)
        beta = beta0 * math.exp(s * x)
        for j in range(n):
            y = reach * (2 * j / (n - 1) - 1)
            w = math.exp(-0.5 * (x * x + y * y))
            if w > 1e-14:
                out.append((w, beta, HALF * math.exp(s * y) / math.log(2.0) ** (1 / beta)))
    return out


GRID = grid()
reach = lambda t: sum(w * math.exp(-((t / e) ** b)) for w, b, e in GRID) if t > 0 else sum(w for w, _, _ in GRID)


def fails(ages):
    now = ahead = 0.0
    for m, p in ages:
        now += p * reach(m)
        ahead += p * reach(m + AHEAD)
    return 1 - ahead / now


def doubted(claim, years, back, swap, unit, yearly=12e3, spread=0.4, lo=0.3, hi=0.9, k=1.609344, places=160):
    mu = math.log(yearly * years) - spread * spread / 2
    dens = lambda m: math.exp(-0.5 * ((math.log(m) - mu) / spread) ** 2) / (m * spread * math.sqrt(2 * math.pi))
    out = [(claim, (1 - back - swap - unit) * dens(claim)), (claim / k, unit / 2 * dens(claim / k) / k), (claim * k, unit / 2 * dens(claim * k) * k)]

    def spreadout(a, b, weight):
        step = (math.log(b) - math.log(a)) / places
        for i in range(places + 1):
            m = a * math.exp(i * step)
            out.append((m, weight(m) * m * step * (0.5 if i in (0, places) else 1.0)))

    spreadout(claim / hi, claim / lo, lambda m: back * dens(m) / m / (hi - lo))
    spreadout(math.exp(mu - 8 * spread), math.exp(mu + 8 * spread), lambda m: swap * dens(claim) * dens(m))
    return out


out = dict(new=fails([(0.0, 1.0)]), kept_96000=fails([(96e3, 1.0)]),
           loose_60000_at_8_5=fails(doubted(60e3, 8.5, 0.2, 0.15, 0.005)),
           believed_60000=fails([(60e3, 1.0)]))
json.dump(out, open("drive_life.json", "w"), indent=1)
