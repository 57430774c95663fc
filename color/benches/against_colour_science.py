#!/usr/bin/env python3
"""The same 100,000 spectra to L*a*b* (D65, 10 degrees) by colour-science and by this project, in one run.

    python3 -m venv venv && venv/bin/pip install colour-science==0.4.7 numpy==2.4.6
    venv/bin/python color/benches/against_colour_science.py

Run it in the workspace's folder; it builds and runs `cargo bench -p secondcan-color --bench spectra` on a file that
it writes to a temporary folder. Against two calls of the library, both over the whole array at once:

- `msds_to_XYZ(method="Integration")`, its call for many spectra, a plain sum that misses what weights give;
- its ASTM E2022 weights times the array, which its user writes by hand: the same colors as ours.

Each is followed by its `XYZ_to_Lab`. Times are the least of 30 runs, since what else the machine does only adds to
them; our colors are compared with those of the second.
"""
import os
import pathlib
import platform
import subprocess
import tempfile
import time
import warnings

import numpy as np

warnings.filterwarnings("ignore")
import colour  # noqa: E402
from colour import SpectralShape  # noqa: E402
from colour.colorimetry.tristimulus_values import (  # noqa: E402
    adjust_tristimulus_weighting_factors_ASTME308,
    tristimulus_weighting_factors_ASTME2022,
)

SPECTRA, RUNS = 100_000, 30
GRID = SpectralShape(400, 700, 10)
TABLES = pathlib.Path(__file__).parent.parent / "tables"

random = np.random.default_rng(5)
nms = GRID.wavelengths
level, tilt, place, width, height = (
    random.uniform(*range_, (SPECTRA, 1))
    for range_ in ((0.05, 0.6), (-0.15, 0.15), (400, 700), (15, 90), (0.0, 0.3))
)
spectra = np.clip(
    level + tilt * (nms - 550) / 150 + height * np.exp(-(((nms - place) / width) ** 2)), 0.001, 1.0
)
spectra = np.ascontiguousarray(spectra)

cmfs = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().trim(SpectralShape(360, 780, 1))
d65 = np.loadtxt(TABLES / "illuminant_d65_1nm.csv", delimiter=",", skiprows=1)
d65 = colour.SpectralDistribution(d65[:, 1], d65[:, 0]).trim(SpectralShape(360, 780, 1))
whole = SpectralShape(360, 780, 10)
weights = tristimulus_weighting_factors_ASTME2022(cmfs, d65, whole)
white = weights.sum(axis=0)
weights = adjust_tristimulus_weighting_factors_ASTME308(weights, whole, GRID)
chromaticity = white[:2] / white.sum()


def its_call():
    xyz = colour.msds_to_XYZ(spectra, cmfs, d65, method="Integration", shape=GRID)
    return colour.XYZ_to_Lab(xyz / 100, chromaticity)


def its_weights():
    return colour.XYZ_to_Lab(spectra @ weights / 100, chromaticity)


def least(run):
    run()
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


with tempfile.TemporaryDirectory() as folder:
    folder = pathlib.Path(folder)
    (folder / "spectra").write_bytes(spectra.astype("<f8").tobytes())
    said = subprocess.run(
        ["cargo", "bench", "--quiet", "-p", "secondcan-color", "--bench", "spectra"],
        env={**os.environ, "SPECTRA_FILE": str(folder / "spectra"), "LABS_FILE": str(folder / "labs")},
        check=True,
        stdout=subprocess.PIPE,
        text=True,
    ).stdout
    ours = dict(line.split() for line in said.splitlines() if " " in line)
    labs = np.frombuffer((folder / "labs").read_bytes(), "<f8").reshape(-1, 3)

apart = np.abs(labs - its_weights()).max()
assert labs.shape == (SPECTRA, 3) and apart < 1e-9, apart
call, by_weights = least(its_call), least(its_weights)
read, batch, single = (float(ours[f"{k}_seconds"]) for k in ("read_once", "batch", "one_by_one"))
version = subprocess.run(["rustc", "--version"], check=True, stdout=subprocess.PIPE, text=True).stdout.strip()
print(f"colour-science {colour.__version__}, numpy {np.__version__}, Python {platform.python_version()}, {version}")
print(f"{SPECTRA} spectra of 31 values to L*a*b*, D65/10°; colors agree to {apart:.0e}")
print(f"colour-science, its call for many        {call * 1e3:8.2f} ms")
print(f"colour-science, weights by matrix        {by_weights * 1e3:8.2f} ms")
print(f"ours, many at once                       {batch * 1e3:8.2f} ms")
print(f"ours, one by one                         {single * 1e3:8.2f} ms")
print(f"reading the values once                  {read * 1e3:8.2f} ms")
print(f"its call / ours {call / batch:.1f}; weights by matrix / ours {by_weights / batch:.1f}; ours / reading {batch / read:.1f}")
