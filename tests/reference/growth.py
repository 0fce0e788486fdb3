"""Makes growth.csv and growth_intervals.csv: curves of growth, and the profile-t intervals of their amplitude, time constant and
growth left (D. M. Bates and D. G. Watts, Nonlinear Regression Analysis and Its Applications, 1988, chapter 6) by general
minimisers of SciPy (1.17.1 when last run), not by the way of the estimator they are held against.

    python3 -m venv venv && venv/bin/pip install scipy && venv/bin/python growth.py

Among the curves is Misra1a of the NIST Statistical Reference Datasets, data and certified values recalled from memory: that
curve_fit finds the certified values from them shows that they are recalled rightly.
"""

from pathlib import Path

import numpy as np
from scipy import optimize, stats

here = Path(__file__).parent

X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
(b, cov) = optimize.curve_fit(lambda x, b1, b2: b1 * -np.expm1(-b2 * x), X, Y, p0=[250, 5e-4], xtol=1e-14, ftol=1e-14)
for found, certified in zip([*b, *np.sqrt(np.diag(cov))], [238.94212918, 5.5015643181e-4, 2.7070075241, 7.2668688436e-6]):
    assert abs(found / certified - 1) < 1e-6, (found, certified)


def intervals(t, y):
    t, y = np.asarray(t) - t[0], np.asarray(y)
    span, n = t[-1], len(t)

    def cost(a, amplitude, tau):
        return np.sum((y - a - amplitude * -np.expm1(-t / tau)) ** 2)

    def constrained(fixed):
        # Least squares over start and log of tau, the amplitude set by the quantity that is fixed.
        def residuals(p):
            a, tau = p[0], np.exp(p[1])
            return y - a - fixed(tau, a) * -np.expm1(-t / tau)

        best = min(
            (optimize.least_squares(residuals, [y[0], np.log(guess)], xtol=1e-15, ftol=1e-15, gtol=1e-15)
             for guess in (tau0, 0.6 * tau0, 1.7 * tau0)),
            key=lambda r: r.cost,
        )
        return 2 * best.cost

    scale = y[-1] - y[0]
    p, _ = optimize.curve_fit(lambda t, a, amp, tau: a + amp * -np.expm1(-t / tau), t, y, p0=[y[0], 1.3 * scale, span / 2])
    a0, amp0, tau0 = p
    least = cost(*p)
    allowed = least * (1 + stats.t.ppf(0.975, n - 3) ** 2 / (n - 3))

    def of_tau(tau):
        g = np.column_stack([np.ones(n), -np.expm1(-t / tau)])
        return np.linalg.lstsq(g, y, rcond=None)[1][0]

    def ends(rss, value):
        def edge(way):
            step = 0.01 * abs(value)
            while rss(value + way * step) < allowed:
                step *= 1.3
            return optimize.brentq(lambda v: rss(v) - allowed, value, value + way * step, xtol=1e-13 * abs(value))

        return edge(-1), edge(1)

    yield "amplitude", *ends(lambda v: constrained(lambda tau, a: v), amp0)
    yield "time_constant", *ends(of_tau, tau0)
    left0 = amp0 * np.exp(-span / tau0)
    yield "left", *ends(lambda v: constrained(lambda tau, a: v * np.exp(span / tau)), left0)


def curve(seed, n, span, amplitude, tau, noise):
    random = np.random.default_rng(seed)
    t = np.linspace(0, span, n)
    return t.tolist(), (amplitude * -np.expm1(-t / tau) + noise * random.standard_normal(n)).tolist()


curves = {
    "misra1a": (X, Y),
    "usual": curve(1, 19, 5400, 0.04, 1800, 0.001),
    "few": curve(2, 9, 5400, -0.06, 1500, 0.001),
    "long": curve(3, 60, 9000, 0.03, 2000, 0.002),
}
with open(here / "growth.csv", "w") as rows, open(here / "growth_intervals.csv", "w") as out:
    print("curve,time,reading", file=rows)
    print("curve,quantity,low,high", file=out)
    for name, (t, y) in curves.items():
        for time, reading in zip(t, y):
            print(f"{name},{time!r},{reading!r}", file=rows)
        for quantity, low, high in intervals(t, y):
            print(f"{name},{quantity},{float(low)!r},{float(high)!r}", file=out)
