"""Deliveries against real printers (ippeveprinter) and a real mail server (exim).

WAVEPOST_BUILD names the build folder (default: build); the driver in it is tests/unit/dispatch.
"""
import email
import email.policy
import json
import os
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.join(HERE, "..", "..")
sys.path[:0] = [HERE, os.path.join(ROOT, "deploy")]

from cupsd import Cupsd  # noqa: E402
from lab.mail import MailServer  # noqa: E402
from lab.printers import Bus, Printer  # noqa: E402
from lab.processes import Household, wait_until  # noqa: E402
from plain_ipp import PlainPrinter  # noqa: E402

BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))
DRIVER = os.path.join(BUILD, "tests", "unit", "dispatch", "dispatch_driver")
BENCH = "Science/2/214/bench C"
HOUSE = Household()
FOLDER = tempfile.TemporaryDirectory(prefix="wavepost-dispatch-")
BUS = None


def setUpModule():
    global BUS
    os.chmod(FOLDER.name, 0o755)
    HOUSE.__enter__()
    BUS = HOUSE.add(Bus(os.path.join(FOLDER.name, "bus"))).start()


def tearDownModule():
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


class PrinterTest(DeliveryTest):
    def test_a_sheet_comes_out_of_the_nearest_printer_once(self):
        near, far = self.make_printer("214"), self.make_printer("216", "Science/2/216")
        driver = self.make_driver()
        driver.printer(far)
        driver.printer(near, where="by the door")
        driver.instrument()
        number = driver.enqueue()
        done = driver.wait(number, "done")
        self.assertEqual(done["reason"], "Printed at 214, by the door.")
        self.assertEqual([e["state"] for e in done["events"]], ["waiting", "sending", "printing", "done"])
        self.assertEqual(done["events"][1]["reason"], "Printing at 214, by the door.")
        self.assertEqual(self.papers(near, far), [str(number)])
        with open(near.printed()[0].path, "rb") as sheet:
            self.assertTrue(sheet.read().startswith(b"%PDF"))
        seen = {p["name"]: p for p in driver.do(act="printers")["printers"]}
        self.assertEqual((seen["214"]["state"], seen["214"]["sheets"]), ("ready", 0))

    def test_a_printer_with_its_own_certificate_prints_and_another_certificate_is_refused(self):
        printer = self.make_printer("214", tls=True)
        driver = self.make_driver()
        identity = driver.printer(printer)
        driver.instrument()
        driver.wait(driver.enqueue(), "done")
        printer.stop()
        for name in os.listdir(os.path.join(printer.folder, "keys")):
            os.unlink(os.path.join(printer.folder, "keys", name))
        printer.start()
        number = driver.enqueue()
        wait_until("the other certificate to be noticed",
                   lambda: "certificate" in driver.do(act="printers")["printers"][0]["state_text"], 15)
        self.assertEqual(driver.delivery(number)["state"], "waiting")
        driver.do(act="printer-change", param=str(identity), body={"forget_certificate": True})
        driver.wait(number, "done")
        self.assertEqual(len(self.papers(printer)), 2)

    def test_an_empty_printer_sends_its_sheets_to_the_next_in_the_room_within_15_s(self):
        first, second = self.make_printer("214"), self.make_printer("214-B")
        driver = self.make_driver("--watch", "10000")
        one = driver.printer(first)
        driver.printer(second, where="by the door")
        driver.instrument(first=one)
        driver.wait(driver.enqueue(), "done")
        first.take_paper_out()
        began = time.monotonic()
        number = driver.enqueue()
        done = driver.wait(number, "done", seconds=15)
        self.assertLess(time.monotonic() - began, 15)
        self.assertIn("Printer 214 has no paper. Printing at 214-B, by the door.", driver.said(number))
        first.put_paper_in()
        time.sleep(3)
        self.assertEqual(self.papers(first, second).count(str(number)), 1)

    def test_paper_that_runs_out_while_jobs_wait_moves_them_and_none_is_printed_twice(self):
        first, second = self.make_printer("214", seconds=1.0), self.make_printer("214-B")
        driver = self.make_driver()
        one = driver.printer(first)
        driver.printer(second)
        driver.instrument(first=one)
        numbers = [driver.enqueue() for _ in range(4)]
        driver.wait(numbers[0], "printing", "done")
        first.take_paper_out()
        wait_until("the last one to be moved", lambda: len(second.printed()) >= 1, 15)
        time.sleep(4)
        first.put_paper_in()
        for number in numbers:
            driver.wait(number, "done", seconds=30)
        time.sleep(3)
        self.assertEqual(sorted(self.papers(first, second)), sorted(str(n) for n in numbers),
                         json.dumps([driver.delivery(n) for n in numbers], indent=1))

    def test_an_only_printer_without_paper_keeps_the_sheet_and_says_so(self):
        printer = self.make_printer("214")
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        printer.take_paper_out()
        number = driver.enqueue()
        wait_until("it to say why", lambda: "has no paper" in driver.delivery(number)["reason"], 15)
        self.assertNotEqual(driver.delivery(number)["state"], "done")
        printer.put_paper_in()
        driver.wait(number, "done")
        self.assertEqual(self.papers(printer), [str(number)])

    def test_another_room_is_only_asked_about(self):
        here, there = self.make_printer("214"), self.make_printer("216", "Science/2/216")
        driver = self.make_driver()
        driver.printer(here)
        driver.printer(there)
        driver.instrument()
        here.stop()
        printed, kept = driver.enqueue(), driver.enqueue()
        asked = driver.wait(printed, "asking")
        driver.wait(kept, "asking")
        self.assertEqual(asked["reason"],
                         "Printer 214 does not answer. Print at 216 in Science/2/216, or inbox only?")
        time.sleep(1)
        self.assertEqual(self.papers(there), [])
        self.assertEqual(driver.ask(act="answer", param=str(printed), body={"answer": "print"}, **{"as": 5})
                         ["status"], "not found")
        driver.do(act="answer", param=str(printed), body={"answer": "print"}, **{"as": "bench"})
        driver.do(act="answer", param=str(kept), body={"answer": "inbox"}, **{"as": 1})
        driver.wait(printed, "done")
        self.assertEqual(driver.delivery(kept)["state"], "inbox")
        self.assertEqual(self.papers(there), [str(printed)])

    def test_a_question_is_dropped_when_the_own_printer_is_back(self):
        here, there = self.make_printer("214"), self.make_printer("216", "Science/2/216")
        driver = self.make_driver()
        driver.printer(here)
        driver.printer(there)
        driver.instrument()
        here.stop()
        number = driver.enqueue()
        driver.wait(number, "asking")
        here.start()
        driver.wait(number, "done")
        self.assertEqual((self.papers(here), self.papers(there)), ([str(number)], []))

    def test_a_hung_printer_stops_nobody_else(self):
        hung, well = self.make_printer("214"), self.make_printer("300", "Science/3/300")
        driver = self.make_driver()
        one, two = driver.printer(hung), driver.printer(well)
        driver.instrument(first=one)
        driver.wait(driver.enqueue(), "done")
        hung.program.signal(signal.SIGSTOP)
        stuck = driver.enqueue()
        began = time.monotonic()
        for _ in range(5):
            driver.wait(driver.enqueue(printer=two), "done", seconds=10)
        self.assertLess(time.monotonic() - began, 20)
        self.assertIn(driver.delivery(stuck)["state"], ("sending", "waiting", "asking"))
        hung.program.signal(signal.SIGCONT)
        driver.wait(stuck, "done", seconds=30)
        self.assertEqual(self.papers(hung, well).count(str(stuck)), 1)

    def test_a_printer_that_hangs_with_the_sheet_makes_it_uncertain_until_it_answers_again(self):
        printer, other = self.make_printer("214", seconds=2.0), self.make_printer("214-B")
        driver = self.make_driver("--silence", "3000")
        one = driver.printer(printer)
        driver.printer(other)
        driver.instrument(first=one)
        number = driver.enqueue()
        driver.wait(number, "printing")
        printer.program.signal(signal.SIGSTOP)
        unsure = driver.wait(number, "uncertain", seconds=25)
        self.assertIn("Somebody must look", unsure["reason"])
        self.assertEqual(self.papers(other), [])
        printer.program.signal(signal.SIGCONT)
        driver.wait(number, "done", seconds=25)
        self.assertEqual(self.papers(printer, other), [str(number)])

    def test_a_printer_that_forgot_the_job_leaves_the_decision_to_a_person(self):
        printer = self.make_printer("214", seconds=30)
        driver = self.make_driver("--silence", "3000")
        driver.printer(printer)
        driver.instrument()
        number = driver.enqueue()
        driver.wait(number, "printing")
        printer.program.kill()
        printer.seconds = 0.2
        printer.start()
        unsure = driver.wait(number, "uncertain", seconds=25)
        self.assertEqual(unsure["reason"],
                         "Printer 214 no longer knows the job. Somebody must look whether the sheet came out.")
        self.assertEqual(self.papers(printer), [])
        driver.do(act="resolve", param=str(number), body={"found": "not printed"})
        driver.wait(number, "done")
        self.assertEqual(self.papers(printer), [str(number)])
        self.assertEqual(driver.ask(act="resolve", param=str(number), body={"found": "printed"})["status"],
                         "conflict")

    def test_a_crash_between_sending_and_recording_prints_exactly_once(self):
        printer, other = self.make_printer("214", seconds=1.0), self.make_printer("214-B")
        driver = self.make_driver()
        one = driver.printer(printer)
        driver.printer(other)
        driver.instrument(first=one)
        driver.stop()
        driver.start("--crash-at", "printing")
        number = driver.enqueue()
        self.assertTrue(driver.died())
        driver.start()
        driver.wait(number, "done")
        time.sleep(2)
        self.assertEqual(self.papers(printer, other), [str(number)])

    def test_a_crash_between_printing_and_recording_prints_exactly_once(self):
        printer = self.make_printer("214")
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        driver.stop()
        driver.start("--crash-at", "done")
        number = driver.enqueue()
        self.assertTrue(driver.died())
        driver.start()
        driver.wait(number, "done")
        time.sleep(2)
        self.assertEqual(self.papers(printer), [str(number)])

    def test_crashes_at_any_moment_lose_and_double_nothing(self):
        printer = self.make_printer("214", seconds=0.1)
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        numbers = []
        for round_ in range(12):
            numbers += [driver.enqueue() for _ in range(3)]
            time.sleep(0.03 + 0.11 * round_)
            driver.kill()
            driver.start()
        for number in numbers:
            driver.wait(number, "done", seconds=60)
        time.sleep(2)
        self.assertEqual(sorted(self.papers(printer)), sorted(str(n) for n in numbers))

    def test_a_printer_that_gives_jobs_up_ends_in_failed_with_its_words_and_can_be_retried(self):
        printer = self.make_printer("214")
        command = os.path.join(printer.folder, "print-command")
        with open(command, encoding="utf-8") as file:
            good = file.read()
        with open(command, "w", encoding="utf-8") as file:
            file.write("#!/bin/sh\necho 'ERROR: broken' >&2\nexit 1\n")
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        number = driver.enqueue()
        failed = driver.wait(number, "failed", seconds=90)
        self.assertEqual(failed["reason"], "Printer 214 gave the sheet up, 4 times. Tell staff.")
        with open(command, "w", encoding="utf-8") as file:
            file.write(good)
        driver.do(act="retry", param=str(number))
        driver.wait(number, "done")
        self.assertEqual(self.papers(printer), [str(number)])

    def test_a_sheet_cancelled_or_moved_while_its_page_is_made_is_never_sent_again_by_itself(self):
        slow, other = self.make_printer("214", seconds=3.0), self.make_printer("300", "Science/3/300")
        driver = self.make_driver()
        one, two = driver.printer(slow), driver.printer(other)
        driver.instrument(first=one)
        cancelled = driver.enqueue()
        driver.wait(cancelled, "printing")
        driver.do(act="cancel", param=str(cancelled), **{"as": 1})
        self.assertIn("may have come out", driver.wait(cancelled, "cancelled")["reason"])
        moved = driver.enqueue()
        driver.wait(moved, "printing")
        driver.do(act="redirect", param=str(moved), body={"printer": two})
        self.assertIn("was at work on the page", driver.wait(moved, "uncertain")["reason"])
        time.sleep(2)
        self.assertEqual(self.papers(other), [])
        driver.do(act="resolve", param=str(moved), body={"found": "printed"})
        self.assertEqual(driver.delivery(moved)["state"], "done")

    def test_paused_and_drained_printers_get_nothing_new(self):
        one, two = self.make_printer("214", seconds=1.0), self.make_printer("214-B")
        driver = self.make_driver()
        first, second = driver.printer(one), driver.printer(two)
        driver.instrument(first=first)
        running = driver.enqueue()
        driver.wait(running, "printing")
        driver.do(act="printer-drain", param=str(first), body={"reason": "new toner"})
        away = driver.enqueue()
        driver.wait(away, "done")
        driver.wait(running, "done")
        mode = lambda: [p["mode"] for p in driver.do(act="printers")["printers"] if p["id"] == first][0]
        wait_until("draining to end", lambda: mode() == "paused", 10)
        waiting = driver.enqueue(printer=first)
        wait_until("it to say why", lambda: "staff" in driver.delivery(waiting)["reason"], 10)
        time.sleep(1)
        driver.do(act="printer-resume", param=str(first))
        driver.wait(waiting, "done")
        self.assertEqual((self.papers(one), self.papers(two)), ([str(running), str(waiting)], [str(away)]))
        self.assertEqual(driver.ask(act="printer-remove", param=str(first))["status"], "ok")
        self.assertEqual(len(driver.do(act="printers")["printers"]), 1)

    def test_the_days_limit_sends_sheets_to_the_inbox_with_a_kind_word(self):
        printer = self.make_printer("214")
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        first = driver.enqueue(course=3, pages=2, pages_a_day=3)
        over = driver.do(enqueue=dict(course=3, pages=2, pages_a_day=3))
        other = driver.enqueue(course=3, pages=2, pages_a_day=3, person=2)
        self.assertIn("in your inbox", over["text"])
        driver.wait(first, "done")
        driver.wait(other, "done")
        self.assertEqual(driver.delivery(over["id"])["state"], "inbox")
        self.assertEqual(len(self.papers(printer)), 2)

    def test_a_sheet_that_cannot_be_made_fails_with_the_reason(self):
        printer = self.make_printer("214")
        driver = self.make_driver()
        driver.printer(printer)
        driver.instrument()
        failed = driver.wait(driver.enqueue(measurement=404), "failed")
        self.assertEqual(failed["reason"], "The sheet could not be made: the spectrum was removed")

    def test_without_any_printer_a_sheet_waits_and_says_so(self):
        driver = self.make_driver()
        driver.instrument()
        number = driver.enqueue()
        wait_until("it to say why", lambda: driver.delivery(number)["reason"]
                   == "No printer is set up. The sheet waits.", 10)
        printer = self.make_printer("214")
        driver.printer(printer)
        driver.wait(number, "done")


