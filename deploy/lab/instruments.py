"""Simulated instruments: each exports to its folder the way its make does.

Four habits: one file name for everybody, so that the next export overwrites the last; each
spectrum exported twice, in two formats; a file that grows in pieces; and the save-what-is-open
button, which writes the same bytes once more under whoever stands there now.
"""
import os
import time
from dataclasses import dataclass
from datetime import datetime, timezone

from . import exports
from .spectra import Grid, simulate


@dataclass(frozen=True)
class Make:
    """What the instruments of one make have in common.

    files: (name, writer) for every file of one spectrum; the name may hold {number}.
    pieces, pause: a file is written in that many pieces with that many seconds between.
    """

    files: tuple
    grid: Grid
    pieces: int = 1
    pause: float = 0.0


MAKES = {
    "rising": Make((("SPECTRUM.JDX", exports.jcamp_affn),), Grid(4000.0, 450.0, 2.0)),
    "twice": Make((("sample{number:04d}.dx", exports.jcamp_difdup),
                   ("sample{number:04d}.csv", exports.delimited_comma)),
                  Grid(3999.86, 399.86, 2.0)),
    "comma": Make((("Export.csv", exports.delimited_comma),), Grid(4000.0, 400.0, 1.0)),
    "slow": Make((("run-{number:03d}.txt", exports.tabbed_micrometres),),
                 Grid(4000.0, 500.0, 2.0), pieces=6, pause=0.15),
}


class Instrument:
    """One instrument with its export folder, which is made if missing.

    Not for several threads at once. Every method returns the list of the paths it wrote.
    """

    def __init__(self, make, folder, zone=None, first_number=1):
        self.make = MAKES[make]
        self.folder = folder
        self.zone = zone
        self.number = first_number - 1
        self.open = []  # (path, bytes) of the last measurement: what the program still shows
        self.spectrum = None
        os.makedirs(folder, exist_ok=True)

    def measure(self, recipe, title, measured=None):
        """Measures and keeps the result open; writes nothing."""
        self.number += 1
        self.spectrum = simulate(recipe, self.make.grid, title=title,
                                 measured=measured or datetime.now(timezone.utc))
        self.open = [
            (os.path.join(self.folder, name.format(number=self.number)), write(self.spectrum, self.zone))
            for name, write in self.make.files
        ]
        return []

    def save(self):
        """Exports what is open: after measure() the new spectrum, later the same bytes again."""
        if not self.open:
            raise RuntimeError("nothing is open on this instrument")
        for path, content in self.open:
            self._write(path, content)
        return [path for path, _ in self.open]

    def run(self, recipe, title):
        """Measures and exports."""
        self.measure(recipe, title)
        return self.save()

    def _write(self, path, content):
        """Truncates and writes in place, as the programs do, in the make's number of pieces."""
        size = -(-len(content) // self.make.pieces)
        with open(path, "wb", buffering=0) as file:
            for begin in range(0, len(content), size):
                if begin:
                    time.sleep(self.make.pause)
                file.write(content[begin:begin + size])
