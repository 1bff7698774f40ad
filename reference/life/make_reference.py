"""Reference values for lives and true travel, by general optimisers and adaptive quadrature -> reference.json

Python 3.11, NumPy 2.4.6, SciPy 1.17.1. None of it uses sums of powers, bins, Newton on a profile, Gauss-Hermite nodes or
the closed forms of the program: likelihoods are written out record by record, integrals are left to scipy.integrate.
"""
import json
import numpy as np
from scipy import integrate, optimize, stats, special

out = {}

# ---- 1. greatest likelihood with late entry, on records written here (ages in thousands, invented by a seeded draw)
rng = np.random.default_rng(20240611)
rows = []
while len(rows) < 160:
    v = 0.0 if rng.random() < 0.3 else round(float(rng.uniform(20, 180)), 3)
    t = round(float(150 * rng.weibull(2.1)), 3)
    if t <= v + 0.5:
        continue
    c = round(v + float(rng.uniform(5, 120)), 3)
    rows.append((min(t, c), t <= c, v))


def loglik(rows, a, b, truncated=True):
    beta, eta = np.exp(a), np.exp(b)
    law = stats.weibull_min(beta, scale=eta)
    s = 0.0
    for t, failed, v in rows:
        s += law.logpdf(t) if failed else law.logsf(t)
        if truncated and v > 0:
            s -= law.logsf(v)
    return float(s)


def fit(rows, truncated=True):
    f = lambda p: -loglik(rows, p[0], p[1], truncated)
    r = optimize.minimize(f, [0.5, 5.0], method="Nelder-Mead", options=dict(xatol=1e-11, fatol=1e-13, maxiter=6000))
    r = optimize.minimize(f, r.x, method="BFGS", options=dict(gtol=1e-9))
    return dict(beta=float(np.exp(r.x[0])), eta=float(np.exp(r.x[1])), loglik=float(-r.fun))


out["late_entry"] = dict(rows=[[t, bool(f), v] for t, f, v in rows], fit=fit(rows), entry_ignored=fit(rows, False))


# ---- 2. prior from two lives, posterior and survival by adaptive quadrature
tenth, half, half_factor, gap_factor = 70.0, 160.0, 1.5, 1.6
g = stats.norm.ppf(0.95)
beta0 = optimize.brentq(lambda b: stats.weibull_min.ppf(0.1, b) / stats.weibull_min.ppf(0.5, b) - tenth / half, 0.2, 20)
b0, sb, t0, st = np.log(beta0), np.log(gap_factor) / g, np.log(half), np.log(half_factor) / g
recs = [("failed", 96.0, None, 0.0), ("failed", 141.0, None, 60.0), ("good", 163.0, None, 40.0), ("between", 90.0, 120.0, 0.0),
        ("good", 205.0, None, 70.0), ("between", 50.0, 134.0, 50.0), ("failed", 187.0, None, 130.0)]


def log_joint(a, b):
    beta = np.exp(a)
    eta = np.exp(b) / np.log(2.0) ** (1 / beta)
    H = lambda t: (t / eta) ** beta
    s = stats.norm.logpdf(a, b0, sb) + stats.norm.logpdf(b, t0, st)
    for kind, x, y, v in recs:
        s += H(v)
        if kind == "failed":
            s += np.log(beta / eta) + (beta - 1) * np.log(x / eta) - H(x)
        elif kind == "good":
            s -= H(x)
        else:
            s += -H(x) + np.log(-np.expm1(-(H(y) - H(x))))
    return s


top = optimize.minimize(lambda p: -log_joint(*p), [b0, t0], method="Nelder-Mead", options=dict(xatol=1e-9, fatol=1e-11)).x
m0 = log_joint(*top)


def expect(f):
    g2 = lambda b, a: f(a, b) * np.exp(log_joint(a, b) - m0)
    return integrate.dblquad(g2, top[0] - 9 * sb, top[0] + 9 * sb, top[1] - 9 * st, top[1] + 9 * st, epsabs=1e-12, epsrel=1e-11)[0]


def reach(t):
    def f(a, b):
        beta = np.exp(a)
        return np.exp(-np.log(2.0) * np.exp(beta * (np.log(t) - b))) if t > 0 else 1.0
    return f


z = expect(lambda a, b: 1.0)
ea, eb = expect(lambda a, b: a) / z, expect(lambda a, b: b) / z
surv = {f"{a:g}+{h:g}": expect(reach(a + h)) / expect(reach(a)) for a, h in ((0, 60), (120, 36), (250, 36))}
out["posterior"] = dict(
    stated=dict(tenth=tenth, half=half, half_factor=half_factor, gap_factor=gap_factor),
    prior=dict(ln_shape=[float(b0), float(sb)], ln_life=[float(t0), float(st)]), records=recs,
    mean_ln_shape=ea, mean_ln_life=eb, ln_evidence=float(np.log(z) + m0), survival=surv)