class CupsdTest(DeliveryTest):
    """A print server with a queue of its own: a stopped printer, and jobs that can be taken back."""

    def make_queue(self, name, seconds=0.2):
        queue = Cupsd(name, BENCH, os.path.join(self.folder, name), seconds)
        self.members.append(queue)
        return queue.start()

    def test_a_queue_prints_and_the_job_carries_the_deliverys_id(self):
        queue = self.make_queue("q214")
        driver = self.make_driver()
        driver.printer(queue)
        driver.instrument()
        number = driver.enqueue()
        driver.wait(number, "done")
        self.assertEqual(queue.printed(), [str(number)])

    def test_jobs_of_a_stopped_printer_are_taken_back_and_come_out_elsewhere_once(self):
        queue, other = self.make_queue("q214", seconds=1.0), self.make_printer("214-B")
        driver = self.make_driver()
        one = driver.printer(queue)
        driver.printer(other, where="by the door")
        driver.instrument(first=one)
        driver.wait(driver.enqueue(), "done")
        queue.take_paper_out()
        began = time.monotonic()
        numbers = [driver.enqueue() for _ in range(3)]
        for number in numbers:
            driver.wait(number, "done", seconds=30)
            self.assertIn("Printer q214 has no paper. Printing at 214-B, by the door.", driver.said(number))
        self.assertLess(time.monotonic() - began, 15)
        queue.put_paper_in()
        time.sleep(3)
        self.assertEqual(sorted(self.papers(other)), sorted(str(n) for n in numbers))
        self.assertEqual(len(queue.printed()), 1)

    def test_a_crash_with_jobs_in_the_queue_prints_each_once(self):
        queue = self.make_queue("q214", seconds=1.0)
        driver = self.make_driver()
        driver.printer(queue)
        driver.instrument()
        driver.stop()
        driver.start("--crash-at", "printing")
        numbers = [driver.enqueue() for _ in range(3)]
        self.assertTrue(driver.died())
        driver.start()
        for number in numbers:
            driver.wait(number, "done", seconds=30)
        time.sleep(2)
        self.assertEqual(sorted(queue.printed()), sorted(str(n) for n in numbers))


