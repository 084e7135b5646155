"""A short run of the kills under load, and what its comparison notices. The full run: tests/faults/run."""
import os
import subprocess
import sys
import unittest
from collections import defaultdict

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
sys.path[:0] = [os.path.join(ROOT, "deploy"), os.path.join(ROOT, "tests", "faults")]

from fleet.compare import Comparison  # noqa: E402
from fleet.written import FOREVER, Record, Write, owed  # noqa: E402

BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))
MAYA, JONAS = 1, 2


class Target:
    lives = [[0.0, 100.0], [101.0, FOREVER]]


class Kept:
    """An archive as it should be after two people measured one spectrum each."""

    def __init__(self):
        self.captures = defaultdict(int, {b"a": 1, b"b": 1})
        self.renditions = {10: {b"a"}, 11: {b"b"}}
        self.measurements = {b"a": {10}, b"b": {11}}
        self.persons = {10: {MAYA}, 11: {JONAS}}
        self.refused = self.unwitnessed = 0


def written():
    record = Record()
    for digest, person, spectrum in ((b"a", MAYA, 1), (b"b", JONAS, 2)):
        write = Write(digest, "IR-1", digest.decode(), person, spectrum, True)
        record.intend(write)
        record.whole(write, 10.0)
    return record


class ComparisonTest(unittest.TestCase):
    def setUp(self):
        self.record, self.kept = written(), Kept()

    def faults(self):
        return Comparison(self.record, {"IR-1": Target}, self.kept).faults

    def noticed(self, word):
        faults = self.faults()
        self.assertTrue(any(fault.startswith(word) for fault in faults), faults)

    def test_nothing_is_wrong_with_what_is_right(self):
        self.assertEqual(self.faults(), [])

    def test_a_lost_file_is_noticed(self):
        self.kept.captures[b"b"] = 0
        self.noticed("lost")

    def test_a_doubled_capture_is_noticed(self):
        self.kept.captures[b"a"] = 2
        self.noticed("doubled")

    def test_bytes_nobody_wrote_are_noticed(self):
        self.kept.captures[b"c"] = 1
        self.noticed("foreign")

    def test_a_wrong_name_is_noticed_and_no_name_is_not_wrong(self):
        self.kept.persons[10] = {JONAS}
        self.noticed("wrongly stamped")
        self.kept.persons[10] = set()
        self.assertEqual(self.faults(), [])

    def test_a_second_name_is_noticed(self):
        self.kept.persons[10] = {MAYA, JONAS}
        self.noticed("wrongly stamped")

    def test_two_spectra_in_one_measurement_are_noticed(self):
        self.kept.renditions = {10: {b"a", b"b"}}
        self.kept.measurements = {b"a": {10}, b"b": {10}}
        self.noticed("merged")

    def test_one_spectrum_in_two_measurements_is_noticed(self):
        self.kept.renditions[12], self.kept.persons[12] = {b"a"}, {MAYA}
        self.noticed("split")

    def test_a_capture_without_a_measurement_is_noticed(self):
        self.kept.measurements.pop(b"a")
        self.noticed("unread")

    def test_a_refusal_and_a_lost_witness_are_noticed(self):
        self.kept.refused, self.kept.unwitnessed = 1, 1
        self.assertEqual(len(self.faults()), 2)

    def test_a_file_is_owed_if_it_lay_there_while_one_agent_process_lived(self):
        write = Write(b"a", "IR-1", "a", MAYA, 1, True, whole=98.0)
        lives = Target.lives
        write.gone = 101.5
        self.assertFalse(owed(write, lives, 2.5))  # 2 s before the kill and 0.5 s after it
        write.gone = 103.6
        self.assertTrue(owed(write, lives, 2.5))


class KillsTest(unittest.TestCase):
    def test_twenty_kills_lose_double_and_misname_nothing(self):
        result = subprocess.run([os.path.join(ROOT, "tests", "faults", "run"), "--kills", "20"], timeout=240,
                                env=dict(os.environ, WAVEPOST_BUILD=BUILD), text=True,
                                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        self.assertEqual(result.returncode, 0, result.stdout)
        self.assertIn("20 kills", result.stdout)


if __name__ == "__main__":
    unittest.main()
