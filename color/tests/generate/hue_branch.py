"""Writes tests/data/de2000_hue_branch.csv: pairs whose hues lie more than 180 degrees apart,
with h1' + h2' >= 360 and below 360, and their CIEDE2000 by colour-science.

Made with Python 3.11.7, colour-science 0.4.7, numpy 2.4.6:
    python3 hue_branch.py > ../data/de2000_hue_branch.csv
"""
import numpy as np
import colour

rng = np.random.default_rng(20051)


def hue(lab1, lab2):
    c = (np.hypot(lab1[:, 1], lab1[:, 2]) + np.hypot(lab2[:, 1], lab2[:, 2])) / 2
    g = 0.5 * (1 - np.sqrt(c**7 / (c**7 + 25.0**7)))
    return [
        np.degrees(np.arctan2(x[:, 2], (1 + g) * x[:, 1])) % 360 for x in (lab1, lab2)
    ]


n = 40000
lab1, lab2 = (
    np.column_stack([rng.uniform(0, 100, n), rng.uniform(-90, 90, n), rng.uniform(-90, 90, n)])
    for _ in range(2)
)
# Half of them near neighbors across the red axis, where paint pairs fall.
near = rng.random(n) < 0.5
lab1[near, 1], lab2[near, 1] = rng.uniform(1, 60, near.sum()), rng.uniform(1, 60, near.sum())
lab1[near, 2], lab2[near, 2] = rng.uniform(-9, 3, near.sum()), rng.uniform(-3, 9, near.sum())
lab1, lab2 = np.round(lab1, 4), np.round(lab2, 4)
h1, h2 = hue(lab1, lab2)
far = np.abs(h1 - h2) > 180
print("branch,L1,a1,b1,L2,a2,b2,dE00")
for branch, rows in (
    ("sum_from_360", np.flatnonzero(far & (h1 + h2 >= 360))[:1500]),
    ("sum_below_360", np.flatnonzero(far & (h1 + h2 < 360))[:1000]),
    ("within_180", np.flatnonzero(~far)[:500]),
):
    de = colour.difference.delta_E_CIE2000(lab1[rows], lab2[rows])
    for i, d in zip(rows, de):
        print(branch, *(f"{v:.4f}" for v in (*lab1[i], *lab2[i])), f"{d:.13f}", sep=",")
