"""Writes tests/data/xyz_steps.csv: XYZ and L*a*b* of spectra at every whole step from 1 to 20 nm, by the weights of
colour-science (its own functions for ASTM E2022 and E308, its own observer tables and lamps).

Spectra: the 24 of its "ColorChecker N Ohta" set (Ohta 1997), which it carries at 5 nm; for the other steps invented
curves with an edge and bands, so that interpolation matters. Lights A, D65 and LED-B3 are the CIE tables at 1 nm of
../../tables, F11 is the library's 5 nm table, brought to 1 nm by its Sprague interpolator.

Made with Python 3.11.7, colour-science 0.4.7, numpy 2.4.6:
    python3 steps.py > ../data/xyz_steps.csv
"""
import csv
import pathlib

import colour
import numpy as np
from colour import SpectralDistribution, SpectralShape
from colour.colorimetry.tristimulus_values import (
    adjust_tristimulus_weighting_factors_ASTME308,
    tristimulus_weighting_factors_ASTME2022,
)

TABLES = pathlib.Path(__file__).parent.parent.parent / "tables"
WHOLE = SpectralShape(360, 780, 1)


def light(name):
    if name == "F11":
        lamp = colour.SDS_ILLUMINANTS["FL11"].copy()
        lamp.interpolator = colour.SpragueInterpolator
        # Extrapolation only fills up 360 to 379 nm: CIE gives nothing there.
        return lamp.interpolate(SpectralShape(380, 780, 1)).extrapolate(
            WHOLE, extrapolator_kwargs={"method": "Constant", "left": 0, "right": 0}
        )
    with open(TABLES / f"illuminant_{name.lower().replace('-', '_')}_1nm.csv") as file:
        rows = {int(r["nm"]): float(r["power"]) for r in csv.DictReader(file)}
    return SpectralDistribution({nm: rows.get(nm, 0.0) for nm in range(360, 781)})


OBSERVERS = {
    "2": colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().trim(WHOLE),
    "10": colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().trim(WHOLE),
}
LIGHTS = {name: light(name) for name in ("D65", "A", "F11", "LED-B3")}
VIEWS = [("D65", "10"), ("D65", "2"), ("A", "10"), ("F11", "10"), ("LED-B3", "2")]


def curves(nms):
    """Three invented ones: an edge, two narrow bands, a tilted wave."""
    return {
        "edge": 0.04 + 0.8 / (1 + np.exp(-(nms - 592.0) / 7.0)),
        "bands": 0.9 - 0.55 * np.exp(-(((nms - 541.0) / 11.0) ** 2)) - 0.4 * np.exp(-(((nms - 447.0) / 16.0) ** 2)),
        "wave": 0.35 + 0.0006 * (nms - 560.0) + 0.2 * np.sin(nms / 13.0),
    }


def xyz(values, start, step, view):
    lamp, observer = LIGHTS[view[0]], OBSERVERS[view[1]]
    last = 780 - (780 - 360) % step
    if step == 1:
        weights = lamp.values[:, None] * observer.values
        weights *= 100 / weights.sum(axis=0)[1]
    else:
        weights = tristimulus_weighting_factors_ASTME2022(observer, lamp, SpectralShape(360, last, step))
    end = start + step * (len(values) - 1)
    weights = adjust_tristimulus_weighting_factors_ASTME308(
        weights, SpectralShape(360, last, step), SpectralShape(start, end, step)
    )
    return np.array(values) @ weights


def white(view):
    product = LIGHTS[view[0]].values[:, None] * OBSERVERS[view[1]].values
    return product.sum(axis=0) * 100 / product.sum(axis=0)[1]


def lab(color, view):
    f = colour.colorimetry.intermediate_lightness_function_CIE1976(color / white(view), 1)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def row(name, start, step, values):
    cells = [name, start, step, " ".join(f"{v:.6g}" for v in values)]
    values = [float(f"{v:.6g}") for v in values]
    for view in VIEWS:
        color = xyz(values, start, step, view)
        cells += [f"{v:.12f}" for v in (*color, *lab(color, view))]
    print(*cells, sep=",")


if __name__ == "__main__":
    print("id,start_nm,step_nm,values," + ",".join(f"{l}_{o}_{c}" for l, o in VIEWS for c in "XYZLab"))
    for name, sd in colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"].items():
        assert sd.shape == SpectralShape(380, 780, 5)
        row(name, 380, 5, sd.values)
        row(f"{name} from 400 to 700", 400, 5, sd.copy().trim(SpectralShape(400, 700, 5)).values)
    for step in range(1, 21):
        whole = np.arange(360, 781, step)
        for name, values in curves(whole.astype(float)).items():
            row(name, 360, step, values)
        part = whole[(whole > 400 - step) & (whole < 700 + step)]
        for name, values in curves(part.astype(float)).items():
            row(f"{name} from 400 to 700", part[0], step, values)
