"""The lab around the gateway: printers really print, mail really arrives, nothing outlives its parent."""
import os
import signal
import smtplib
import ssl
import subprocess
import sys
import tempfile
import threading
import time
import unittest
from email.message import EmailMessage

HERE = os.path.dirname(os.path.abspath(__file__))
DEPLOY = os.path.join(HERE, "..", "..", "deploy")
sys.path[:0] = [HERE, DEPLOY]

from lab.mail import MailServer  # noqa: E402
from lab.printers import Bus, Printer  # noqa: E402
from lab.processes import Household, LabError, Program, answers, free_port, wait_until  # noqa: E402
from pdf import page  # noqa: E402

HOUSE = Household()
FOLDER = tempfile.TemporaryDirectory(prefix="wavepost-lab-")


def setUpModule():
    os.chmod(FOLDER.name, 0o755)
    HOUSE.__enter__()


def tearDownModule():
    HOUSE.__exit__(None, None, None)
    FOLDER.cleanup()


def folder(name):
    return os.path.join(FOLDER.name, name)


def ipp(printer, test, *more):
    """Runs one of ipptool's own tests against the printer and returns what it says."""
    result = subprocess.run(["ipptool", "-tv", *more, printer.uri, test], timeout=30, text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
    return result.stdout


def state(printer):
    return [line for line in ipp(printer, "get-printer-attributes.test").splitlines()
            if "printer-state-reasons" in line][0]


class Printers(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        bus = HOUSE.add(Bus(folder("bus"))).start()
        cls.one = HOUSE.add(Printer("Door", "Science/2/214/door", folder("door"), bus)).start()
        cls.two = HOUSE.add(Printer("Window", "Science/2/214/window", folder("window"), bus)).start()

    def send(self, printer, text):
        path = folder("document.pdf")
        with open(path, "wb") as file:
            file.write(page([text]))
        said = ipp(printer, "print-job.test", "-f", path, "-d", "filetype=application/pdf")
        self.assertIn("[PASS]", said)
        with open(path, "rb") as file:
            return file.read()

    def test_a_printed_sheet_lies_byte_for_byte_in_the_tray_of_that_printer_alone(self):
        before = len(self.one.printed())
        there = len(self.two.printed())
        sent = self.send(self.two, "for the window")
        wait_until("a sheet at the window", lambda: len(self.two.printed()) == there + 1, 30)
        sheets = self.two.printed()
        with open(sheets[-1].path, "rb") as file:
            self.assertEqual(file.read(), sent)
        self.assertEqual(sheets[-1].printer, "Window")
        self.assertLess(abs(sheets[-1].when - time.time()), 30)
        self.assertEqual(len(self.one.printed()), before)

    def test_without_paper_a_job_waits_and_with_paper_it_comes_out(self):
        before = len(self.one.printed())
        self.assertNotIn("media-empty", state(self.one))
        self.one.take_paper_out()
        self.assertIn("media-empty", state(self.one))
        self.send(self.one, "patience")
        time.sleep(1.5)
        self.assertEqual(len(self.one.printed()), before)
        self.assertIn("media-needed", state(self.one))
        self.one.put_paper_in()
        wait_until("the waiting sheet", lambda: len(self.one.printed()) == before + 1, 30)
        self.assertNotIn("media-empty", state(self.one))

    def test_a_printer_says_where_it_stands(self):
        self.assertIn("Science/2/214/window", ipp(self.two, "get-printer-attributes.test"))

    def test_a_stopped_printer_comes_back_on_its_port_with_its_tray(self):
        count = len(self.two.printed()) + 1
        self.send(self.two, "before the cut")
        wait_until("a sheet at the window", lambda: len(self.two.printed()) == count, 30)
        self.two.stop()
        # What it had started to print with may hold the port a moment longer.
        wait_until("the port to be free", lambda: not answers(self.two.port, "localhost"), 20)
        self.two.start()
        self.assertEqual(len(self.two.printed()), count)
        self.send(self.two, "after the cut")
        wait_until("a sheet after the cut", lambda: len(self.two.printed()) == count + 1, 30)


class MailArrives(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.server = HOUSE.add(MailServer(folder("mail"), "tarnhill.example", ["m.rowan", "s.li"])).start()

    def session(self, login=True):
        trust = ssl.create_default_context(cafile=self.server.certificate)
        smtp = smtplib.SMTP("localhost", self.server.port, timeout=10)
        self.addCleanup(smtp.close)
        smtp.starttls(context=trust)
        if login:
            smtp.login(self.server.login, self.server.password)
        return smtp

    def message(self, person, subject="Your spectrum", pdf=b""):
        message = EmailMessage()
        message["From"] = "wavepost@tarnhill.example"
        message["To"] = self.server.address(person)
        message["Subject"] = subject
        message.set_content("Here it is.\n")
        message.add_attachment(pdf, maintype="application", subtype="pdf", filename="10042M.pdf")
        return message

    def test_a_mail_arrives_with_its_sheet_unharmed_in_that_mailbox_alone(self):
        sheet = page(["caf\u00e9"])
        self.session().send_message(self.message("s.li", "\u601d\u8fdc: 10042M", sheet))
        mail = wait_until("mail for s.li", lambda: self.server.mailbox("s.li"), 15)[0]
        self.assertEqual(mail.subject, "\u601d\u8fdc: 10042M")
        self.assertEqual(mail.text, "Here it is.\n")
        self.assertEqual(mail.pdfs(), [("10042M.pdf", sheet)])
        self.assertEqual(mail.mailbox, "s.li@tarnhill.example")
        self.assertEqual(self.server.mailbox("m.rowan"), [])

    def test_a_wrong_password_is_refused(self):
        with self.assertRaises(smtplib.SMTPAuthenticationError):
            self.session(login=False).login(self.server.login, "guess")

    def test_nothing_is_taken_without_authentication(self):
        with self.assertRaises(smtplib.SMTPRecipientsRefused):
            self.session(login=False).send_message(self.message("s.li"))

    def test_an_unknown_mailbox_and_another_domain_are_refused(self):
        for address in ("nobody@tarnhill.example", "m.rowan@elsewhere.example"):
            with self.assertRaises(smtplib.SMTPRecipientsRefused):
                self.session().sendmail("wavepost@tarnhill.example", [address], "Subject: x\n\nx\n")

    def test_a_closed_folder_is_named_before_anything_starts(self):
        closed = folder("closed")
        os.mkdir(closed, 0o700)
        with self.assertRaisesRegex(LabError, "closed"):
            MailServer(os.path.join(closed, "mail"), "tarnhill.example", ["x"]).start()


class Programs(unittest.TestCase):
    def program(self, name, script):
        return HOUSE.add(Program(name, ["sh", "-c", script], folder(name + ".log")))

    def test_waiting_for_a_line_returns_its_match(self):
        one = self.program("says", "echo starting; sleep 0.2; echo listening on https://localhost:4443; sleep 60")
        match = one.start().wait_for(r"^listening on (\S+)$", 10)
        self.assertEqual(match.group(1), "https://localhost:4443")

    def test_waiting_for_a_program_that_ends_fails_with_what_it_said(self):
        one = self.program("dies", "echo no such folder; exit 3").start()
        with self.assertRaisesRegex(LabError, r"(?s)ended with 3.*no such folder"):
            one.wait_for("listening", 10)

    def test_waiting_is_bounded(self):
        one = self.program("silent", "sleep 60").start()
        began = time.monotonic()
        with self.assertRaisesRegex(LabError, "took over"):
            one.wait_for("listening", 0.3)
        self.assertLess(time.monotonic() - began, 5)

    def test_a_program_that_ignores_being_asked_is_killed_with_its_children(self):
        script = "trap '' TERM; sleep 61 & echo child $!; while :; do sleep 1; done"
        one = self.program("stubborn", script).start()
        child = int(one.wait_for(r"child (\d+)", 10).group(1))
        one.stop(0.3)
        self.assertEqual(one.child.returncode, -signal.SIGKILL)
        wait_until("the child's end", lambda: not alive(child), 5)

    def test_a_restarted_program_is_not_taken_for_ready_by_its_old_words(self):
        one = self.program("again", "echo ready; sleep 60")
        one.start().wait_for("ready", 10)
        one.kill()
        one.argv = ["sh", "-c", "sleep 60"]
        one.start()
        with self.assertRaises(LabError):
            one.wait_for("ready", 0.3)

    def test_a_program_outlives_the_thread_that_started_it(self):
        one = self.program("thread", "sleep 60")
        starter = threading.Thread(target=one.start)
        starter.start()
        starter.join(10)
        time.sleep(0.3)
        self.assertTrue(one.running())

    def test_a_missing_program_is_named(self):
        with self.assertRaisesRegex(LabError, "cannot start x"):
            Program("x", ["/nonexistent/x"], folder("x.log")).start()


def alive(pid):
    try:
        with open("/proc/%d/stat" % pid, encoding="ascii") as file:
            return file.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


_PARENT = """
import sys, time
sys.path.insert(0, %r)
from lab.processes import Household, Program
with Household() as house:
    one = house.add(Program("one", ["sleep", "62"], %r)).start()
    print(one.pid, flush=True)
    %s
"""


class Households(unittest.TestCase):
    def parent(self, body):
        script = _PARENT % (DEPLOY, folder("parent.log"), body)
        process = subprocess.Popen([sys.executable, "-c", script], text=True,
                                   stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        self.addCleanup(process.stdout.close)
        self.addCleanup(process.wait, 15)
        return process, int(process.stdout.readline())

    def gone(self, pid):
        wait_until("the end of %d" % pid, lambda: not alive(pid), 20)

    def tied(self, pid):
        """Until setpriv has tied the child to its parent and has become what it was to run, a parent that is
        killed takes nobody along."""
        def runs():
            with open("/proc/%d/cmdline" % pid, "rb") as file:
                return not file.read().startswith(b"setpriv")
        wait_until("%d to run" % pid, runs, 20)

    def test_children_end_when_the_parent_fails(self):
        process, child = self.parent("raise ValueError('oops')")
        self.assertEqual(process.wait(10), 1)
        self.gone(child)

    def test_children_end_on_ctrl_c_and_on_a_request_to_end(self):
        for number in (signal.SIGINT, signal.SIGTERM):
            process, child = self.parent("time.sleep(60)")
            self.assertTrue(alive(child))
            process.send_signal(number)
            self.assertNotEqual(process.wait(10), 0)
            self.gone(child)

    def test_children_end_even_when_the_parent_is_killed(self):
        process, child = self.parent("time.sleep(60)")
        self.tied(child)
        process.kill()
        process.wait(10)
        self.gone(child)


class Ports(unittest.TestCase):
    def test_a_free_port_does_not_answer(self):
        self.assertFalse(answers(free_port()))


if __name__ == "__main__":
    unittest.main()
