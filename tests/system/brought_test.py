"""Files that come late: from a stick by staff, from an agent that found them afterwards, from a backfill.

Each belongs to the turn that was open at the time written in it, however many turns there were since;
where no time can be believed it is nobody's, and whoever stands at the bench now is not asked.
"""
import json
import os
import random
import sys
import tempfile
import time
import unittest
import urllib.parse

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from daemon import Daemon, capture_field, digest_of, require_built  # noqa: E402

S = 10**6
MINUTE = 60 * S
HOUR = 60 * MINUTE


def spectrum(title, at_us=None, seed=0):
    """An invented film as JCAMP-DX (McDonald and Wilks 1988, AFFN), measured at that instant, if any."""
    chance = random.Random("%s %d" % (title, seed))
    values = [int(1e4 * 10 ** -(0.05 + 0.6 / (1 + ((x - 1740) / 12) ** 2) + 0.4 / (1 + ((x - 2930) / 20) ** 2)
                                + chance.gauss(0, 0.002))) for x in range(600, 4000, 4)]
    lines = ["##TITLE=" + title, "##JCAMP-DX=4.24", "##DATA TYPE=INFRARED SPECTRUM", "##ORIGIN=", "##OWNER="]
    if at_us is not None:
        lines.append("##LONGDATE=" + time.strftime("%Y/%m/%d %H:%M:%S", time.localtime(at_us / S))
                     + ".%04d" % (at_us % S // 100))
    lines += ["##XUNITS=1/CM", "##YUNITS=TRANSMITTANCE", "##RESOLUTION=4", "##FIRSTX=600", "##LASTX=3996",
              "##DELTAX=4", "##XFACTOR=1", "##YFACTOR=0.0001", "##NPOINTS=%d" % len(values),
              "##FIRSTY=%g" % (values[0] / 1e4), "##XYDATA=(X++(Y..Y))"]
    lines += ["%d %s" % (600 + 4 * i, " ".join(map(str, values[i:i + 8]))) for i in range(0, len(values), 8)]
    return ("\n".join(lines + ["##END=", ""])).encode()


class Brought(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="wavepost-brought-")
        cls.daemon = Daemon(cls.folder.name, plain=True)
        where = {"course": "CHEM 201", "section": "014"}
        for path, body in (
                ("people", {"login": "tess", "given": "Tess", "family": "Example", "roles": ["technician"],
                            "password": "correct horse battery"}),
                ("courses", {"code": "CHEM 201", "title": "Laboratory"}),
                ("sections", where),
                ("roster", {**where, "dry_run": False, "csv": "number,given,family,login,email\n"
                            "1,Ada,Example,ada,\n2,Ben,Example,ben,\n"})):
            status, said = cls.daemon.control("POST", "/api/v1/" + path, body)
            assert status < 300, said
        found = cls.daemon.control("GET", "/api/v1/people?q=")[1]["people"]
        cls.people = {person["login"]: person["id"] for person in found}
        (course,) = cls.daemon.control("GET", "/api/v1/courses")[1]["courses"]
        cls.section = course["sections"][0]["id"]
        cls.cookie = cls.sign_in("tess")
        cls.count = 0

    @classmethod
    def tearDownClass(cls):
        code, _ = cls.daemon.stop()
        cls.folder.cleanup()
        if code:
            raise AssertionError("the gateway ended with %d" % code)

    @classmethod
    def ask(cls, method, path, body=None, **fields):
        connection = cls.daemon.http()
        connection.request(method, path, body, {k.replace("_", "-"): v for k, v in fields.items()})
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        return answer, json.loads(text) if text else None

    @classmethod
    def sign_in(cls, login):
        answer, _ = cls.ask("POST", "/api/v1/sign-in",
                            json.dumps({"login": login, "password": "correct horse battery"}),
                            Content_Type="application/json")
        return answer.getheader("Set-Cookie").split(";")[0]

    def setUp(self):
        """An instrument of its own, so that turns of other tests do not matter."""
        type(self).count += 1
        status, made = self.daemon.control("POST", "/api/v1/instruments",
                                           {"name": "IR-%d" % self.count, "place": "Lab", "technique": "infrared"})
        self.assertEqual(status, 201, made)
        self.instrument, self.join = made["instrument"]["id"], made["join"]
        self.now = time.time_ns() // 1000

    def turn(self, login, begins_before, minutes=10):
        start = self.now - begins_before
        status, made = self.daemon.control("POST", "/api/v1/turns", {
            "instrument": self.instrument, "section": self.section, "persons": [self.people[login]], "from_us": start,
            "to_us": start + minutes * MINUTE})
        self.assertLess(status, 300, made)
        return start

    def bring(self, name, data, mtime_us=None):
        query = {"name": name, "mtime_us": mtime_us or self.now}
        answer, out = self.ask("POST", "/api/v1/instruments/%d/captures?%s"
                               % (self.instrument, urllib.parse.urlencode(query)), data,
                               Cookie=self.cookie, Sec_Fetch_Site="same-origin")
        self.assertEqual(answer.status, 201, out)
        return out

    def seen(self, identity):
        return self.ask("GET", "/api/v1/measurements/%d" % identity, Cookie=self.cookie)[1]

    def persons(self, identity):
        return [p["name"] for p in self.seen(identity)["persons"]]

    def test_the_time_in_the_file_finds_a_turn_of_days_ago(self):
        start = self.turn("ada", 50 * HOUR)
        for i in range(30):  # more turns since than are looked at
            self.turn("ben", 40 * HOUR - i * HOUR)
        out = self.bring("STICK/ester.jdx", spectrum("ester", start + 4 * MINUTE))
        (made,) = out["measurements"]
        self.assertFalse(made["known"])
        seen = self.seen(made["id"])
        self.assertEqual(self.persons(made["id"]), ["Ada Example"], seen)
        self.assertEqual(seen["accession"], made["accession"])
        self.assertEqual(seen["time_source"], "file")
        self.assertEqual(seen["kept"], "auto")
        self.assertEqual([c["brought_by"] for c in seen["captures"]], ["Tess Example"])
        self.assertIn("Brought by hand", seen["stamps"][0]["reason"])

    def test_the_same_stick_again_makes_nothing_new_and_no_noise(self):
        data = spectrum("again", self.now - HOUR)
        first = self.bring("a.jdx", data)["measurements"][0]
        second = self.bring("b.jdx", data)
        self.assertTrue(second["known"])
        self.assertEqual(second["measurements"], [dict(first, known=True)])
        _, notices = self.ask("GET", "/api/v1/notices", Cookie=self.cookie)
        mine = [n for n in notices["notices"] if n["instrument"] == "IR-%d" % self.count]
        self.assertEqual(mine, [])

    def test_near_a_change_of_turns_it_is_nobodys_with_a_suggestion(self):
        self.turn("ben", 2 * HOUR, minutes=10)
        start = self.turn("ada", 2 * HOUR - 10 * MINUTE)
        out = self.bring("close.jdx", spectrum("close", start + 20 * S))
        seen = self.seen(out["measurements"][0]["id"])
        self.assertEqual(seen["persons"], [])
        self.assertEqual([p["name"] for p in seen["suggestion"]], ["Ada Example"])

    def test_without_a_time_or_with_one_to_come_it_is_nobodys(self):
        start = self.turn("ada", 3 * HOUR)
        for name, data in (("none.jdx", spectrum("none")), ("ahead.jdx", spectrum("ahead", self.now + 9 * HOUR))):
            out = self.bring(name, data, start + 3 * MINUTE)
            seen = self.seen(out["measurements"][0]["id"])
            self.assertEqual(seen["persons"], [], name)
            self.assertEqual([p["name"] for p in seen["suggestion"]], ["Ada Example"], name)

    def test_nobody_at_the_bench_is_asked_or_shown_it(self):
        self.bring("old.jdx", spectrum("old"))
        _, bench = self.ask("GET", "/api/v1/bench/%d" % self.instrument, Cookie=self.cookie)
        self.assertIsNone(bench["question"])
        self.assertIsNone(bench["current"])

    def test_what_is_no_spectrum_is_kept_and_says_why(self):
        out = self.bring("notes.txt", b"these are notes\n")
        self.assertEqual(out["measurements"], [])
        self.assertTrue(out["unread"]["text"])
        self.assertTrue(self.bring("notes.txt", b"these are notes\n")["known"])

    def agent(self, ahead_us=0):
        code = self.join.split("#")[1].split(":")[0]
        _, joined = self.ask("POST", "/api/v1/agents/join",
                             json.dumps({"code": code, "version": "0.1.0", "platform": "linux",
                                         "time_us": self.now}), Content_Type="application/json")
        self.token = "Bearer " + joined["token"]
        beat = {"version": "0.1.0", "time_us": time.time_ns() // 1000 + ahead_us,
                "steady_us": time.monotonic_ns() // 1000, "boot_id": "boot",
                "queue": {"count": 0, "bytes": 0, "oldest_us": None}, "spool": {"limit": 1, "stopped": False},
                "disk_free": 1, "folders": [], "refused": 0}
        answer, out = self.ask("POST", "/api/v1/agents/heartbeat", json.dumps(beat),
                               Authorization=self.token, Content_Type="application/json")
        self.assertEqual(answer.status, 200, out)

    def capture(self, number, data, mtime_us, captured_us, **more):
        answer, out = self.ask(
            "POST", "/api/v1/captures", data, Authorization=self.token, Content_Digest=digest_of(data),
            Wavepost_Capture=capture_field(number, mtime_us=mtime_us, captured_us=captured_us,
                                           steady_us=time.monotonic_ns() // 1000, boot_id="boot", **more))
        self.assertEqual(answer.status, 201, out)
        _, found = self.ask("GET", "/api/v1/unclaimed", Cookie=self.cookie)
        return found["measurements"]

    def test_an_agent_that_found_it_late_believes_the_time_in_the_file(self):
        self.agent(ahead_us=HOUR)
        start = self.turn("ada", 5 * HOUR)
        for i in range(20):
            self.turn("ben", 4 * HOUR - i * 11 * MINUTE)
        wrote = start + 4 * MINUTE + HOUR  # by the PC's clock, an hour ahead
        left = self.capture(1, spectrum("late", wrote), wrote, self.now + HOUR)
        self.assertNotIn(self.instrument, [m["instrument"]["id"] for m in left])
        left = self.capture(2, spectrum("no time"), wrote, self.now + HOUR)
        self.assertIn(self.instrument, [m["instrument"]["id"] for m in left])

    def test_a_backfill_asks_nobody(self):
        self.agent()
        self.capture(1, spectrum("backfill"), self.now - 400 * 24 * HOUR, self.now, backfill=True)
        _, bench = self.ask("GET", "/api/v1/bench/%d" % self.instrument, Cookie=self.cookie)
        self.assertIsNone(bench["question"])
        self.assertIsNone(bench["current"])


if __name__ == "__main__":
    require_built()
    unittest.main()