class PlainTest(DeliveryTest):
    """A printer without Create-Job: only its list of jobs tells what became of a sheet."""

    def setUp(self):
        super().setUp()
        self.printer = PlainPrinter(BENCH)
        self.members.append(self.printer)
        self.driver = self.make_driver("--silence", "2000")
        self.driver.printer(self.printer)
        self.driver.instrument()

    def crash(self):
        self.driver.stop()
        self.driver.start("--crash-at", "printing")
        number = self.driver.enqueue()
        self.assertTrue(self.driver.died())
        return number

    def test_it_prints(self):
        number = self.driver.enqueue()
        self.driver.wait(number, "done")
        self.assertEqual(self.printer.documents, [str(number)])

    def test_after_a_crash_the_job_is_found_by_its_name(self):
        number = self.crash()
        self.driver.start()
        self.driver.wait(number, "done")
        self.assertEqual(self.printer.documents, [str(number)])

    def test_a_connection_lost_after_the_sheet_was_taken_prints_it_once(self):
        self.printer.drops = True
        number = self.driver.enqueue()
        self.driver.wait(number, "done")
        self.assertEqual(self.printer.documents, [str(number)])

    def test_after_a_crash_a_printer_without_history_leaves_it_to_a_person(self):
        self.printer.remembers = False
        number = self.crash()
        self.driver.start()
        self.driver.wait(number, "uncertain")
        time.sleep(2)
        self.assertEqual(self.printer.documents, [str(number)])

    def test_a_job_that_is_surely_not_there_is_sent_again(self):
        self.printer.print_before()
        number = self.crash()
        self.printer.jobs = self.printer.jobs[:1]
        self.printer.documents.clear()
        time.sleep(6)
        self.driver.start()
        self.driver.wait(number, "done")
        self.assertEqual(self.printer.documents, [str(number)])


