"""The simulated spectra and the files of the simulated instruments."""
import os
import sys
import tempfile
import threading
import time
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..", "..", "deploy")]

import decode  # noqa: E402
from lab import exports  # noqa: E402
from lab.instruments import MAKES, Instrument  # noqa: E402
from lab.spectra import Grid, Recipe, absorbances, blank, simulate  # noqa: E402
from lab.substances import SUBSTANCES, strongest  # noqa: E402


def maxima(x, a):
    return [x[k] for k in range(1, len(a) - 1) if a[k - 1] < a[k] >= a[k + 1]]


def content_of(path):
    with open(path, "rb") as file:
        return file.read()


def seen(transmittances):
    """As an export in absorbance shows them: it ends at 4."""
    return [max(t, 1e-4) for t in transmittances]


def rising(x, y):
    return zip(*sorted(zip(x, y)))


class Spectra(unittest.TestCase):
    def test_strong_bands_stand_where_they_were_published(self):
        for name in SUBSTANCES:
            x = Grid(4000.0, 450.0, 1.0).points()
            found = maxima(x, absorbances(Recipe(name), x))
            for position in strongest(name):
                with self.subTest(name, position=position):
                    self.assertLess(min(abs(position - f) for f in found), 4.0)

    def test_the_same_seed_gives_the_same_spectrum_and_another_seed_another(self):
        one, same, other = (simulate(Recipe("ethanol", seed=s)).t for s in (5, 5, 6))
        self.assertEqual(one, same)
        self.assertNotEqual(one, other)

    def test_a_thick_film_is_cut_off_flat_and_a_thin_one_hardly_absorbs(self):
        thick, thin = (simulate(Recipe("ethanol", thickness_um=d)) for d in (70.0, 0.4))
        self.assertGreater(sum(t < 0.01 for t in thick.t), 200)
        self.assertGreater(min(t for x, t in zip(thin.x, thin.t) if x > 900), 0.7)

    def test_salt_plates_end_the_spectrum_below_650(self):
        empty = dict(zip(blank().x, blank().t))
        self.assertGreater(empty[1000.0], 0.85)
        self.assertLess(empty[500.0], 0.02)

    def test_an_ordinary_film_lies_between_the_extremes(self):
        for name in SUBSTANCES:
            with self.subTest(name):
                s = simulate(Recipe(name))
                inside = [t for x, t in zip(s.x, s.t) if x > 700]
                self.assertGreater(max(inside), 0.85)
                self.assertLess(max(inside), 1.01)
                self.assertLess(min(inside), 0.75)


class Dialects(unittest.TestCase):
    def test_the_reader_decodes_the_published_table(self):
        """Table VIIb of JCAMP-DX 4.24, every form."""
        wanted = [1, 2, 3, 3, 2, 1, 0, -1, -2, -3]
        for row in ("0 1 2 3 3 2 1 0 -1 -2 -3", "0 1+2+3+3+2+1+0-1-2-3", "0 1BCCBA@abc", "0 1JJ%jjjjjj",
                    "0 1JT%jX"):
            with self.subTest(row):
                self.assertEqual(decode.ordinates([row], 0.0, 1.0), wanted)

    def test_the_reader_notices_a_broken_y_check(self):
        with self.assertRaises(ValueError):
            decode.ordinates(["599.000+1jj", "601.000+4jj"], 599.0, 1.0)

    def test_all_dialects_of_one_spectrum_agree_to_rounding(self):
        for name in ("ethanol", "nitrobenzene"):
            s = simulate(Recipe(name, seed=3))
            x, t = rising(s.x, s.t)
            for write, read, round_x, round_t in (
                    (exports.jcamp_affn, decode.jcamp, 1e-4, 6e-7),
                    (exports.jcamp_difdup, decode.jcamp, 1e-4, 4e-5),
                    (exports.delimited_comma, decode.comma, 6e-4, 6e-7),
                    (exports.tabbed_micrometres, decode.micrometres, 6e-3, 6e-7)):
                with self.subTest(name, write=write.__name__):
                    got_x, got_t = rising(*read(write(s)))
                    self.assertEqual(len(got_x), len(x))
                    self.assertLess(max(abs(a - b) for a, b in zip(got_x, x)), round_x)
                    wanted = seen(t) if write == exports.jcamp_difdup else t
                    self.assertLess(max(abs(a - b) for a, b in zip(got_t, wanted)), round_t)

    def test_rows_of_constant_and_jumping_ordinates_survive_difdup(self):
        for values in ([7] * 5000, [0, 99999999, -99999999] * 40, [5], list(range(200)), [3, 3, 4, 4, 4, 3]):
            rows = list(exports._difdup_rows(100.0, -1.0, values))
            self.assertEqual(decode.ordinates(rows, 100.0, -1.0), values)
            self.assertLessEqual(max(map(len, rows)), 80)


class Exports(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)

    def instrument(self, make):
        return Instrument(make, os.path.join(self.folder.name, make))

    def test_two_makes_overwrite_the_last_export(self):
        for make in ("rising", "comma"):
            one = self.instrument(make)
            first = one.run(Recipe("acetone"), "A")
            before = content_of(first[0])
            second = one.run(Recipe("toluene"), "B")
            self.assertEqual(first, second)
            self.assertNotEqual(before, content_of(second[0]))

    def test_one_make_exports_the_same_spectrum_in_two_formats(self):
        one = self.instrument("twice")
        jcamp, text = one.run(Recipe("octane"), "Wash")
        x1, t1 = decode.jcamp(content_of(jcamp))
        x2, t2 = decode.comma(content_of(text))
        self.assertEqual(len(x1), len(x2))
        self.assertLess(max(abs(a - b) for a, b in zip(t1, seen(t2))), 4e-5)
        self.assertEqual(len(set(one.run(Recipe("octane"), "Wash") + [jcamp, text])), 4)

    def test_one_make_writes_slowly_so_that_half_a_file_can_be_seen(self):
        one = self.instrument("slow")
        one.measure(Recipe("methanol"), "Fraction 1")
        path, content = one.open[0]
        writer = threading.Thread(target=one.save)
        writer.start()
        sizes = set()
        while writer.is_alive():
            if os.path.exists(path):
                sizes.add(os.path.getsize(path))
            time.sleep(0.01)
        writer.join(5)
        self.assertGreaterEqual(len(sizes - {0, len(content)}), MAKES["slow"].pieces - 2)
        self.assertEqual(content_of(path), content)

    def test_saving_again_what_was_left_open_writes_the_same_bytes(self):
        for make in MAKES:
            one = self.instrument(make)
            paths = one.run(Recipe("acetone"), "A")
            before = [content_of(p) for p in paths]
            for path in paths:
                os.unlink(path)
            self.assertEqual(one.save(), paths)
            self.assertEqual([content_of(p) for p in paths], before)

    def test_nothing_can_be_saved_before_something_was_measured(self):
        with self.assertRaises(RuntimeError):
            self.instrument("rising").save()


if __name__ == "__main__":
    unittest.main()
