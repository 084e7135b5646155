#!/usr/bin/python3
"""Peaks, prominences and widths against scipy.signal on the same arrays.

    check_scipy.py EXAMINE-TOOL

scipy.signal.find_peaks, peak_prominences and peak_widths are the reference (Debian python3-scipy). The
plain arrays go to the peak walk alone; the spectra go through the whole examination, and what it calls
a band must be a peak of the reference with the same prominence and width."""
import os
import sys

import numpy as np
from scipy.signal import find_peaks, peak_prominences, peak_widths

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, "..", "computing"), os.path.join(HERE, "..", "remarks")]

import records  # noqa: E402
from spectra import Spectrum  # noqa: E402


def arrays(rng):
    """(name, array, least prominence)"""
    yield "published vector", np.array([0, 1, .5, 2, 0, 3, 1, 1.5, 0]), 0.0
    yield "flat", np.ones(50), 0.0
    yield "rising", np.arange(50.0), 0.0
    for i in range(40):
        yield "noise %d" % i, rng.normal(0, 1, 3600), float(rng.choice([0, .5, 3, 7]))
    for i in range(40):
        yield "walk %d" % i, np.cumsum(rng.normal(0, 1, 3600)), float(rng.choice([0, 1, 5, 30]))
    for i in range(60):
        yield "plateaus %d" % i, rng.integers(0, 4, 400).astype(float), 0.0
    for i in range(40):
        y = np.repeat(rng.normal(0, 1, 500), rng.integers(1, 5, 500))
        yield "steps %d" % i, y, float(rng.choice([0, .5, 2]))
    for i in range(20):
        yield "short %d" % i, rng.integers(0, 3, rng.integers(1, 8)).astype(float), 0.0


def check_arrays(tool, rng):
    tried = wrong = 0
    for name, y, least in arrays(rng):
        x = np.arange(len(y), dtype=float)
        ours = records.run(tool, ["peaks", repr(least)], [records.pack(x, y)])[0]
        ours = sorted((int(i), p) for i, p in ours)
        peaks, found = find_peaks(y, prominence=least)
        theirs = list(zip(peaks.tolist(), found["prominences"].tolist()))
        tried += 1
        if ours != theirs:
            wrong += 1
            print("differs:", name, least, ours[:3], theirs[:3])
    print("arrays: %d compared, %d differ" % (tried, wrong))
    return wrong


def check_bands(tool, rng, count):
    """Bands of spectra that are not cut off flat, so that both see the same numbers."""
    compared = wrong = 0
    worst = [0.0, 0.0, 0.0]
    for _ in range(count):
        s = Spectrum(rng, "liquid film")
        s.strength, s.plates, s.floor = rng.uniform(.3, 1.2), "", 0.0
        t = np.maximum(s.transmittance(), .012)
        a = -np.log10(t)
        answer = records.run(tool, ["examine"], [records.pack(s.x, 100 * t)])[0]
        index = np.array([b["index"] for b in answer["bands"] if not b["saturated"]], int)
        prominence = peak_prominences(a, index)[0]
        width = peak_widths(a, index, rel_height=.5)[0] * (s.x[1] - s.x[0])
        for i, b in enumerate(b for b in answer["bands"] if not b["saturated"]):
            compared += 1
            off = (abs(b["prominence"] - prominence[i]), abs(b["width"] - width[i]),
                   abs(b["position"] - s.x[b["index"]]))
            worst = [max(p, q) for p, q in zip(worst, off)]
            limit = max(2 * (s.x[1] - s.x[0]), .25 * b["width"])
            if off[0] > 1e-8 * max(1, prominence[i]) or off[1] > 1e-6 or off[2] > limit:
                wrong += 1
                print("differs:", s.compound, b, prominence[i], width[i])
    print("bands: %d compared, %d differ; largest difference: prominence %.1e, width %.1e cm-1; "
          "position from the highest point %.2f cm-1" % ((compared, wrong) + tuple(worst)))
    return wrong if compared > 500 else 1


def main():
    tool = records.tool_path()
    rng = np.random.default_rng(11)
    wrong = check_arrays(tool, rng) + check_bands(tool, rng, 60)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