class RawPrinter:
    """Port 9100: keeps what each connection brought."""

    name = "port 9100"

    def __init__(self):
        self.documents = []
        self.stingy = False  # reads nothing: as a printer without paper
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.uri = "socket://127.0.0.1:%d" % self.socket.getsockname()[1]
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self):
        while True:
            try:
                connection, _ = self.socket.accept()
            except OSError:
                return
            with connection:
                if self.stingy:
                    time.sleep(8)
                    continue
                connection.settimeout(5)
                document = b""
                while data := connection.recv(65536):
                    document += data
                self.documents.append(document)

    def stop(self):
        self.socket.shutdown(socket.SHUT_RDWR)
        self.socket.close()


class RawTest(DeliveryTest):
    def setUp(self):
        super().setUp()
        self.raw = RawPrinter()
        self.members.append(self.raw)
        self.driver = self.make_driver()

    def add(self, language="pdf"):
        self.driver.do(act="printer-add", body=dict(name="214", uri=self.raw.uri, place=BENCH, language=language))
        self.driver.instrument()

    def test_port_9100_takes_the_pdf_and_nobody_pretends_to_know_more(self):
        self.add()
        done = self.driver.wait(self.driver.enqueue(), "done")
        self.assertEqual(done["reason"], "Sent to 214, which cannot report whether it came out.")
        self.assertTrue(self.raw.documents[0].startswith(b"%PDF"))
        self.assertEqual(self.driver.do(act="printers")["printers"][0]["state"], "unknown")

    def test_postscript_and_pcl_printers_get_what_they_understand(self):
        self.add("postscript")
        self.driver.wait(self.driver.enqueue(), "done")
        self.assertTrue(self.raw.documents[0].startswith(b"%!PS"))
        printer = self.driver.do(act="printers")["printers"][0]["id"]
        self.driver.do(act="printer-change", param=str(printer), body={"language": "pcl"})
        self.driver.wait(self.driver.enqueue(), "done")
        self.assertTrue(self.raw.documents[1].startswith(b"\x1b"))
        left = [n for n in os.listdir(self.driver.folder) if n.startswith("sheet-")]
        self.assertEqual(left, [])

    def test_a_crash_in_the_middle_is_uncertain(self):
        self.add()
        self.driver.stop()
        self.driver.start("--crash-at", "done")
        number = self.driver.enqueue()
        self.assertTrue(self.driver.died())
        self.driver.start()
        unsure = self.driver.wait(number, "uncertain")
        self.assertIn("does not report what it has printed", unsure["reason"])
        self.assertEqual(len(self.raw.documents), 1)

    def test_a_raw_printer_that_is_off_is_tried_until_it_is_on(self):
        self.add()
        self.raw.stop()
        number = self.driver.enqueue()
        wait_until("it to say why", lambda: "cannot be reached" in self.driver.delivery(number)["reason"], 15)
        port = int(self.raw.uri.rsplit(":", 1)[1])
        self.raw.socket = socket.create_server(("127.0.0.1", port))
        threading.Thread(target=self.raw._serve, daemon=True).start()
        self.driver.wait(number, "done")


