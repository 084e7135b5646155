"""Mail that bounces after the mail server has taken it: exim writes real reports into the sender's
mailbox, dovecot hands them out by IMAP over TLS, and the dispatcher reads them there."""
import email.message
import os
import smtplib
import ssl
import sys
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from delivery_case import DeliveryTest, set_up, tear_down  # noqa: E402
from lab.processes import wait_until  # noqa: E402
from mail_peers import FarServer, ImapServer, TakingMailServer  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down

PATIENCE = 90  # seconds until a mail has gone out, come back and been read, on a loaded machine


class ReturnedTest(DeliveryTest):
    def make_servers(self, reply="550 5.1.1 no such person here"):
        far = FarServer(reply)
        self.members.append(far.start())
        self.mail = TakingMailServer(os.path.join(self.folder, "mail"), "college.example", ["lab", "student"], far)
        self.imap = ImapServer(os.path.join(self.folder, "imap"), self.mail)
        self.members += [self.mail, self.imap]
        self.mail.start()
        self.imap.start()

    def make_mailing(self, *options):
        return self.make_driver(
            "--smtp", "smtp://localhost:%d" % self.mail.port, "--tls", "1", "--user", self.mail.login,
            "--password", self.mail.password, "--ca", self.mail.certificate, "--backoff", "300",
            "--imap", "imaps://localhost:%d" % self.imap.port, "--imap-user", "lab",
            "--imap-password", self.imap.password, "--imap-ca", self.imap.certificate, *options)

    def send_to_lab(self, subject, text, **fields):
        """A mail of somebody else's to the mailbox that is read."""
        message = email.message.EmailMessage()
        message["From"], message["To"], message["Subject"] = "somebody@college.example", "lab@college.example", subject
        message.set_content(text)
        for name, value in fields.items():
            del message[name.replace("_", "-")]
            message[name.replace("_", "-")] = value
        self.send_raw(message.as_bytes())

    def send_raw(self, data):
        context = ssl.create_default_context(cafile=self.mail.certificate)
        with smtplib.SMTP("localhost", self.mail.port, timeout=20) as smtp:
            smtp.starttls(context=context)
            smtp.login(self.mail.login, self.mail.password)
            smtp.sendmail("", ["lab@college.example"], data)

    def unseen(self):
        """Names of the messages in the sender's mailbox that are not marked as seen (maildir: no S)."""
        box = os.path.join(self.mail.folder, "boxes", "lab")
        names = [name for state in ("new", "cur") for name in os.listdir(os.path.join(box, state))]
        return [name for name in names if "S" not in name.partition(":2,")[2]]

    def wait_returned(self, driver, number):
        driver.wait(number, "done", "failed", seconds=PATIENCE)
        return driver.wait(number, "failed", seconds=PATIENCE)

    def test_a_mailbox_that_is_not_there_stops_its_address_until_it_is_changed(self):
        self.make_servers()
        driver = self.make_mailing("--sub-address", "+")
        driver.do(person={"id": 1, "email": "student@college.example"})
        driver.do(person={"id": 2, "login": "moved", "email": "person2@far.example"})
        numbers = [driver.enqueue(kind="mail", person=2, measurement=m) for m in (7, 8)]
        good = driver.enqueue(kind="mail", person=1, measurement=9)
        for number in numbers:
            self.assertEqual(self.wait_returned(driver, number)["reason"],
                             "The mail came back: The mailbox does not exist. (5.1.1)")
        self.assertIn("Mailed.", driver.said(numbers[0]))
        # The report came to the sub-address that only this mail had.
        with open(self.mail.mailbox("lab")[0].path, encoding="utf-8") as file:
            self.assertRegex(file.read(), r"To: <?lab\+w[0-9a-f]{16}-[0-9a-f]{20}@college\.example")
        self.assertEqual(driver.do(act="mail", **{"as": 2})["returned"]["reason"], "The mailbox does not exist. (5.1.1)")
        self.assertIsNone(driver.do(act="mail", **{"as": 1})["returned"])
        self.assertEqual(driver.delivery(good)["state"], "done")
        # Nothing more goes there, until there is another address.
        stopped = driver.wait(driver.enqueue(kind="mail", person=2, measurement=10), "inbox")
        self.assertIn("mail to this address came back", stopped["reason"])
        driver.do(person={"id": 2, "login": "moved", "email": "student@college.example"})
        self.assertIsNone(driver.do(act="mail", **{"as": 2})["returned"])
        driver.wait(driver.enqueue(kind="mail", person=2, measurement=11), "done", seconds=PATIENCE)

    def test_without_sub_addresses_the_message_id_tells(self):
        self.make_servers("552 5.2.2 mailbox full")
        driver = self.make_mailing()
        driver.do(person={"id": 2, "login": "full", "email": "person2@far.example"})
        number = driver.enqueue(kind="mail", person=2)
        self.assertEqual(self.wait_returned(driver, number)["reason"],
                         "The mail came back: The mailbox is full. (5.2.2)")
        returned = driver.do(act="mail", **{"as": 2})["returned"]
        self.assertFalse(returned["stopped"])
        # A user whom the relay itself does not know.
        other = driver.enqueue(kind="mail", person=3, measurement=2)
        self.assertIn("The mail came back:", self.wait_returned(driver, other)["reason"])
        self.assertEqual(self.unseen(), [])

    def test_what_is_no_report_of_ours_changes_nothing_and_stays_unread(self):
        self.make_servers()
        driver = self.make_mailing("--sub-address", "+")
        driver.do(person={"id": 1, "email": "student@college.example"})
        number = driver.enqueue(kind="mail", person=1)
        driver.wait(number, "done", seconds=PATIENCE)
        wait_until("the mail", lambda: self.mail.mailbox("student"), PATIENCE)
        identity = self.mail.mailbox("student")[0]
        with open(identity.path, encoding="utf-8") as file:
            mark = file.read().split("<wavepost.")[1].split("@")[0]
        forged = mark[:-1] + ("0" if mark[-1] != "0" else "1")
        report = ("From: <>\r\nTo: lab@college.example\r\nMIME-Version: 1.0\r\nContent-Type: multipart/report;"
                  " report-type=delivery-status; boundary=b\r\n\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\n"
                  "Reporting-MTA: dns; x.example\r\n\r\nFinal-Recipient: rfc822; student@college.example\r\n"
                  "Action: failed\r\nStatus: 5.1.1\r\n\r\n--b\r\nContent-Type: text/rfc822-headers\r\n\r\n"
                  "Message-ID: <wavepost.%s@college.example>\r\n\r\n--b--\r\n")
        self.send_raw((report % forged).encode())
        self.send_to_lab("Out of office", "Action: failed\r\nStatus: 5.1.1\r\n<wavepost.%s@college.example>" % mark,
                         Auto_Submitted="auto-replied")
        # The true mark, sent last: when this one is read, the others were.
        late = report.replace("Action: failed", "Action: delayed").replace("5.1.1", "4.2.2")
        self.send_raw((late % mark).encode())
        wait_until("the last report is read",
                   lambda: "late" in driver.delivery(number)["reason"], PATIENCE)
        now = driver.delivery(number)
        self.assertEqual(now["state"], "done")
        self.assertIn("The mailbox is full. (4.2.2)", now["reason"])
        self.assertIsNone(driver.do(act="mail", **{"as": 1})["returned"])
        wait_until("the two others are unread again", lambda: len(self.unseen()) == 2, PATIENCE)

    def test_reports_that_came_while_nobody_read_are_read_later_and_once(self):
        self.make_servers()
        driver = self.make_mailing()
        driver.do(person={"id": 2, "login": "moved", "email": "person2@far.example"})
        self.imap.stop()
        number = driver.enqueue(kind="mail", person=2)
        driver.wait(number, "done", seconds=PATIENCE)
        wait_until("the report", lambda: self.mail.mailbox("lab"), PATIENCE)
        self.assertEqual(driver.delivery(number)["state"], "done")
        driver.stop()
        self.imap.start()
        driver.start()
        self.wait_returned(driver, number)
        # Tried again by hand: the old report is not read a second time.
        driver.do(act="retry", param=str(number), **{"as": 2})
        self.assertIsNone(driver.do(act="mail", **{"as": 2})["returned"])
        driver.wait(number, "done", "failed", seconds=PATIENCE)
        self.wait_returned(driver, number)
        self.assertEqual(len([text for text in driver.said(number) if "came back" in text]), 2)


if __name__ == "__main__":
    unittest.main()
