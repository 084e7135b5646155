"""Faults, planted one at a time, each well past where practice begins to mind it. A fault is a function
that alters a spectrum; `FAULTS` says which preparations it suits, which remark must come, and how
heavy it must be at least."""
import numpy as np

from scipy.ndimage import gaussian_filter1d

from spectra import shape


def flat_width(s):
    """Bands and width (cm-1) that read below 0.9 %T above the floor, plates' cut-off left out."""
    t = s.level * 10 ** -s.absorbance()
    t = gaussian_filter1d(t, s.resolution / 2.355 / (s.x[1] - s.x[0]))
    low = {"NaCl": 700, "KBr": 450}.get(s.plates, 450)
    inside = (t < .009) & (s.x > low)
    if s.preparation == "mull":
        inside &= ~((np.abs(s.x - 2905) < 90) | (np.abs(s.x - 1460) < 25) | (np.abs(s.x - 1377) < 15))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], inside.astype(int), [0]))))
    step = s.x[1] - s.x[0]
    widths = (edges[1::2] - edges[::2]) * step
    widths = widths[widths > 8]
    return len(widths), widths.sum()


def grow(s, enough):
    s.noise = min(s.noise, .06)
    for _ in range(80):
        if enough(*flat_width(s)):
            return True
        s.strength *= 1.08
    return False


def much_too_strong(s):
    return grow(s, lambda bands, width: bands >= 6 or width >= 180)


def too_strong(s):
    return grow(s, lambda bands, width: bands >= 4 or width >= 75)


def on_fogged_plates(s):
    s.floor = s.rng.uniform(.02, .045)
    return much_too_strong(s)


def weak(s, low, high):
    s.oil = min(s.oil, .6)
    s.strength = -np.log10(1 - s.rng.uniform(low, high))
    s.noise = min(s.noise, .04)
    s.extra *= 0
    s.co2 *= .3
    s.h2o *= .3
    return True


def too_weak(s):
    return weak(s, .13, .20)


def much_too_weak(s):
    # The sharp bands of a sample lose height to the resolution, so not quite up to 10 %.
    return weak(s, .078, .088)


def weak_at_the_crystal(s):
    s.strength = s.rng.uniform(.012, .015)
    s.bands = [b for b in s.bands if b[0] > 1400] or [(1700, 1, 20)]
    top = max(shape(s.x, s.bands) * np.clip(1500 / s.x, .4, 2.5))
    s.bands = [(p, h / top, w) for p, h, w in s.bands]
    s.noise = .02
    return True


def empty_beam(s):
    s.strength, s.oil, s.scatter, s.slope = 0, 0, 0, 0
    s.extra *= 0
    s.plates, s.level = "", s.rng.uniform(.965, 1.03)
    return True


def clean_plates(s):
    empty_beam(s)
    s.plates, s.level = "NaCl", s.rng.uniform(.82, .93)
    return True


def blocked(s):
    empty_beam(s)
    s.level = s.rng.uniform(.0, .012)
    s.noise = .05
    return True


def only_oil(s):
    s.strength = 0
    s.extra *= 0
    return True


def dark(s, low, high):
    s.level, s.scatter, s.slope = s.rng.uniform(low, high), 0, 0
    s.strength = min(s.strength, .8)
    s.noise = min(s.noise, .05)
    return True


def low_baseline(s):
    return dark(s, .24, .36)


def very_low_baseline(s):
    return dark(s, .08, .17)


def over_100(s):
    s.level, s.slope, s.scatter = s.rng.uniform(1.17, 1.3), 0, 0
    return True


def dirty_background(s):
    s.level = max(s.level, .8)
    s.scatter = 0
    s.strength = min(s.strength, .9)
    place = s.rng.uniform(2450, 2700) if s.rng.random() < .3 else s.rng.uniform(2020, 2230)
    s.extra -= shape(s.x, [(place, s.rng.uniform(.045, .12), s.rng.uniform(14, 26))])
    return True


def coarse(s):
    s.scatter = s.rng.uniform(.95, 1.3)
    return True


def wet(s):
    if s.compound in ("amide", "amine", "acid", "alkene", "nylon_like", "alcohol", "phenol"):
        return False
    near = [b for b in s.bands if 1560 < b[0] < 1770 and b[1] > .05]
    if bool(near) == (s.faults[-1] == "wet"):
        return False
    s.strength = min(s.strength, .9)
    water = s.rng.uniform(.5, 1.0)
    s.extra += shape(s.x, [(3392, water, 400), (1644, .22 * water, 85), (680, .2 * water, 300)], .3)
    return True


def wet_beside_bands(s):
    return wet(s)


def solvent_left(s):
    if s.compound in ("ketone", "chlorinated", "ester", "aldehyde", "acid", "phthalate", "alcohol",
                      "ether", "aryl_ether", "phenol", "silicone", "polyester", "nylon_like",
                      "amide", "aromatic", "polystyrene_like"):
        return False
    s.strength = min(s.strength, 1.0)
    size = s.rng.uniform(.2, .4) * s.strength
    acetone = [(1715.4, size, 16), (1363.0, .5 * size, 16), (1222.2, .5 * size, 17)]
    dichloromethane = [(738, size, 14), (1265, .4 * size, 12), (705, .25 * size, 14)]
    s.extra += shape(s.x, acetone if s.rng.random() < .5 else dichloromethane)
    return True


