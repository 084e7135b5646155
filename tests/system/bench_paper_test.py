"""What a bench says about paper, with the real gateway and a real printer that stands in another room: the
question, its answer, and every state with time and reason for the student."""
import http.client
import json
import os
import sys
import time
import unittest
import urllib.parse

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import delivery_case  # noqa: E402
from daemon import Daemon, capture_field, digest_of, require_built  # noqa: E402
from delivery_case import set_up, tear_down  # noqa: E402
from documents_data import jcamp  # noqa: E402
from lab.printers import Printer  # noqa: E402
from lab.processes import wait_until  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


class BenchPaperTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        folder = os.path.join(delivery_case.FOLDER.name, "bench")
        os.makedirs(folder)
        cls.printer = Printer("216", "Science/2/216/door", os.path.join(folder, "printer"), delivery_case.BUS, 0.2)
        cls.printer.start()
        cls.daemon = Daemon(folder, plain=True)
        cls.addClassCleanup(cls.printer.stop)
        cls.addClassCleanup(cls.daemon.stop)
        cls.set_up_bench()

    @classmethod
    def command(cls, method, path, body=None):
        status, answer = cls.daemon.control(method, "/api/v1" + path, body)
        assert status in (200, 201, 204), (path, status, answer)
        return answer

    @classmethod
    def ask(cls, method, path, body, fields):
        connection = http.client.HTTPConnection("127.0.0.1", cls.daemon.port, timeout=20)
        connection.request(method, path, body, fields)
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return answer, data

    @classmethod
    def form(cls, path, values):
        body = urllib.parse.urlencode(values)
        return cls.ask("POST", path, body, {"Content-Type": "application/x-www-form-urlencoded",
                                            "Origin": "http://127.0.0.1:%d" % cls.daemon.port, **cls.cookie})

    @classmethod
    def set_up_bench(cls):
        made = cls.command("POST", "/instruments", {"name": "IR-1", "place": "Science/2/214/bench A"})
        cls.instrument = cls.command("GET", "/instruments")["instruments"][0]["id"]
        cls.command("POST", "/printers", {"name": cls.printer.name, "uri": cls.printer.uri, "where": "by the door",
                                          "place": cls.printer.place})
        cls.command("POST", "/courses", {"code": "CHEM 201", "mailing": "none"})
        cls.command("POST", "/sections", {"course": "CHEM 201", "section": "014"})
        cls.command("POST", "/roster", {"course": "CHEM 201", "section": "014", "dry_run": False,
                                        "csv": "number,given,family,login\n1,Maya,Rowan,maya\n"})
        join = json.dumps({"code": made["join"].split("#")[1].split(":")[0], "version": "0.1.0",
                           "platform": "linux", "time_us": 0})
        _, joined = cls.ask("POST", "/api/v1/agents/join", join, {"Content-Type": "application/json"})
        cls.token = json.loads(joined)["token"]
        cls.cookie = {}
        code = cls.command("POST", "/instruments/%d/bench-code" % cls.instrument)["code"]
        answer, _ = cls.form("/bench/enrol", {"code": code})
        cls.cookie = {"Cookie": answer.getheader("Set-Cookie").split(";")[0]}
        cls.bench = "/bench/%d" % cls.instrument
        cls.section = cls.command("GET", cls.bench)["sections"][0]
        cls.command("POST", cls.bench + "/sign-on", {"persons": [cls.section["roster"][0]["id"]],
                                                     "section": cls.section["id"], "sample": "A1"})
        cls.number = 0

    def keep_and_print(self):
        """One more spectrum, kept; its measurement once the question about the room is there."""
        type(self).number += 1
        body, now = jcamp("run %d" % self.number), time.time_ns() // 1000
        fields = {"Authorization": "Bearer " + self.token, "Content-Digest": digest_of(body),
                  "Wavepost-Capture": capture_field(self.number, path="%d.jdx" % self.number, mtime_us=now,
                                                    captured_us=now)}
        answer, receipt = self.ask("POST", "/api/v1/captures", body, fields)
        self.assertEqual(answer.status, 201, receipt)
        measurement = self.command("GET", self.bench)["current"]["id"]
        self.command("POST", self.bench + "/keep", {"measurement": measurement})
        self.wait_for("asking")
        return measurement

    def paper(self):
        return self.command("GET", self.bench)["current"]["print"]

    def wait_for(self, state):
        return wait_until("the sheet to be " + state, lambda: self.paper()["state"] == state and self.paper(), 20)

    def answer(self, choice):
        """Taps a button of the page as it is without a script."""
        _, page = self.ask("GET", self.bench, None, self.cookie)
        path = "/api/v1/deliveries/%d/answer" % self.paper()["id"]
        self.assertIn(b'action="%s"' % path.encode(), page)
        self.assertIn(b"Print at 216 in Science/2/216/door, or inbox only?", page)
        answer, body = self.form(path, {"answer": choice, "then": self.bench})
        self.assertEqual(answer.status, 303, body)

    def test_another_room_is_asked_for_at_the_bench_and_printed_in(self):
        measurement = self.keep_and_print()
        self.assertEqual(self.printer.printed(), [])
        self.answer("print")
        self.assertEqual(self.wait_for("done")["reason"], "Printed at 216, by the door.")
        self.assertEqual(len(self.printer.printed()), 1)
        _, page = self.ask("GET", self.bench, None, self.cookie)
        self.assertIn(b"Printed at 216, by the door.", page)
        delivery, = self.command("GET", "/measurements/%d" % measurement)["deliveries"]
        states = [event["state"] for event in delivery["events"]]
        self.assertEqual((states[0], states[-1]), ("done", "waiting"))
        self.assertTrue({"asking", "sending", "printing"} <= set(states), states)
        self.assertTrue(all(event["at_us"] > 0 and event["reason"] for event in delivery["events"]))

    def test_inbox_only_stays_off_paper(self):
        before = len(self.printer.printed())
        self.keep_and_print()
        self.answer("inbox")
        self.assertEqual(self.wait_for("inbox")["reason"], "Inbox only, as chosen.")
        self.assertEqual(len(self.printer.printed()), before)


if __name__ == "__main__":
    require_built()
    unittest.main()
