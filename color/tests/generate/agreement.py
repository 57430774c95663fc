"""Writes tests/data/agreement.csv: how far two libraries lie apart in L*a*b*, at most over the 38 spectra of
xyz_reference.csv, in each cell of light, observer and step. Each uses its own observers and lights.

colour-science: its weights (ASTM E2022, E308); A by CIE's equation, its 5 nm tables of daylight brought to 1 nm by
straight lines, those of lamps by its Sprague interpolator.
luxpy: reflectance brought to 1 nm by Lagrange polynomials (cubic inside, quadratic in the first and last interval,
end values beyond), then its lights and its sums at 1 nm. It carries no table of D50 and makes one from the correlated
color temperature.

Made with Python 3.11.7, colour-science 0.4.7, luxpy 1.12.5, numpy 2.2.6:
    python3 agreement.py > ../data/agreement.csv
"""
import csv
import pathlib

import colour
import luxpy as lx
import numpy as np
from colour import SpectralShape
from colour.colorimetry.tristimulus_values import (
    adjust_tristimulus_weighting_factors_ASTME308,
    tristimulus_weighting_factors_ASTME2022,
)

DATA = pathlib.Path(__file__).parent.parent / "data"
WHOLE = SpectralShape(360, 780, 1)
VIEWS = [("D65", "10"), ("D65", "2"), ("A", "10"), ("F2", "10"), ("F11", "10"), ("D50", "2")]
with open(DATA / "xyz_reference.csv") as file:
    ROWS = list(csv.DictReader(file))


def spectra(step):
    return np.array([[float(row[f"R{nm}"]) for nm in range(400, 701, step)] for row in ROWS])


def colour_lab(light, observer, step):
    cmfs = {
        "2": "CIE 1931 2 Degree Standard Observer",
        "10": "CIE 1964 10 Degree Standard Observer",
    }[observer]
    cmfs = colour.MSDS_CMFS[cmfs].copy().trim(WHOLE)
    if light == "A":
        lamp = colour.sd_CIE_standard_illuminant_A(WHOLE)
    else:
        lamp = colour.SDS_ILLUMINANTS[light.replace("F", "FL")].copy()
        lamp.interpolator = colour.SpragueInterpolator if light.startswith("F") else colour.LinearInterpolator
        lamp = lamp.interpolate(SpectralShape(lamp.shape.start, lamp.shape.end, 1))
    outside = {"method": "Constant", "left": 0, "right": 0}
    lamp = lamp.extrapolate(WHOLE, extrapolator_kwargs=outside).trim(WHOLE)
    whole = SpectralShape(360, 780, step)
    weights = tristimulus_weighting_factors_ASTME2022(cmfs, lamp, whole)
    white = weights.sum(axis=0)
    weights = adjust_tristimulus_weighting_factors_ASTME308(weights, whole, SpectralShape(400, 700, step))
    f = colour.colorimetry.intermediate_lightness_function_CIE1976(spectra(step) @ weights / white, 1)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


def at_1_nm(values, step):
    """Lagrange's polynomials through the nearest nodes of 360 to 780 nm."""
    nodes = np.arange(360, 781, step)
    whole = np.column_stack([values[:, np.clip((nm - 400) // step, 0, values.shape[1] - 1)] for nm in nodes])
    fine = []
    for nm in range(360, 781):
        interval = min((nm - 360) // step, len(nodes) - 2)
        near = range(max(interval - 1, 0), min(interval + 2, len(nodes) - 1) + 1)
        shares = [np.prod([(nm - nodes[m]) / (nodes[n] - nodes[m]) for m in near if m != n]) for n in near]
        fine.append(whole[:, list(near)] @ np.array(shares))
    return np.array(fine).T


def luxpy_lab(light, observer, step):
    nms = np.arange(360, 781.0)
    power = lx.daylightphase(5000 * 1.4388 / 1.4380, wl3=nms) if light == "D50" else lx._CIE_ILLUMINANTS[light]
    lamp = np.zeros((2, len(nms)))
    lamp[0] = nms
    inside = (power[0] >= 360) & (power[0] <= 780)
    lamp[1, (power[0, inside] - 360).astype(int)] = power[1, inside]
    field = {"2": "1931_2", "10": "1964_10"}[observer]
    xyz, white = lx.spd_to_xyz(lamp, cieobs=field, rfl=np.vstack([nms, at_1_nm(spectra(step), step)]), out=2)
    return lx.xyz_to_lab(xyz, xyzw=white).reshape(-1, 3)


print("light,observer,step_nm,most_apart")
for light, observer in VIEWS:
    for step in (10, 20):
        apart = np.abs(colour_lab(light, observer, step) - luxpy_lab(light, observer, step)).max()
        print(light, observer, step, f"{apart:.2e}", sep=",")
