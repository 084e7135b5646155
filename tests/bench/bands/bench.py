#!/usr/bin/python3
"""The computing half against scipy.signal.find_peaks, in one run, processor time of one core.

    bench.py BENCH-BANDS [POINTS]

The reference is one call find_peaks(-y, prominence=1.0) a spectrum (%T), as in Debian's python3-scipy.
Prints times and ratios; judges nothing."""
import os
import statistics
import struct
import subprocess
import sys
import time

os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
import numpy as np  # noqa: E402
from scipy.signal import find_peaks, peak_widths  # noqa: E402

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, "..", "..", "reference", "computing"),
                os.path.join(HERE, "..", "..", "reference", "remarks")]
from spectra import Spectrum  # noqa: E402

SPECTRA = 64


def made(points):
    rng = np.random.default_rng(1)
    out = []
    for _ in range(SPECTRA):
        s = Spectrum(rng, "liquid film")
        s.x = np.linspace(400.0, 4000.0, points)
        s.extra, s.ripple = np.zeros(points), np.ones(points)
        out.append((s.x, np.round(100 * s.transmittance(), 4)))
    return out


def timed(work, spectra):
    rounds = []
    for _ in range(7):
        start, done = time.process_time(), 0
        while time.process_time() - start < .2:
            for y in spectra:
                work(y)
            done += len(spectra)
        rounds.append((time.process_time() - start) / done * 1e6)
    return min(rounds), statistics.median(rounds)


def bands(y):
    found, about = find_peaks(y, prominence=1.0)
    peak_widths(y, found, .5, (about["prominences"], about["left_bases"], about["right_bases"]))


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    points = int(sys.argv[2]) if len(sys.argv) > 2 else 3600
    spectra = made(points)
    dark = [-y for _, y in spectra]
    reference, median = timed(lambda y: find_peaks(y, prominence=1.0), dark)
    with_widths, _ = timed(bands, dark)
    data = struct.pack("<II", SPECTRA, points) + b"".join(
        x.tobytes() + y.tobytes() for x, y in spectra)
    done = subprocess.run([sys.argv[1]], input=data, stdout=subprocess.PIPE, check=True, timeout=300)
    ours = {name: float(value) for name, value in
            (line.split() for line in done.stdout.decode().splitlines())}
    print("%d points; find_peaks with prominence %.1f us (median %.1f), and widths %.1f us" %
          (points, reference, median, with_widths))
    for name, value in ours.items():
        print("%-22s %8.2f us   find_peaks takes %5.2f times as long" % (name, value, reference / value))


if __name__ == "__main__":
    main()
