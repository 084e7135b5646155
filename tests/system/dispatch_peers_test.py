"""Deliveries to other kinds of printers: a print server, Print-Job alone, and port 9100."""
import os
import socket
import sys
import threading
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from delivery_case import BENCH, DeliveryTest, set_up, tear_down  # noqa: E402
from cupsd import Cupsd  # noqa: E402
from lab.processes import wait_until  # noqa: E402
from plain_ipp import PlainPrinter  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


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


if __name__ == "__main__":
    unittest.main()
