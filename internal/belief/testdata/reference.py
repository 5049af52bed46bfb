#!/usr/bin/python3
# Posterior chances by an independent way: SciPy's own negative binomial and
# Poisson laws (scipy.stats.nbinom, poisson: logpmf, logsf, logcdf) on a grid of
# 200,001 points of ln m, with scipy.integrate.simpson and cumulative_trapezoid.
# Run:  /usr/bin/python3 testdata/reference.py > testdata/reference.json
# (SciPy 1.10.1). The prior is m^(-1/2)/(1+m) on 1e-4..1e4.
import json, math
import numpy as np
from scipy import integrate, stats

LO, HI = math.log(1e-4), math.log(1e4)

def solve(c):
    def lp(u):
        m = np.exp(u) / c.get("scale", 1)
        if "k" in c:
            k = np.full_like(m, c["k"])
        else:
            va = c["a"] * m ** c["b"]
            k = np.where(va > m, m * m / np.where(va > m, va - m, 1), np.inf)
        pois = np.isinf(k) | (k > 1e9 * m)
        kk = np.where(pois, 1, k)
        prob = kk / (kk + m)
        def law(name, x):
            return np.where(pois, getattr(stats.poisson, name)(x, m), getattr(stats.nbinom, name)(x, kk, prob))
        s = np.zeros_like(m)
        for x in c.get("counts", []):
            s += law("logpmf", x)
        if "looked" in c:
            t, x, n = c["tally"], c["infested"], c["looked"]
            s += x * law("logsf", t) if x else 0
            s += (n - x) * law("logcdf", t) if n > x else 0
        d = np.exp(u)
        return s + 0.5 * u - np.log1p(d)  # the prior and the Jacobian of ln m
    u = np.linspace(LO, HI, 4001)
    v = lp(u)
    keep = u[v > v.max() - 45]
    u = np.linspace(max(LO, keep[0] - 0.01), min(HI, keep[-1] + 0.01), 200_001)
    v = lp(u)
    f = np.exp(v - v.max())
    total = integrate.simpson(f, x=u)
    cum = integrate.cumulative_trapezoid(f, u, initial=0) / total
    q = [[p, float(np.exp(np.interp(p, cum, u)))] for p in (0.025, 0.5, 0.975)]
    ex = [[q[1][1] * r, 1 - float(np.interp(math.log(q[1][1] * r), u, cum))] for r in (0.5, 1.0, 1.7)]
    return dict(c, mean=float(integrate.simpson(f * np.exp(u), x=u) / total), quantiles=q, exceeds=ex)

INF = 1e300
cases = [
    dict(counts=[0, 0, 1, 0, 7, 2, 0, 4], k=0.5),
    dict(counts=[0, 0, 1, 0, 7, 2, 0, 4], k=2.0),
    dict(counts=[0, 0, 1, 0, 7, 2, 0, 4], a=3.30, b=1.49),
    dict(counts=[3, 0, 4, 1, 2], k=math.inf),
    dict(counts=[0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], k=0.8),
    dict(counts=[0, 0, 0], k=math.inf),
    dict(counts=[0, 0, 0, 0, 0], a=5.812437, b=1.64),
    dict(counts=[5], k=0.5),
    dict(counts=[0], k=0.3),
    dict(counts=[17], a=2.586, b=1.511),
    dict(counts=[70, 12, 95, 3, 41, 8, 22, 55, 101, 6, 30, 14, 9, 2, 63, 28, 47, 5, 19, 77], a=3.30, b=1.49),
    dict(counts=[70, 12, 95, 3, 41, 8, 22, 55, 101, 6, 30, 14, 9, 2, 63, 28, 47, 5, 19, 77], k=0.8),
    dict(counts=[0, 1, 0, 0, 2, 0, 0, 0, 1, 0, 3, 0, 0, 0, 0, 1], a=1.265401, b=1.129167),
    dict(counts=[0, 1, 0, 0, 2, 0, 0, 0, 1, 0, 3, 0, 0, 0, 0, 1], a=0.6, b=1.8),
    dict(counts=[200, 310, 150, 420], k=5.0),
    dict(counts=[200, 310, 150, 420], a=1.2, b=2.0),
    dict(counts=[2, 2, 3, 1, 2, 2, 3, 2], a=1.0, b=1.0),
    dict(counts=[0, 0, 0, 0, 400], k=0.3),
    dict(counts=[6, 0, 9], k=1.0, scale=1 / 3),
    dict(counts=[6, 0, 9], a=3.3, b=1.49, scale=2.0),
    dict(infested=12, looked=50, tally=0, k=0.5),
    dict(infested=0, looked=30, tally=0, k=0.8),
    dict(infested=30, looked=30, tally=0, k=2.0),
    dict(infested=7, looked=40, tally=4, a=3.30, b=1.49),
    dict(infested=3, looked=20, tally=2, k=math.inf),
    dict(counts=[0, 2, 1, 5], infested=6, looked=20, tally=0, a=3.30, b=1.49),
    dict(counts=[0, 0, 3], infested=2, looked=10, tally=1, k=0.7, scale=0.5),
]
out = []
for c in cases:
    r = solve(c)
    if "k" in r and math.isinf(r["k"]):
        r["k"] = INF
    out.append(r)
print(json.dumps(out, indent=1))
