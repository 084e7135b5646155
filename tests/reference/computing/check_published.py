#!/usr/bin/python3
"""Bands and remarks of published substances, and faults planted in them.

    check_published.py EXAMINE-TOOL

Layers are computed from the published absorption indices in ../data (each file names its source), put
between plates and read at 4 cm-1 by a made-up instrument. Expected maxima are those of the same tables,
read off as three-point parabolas; those of the liquids in LISTS are the maxima of Myers et al., Appl.
Spectrosc. 72 (2018) 535-550 (liquids, 26 C), with relative heights where published and made-up widths."""
import os
import sys

import numpy as np
from scipy.ndimage import gaussian_filter1d

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..", "remarks")]

import records  # noqa: E402
from spectra import dioxide, shape, vapour  # noqa: E402

X = np.arange(399.2, 4000.3, 1.9285)
MAXIMA = {  # maxima and how far off they may be, for the grid of the table
    "silicone": ([2963.7, 2905, 1412.6, 1262.5, 1095.2, 1025.2, 864.6, 802.5, 700.6], 2.5),
    "diethyl_phthalate": ([2981.7, 1728.4, 1599.8, 1450, 1369.6, 1286.0, 1126, 1071.7, 745.4], 5.0),
    "water": ([3392, 2132, 1644], 25.0),
}
LISTS = {  # (position, relative height, width)
    "ethanol": [(3338.6, 1.60, 250), (2974.3, 1.75, 24), (2927.5, .8, 24), (2883.6, .86, 24),
                (1455.6, .37, 26), (1380.4, .46, 18), (1330.3, .35, 22), (1274.4, .2, 24),
                (1090.4, 1.29, 22), (1050.3, 2.41, 20), (881.2, .74, 12)],
    "toluene": [(3086.5, .2, 12), (3062.3, .25, 12), (3027.0, .6, 13), (2920.0, .35, 16),
                (2872.3, .2, 16), (1942.2, .06, 18), (1857.7, .06, 18), (1604.6, .25, 8),
                (1495.6, .8, 7), (1460.1, .4, 12), (1379.1, .15, 8), (1178.6, .06, 9),
                (1081.4, .2, 9), (1030.1, .25, 8), (728.7, 2.4, 9), (694.5, 1.1, 8),
                (464.3, .6, 8)],
    "benzene": [(3090.8, .3, 12), (3071.4, .25, 12), (3036.0, .5, 12), (1959.9, .1, 20),
                (1815.1, .1, 20), (1479.0, .7, 6), (1035.8, .35, 6), (674.0, 2.4, 10)],
    "acetonitrile": [(3164, .1, 20), (3003, .2, 16), (2944, .25, 12), (2293.0, .15, 10),
                     (2253.5, .73, 10), (1443.8, .4, 24), (1375.7, .35, 10), (1039.3, .25, 14),
                     (918.0, .15, 10), (749, .15, 12)],
}


def film(rng, a, level=90.0, noise=.04, floor=0.0):
    t = gaussian_filter1d(10 ** -a, 4 / 2.355 / 1.9285)
    return np.round(level * (t + floor) / (1 + floor) + rng.normal(0, noise, len(X)), 3)


def examine(tool, y, **context):
    context.setdefault("preparation", "liquid film")
    return records.run(tool, ["examine"], [records.pack(X, y, **context)])[0]


class Check:
    def __init__(self):
        self.done = self.failed = 0

    def that(self, good, what):
        self.done += 1
        if not good:
            self.failed += 1
            print("FAILED:", what)


def positions(check, tool, rng):
    for name, (expected, within) in MAXIMA.items():
        answer = examine(tool, film(rng, records.film_absorbance(name, X, 5.0), 88.0))
        found = [b["position"] for b in answer["bands"]]
        for position in expected:
            near = min(found, key=lambda f: abs(f - position), default=0)
            check.that(abs(near - position) <= within, "%s: %.1f found at %.1f" % (name, position, near))
    for name, bands in LISTS.items():
        answer = examine(tool, film(rng, .55 * shape(X, bands)))
        found = [b["position"] for b in answer["bands"]]
        for position, _, width in bands:
            near = min(found, key=lambda f: abs(f - position), default=0)
            check.that(abs(near - position) <= (8 if width > 100 else 1.5),
                       "%s: %.1f found at %.1f" % (name, position, near))
        extra = [f for f in found if min(abs(f - b[0]) for b in bands) > 8]
        check.that(not extra, "%s: not in the list: %s" % (name, extra))


def ordinary(check, tool, rng):
    """Thin films raise no alarm."""
    for name in ("silicone", "diethyl_phthalate"):
        for micrometres in (2.0, 3.0, 5.0):
            answer = examine(tool, film(rng, records.film_absorbance(name, X, micrometres)))
            check.that(answer["verdict"] == "usable", "%s %g um: %s" % (name, micrometres, answer["remarks"]))


def has(answer, code, verdict=None):
    return any(r["code"] == code for r in answer["remarks"]) and \
        (verdict is None or answer["verdict"] == verdict)


def planted(check, tool, rng):
    for name, micrometres in (("silicone", 3.0), ("diethyl_phthalate", 5.0)):
        a = records.film_absorbance(name, X, micrometres)
        water = records.film_absorbance("water", X, 1.0)
        cases = [
            ("too-strong", "again", film(rng, 16 * a), {}),
            ("too-strong", "again", film(rng, 16 * a, floor=.035), {}),
            ("too-weak", "again", film(rng, .035 * a / a.max(), noise=.02), {}),
            ("too-weak", "note", film(rng, .085 * a / a.max(), noise=.02), {}),
            ("baseline", "again", film(rng, .5 * a, level=14), {}),
            ("noise", "note", film(rng, a, noise=1.6), {}),
            ("air", "note", film(rng, a + .25 * dioxide(X, 4.0)), {}),
            ("air", "note", film(rng, a + .07 * vapour(X, 4.0, rng)), {}),
            ("fringes", "note", film(rng, a) * (1 + .03 * np.cos(2 * np.pi * X / 70)), {}),
            ("over-100", "note", film(rng, a - shape(X, [(2100, .08, 20)])), {}),
            ("settings", "note", film(rng, a), {"resolution": 16.0, "lab_resolution": 4.0}),
        ]
        if name == "silicone":  # beside the ester's bands the hump is not a separate one
            cases.append(("wet", "note", film(rng, a + water), {}))
        for code, verdict, y, context in cases:
            answer = examine(tool, y, **context)
            check.that(has(answer, code, verdict), "%s: %s %s expected, got %s %s" % (
                name, code, verdict, answer["verdict"], [r["code"] for r in answer["remarks"]]))
    oil = shape(X, [(2958.6, 1.85, 24), (2924.8, 2.67, 24), (2873.6, .9, 18), (2855.8, 1.25, 18),
                    (1467.4, .42, 14), (1378.6, .22, 10), (722.2, .1, 8)])
    greased = film(rng, .3 * oil + records.film_absorbance("silicone", X, .6))
    check.that(has(examine(tool, greased), "grease"), "grease in an alkane")


def main():
    tool = records.tool_path()
    rng = np.random.default_rng(2)
    check = Check()
    positions(check, tool, rng)
    ordinary(check, tool, rng)
    planted(check, tool, rng)
    print("%d passed, %d failed" % (check.done - check.failed, check.failed))
    return 1 if check.failed or check.done < 90 else 0


if __name__ == "__main__":
    sys.exit(main())
