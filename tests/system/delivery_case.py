"""What the tests of deliveries share: the dispatcher as a process, real printers, an end in order.

WAVEPOST_BUILD names the build folder (default: build); the driver in it is tests/unit/dispatch.
A test module sets setUpModule, tearDownModule = set_up, tear_down.
"""
import json
import os
import select
import signal
import subprocess
import sys
import tempfile
import time
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.join(HERE, "..", "..")
sys.path[:0] = [HERE, os.path.join(ROOT, "deploy")]

from lab.printers import Bus, Printer  # noqa: E402
from lab.processes import Household  # noqa: E402

BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))
DRIVER = os.path.join(BUILD, "tests", "unit", "dispatch", "dispatch_driver")
BENCH = "Science/2/214/bench C"
HOUSE = Household()
FOLDER = tempfile.TemporaryDirectory(prefix="wavepost-dispatch-")
BUS = None


def set_up():
    global BUS
    os.chmod(FOLDER.name, 0o755)
    HOUSE.__enter__()
    BUS = HOUSE.add(Bus(os.path.join(FOLDER.name, "bus"))).start()


def tear_down():
    HOUSE.__exit__(None, None, None)
    FOLDER.cleanup()


class Driver:
    """The dispatcher as a process; `ask` sends one command and returns its answer."""

    name = "dispatch driver"

    def __init__(self, folder, *options):
        self.folder, self.options, self.child = folder, options, None

    def start(self, *more):
        os.makedirs(self.folder, exist_ok=True)
        argv = [DRIVER, "--data", self.folder, "--watch", "1000", "--follow", "300", "--answer", "1500"]
        with open(os.path.join(self.folder, "log"), "ab") as log:
            self.child = subprocess.Popen(argv + list(self.options) + list(more), stdin=subprocess.PIPE,
                                          stdout=subprocess.PIPE, stderr=log)
        assert self._answer(20)["status"] == "ready"
        return self

    def _answer(self, seconds):
        if not select.select([self.child.stdout], [], [], seconds)[0]:
            raise AssertionError("the driver did not answer in %g s" % seconds)
        line = self.child.stdout.readline()
        if not line:
            with open(os.path.join(self.folder, "log"), encoding="utf-8", errors="replace") as log:
                raise AssertionError("the driver ended: " + log.read()[-2000:])
        return json.loads(line)

    def ask(self, **command):
        self.child.stdin.write((json.dumps(command) + "\n").encode())
        self.child.stdin.flush()
        return self._answer(20)

    def do(self, **command):
        answer = self.ask(**command)
        assert answer["status"] == "ok", answer
        return answer.get("out")

    def died(self, seconds=20):
        status = self.child.wait(seconds)
        self.child.stdin.close()
        self.child.stdout.close()
        return status == -signal.SIGKILL

    def kill(self):
        self.child.kill()
        self.died(10)

    def stop(self):
        if self.child and self.child.poll() is None:
            self.child.stdin.close()
            try:
                self.child.wait(40)
            except subprocess.TimeoutExpired:
                self.child.kill()
                self.child.wait(5)
        if self.child and not self.child.stdout.closed:
            self.child.stdout.close()

    # What tests speak of.

    def printer(self, printer, **more):
        body = dict(name=printer.name, uri=printer.uri, place=printer.place, **more)
        return self.do(act="printer-add", body=body)["id"]

    def instrument(self, place=BENCH, **more):
        self.do(instrument=dict(id=1, place=place, **more))

    def enqueue(self, **wanted):
        return self.do(enqueue=wanted)["id"]

    def delivery(self, number):
        return self.do(act="delivery", param=str(number))

    def said(self, number):
        """Every reason there was so far."""
        return [event["reason"] for event in self.delivery(number)["events"]]

    def wait(self, number, *states, seconds=20):
        limit = time.monotonic() + seconds
        while True:
            now = self.delivery(number)
            if now["state"] in states:
                return now
            if time.monotonic() > limit:
                raise AssertionError("not %s in %g s: %s" % ("/".join(states), seconds, json.dumps(now, indent=1)))
            time.sleep(0.05)


class DeliveryTest(unittest.TestCase):
    """What the tests share: a folder, and members that are stopped in the end."""

    count = 0

    def setUp(self):
        DeliveryTest.count += 1
        self.folder = os.path.join(FOLDER.name, "t%d" % DeliveryTest.count)
        self.members = []

    def tearDown(self):
        for member in reversed(self.members):
            member.stop()

    def make_printer(self, name, place=BENCH, seconds=0.2, tls=False):
        printer = Printer(name, place, os.path.join(self.folder, name), BUS, seconds)
        self.members.append(printer)
        printer.start()
        if tls:
            printer.__class__ = type("TlsPrinter", (Printer,), {
                "uri": property(lambda self: "ipps://localhost:%d/ipp/print" % self.port)})
        return printer

    def make_driver(self, *options):
        driver = Driver(os.path.join(self.folder, "data"), *options)
        self.members.append(driver)
        return driver.start()

    def papers(self, *printers):
        return [sheet.job_name for printer in printers for sheet in printer.printed()]
