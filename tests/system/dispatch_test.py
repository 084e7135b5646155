"""Deliveries against real printers (ippeveprinter): paper, hangs, crashes, questions, limits."""
import json
import os
import signal
import sys
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from delivery_case import DeliveryTest, set_up, tear_down  # noqa: E402
from lab.processes import wait_until  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


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
                         "Printer 214 does not answer. Print in room 216, or inbox only?")
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


if __name__ == "__main__":
    unittest.main()
