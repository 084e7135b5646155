#!/usr/bin/python3
"""Error rates of likeness on labelled pairs.

    rates.py EXAMINE-TOOL [--write FILE] [--bases N] [--seed N]

A base is one measurement of a made-up compound. Its own exports in other forms must be alike; the same
sample measured again on the same instrument, with nothing but new noise, must not be, and no more may
other samples. "Cannot tell" is an error for neither, but is counted: nothing is merged on it. Fails if any
unlike pair is called alike, or if more than 1 % of the exports that digits allow to be told are called
different or left open."""
import argparse
import os
import sys

import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, "..", "computing"), os.path.join(HERE, "..", "remarks")]

import records  # noqa: E402
from spectra import Spectrum  # noqa: E402

OPEN_MOST = 1.0


def absorbance(t):
    return -np.log10(np.maximum(t, 1e-4))


def digits(y, count):
    """Rounded to so many significant digits."""
    size = np.floor(np.log10(np.maximum(np.abs(y), 1e-12)))
    unit = 10.0 ** (size - count + 1)
    return np.round(y / unit) * unit


def integers(y, most):
    factor = np.max(np.abs(y)) / most
    return np.round(y / factor) * factor


def exports(x, t):
    """(name, must it be told, packed) for one measurement."""
    up = slice(None)
    down = slice(None, None, -1)
    a = absorbance(t)
    um = np.round(1e4 / x, 6)
    yield "%T, 2 decimals, downwards", True, records.pack(x[down], np.round(100 * t, 2)[down])
    yield "transmittance, 4 significant digits", True, records.pack(
        x, digits(t, 4), unit="transmittance")
    yield "absorbance, 4 decimals", True, records.pack(x[up], np.round(a, 4), unit="absorbance")
    yield "absorbance, 6 significant digits", True, records.pack(x, digits(a, 6), unit="absorbance")
    yield "16-bit integers and a factor", True, records.pack(x, integers(100 * t, 32767))
    yield "um, 6 decimals", True, records.pack(um, 100 * t, flags=8)
    yield "nm, 3 decimals, absorbance", True, records.pack(
        np.round(1e7 / x, 3), np.round(a, 5), unit="absorbance", flags=16)
    yield "cm-1, 1 decimal, range cut short", True, records.pack(
        np.round(x[200:-60], 1), np.round(100 * t[200:-60], 3))
    yield "%T, 1 decimal", False, records.pack(x, np.round(100 * t, 1))
    yield "absorbance, 3 decimals", False, records.pack(x, np.round(a, 3), unit="absorbance")
    even = np.arange(400.0, 4000.0, x[1] - x[0])
    yield "resampled to other points", False, records.pack(even, 100 * np.interp(even, x, t))


def others(s, rng):
    """(name, packed) of measurements that are not `s` again."""
    x = s.x
    yield "same sample again", records.pack(x, np.round(100 * s.transmittance(), 3))
    yield "same sample again, 2 decimals", records.pack(x, np.round(100 * s.transmittance(), 2))
    drift = 1 + rng.normal(0, .002)
    yield "same sample again, drifted", records.pack(x, np.round(100 * drift * s.transmittance(), 3))
    strength = s.strength
    s.strength *= rng.uniform(.9, 1.1)
    yield "same sample, other thickness", records.pack(x, np.round(100 * s.transmittance(), 3))
    s.strength = strength
    fresh = Spectrum(rng)
    fresh.x, fresh.extra, fresh.ripple = x, np.zeros_like(x), np.ones_like(x)
    yield "another sample", records.pack(x, np.round(100 * fresh.transmittance(), 3))


def quiet_pairs(s, rng):
    """A measurement and its repeat with next to no noise, exported with all digits."""
    s.noise = rng.uniform(.001, .005)
    first = records.pack(s.x, 100 * s.transmittance())
    yield "same sample again, next to no noise", first, records.pack(s.x, 100 * s.transmittance())
    s.strength *= rng.uniform(.97, 1.03)
    yield "the same, other thickness", first, records.pack(s.x, 100 * s.transmittance())
    s.noise = 1e-5
    bare = records.pack(s.x, 100 * s.transmittance())
    s.strength *= rng.uniform(.97, 1.03)
    yield "no noise at all, other thickness", bare, records.pack(s.x, 100 * s.transmittance())


def pairs(rng, bases):
    """(name, alike, must be told, first, second)"""
    for i in range(bases):
        s = Spectrum(rng)
        s.noise = rng.uniform(.01, .15)
        t = s.transmittance()
        base = records.pack(s.x, 100 * t)
        for name, told, packed in exports(s.x, t):
            yield name, True, told, base, packed
        for name, packed in others(s, rng):
            yield name, False, True, base, packed
        for name, first, second in quiet_pairs(s, rng):
            yield name, False, True, first, second


def judge(tool, batch, rows):
    flat = [part for pair in batch for part in pair[3:]]
    done = records.run_lines(tool, ["likeness"], flat, len(batch))
    for (name, alike, told, _, _), answer in zip(batch, done):
        row = rows.setdefault((name, alike, told), [0, 0, 0])
        row[answer] += 1


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("tool")
    parser.add_argument("--write")
    parser.add_argument("--bases", type=int, default=600)
    parser.add_argument("--seed", type=int, default=3)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    rows, batch = {}, []
    for pair in pairs(rng, options.bases):
        batch.append(pair)
        if len(batch) == 500:
            judge(options.tool, batch, rows)
            batch = []
    if batch:
        judge(options.tool, batch, rows)
    lines = ["| pair | is | number | called alike | different | cannot tell |", "|---|---|---|---|---|---|"]
    merged = opened = tellable = total = 0
    for (name, alike, told), (different, same, unsure) in rows.items():
        number = different + same + unsure
        total += number
        lines.append("| %s | %s | %d | %.2f %% | %.2f %% | %.2f %% |" % (
            name, "the same" if alike else "another", number, 100 * same / number,
            100 * different / number, 100 * unsure / number))
        if not alike:
            merged += same
        elif told:
            tellable += number
            opened += different + unsure
    text = "\n".join(lines)
    print(text)
    print("pairs: %d; others called alike: %d; exports not recognised: %.2f %%" %
          (total, merged, 100 * opened / tellable))
    if options.write:
        with open(options.write, "w", encoding="utf-8") as file:
            file.write(text + "\n")
    return 1 if merged or 100 * opened / tellable > OPEN_MOST else 0


if __name__ == "__main__":
    sys.exit(main())
