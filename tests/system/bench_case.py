"""A gateway with one bench at work, for tests of what becomes of its sheets."""
import http.client
import json
import os
import time
import unittest
import urllib.parse

import daemon
import delivery_case
from documents_data import jcamp
from daemon import capture_field, digest_of
from lab.printers import Printer


class BenchCase(unittest.TestCase):
    """One gateway, instrument, printer in another room, and student signed on. Subclasses set what differs."""

    course = {"code": "CHEM 201", "mailing": "none"}
    students = "number,given,family,login\n1,Maya,Rowan,maya\n"

    @classmethod
    def setUpClass(cls):
        folder = os.path.join(delivery_case.FOLDER.name, cls.__name__)
        os.makedirs(folder)
        cls.printer = Printer("216", "Science/2/216/door", os.path.join(folder, "printer"), delivery_case.BUS, 0.2)
        cls.printer.start()
        cls.before_the_gateway(folder)
        cls.daemon = daemon.Daemon(folder, plain=True)
        cls.addClassCleanup(cls.printer.stop)
        cls.addClassCleanup(cls.daemon.stop)
        cls.set_up_bench()

    @classmethod
    def before_the_gateway(cls, folder):
        """For what the gateway's settings need; daemon.CONFIG is what they are."""

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
        cls.command("POST", "/courses", cls.course)
        cls.command("POST", "/sections", {"course": "CHEM 201", "section": "014"})
        cls.command("POST", "/roster", {"course": "CHEM 201", "section": "014", "dry_run": False,
                                        "csv": cls.students})
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

    def measure(self, paper):
        """One more spectrum, kept with or without paper; its measurement."""
        type(self).number += 1
        body, now = jcamp("run %d" % self.number), time.time_ns() // 1000
        fields = {"Authorization": "Bearer " + self.token, "Content-Digest": digest_of(body),
                  "Wavepost-Capture": capture_field(self.number, path="%d.jdx" % self.number, mtime_us=now,
                                                    captured_us=now)}
        answer, receipt = self.ask("POST", "/api/v1/captures", body, fields)
        self.assertEqual(answer.status, 201, receipt)
        measurement = self.command("GET", self.bench)["current"]["id"]
        self.command("POST", self.bench + "/keep", {"measurement": measurement, "print": paper})
        return measurement
