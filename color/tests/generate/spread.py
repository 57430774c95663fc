"""Writes tests/data/spread.csv: sets of readings in L*a*b* and their statistics by scipy and colour-science.

Made with Python 3.11.7, scipy 1.16.3, numpy 2.4.6, colour-science 0.4.7:
    python3 spread.py > ../data/spread.csv

A row for each set: the readings (L a b; L a b; ...), the standard, then
mcdm76, mcdm00: mean difference from the mean of L*a*b*; t2, f, p: Hotelling's T2 of the mean against the standard;
f95: 95 % point of F(3, n-3); within: longest half axis of the 95 % region of the mean.
"""
import warnings

warnings.filterwarnings("ignore")
import colour
import numpy as np
from scipy import linalg, stats

rng = np.random.default_rng(2214)
print("readings,standard,mcdm76,mcdm00,t2,f,p,f95,within")
for n in [4, 4, 5, 5, 6, 7, 8, 10, 10, 12, 15, 20, 30, 60]:
    for _ in range(3):
        center = np.array([rng.uniform(15, 95), rng.uniform(-50, 60), rng.uniform(-45, 80)])
        a = rng.normal(size=(3, 3)) * rng.uniform(0.02, 0.4)
        x = np.round(center + rng.normal(size=(n, 3)) @ a.T, 4)
        mu = np.round(center + rng.normal(size=3) * rng.choice([0.0, 0.1, 1.0]), 4)
        m, s = x.mean(0), np.cov(x.T)
        t2 = float(n * (m - mu) @ linalg.solve(s, m - mu, assume_a="pos"))
        f = t2 * (n - 3) / (3 * (n - 1))
        f95 = stats.f.ppf(0.95, 3, n - 3)
        within = np.sqrt(linalg.eigvalsh(s)[-1] * 3 * (n - 1) / (n * (n - 3)) * f95)
        mean = np.broadcast_to(m, x.shape)
        row = [
            np.linalg.norm(x - m, axis=1).mean(),
            colour.difference.delta_E_CIE2000(mean, x).mean(),
            t2,
            f,
            stats.f.sf(f, 3, n - 3),
            f95,
            within,
        ]
        readings = "; ".join(" ".join(f"{v:.4f}" for v in r) for r in x)
        standard = " ".join(f"{v:.4f}" for v in mu)
        print(f"{readings},{standard}," + ",".join(f"{float(v):.15g}" for v in row))
