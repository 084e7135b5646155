"""A spectrometer in a teaching lab, and what goes wrong at it. Shares nothing with what it checks."""
import numpy as np
from scipy.ndimage import gaussian_filter1d

from compounds import CLASSES, LIQUIDS, POLYMERS, SOLIDS, Maker

OIL = [(2958, .7, 22), (2924, 1, 24), (2854, .55, 16), (1461, .3, 14), (1377, .14, 9), (722, .04, 8)]
VAPOUR = [(3904, .3), (3883, .2), (3868, .3), (3854, .8), (3839, .4), (3821, .5), (3807, .3),
          (3751, .6), (3745, .5), (3736, .8), (3712, .5), (3690, .5), (3676, .5), (3650, .6),
          (3630, .4), (3613, .2), (3588, .3), (3567, .4), (1942, .15), (1918, .3), (1907, .2),
          (1895, .25), (1890, .4), (1869, .6), (1867, .2), (1845, .65), (1830, .5), (1825, .25),
          (1792, .5), (1772, .7), (1750, .5), (1734, .7), (1718, .8), (1700, .9), (1685, .9),
          (1653, 1), (1647, .5), (1635, .6), (1576, .5), (1570, .5), (1559, 1), (1540, 1),
          (1522, .7), (1507, .9), (1490, .6), (1474, .7), (1457, .7), (1436, .4), (1419, .5),
          (1396, .3), (1375, .2), (1339, .2)]


def shape(x, bands, lorentz=.6):
    total = np.zeros_like(x)
    for position, height, width in bands:
        near = np.abs(x - position) < 40 * width
        u = (x[near] - position) / width
        total[near] += height * (lorentz / (1 + 4 * u * u) + (1 - lorentz) * np.exp(-2.7726 * u * u))
    return total


def vapour(x, resolution, rng):
    lines = [(p + rng.normal(0, .3), h * rng.uniform(.8, 1.2), max(resolution, 1.0) * 1.1)
             for p, h in VAPOUR]
    return shape(x, lines, .2)


def dioxide(x, resolution):
    p = shape(x, [(2361, 1, 22), (2341, .85, 26)], .2)
    return p + shape(x, [(667.5, .5, max(resolution, 2) * 1.2)], .2)


class Spectrum:
    """One spectrum in the making. `faults` names what was planted."""

    def __init__(self, rng, preparation=None, kind="sample"):
        self.rng = rng
        self.kind = kind
        self.faults = []
        choices = ["liquid film"] * 9 + ["cast film"] * 2 + ["mull"] * 4 + ["pellet"] * 2 + \
            ["ATR"] * 5 + [""] * 2
        self.preparation = preparation if preparation is not None else str(rng.choice(choices))
        names = {"cast film": POLYMERS, "mull": SOLIDS, "pellet": SOLIDS}.get(
            self.preparation, LIQUIDS if self.preparation == "liquid film" else sorted(CLASSES))
        self.compound = str(rng.choice(names))
        self.plates = {"liquid film": str(rng.choice(["NaCl", "NaCl", "KBr", ""])),
                       "cast film": str(rng.choice(["NaCl", "none"])),
                       "mull": str(rng.choice(["NaCl", "KBr"])), "pellet": "none",
                       "ATR": "diamond"}.get(self.preparation, "")
        self.stated = self.plates if rng.random() < .75 else ""  # people forget to say
        self.resolution = 4.0
        step = float(rng.choice([1.9285, 1.9285, 0.9643, 0.4821]))
        self.x = np.arange(399.2, 4000.3, step)
        self.bands = CLASSES[self.compound](Maker(rng))
        top = max(shape(self.x, self.bands))
        self.bands = [(p, h / top, w) for p, h, w in self.bands]
        self.strength = self.ordinary_strength()
        self.noise = rng.uniform(.01, .10)       # %T rms at 2000
        self.level = self.ordinary_level()
        self.slope = rng.uniform(0, .06)
        self.scatter = 0.0
        self.floor = rng.choice([0.0, rng.uniform(-.002, .004)])
        self.co2 = abs(rng.normal(0, .008)) * rng.choice([-1, 1])
        self.h2o = abs(rng.normal(0, .002)) * rng.choice([-1, 1])
        self.extra = np.zeros_like(self.x)
        self.ripple = np.ones_like(self.x)
        self.oil = 0.0
        self.scans, self.processed = 16, False
        self.after = []
        self.wrong = ""
        if self.preparation == "mull":
            self.oil = rng.uniform(.5, 1.6)
            self.scatter = rng.uniform(0, .6)
        if self.preparation == "pellet":
            self.scatter = rng.uniform(0, .5)
            wet = rng.uniform(0, .15)
            self.extra += shape(self.x, [(3435, wet, 330), (1632, .3 * wet, 60)], .3)

    def ordinary_strength(self):
        if self.preparation == "ATR":
            return self.rng.uniform(.06, .6)
        return float(np.clip(self.rng.lognormal(np.log(1.05), .45), .25, 3.2))

    def ordinary_level(self):
        return {"liquid film": self.rng.uniform(.80, .95), "cast film": self.rng.uniform(.82, .96),
                "mull": self.rng.uniform(.66, .92), "pellet": self.rng.uniform(.65, .9),
                "ATR": self.rng.uniform(.95, 1.01)}.get(self.preparation,
                                                        self.rng.uniform(.78, .96))

    def absorbance(self):
        a = self.strength * shape(self.x, self.bands)
        if self.preparation == "ATR":
            a = a * np.clip(1500 / self.x, .4, 2.5)
        a += self.oil * shape(self.x, OIL)
        return a + self.extra

    def transmittance(self):
        x, rng = self.x, self.rng
        base = self.level * (1 - self.slope * (x - 2000) / 2000)
        base = base * 10 ** (-self.scatter * ((x / 4000) ** 2 - .25).clip(0))
        cut = {"NaCl": 610, "KBr": 360, "CaF2": 1050}.get(self.plates, 0)
        t = base * 10 ** -self.absorbance() * self.ripple
        if cut:
            t = t / (1 + np.exp(-(x - cut) / 14))
        step = x[1] - x[0]
        t = gaussian_filter1d(t, self.resolution / 2.355 / step)
        t = t * 10 ** -(self.co2 * dioxide(x, self.resolution) +
                        self.h2o * vapour(x, self.resolution, rng))
        t = (t + self.floor) / (1 + self.floor)
        size = self.noise / 100 * (1 + 1.2 * ((x - 2000) / 2000) ** 2 + 2 * np.exp(-(x - 399) / 60))
        noise = rng.normal(0, 1, len(x))
        if step < 1.5:                            # filled-in points share their noise
            noise = gaussian_filter1d(noise, 1.3 / step)
            noise /= noise.std()
        t = t + size * noise
        for change in self.after:
            t = change(x, t)
        return t

    def record(self):
        """Ordinates in the unit and with the digits that an export has."""
        t = self.transmittance()
        if self.wrong == "absorbance as transmittance":
            return "transmittance", np.round(-np.log10(np.maximum(t, 1e-4)), 5)
        if self.wrong:
            return "absorbance", np.round(t if self.wrong.startswith("trans") else 100 * t, 5)
        if self.rng.random() < .25:
            return "absorbance", np.round(-np.log10(np.maximum(t, 1e-4)), 5)
        return "percent", np.round(100 * t, int(self.rng.choice([2, 3, 5])))