class MailTest(DeliveryTest):
    def setUp(self):
        super().setUp()
        os.makedirs(self.folder)
        self.server = MailServer(os.path.join(self.folder, "mail"), "college.example", ["student", "person2"])
        self.members.append(self.server)
        self.server.start()

    def make_mailing(self, *options):
        return self.make_driver("--smtp", "smtp://localhost:%d" % self.server.port, "--tls", "1",
                                "--user", self.server.login, "--password", self.server.password,
                                "--ca", self.server.certificate, "--backoff", "500", *options)

    def test_a_sheet_arrives_by_starttls_and_password_with_its_pdf(self):
        driver = self.make_mailing()
        number = driver.enqueue(kind="mail", measurement=10042)
        self.assertEqual(driver.wait(number, "done")["reason"], "Mailed.")
        mail, = wait_until("the mail", lambda: self.server.mailbox("student"), 10)
        self.assertEqual(mail.subject, "Your spectrum 10042K: <b>benzo\u00efn & \u6c34</b>")
        (name, data), = mail.pdfs()
        self.assertEqual(name, "10042K.pdf")
        self.assertTrue(data.startswith(b"%PDF") and data.rstrip().endswith(b"%%EOF"))
        with open(mail.path, "rb") as file:
            message = email.message_from_binary_file(file, policy=email.policy.default)
        self.assertIsNone(message["Bcc"])
        self.assertEqual(message["Auto-Submitted"], "auto-generated")
        self.assertEqual(message["To"].addresses[0].addr_spec, "student@college.example")
        self.assertIn("Zo\u00eb", message["To"].addresses[0].display_name)
        html = message.get_body(("html",)).get_content()
        self.assertIn("&lt;b&gt;benzo\u00efn &amp; \u6c34&lt;/b&gt;", html)
        self.assertIn('href="https://gateway.example/m/10042"', html)
        self.assertIn("https://gateway.example/#/account", mail.text)
        self.assertEqual(self.server.mailbox("person2"), [])

    def test_a_class_makes_one_digest_and_each_makes_one_mail_each(self):
        driver = self.make_mailing()
        over = int((time.time() + 2) * 1e6)
        digest = [driver.enqueue(kind="mail", measurement=100 + i, due_us=over) for i in range(3)]
        links = [driver.enqueue(kind="mail", person=2, measurement=200 + i, mailing="link", due_us=over)
                 for i in range(2)]
        for number in digest + links:
            driver.wait(number, "done")
        mails = wait_until("the mails", lambda: self.server.mail()[1:] and self.server.mail(), 10)
        self.assertEqual(sorted(len(m.pdfs()) for m in mails), [0, 3])
        self.assertEqual(sorted(m.subject for m in mails), ["Your 2 spectra", "Your 3 spectra"])
        each = [driver.enqueue(kind="mail", measurement=300 + i, mailing="each") for i in range(2)]
        for number in each:
            driver.wait(number, "done")
        wait_until("two more", lambda: len(self.server.mail()) == 4, 10)

    def test_a_person_may_choose_no_mail_or_links_only(self):
        driver = self.make_mailing()
        driver.do(act="mail-choose", body={"choice": "none"}, **{"as": 1})
        number = driver.enqueue(kind="mail")
        self.assertEqual(driver.delivery(number)["state"], "inbox")
        driver.do(act="mail-choose", body={"choice": "link"}, **{"as": 1})
        driver.wait(driver.enqueue(kind="mail"), "done")
        mail, = wait_until("the mail", lambda: self.server.mailbox("student"), 10)
        self.assertEqual(mail.pdfs(), [])

    def test_a_mailbox_that_does_not_exist_fails_at_once_with_the_reason(self):
        driver = self.make_mailing()
        failed = driver.wait(driver.enqueue(kind="mail", person=3), "failed")
        self.assertEqual(failed["attempts"], 1)
        self.assertIn("(550)", failed["reason"])

    def test_a_server_that_is_down_is_tried_again_until_it_is_back(self):
        driver = self.make_mailing()
        self.server.stop()
        number = driver.enqueue(kind="mail")
        wait_until("a first try", lambda: driver.delivery(number)["attempts"] >= 2, 15)
        self.assertIn("The mail server cannot be reached.", driver.said(number))
        self.server.start()
        driver.wait(number, "done", seconds=30)
        wait_until("the mail", lambda: len(self.server.mailbox("student")) == 1, 10)

    def test_a_refusal_for_now_is_tried_again(self):
        driver = self.make_mailing()
        config = os.path.join(self.server.folder, "exim.conf")
        with open(config, encoding="utf-8") as file:
            good = file.read()
        self.server.stop()
        with open(config, "w", encoding="utf-8") as file:
            file.write(good.replace("check_rcpt:\n", "check_rcpt:\n  defer message = 4.2.2 mailbox is full\n"))
        self.server.program.start()
        number = driver.enqueue(kind="mail")
        wait_until("some tries", lambda: driver.delivery(number)["attempts"] >= 3, 20)
        self.assertIn(driver.delivery(number)["state"], ("waiting", "sending"))
        self.assertIn("The mailbox is full. (451)", driver.said(number))
        self.server.stop()
        self.server.start()
        driver.wait(number, "done", seconds=30)

    def test_an_untrusted_certificate_and_a_wrong_password_send_nothing(self):
        other = MailServer(os.path.join(self.folder, "other"), "college.example", ["student"])
        other._prepare()
        driver = self.make_mailing("--ca", other.certificate)
        number = driver.enqueue(kind="mail")
        wait_until("a try", lambda: driver.delivery(number)["attempts"] >= 2, 15)
        self.assertIn("The mail server's certificate is not trusted.", driver.said(number))
        driver.stop()
        driver.start("--ca", self.server.certificate, "--password", "wrong")
        wait_until("a try", lambda: "The mail server does not let the gateway sign in. (535)" in driver.said(number), 15)
        driver.wait(number, "waiting")
        self.assertEqual(self.server.mail(), [])

    def test_a_crash_while_sending_sends_again_with_the_same_message_id(self):
        driver = self.make_mailing("--crash-at", "done")
        number = driver.enqueue(kind="mail")
        self.assertTrue(driver.died())
        driver.start("--crash-at", "")
        driver.wait(number, "done")
        mails = wait_until("both", lambda: self.server.mailbox("student")[1:] and self.server.mailbox("student"), 10)
        identities = set()
        for mail in mails:
            with open(mail.path, "rb") as file:
                identities.add(email.message_from_binary_file(file)["Message-ID"].strip())
        self.assertEqual((len(mails), len(identities)), (2, 1))

    def test_without_a_mail_server_mails_wait_and_say_so(self):
        driver = self.make_driver()
        number = driver.enqueue(kind="mail")
        wait_until("it to say why", lambda: "not set up" in driver.delivery(number)["reason"], 10)
        self.assertEqual(driver.do(act="cancel", param=str(number), **{"as": 1})["state"], "cancelled")


if __name__ == "__main__":
    unittest.main()
