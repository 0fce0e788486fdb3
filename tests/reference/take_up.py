"""Makes the table that the fit of the take-up curve is checked against, with SciPy (1.17.1 when last run).

    python3 -m venv venv && venv/bin/pip install scipy && venv/bin/python take_up.py

Three staircases up, down and up (30 steps each way) with noise and drift; the curve is fitted by
scipy.optimize.curve_fit with zero, rate and bend of the drift, dead band and wind-up free. take_up.csv has, for each
staircase, a line of the fit (dead band and wind-up with standard errors by the residuals) and one line per reading.
"""

from pathlib import Path

import numpy as np
from scipy.optimize import curve_fit

STEPS, STEP, CYCLES = 30, 0.01, 3


def commands():
    up = [STEP * n for n in range(1, STEPS + 1)]
    down = [STEP * n for n in range(STEPS - 1, -1, -1)]
    return np.array([0.0] + (up + down) * CYCLES + up)


def moved(travel, b, w):
    beyond = np.maximum(travel - b, 0.0)
    return beyond - w * -np.expm1(-beyond / w)


def path(u, b, w):
    """Every run goes from end to end, so each begins where the one before it ended."""
    places, top = [0.0], moved(STEP * STEPS, b, w)
    for here, before in zip(u[1:], u):
        places.append(moved(here, b, w) if here > before else top - moved(STEP * STEPS - here, b, w))
    return np.array(places)


def model(u, b, w, zero, rate, bend):
    time = np.linspace(-1.0, 1.0, len(u))
    return path(u, b, w) + zero + rate * time + bend * time * time


u = commands()
noise = np.random.default_rng(20)
with open(Path(__file__).parent / "take_up.csv", "w") as out:
    print("kind,a,b,c,d", file=out)
    for b, w in [(0.08, 0.03), (0.05, 0.02), (0.02, 0.06)]:
        y = model(u, b, w, 0.1, 0.01, 0.004) + noise.normal(0.0, 0.002, len(u))
        fit, covariance = curve_fit(model, u, y, p0=[b, w, 0.0, 0.0, 0.0], xtol=1e-12, ftol=1e-12)
        errors = np.sqrt(np.diag(covariance))
        total = np.sqrt(covariance[0, 0] + covariance[1, 1] + 2.0 * covariance[0, 1])
        print(f"fit,{fit[0]:.9f},{errors[0]:.9f},{fit[1]:.9f},{errors[1]:.9f}", file=out)
        print(f"both,{fit[0] + fit[1]:.9f},{total:.9f},,", file=out)
        for before, here, value in zip(np.concatenate([[1.0], u]), u, y):
            print(f"reading,{here:.4f},{'+' if here > before else '-'},{value:.6f},", file=out)
