"""A short run of the faults of the network. The full run: tests/faults/run net. Needs root, for the namespaces."""
import os
import subprocess
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))


class NetTest(unittest.TestCase):
    def test_delay_loss_partition_and_lost_receipts_lose_and_double_nothing(self):
        result = subprocess.run([os.path.join(ROOT, "tests", "faults", "run"), "net", "--short", "--seconds", "4"],
                                timeout=400, env=dict(os.environ, WAVEPOST_BUILD=BUILD), text=True,
                                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        self.assertEqual(result.returncode, 0, result.stdout)


if __name__ == "__main__":
    unittest.main()