def greased(s):
    if s.compound in ("silicone",):
        return False
    s.strength = min(s.strength, 1.0)
    size = s.rng.uniform(.25, .5)
    s.extra += shape(s.x, [(2963, .35 * size, 22), (1262, .8 * size, 15), (1095, .8 * size, 60),
                           (1024, .8 * size, 46), (802, size, 30)])
    return True


def carbon_dioxide(s):
    s.co2 = s.rng.uniform(.16, .4) * s.rng.choice([-1, 1])
    return True


def humid(s):
    s.h2o = s.rng.uniform(.035, .1) * s.rng.choice([-1, 1])
    s.noise = min(s.noise, .08)
    return True


def noisy(s):
    s.noise = s.rng.uniform(.5, .9)
    return True


def very_noisy(s):
    s.noise = s.rng.uniform(1.5, 2.5)
    return True


def fringes(s):
    if s.compound in ("nitrile", "alkyne", "acid"):
        return False
    period = s.rng.uniform(45, 120)
    size = s.rng.uniform(.018, .05)
    s.strength = min(s.strength, 1.0)
    s.ripple = 1 + size * np.cos(2 * np.pi * s.x / period + s.rng.uniform(0, 6))
    return True


def coarse_resolution(s):
    s.resolution = 16.0
    s.x = np.arange(399.2, 4000.3, 7.714)
    s.extra = np.zeros_like(s.x)
    s.ripple = np.ones_like(s.x)
    s.strength = min(s.strength, 1.0)
    return True


def one_scan(s):
    s.scans = 1
    return True


def cut_short(s):
    s.after.append(lambda x, t: np.where(x < 700, np.nan, t))
    return True


def processed(s):
    s.processed = True
    return True


def wrong_unit(s):
    s.level, s.scatter, s.slope = max(s.level, .85), 0, 0
    s.wrong = str(s.rng.choice(["absorbance as transmittance", "transmittance as absorbance",
                                "percent as absorbance"]))
    return True


def single_beam(s):
    def change(x, t):
        lamp = np.exp(-((x - 1700) / 1250) ** 2) * (1 - np.exp(-(x - 380) / 250))
        return .9 * lamp * t
    s.after.append(change)
    s.strength, s.oil = 0, 0
    s.extra *= 0
    s.level = .9
    s.plates = ""
    s.co2, s.h2o = s.rng.uniform(.1, .3), s.rng.uniform(.08, .2)
    return True


FILMS = ("liquid film", "mull", "")
ANY = ("liquid film", "cast film", "mull", "pellet", "ATR", "")
CLEAR = ("liquid film", "mull", "pellet", "")
FAULTS = {
    much_too_strong: (("liquid film", "cast film", "mull"), "too-strong", "again"),
    too_strong: (("liquid film", "cast film", "mull"), "too-strong", "note"),
    on_fogged_plates: (("liquid film",), "too-strong", "again"),
    too_weak: (FILMS, "too-weak", "note"),
    much_too_weak: (FILMS, "too-weak", "again"),
    weak_at_the_crystal: (("ATR",), "too-weak", "again"),
    empty_beam: (FILMS, "no-sample", "again"),
    clean_plates: (("liquid film",), "no-sample", "again"),
    blocked: (ANY, "no-sample", "again"),
    only_oil: (("mull",), "no-sample", "again"),
    low_baseline: (CLEAR, "baseline", "note"),
    very_low_baseline: (CLEAR, "baseline", "again"),
    over_100: (CLEAR, "over-100", "note"),
    dirty_background: (("liquid film", "ATR", ""), "over-100", "note"),
    coarse: (("mull", "pellet"), "slope", "note"),
    wet: (("liquid film", "mull", "ATR", ""), "wet", "note"),
    wet_beside_bands: (("liquid film", "mull", "ATR", ""), "wet", "note"),
    solvent_left: (("liquid film",), "solvent-left", "note"),
    greased: (FILMS, "grease", "note"),
    carbon_dioxide: (ANY, "air", "note"),
    humid: (ANY, "air", "note"),
    noisy: (ANY, "noise", "note"),
    very_noisy: (ANY, "noise", "note"),
    fringes: (("liquid film", ""), "fringes", "note"),
    coarse_resolution: (ANY, "settings", "note"),
    one_scan: (ANY, "settings", "note"),
    cut_short: (ANY, "range", "note"),
    processed: (ANY, "processed", "note"),
    wrong_unit: (("liquid film", "cast film"), "upside-down", "again"),
    single_beam: (("",), "single-beam", "again"),
}
# Practice asks for a separate hump, and for all main bands of a solvent or a grease, because a false
# alarm is worse than a miss; beside the sample's own bands they cannot all be seen. No target for these.
HARD = (wet_beside_bands, solvent_left, greased)
