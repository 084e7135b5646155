"""What a bench says about paper, with the real gateway and a real printer that stands in another room: the
question, its answer, and every state with time and reason for the student. And what is mailed after class."""
import os
import sys
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import daemon  # noqa: E402
from bench_case import BenchCase  # noqa: E402
from daemon import require_built  # noqa: E402
from delivery_case import set_up, tear_down  # noqa: E402
from lab.processes import wait_until  # noqa: E402
from mail_peers import OtherMailServer  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


class BenchPaperTest(BenchCase):
    def keep_and_print(self):
        """One more spectrum; its measurement once the question about the room is there."""
        measurement = self.measure(paper=True)
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
        self.assertIn(b"Print in room 216, by the door, or inbox only?", page)
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


class AfterClassTest(BenchCase):
    course = {"code": "CHEM 201", "mailing": "digest"}
    students = "number,given,family,login,email\n1,Maya,Rowan,maya,maya@college.example\n"

    @classmethod
    def before_the_gateway(cls, folder):
        cls.server = OtherMailServer(os.path.join(folder, "mail"), "starttls").start()
        cls.addClassCleanup(cls.server.stop)
        password = os.path.join(folder, "password")
        with open(password, "w", encoding="utf-8") as file:
            file.write(cls.server.password + "\n")
        os.chmod(password, 0o600)
        settings = daemon.CONFIG
        cls.addClassCleanup(setattr, daemon, "CONFIG", settings)
        daemon.CONFIG = settings + ("[mail]\nurl = %s\nuser = %s\npassword_file = %s\nca_file = %s\n"
                                    "from = lab@college.example\n" % (cls.server.url, cls.server.login, password,
                                                                      cls.server.certificate))

    def meet(self, seconds):
        """A meeting of the section that goes on for so long; when it ends."""
        ends = int(time.time()) + seconds
        stamp = lambda at: time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at))
        self.command("POST", "/meetings", {"course": "CHEM 201", "section": "014", "starts": stamp(ends - 3600),
                                           "ends": stamp(ends)})
        return ends

    def test_one_mail_after_class_with_every_sheet_then_links_alone(self):
        ends = self.meet(5)
        measurements = [self.measure(paper=False) for _ in range(2)]
        time.sleep(1.5)
        self.assertEqual(self.server.messages, [])
        message, = wait_until("the mail after class", lambda: list(self.server.messages), 20)
        self.assertGreaterEqual(time.time(), ends)
        self.assertEqual(message.recipients, ["maya@college.example"])
        self.assertEqual(message.parsed["Subject"], "Your 2 spectra")
        self.assertIsNone(message.parsed["List-Unsubscribe"])
        found = message.attachments()
        self.assertEqual(len(found), 2)
        for name, data in found:
            self.assertRegex(name, r"^[0-9]+[0-9A-Z]\.pdf$")
            self.assertTrue(data.startswith(b"%PDF-"))
        self.check_links_alone(measurements)

    def check_links_alone(self, before):
        self.command("POST", "/courses", {"code": "CHEM 201", "mailing": "link"})
        measurement = self.measure(paper=False)
        self.assertNotIn(measurement, before)
        _, message = wait_until("the link", lambda: self.server.messages[1:] and list(self.server.messages), 20)
        self.assertEqual(message.attachments(), [])
        text = message.parsed.get_body(("plain",)).get_content()
        self.assertIn("/#/spectrum/%d" % measurement, text)
        self.assertIn("/#/account", text)


if __name__ == "__main__":
    require_built()
    unittest.main()
