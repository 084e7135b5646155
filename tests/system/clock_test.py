"""How an instrument PC's clock is tied to the gateway's: by heartbeats, of which some take long."""
import json
import os
import sqlite3
import sys
import tempfile
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from daemon import Daemon, capture_field, digest_of, require_built  # noqa: E402

HOUR = 3600 * 10**6


def now_us():
    return time.time_ns() // 1000


def steady_us():
    return time.monotonic_ns() // 1000


class ClockTest(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory(prefix="wavepost-clock-")
        self.daemon = Daemon(self.folder.name, plain=True)
        made = self.daemon.control("POST", "/api/v1/instruments", {"name": "IR-1", "place": "Lab"})[1]
        code = made["join"].split("#")[1].split(":")[0]
        self.token = self.ask("/api/v1/agents/join", {"code": code, "version": "0.1.0", "platform": "linux",
                                                      "time_us": now_us()})["token"]
        self.number = 0

    def tearDown(self):
        self.assertEqual(self.daemon.stop()[0], 0)
        self.folder.cleanup()

    def ask(self, path, value, **fields):
        fields = {name.replace("_", "-"): text for name, text in fields.items()}
        body = value if isinstance(value, bytes) else json.dumps(value).encode()
        kind = {} if isinstance(value, bytes) else {"Content-Type": "application/json"}
        connection = self.daemon.http()
        connection.request("POST", path, body, {**kind, **fields})
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        self.assertLess(answer.status, 300, text)
        return json.loads(text) if text else None

    def heartbeat(self, late_us, boot="boot", ahead_us=0):
        """A heartbeat that was `late_us` on its way, of a PC whose clock is ahead."""
        self.ask("/api/v1/agents/heartbeat",
                 {"version": "0.1.0", "time_us": now_us() - late_us + ahead_us, "steady_us": steady_us() - late_us,
                  "boot_id": boot, "queue": {"count": 0, "bytes": 0, "oldest_us": None},
                  "spool": {"limit": 1, "stopped": False}, "disk_free": 1, "folders": [], "refused": 0},
                 Authorization="Bearer " + self.token)

    def off_by(self, boot="boot", ahead_us=0):
        """How far the corrected time of a capture made now is from now."""
        self.number += 1
        body, now = b"sample %d" % self.number, now_us()
        self.ask("/api/v1/captures", body, Authorization="Bearer " + self.token, Content_Digest=digest_of(body),
                 Wavepost_Capture=capture_field(self.number, mtime_us=now + ahead_us, captured_us=now + ahead_us,
                                                steady_us=steady_us(), boot_id=boot))
        sql = sqlite3.connect("file:%s?mode=ro" % os.path.join(self.daemon.data, "gateway.db"), uri=True)
        try:
            return sql.execute("SELECT corrected_us FROM capture WHERE number = ?",
                               (self.number,)).fetchone()[0] - now
        finally:
            sql.close()

    def test_the_heartbeat_that_was_quickest_counts(self):
        self.heartbeat(900_000)
        self.assertGreater(self.off_by(), 800_000)
        self.heartbeat(0)
        self.assertLess(abs(self.off_by()), 300_000)
        self.heartbeat(700_000)
        self.assertLess(abs(self.off_by()), 300_000)

    def test_a_clock_an_hour_ahead_is_corrected(self):
        self.heartbeat(0, ahead_us=HOUR)
        self.assertLess(abs(self.off_by(ahead_us=HOUR)), 300_000)

    def test_another_start_of_the_pc_is_tied_anew(self):
        self.heartbeat(0, ahead_us=HOUR)
        self.heartbeat(0, boot="next")
        self.assertLess(abs(self.off_by(boot="next")), 300_000)


if __name__ == "__main__":
    require_built()
    unittest.main()
