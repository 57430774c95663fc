"""Writes tests/data/inconstancy.csv: for the 38 spectra of xyz_reference.csv the corresponding color under D65 of what
is seen under another light, adapted by CAT16, and its CIEDE2000 from what is seen under D65. All by colour-science.

Made with Python 3.11.7, colour-science 0.4.7, numpy 2.4.6:
    python3 inconstancy.py > ../data/inconstancy.csv
"""
import csv
import pathlib

import colour
import numpy as np
from steps import lab, white, xyz

DATA = pathlib.Path(__file__).parent.parent / "data"
REFERENCE = ("D65", "10")

print("id,light,X,Y,Z,de2000")
with open(DATA / "xyz_reference.csv") as file:
    rows = list(csv.DictReader(file))
for row in rows:
    values = [float(row[f"R{nm}"]) for nm in range(400, 701, 10)]
    seen = lab(xyz(values, 400, 10, REFERENCE), REFERENCE)
    for light in ("A", "F11", "LED-B3"):
        view = (light, "10")
        adapted = 100 * colour.adaptation.chromatic_adaptation_VonKries(
            xyz(values, 400, 10, view) / 100, white(view) / 100, white(REFERENCE) / 100, "CAT16"
        )
        apart = colour.difference.delta_E_CIE2000(seen, lab(adapted, REFERENCE))
        print(row["id"], light, *(f"{v:.12f}" for v in (*adapted, apart)), sep=",")