# ---- 3. three modes under a shared gamma treatment, variance .5: by quadrature over the treatment, then over time
modes = [("kept", 2.5, 180.0, 120.0), ("renewed", 0.8, 400.0, 0.0), ("donor", 3.0, 150.0, 90.0)]
var, span = 0.5, 40.0
law = stats.gamma(1 / var, scale=var)
H = lambda m, t: (t / m[2]) ** m[1]
past = sum(H(m, m[3]) for m in modes if m[0] == "kept")
posterior = lambda z: law.pdf(z) * np.exp(-z * past)
norm = integrate.quad(posterior, 0, np.inf, epsabs=1e-13)[0]
over = lambda f: integrate.quad(lambda z: posterior(z) * f(z), 0, np.inf, epsabs=1e-13, epsrel=1e-12)[0] / norm
added = lambda m, x: H(m, m[3] + x) - H(m, m[3])
none = over(lambda z: np.exp(-z * sum(added(m, span) for m in modes)))


def first(m):
    # In u = x^(1/4), which takes the pole of a shape below one out of the density.
    def density(z, u):
        x = u ** 4
        h = m[1] / m[2] * ((m[3] + x) / m[2]) ** (m[1] - 1)
        return z * h * np.exp(-z * sum(added(o, x) for o in modes)) * 4 * u ** 3
    return over(lambda z: integrate.quad(lambda u: density(z, u), 0, span ** 0.25, epsabs=1e-13, epsrel=1e-12)[0])


out["frailty"] = dict(modes=modes, variance=var, span=span, none=none, first=[first(m) for m in modes],
                      alone=[over(lambda z, m=m: np.exp(-z * added(m, span))) for m in modes])

# ---- 4. true travel: the joint density of truth and claim, integrated; with and without earlier readings
def true_travel(claim, age, annual=12000.0, s=0.40, pt=0.05, ps=0.02, pu=0.005, lo=0.3, hi=0.9, k=1.609344, base_age=0.0, base=0.0):
    mu = lambda years: np.log(annual * years) - s * s / 2
    own = stats.lognorm(s, loc=base, scale=np.exp(mu(age - base_age)))
    whole = stats.lognorm(s, scale=np.exp(mu(age)))
    a, b = max(claim / hi, base), claim / lo
    back = lambda power: integrate.quad(lambda m: m ** power * own.pdf(m) / m / (hi - lo), a, b, epsabs=0, epsrel=1e-12, limit=400,
                                        points=[min(max(own.median(), a), b)])[0]
    w = dict(honest=(1 - pt - ps - pu) * own.pdf(claim), turned_back=pt * back(0), swapped=ps * whole.pdf(claim),
             smaller_unit=pu / 2 * own.pdf(claim / k) / k, larger_unit=pu / 2 * own.pdf(claim * k) * k)
    total = sum(w.values())
    w = {name: float(v / total) for name, v in w.items()}
    mean = (w["honest"] * claim + (w["turned_back"] * back(1) / back(0) if back(0) > 0 else 0) + w["swapped"] * own.mean()
            + w["smaller_unit"] * claim / k + w["larger_unit"] * claim * k)

    def at_most(x):
        cut = min(max(x, a), b)
        part = integrate.quad(lambda m: own.pdf(m) / m / (hi - lo), a, cut, epsabs=0, epsrel=1e-12, limit=400)[0] / back(0) if cut > a else 0.0
        return (w["honest"] * (claim <= x) + w["turned_back"] * part + w["swapped"] * own.cdf(x)
                + w["smaller_unit"] * (claim / k <= x) + w["larger_unit"] * (claim * k <= x))
    ninety = optimize.brentq(lambda x: at_most(x) - 0.9, claim * 0.5, claim * 6, xtol=1e-9 * claim)
    return dict(claim=claim, age=age, base_age=base_age, base=base, chances=w, mean=float(mean), beyond_1p1=float(1 - at_most(1.1 * claim)), ninety=float(ninety))


out["true_travel"] = [true_travel(118e3, 10), true_travel(58e3, 13), true_travel(24e3, 9), true_travel(140e3, 8),
                      true_travel(118e3, 10, base_age=9, base=110e3), true_travel(58e3, 13, base_age=10, base=91e3),
                      true_travel(62e3, 6, base_age=4, base=45e3)]

# ---- 5. a check of the closed pieces by draws: the four claims again, by rejection on 2e7 draws of truth and claim
draws = np.random.default_rng(5)
n = 20_000_000
age, annual, s = 9, 12000.0, 0.40
m = np.exp(np.log(annual * age) - s * s / 2 + s * draws.standard_normal(n))
u = draws.random(n)
c = np.where(u < 0.05, m * draws.uniform(0.3, 0.9, n), np.where(u < 0.07, np.exp(np.log(annual * age) - s * s / 2 + s * draws.standard_normal(n)),
    np.where(u < 0.0725, m * 1.609344, np.where(u < 0.075, m / 1.609344, m))))
near = np.abs(c / 24e3 - 1) < 0.02
out["draws"] = dict(claim=24e3, age=age, within=0.02, kept=int(near.sum()), turned_back=float((u[near] < 0.05).mean()), mean=float(m[near].mean()))

json.dump(out, open("reference.json", "w"), indent=1)
print(json.dumps({k: v for k, v in out.items() if k != "late_entry"}, indent=0))
print(out["late_entry"]["fit"], out["late_entry"]["entry_ignored"])
