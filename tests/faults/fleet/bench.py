"""One bench under load: people sign on, the instrument measures, its program exports in several ways."""
import hashlib
import itertools
import os
import random
import threading
import time
from datetime import datetime, timezone

from lab import exports
from lab.spectra import Grid, Recipe, Spectrum, simulate

from .written import Write

SUBSTANCES = ("ethanol", "acetone", "toluene", "ethyl acetate")
# Files tell the time in whole seconds: what is measured in a turn's first second could be the last turn's.
MEASURING_SECONDS = 1.5
# Beyond 1 MiB a body goes by way of a staging file.
LARGE = Grid(4000.0, 400.0, 0.05)
PIECES, PIECE_PAUSE = 5, 0.08
STAYS = (0.0, 0.0, 0.05, 0.05, 0.1, 0.3, 0.6, 1.0, 2.5)  # seconds until the next export

# name, extension, writer, grid, whether the file says when it was measured
FORMATS = (
    ("affn", "jdx", exports.jcamp_affn, Grid(4000.0, 450.0, 4.0), True),
    ("difdup", "dx", exports.jcamp_difdup, Grid(3999.86, 399.86, 4.0), True),
    ("comma", "csv", exports.delimited_comma, Grid(4000.0, 400.0, 4.0), True),
    ("tabbed", "txt", exports.tabbed_micrometres, Grid(4000.0, 500.0, 4.0), False),
)
NUMBERS = itertools.count(1)


class Films:
    """Clean spectra, computed once; each measurement takes one with a thickness and a noise of its own,
    so that no two files have the same bytes and no two spectra the same noise."""

    def __init__(self):
        self.clean = {}

    def spectrum(self, grid, rng, title):
        key = (grid, rng.choice(SUBSTANCES))
        if key not in self.clean:
            recipe = Recipe(key[1], noise=0.0)
            self.clean[key] = (recipe, simulate(recipe, grid))
        recipe, clean = self.clean[key]
        power, gauss = rng.uniform(0.6, 1.3), rng.gauss
        t = [max(value, 1e-4) ** power + gauss(0.0, 0.0006) for value in clean.t]
        return Spectrum(x=clean.x, t=t, recipe=recipe, title=title, measured=datetime.now(timezone.utc))


