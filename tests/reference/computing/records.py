"""Hands spectra to examine_tool and reads what it says; reads the published tables."""
import json
import os
import struct
import subprocess
import sys

import numpy as np

FOLDER = os.path.dirname(os.path.abspath(__file__))
DATA = os.path.join(FOLDER, "..", "data")
UNITS = {"transmittance": 0, "percent": 1, "absorbance": 2}
KINDS = {"sample": 0, "repeat": 1, "blank": 2, "background": 3, "standard": 4, "film check": 5}
PREPARATIONS = {"": 0, "liquid film": 1, "cast film": 2, "mull": 3, "pellet": 4, "ATR": 5,
                "solution": 6, "gas": 7, "other": 8}
PLATES = {"": 0, "NaCl": 1, "KBr": 2, "CaF2": 3, "ZnSe": 4, "CsI": 5, "diamond": 6, "none": 7}


def tool_path():
    if len(sys.argv) < 2 or not os.access(sys.argv[1], os.X_OK):
        sys.exit("usage: %s PATH-OF-EXAMINE-TOOL" % sys.argv[0])
    return sys.argv[1]


def pack(x, y, unit="percent", kind="sample", preparation="", plates="", flags=0, scans=0,
         lab_scans=0, resolution=0.0, lab_resolution=0.0, lab_low=0.0, lab_high=0.0):
    head = struct.pack("<Iiiiiiiidddd", len(x), UNITS[unit], KINDS[kind],
                       PREPARATIONS[preparation], PLATES[plates], flags, scans, lab_scans,
                       resolution, lab_resolution, lab_low, lab_high)
    return head + np.asarray(x, "<f8").tobytes() + np.asarray(y, "<f8").tobytes()


def run_lines(tool, arguments, records, expected):
    """The decoded lines of JSON that the tool prints; ends the check if they are not `expected`."""
    done = subprocess.run([tool] + arguments, input=b"".join(records), stdout=subprocess.PIPE,
                          timeout=600, check=False)
    lines = done.stdout.decode().splitlines()
    if done.returncode != 0 or len(lines) != expected:
        sys.exit("examine_tool failed (%d): %d of %d lines" %
                 (done.returncode, len(lines), expected))
    return [json.loads(line) for line in lines]


def run(tool, arguments, records):
    """One decoded line a record."""
    return run_lines(tool, arguments, records, len(records))


def published(name):
    """Wavenumbers (rising) and absorption index k of a table in ../data."""
    nu, k = [], []
    with open(os.path.join(DATA, name + ".txt"), encoding="ascii") as file:
        for line in file:
            fields = line.split("#")[0].split()
            if not fields:
                continue
            numbers = [float(field) for field in fields]
            if name == "water":
                nu.append(1e4 / numbers[0])
                k.append(numbers[1])
            else:
                for i, value in enumerate(numbers[2:]):
                    nu.append(numbers[0] + i * numbers[1])
                    k.append(value)
    order = np.argsort(nu)
    return np.array(nu)[order], np.array(k)[order]


def film_absorbance(name, x, micrometres):
    """Decadic absorbance of a layer: A = 4 pi nu k d / ln 10."""
    from scipy.interpolate import PchipInterpolator
    nu, k = published(name)
    index = PchipInterpolator(nu, k, extrapolate=False)(x)
    index = np.where(np.isnan(index), 0.0, index)
    return 4 * np.pi * x * index * micrometres * 1e-4 / np.log(10)
