"""Writes color/tables/*.csv from the CIE data files (JSON) that the crate spectral-io 0.4.0
carries; only tables of CIE standards are taken, values untouched.

    python3 tables.py <unpacked spectral-io>/data/spectral-io/cie ../../tables
"""
import hashlib
import json
import pathlib
import sys

source, target = map(pathlib.Path, sys.argv[1:3])


def spectra(path):
    data = json.loads((source / path).read_text())
    return data["spectra"] if data["file_type"] == "batch" else [data["spectrum"]]


def write(name, heading, columns):
    grid = columns[0]["wavelength_axis"]["range_nm"]
    start, step = int(grid["start"]), int(grid["interval"])
    values = [c["spectral_data"]["values"] for c in columns]
    # The 10 degree z function ends at 559 nm in the file; CIE gives zero beyond.
    length = max(map(len, values))
    values = [v + [0.0] * (length - len(v)) for v in values]
    lines = [heading] + [
        ",".join([str(start + step * i), *(repr(v[i]) for v in values)]) for i in range(length)
    ]
    (target / name).write_text("\n".join(lines) + "\n")


for degrees, path in (("2deg", "cie_cmf_1931_2deg"), ("10deg", "cie_cmf_1964_10deg")):
    write(f"observer_{degrees}_1nm.csv", "nm,x,y,z", spectra(f"sensitivity/{path}.json"))
for light, step in (("a", 1), ("c", 5), ("d50", 1), ("d55", 5), ("d65", 1), ("d75", 5)):
    rows = spectra(f"illuminants/cie_std_illum_{light}.json")
    write(f"illuminant_{light}_{step}nm.csv", "nm,power", rows)
for path, step, wanted in (
    ("cie_illum_fl_lamps_5nm", 5, {"FL2": "f2", "FL7": "f7", "FL11": "f11"}),
    ("cie_illum_led_lamps_1nm", 1, {f"LED-B{i}": f"led_b{i}" for i in range(1, 6)}),
):
    for row in spectra(f"illuminants/{path}.json"):
        if row["id"] in wanted:
            write(f"illuminant_{wanted[row['id']]}_{step}nm.csv", "nm,power", [row])

sums = [
    f"{hashlib.sha256(f.read_bytes()).hexdigest()}  {f.name}" for f in sorted(target.glob("*.csv"))
]
(target / "SHA256SUMS").write_text("\n".join(sums) + "\n")
