"""Short runs of what tests/faults/run plays with the real programs: the network's faults, failed calls, hostile
strangers. Needs root, for network namespaces."""
import os
import subprocess
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))


class FaultsTest(unittest.TestCase):
    def play(self, *words):
        result = subprocess.run([os.path.join(ROOT, "tests", "faults", "run"), *words], timeout=400, text=True,
                                env=dict(os.environ, WAVEPOST_BUILD=BUILD), stdout=subprocess.PIPE,
                                stderr=subprocess.STDOUT, check=False)
        self.assertEqual(result.returncode, 0, result.stdout)

    def test_delay_loss_partition_and_lost_receipts_lose_and_double_nothing(self):
        self.play("net", "--short", "--seconds", "4")

    def test_a_thousand_hostile_connections_lose_nothing(self):
        self.play("hostile", "--connections", "1000", "--times", "3", "--gather", "3")

    def test_a_failed_call_loses_nothing(self):
        self.play("calls", "--up-to", "12", "--share", "1", "--seconds", "10")


if __name__ == "__main__":
    unittest.main()