class Bench(threading.Thread):
    """Writes while `go` is set; `idle` is set while it does nothing. `problem` holds what ended it."""

    def __init__(self, site, name, record, films, seed, go, end):
        super().__init__(name=name, daemon=True)
        self.site, self.record, self.films = site, record, films
        self.folder, self.rng = site.exports(name), random.Random(seed)
        self.go, self.end, self.idle = go, end, threading.Event()
        self.person, self.left, self.problem = None, 0, None
        self.turns, self.last = 0, None
        self.habits = (self.overwrite, self.in_place, self.own_name, self.own_name, self.by_rename,
                       self.in_pieces, self.twice, self.save_again, self.rename_later, self.touch_and_go,
                       self.large) * 2 + (self.own_name, self.overwrite, self.by_rename)

    def run(self):
        try:
            while not self.end.is_set():
                self.idle.set()
                if self.go.wait(0.2):
                    self.idle.clear()
                    self.step()
        except Exception as problem:  # the main thread reports it; a dead bench must not look idle
            self.problem = problem
        self.idle.set()

    def step(self):
        if self.left == 0:
            if self.person and self.rng.random() < 0.3:
                self.site.done(self.name)
            self.person = self.rng.choice(self.site.persons)
            self.site.sign_on(self.name, self.person)
            self.turns += 1
            self.left = self.rng.randint(4, 20)
            self.last = None
            time.sleep(MEASURING_SECONDS)
        self.left -= 1
        self.rng.choice(self.habits)()
        time.sleep(self.rng.choice(STAYS))

    # ---- one spectrum, one file ----

    def measure(self, format_, number):
        title = "Sample %d" % number
        return self.films.spectrum(format_[3], self.rng, title)

    def export(self, put, stem=None, format_=None, spectrum=None, number=None):
        """Writes one version with `put(path, content, number)`."""
        format_ = format_ or self.rng.choice(FORMATS)
        number = number or next(NUMBERS)
        spectrum = spectrum or self.measure(format_, number)
        content = format_[2](spectrum, timezone.utc)
        path = os.path.join(self.folder, "%s.%s" % (stem or "run-%06d" % number, format_[1]))
        self.store(put, path, content, number, format_[4])
        return path

    def store(self, put, path, content, number, timed, person=None):
        write = Write(hashlib.sha256(content).digest(), self.name, path, person or self.person, number, timed)
        self.record.begin(path, self.site.now())
        self.record.intend(write)
        put(path, content, number)
        self.record.whole(write, self.site.now())
        if timed:
            self.last = (path, content, number)

    def put_whole(self, path, content, number):
        with open(path, "wb", buffering=0) as file:
            file.write(content)

    def put_pieces(self, path, content, number):
        size = -(-len(content) // PIECES)
        for end in range(size, len(content), size):
            self.record.part(content[:end], number)
        with open(path, "wb", buffering=0) as file:
            for begin in range(0, len(content), size):
                file.write(content[begin:begin + size])
                time.sleep(PIECE_PAUSE)

    def put_in_place(self, path, content, number):
        """Over the old bytes, then cut to length: for a moment both are there."""
        file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            old = os.pread(file, 1 << 22, 0)
            if len(old) > len(content):
                self.record.part(content + old[len(content):], number)
            os.pwrite(file, content, 0)
            os.ftruncate(file, len(content))
        finally:
            os.close(file)

    def put_by_rename(self, path, content, number):
        self.put_whole(path + ".tmp", content, number)
        os.replace(path + ".tmp", path)

    # ---- habits ----

    def overwrite(self):
        self.export(self.put_whole, "SPECTRUM")

    def in_place(self):
        self.export(self.put_in_place, "Export")

    def own_name(self):
        self.export(self.put_whole)

    def large(self):
        number = next(NUMBERS)
        spectrum = self.films.spectrum(LARGE, self.rng, "Sample %d" % number)
        self.export(self.put_whole, format_=FORMATS[2], spectrum=spectrum, number=number)

    def by_rename(self):
        self.export(self.put_by_rename, self.rng.choice((None, "Last")))

    def in_pieces(self):
        self.export(self.put_pieces)

    def twice(self):
        """One spectrum in two formats, one after the other."""
        number, grid = next(NUMBERS), FORMATS[1][3]
        spectrum = self.films.spectrum(grid, self.rng, "Sample %d" % number)
        for format_ in (FORMATS[1], FORMATS[2]):
            self.export(self.put_whole, format_=format_, spectrum=spectrum, number=number)

    def save_again(self):
        """What is still open, saved once more: the same bytes over themselves or under a new name."""
        if not self.last:
            return self.own_name()
        path, content, number = self.last
        if self.rng.random() < 0.5:
            path = os.path.join(self.folder, "again-%06d%s" % (next(NUMBERS), os.path.splitext(path)[1]))
        self.store(self.put_whole, path, content, number, True)

    def rename_later(self):
        """Another name for a file that lies there: nothing new."""
        path = self.export(self.put_whole)
        time.sleep(self.rng.choice((0.0, 0.3, 0.8)))
        target = os.path.join(self.folder, "named-%06d%s" % (next(NUMBERS), os.path.splitext(path)[1]))
        os.rename(path, target)
        self.record.moved(path, target)
        self.last = None

    def touch_and_go(self):
        """Deleted soon after: the agent may or may not have had it."""
        path = self.export(self.put_whole)
        time.sleep(self.rng.choice((0.0, 0.2, 0.5, 1.0)))
        self.record.begin(path, self.site.now())
        os.unlink(path)
        self.last = None
