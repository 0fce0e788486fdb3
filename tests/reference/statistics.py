"""Makes the tables that the statistics are checked against, with SciPy (1.17.1 when last run).

    python3 -m venv venv && venv/bin/pip install scipy && venv/bin/python statistics.py

norris.dat is a copy of scipy/stats/tests/data/nist_linregress/Norris.dat from the SciPy wheel: the data set
Norris of the NIST Statistical Reference Datasets, with its certified values.
"""

from pathlib import Path

from scipy import stats

here = Path(__file__).parent
with open(here / "student_t.csv", "w") as out:
    print("dof,t,tail", file=out)
    for dof in [0.5, 1, 1.5, 2, 3, 4, 5.5, 7, 10, 16, 16.7, 30, 99.5, 1000, 5e4, 2e5, 1e7]:
        for t in [0, 0.001, 0.01, 0.3, 1, 1.96, 2.5, 4, 8, 20, 37]:
            print(f"{dof!r},{t!r},{float(stats.t.sf(t, dof))!r}", file=out)
