"""Simulated spectra: band sums seen through plates, air and noise. Deterministic by seed."""
import math
import random
from dataclasses import dataclass, field
from datetime import datetime, timezone

from .substances import CARBON_DIOXIDE, SUBSTANCES, VAPOUR

# Tails of a Lorentzian are followed this many widths out; what lies beyond is below the noise.
TAIL = 60.0


@dataclass(frozen=True)
class Grid:
    """Where an instrument puts its points, in cm-1, falling."""

    first: float = 4000.0
    last: float = 400.0
    step: float = 2.0

    def points(self):
        count = int(round((self.first - self.last) / self.step)) + 1
        return [self.first - k * self.step for k in range(count)]


@dataclass
class Recipe:
    """What lies in the beam.

    thickness_um: 10 is an ordinary drop between plates; 2 is too thin, 40 too thick.
    air: water vapour and carbon dioxide left over, in absorbance of the strongest line; negative
    when the background saw more of them than the sample.
    """

    substance: str
    thickness_um: float = 8.0
    seed: int = 1
    noise: float = 0.0006
    vapour: float = 0.003
    dioxide: float = 0.01
    slope: float = 0.01
    plates: str = "as usual"


@dataclass
class Spectrum:
    """One measured spectrum: wavenumbers falling, transmittance as a fraction."""

    x: list
    t: list
    recipe: Recipe
    title: str = "Sample"
    resolution: float = 4.0
    scans: int = 16
    measured: datetime = field(default_factory=lambda: datetime.now(timezone.utc))

    def absorbance(self):
        return [-math.log10(max(t, 1e-4)) for t in self.t]


def _add(x, a, position, height, width, shape):
    """Adds one band to the absorbances `a` on the falling, even grid `x`."""
    step = x[0] - x[1]
    reach = width * (TAIL if shape == "L" else 2.5)
    begin = max(0, int((x[0] - position - reach) / step))
    end = min(len(x), int((x[0] - position + reach) / step) + 2)
    for k in range(begin, end):
        u = 2.0 * (x[k] - position) / width
        a[k] += height / (1.0 + u * u) if shape == "L" else height * math.exp(-0.6931 * u * u)


def _salt(x):
    """Transmittance of a pair of rock salt plates.

    Two outer surfaces at n = 1.52 pass 2n/(n^2+1) = 0.919 (Li 1976 for n). The cut-off near 650 cm-1
    and its steepness are values from memory.
    """
    return 0.919 * math.exp(-math.exp(min(50.0, (628.0 - x) / 16.0)))


def _air(x, a, recipe, rng):
    for line in VAPOUR:
        _add(x, a, line, recipe.vapour * rng.uniform(0.3, 1.0), 6.0, "G")
    for position, height, width in CARBON_DIOXIDE:
        _add(x, a, position, recipe.dioxide * height, width, "G")


def absorbances(recipe, x):
    """The pure film's absorbance on the grid `x`: no plates, no air, no noise."""
    a = [0.0] * len(x)
    for position, height, width, shape in SUBSTANCES[recipe.substance].bands:
        _add(x, a, position, height * recipe.thickness_um / 10.0, width, shape)
    return a


def simulate(recipe, grid=Grid(), **about):
    """Measures `recipe` on `grid`; `about` are further fields of Spectrum (title, measured ...)."""
    rng = random.Random("%d/%s" % (recipe.seed, recipe.substance))
    x = grid.points()
    a = absorbances(recipe, x)
    _air(x, a, recipe, rng)
    plates = SUBSTANCES[recipe.substance].plates if recipe.plates == "as usual" else recipe.plates
    gain = rng.uniform(0.985, 1.0)
    t = []
    for wavenumber, absorbed in zip(x, a):
        level = gain * (1.0 - recipe.slope * (wavenumber - x[-1]) / (x[0] - x[-1]))
        if plates == "NaCl":
            level *= _salt(wavenumber)
        # The source is weak and the detector blind towards the ends of the range.
        grain = recipe.noise * (1.0 + 3.0 * math.exp((500.0 - wavenumber) / 60.0))
        t.append(level * 10.0 ** -absorbed + rng.gauss(0.0, grain))
    return Spectrum(x=x, t=t, recipe=recipe, **about)


def blank(seed=1, grid=Grid(), **about):
    """Clean plates and nothing between them."""
    return simulate(Recipe("octane", thickness_um=0.0, seed=seed), grid, **about)
