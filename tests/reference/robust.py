"""Makes robust.csv: regressions with drift, robust locations, and Welch's test by statsmodels (0.15.0 when last run, on
SciPy 1.17.1 and NumPy 2.4.6), for the reversal test and the comparison to be held against.

    python3 -m venv venv && venv/bin/pip install statsmodels && venv/bin/python robust.py

Each case is a reversal test at one station that loses 0.1 mm, with a steady drift and, in some, misread dials. Its rows are
what a dial of 0.001 mm shows; `fit` rows are what statsmodels makes of them:
  ols     all readings, by least squares: lost motion, its standard error, drift per reading, its standard error
  tukey   the same by M-estimation with Tukey's biweight (scale by the median of absolute residuals)
  misread the readings that were misread, counted from 0
  out     those to which Tukey's biweight gives no weight
  welch   two-sided test of the differences `-` less `+` of a case against those of the next, variances unequal: the change of
          the mean, its standard error, degrees of freedom, and the ends of the 95 % interval
"""

from pathlib import Path

import numpy as np
import statsmodels.api as sm
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

here = Path(__file__).parent


def case(seed, cycles, noise, drift, misreads):
    random = np.random.default_rng(seed)
    approach = np.tile([1, -1], cycles)
    rows = np.arange(2 * cycles)
    shown = 0.2 - 0.1 * (approach > 0) + drift * rows + noise * random.standard_normal(2 * cycles)
    planted = np.sort(random.choice(2 * cycles, misreads, replace=False))
    for row in planted:
        # A digit off: the misreads that a person makes.
        shown[row] += random.choice([-1, 1]) * random.choice([0.1, 0.2, 0.5, 1.0])
    return approach, rows, np.round(shown, 3), planted


cases = {
    "clean": case(1, 10, 0.002, 0.0, 0),
    "drifting": case(2, 10, 0.002, 0.0005, 0),
    "noisy": case(3, 12, 0.006, -0.0003, 0),
    "misread": case(4, 10, 0.002, 0.0, 2),
    "both": case(5, 15, 0.003, 0.0004, 3),
    "many": case(6, 20, 0.002, -0.0002, 4),
}

with open(here / "robust.csv", "w") as out:

    def put(name, what, values):
        print(",".join([name, what, *(str(v) if what in ("out", "misread") else repr(float(v)) for v in values)]), file=out)

    for name, (approach, rows, shown, planted) in cases.items():
        put(name, "shown", shown)
        # Lost motion is minus the difference of `+` and `-`.
        design = np.column_stack([np.ones(len(rows)), -0.5 * approach, rows])
        fit = sm.OLS(shown, design).fit()
        put(name, "ols", [fit.params[1], fit.bse[1], fit.params[2], fit.bse[2]])
        robust = sm.RLM(shown, design, M=sm.robust.norms.TukeyBiweight()).fit(maxiter=500, tol=1e-12)
        put(name, "tukey", [robust.params[1], robust.bse[1], robust.params[2], robust.bse[2]])
        put(name, "misread", planted)
        put(name, "out", np.flatnonzero(robust.weights < 1e-6))
    names = list(cases)
    for one, other in zip(names, names[1:]):
        differences = [cases[n][2][1::2] - cases[n][2][0::2] for n in (other, one)]
        means = CompareMeans(*(DescrStatsW(d) for d in differences))
        low, high = means.tconfint_diff(usevar="unequal")
        put(one, "welch", [differences[0].mean() - differences[1].mean(), means.std_meandiff_separatevar,
                           means.dof_satt(), low, high])
