"""Mail through a second kind of server (aiosmtpd: STARTTLS, and TLS from the first byte), and read
back by IMAP (dovecot) where exim delivered it: what is attached is what was drawn, byte for byte."""
import email
import email.policy
import os
import sys
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from delivery_case import DeliveryTest, set_up, tear_down  # noqa: E402
from lab.mail import MailServer  # noqa: E402
from lab.processes import wait_until  # noqa: E402
from mail_peers import ImapServer, OtherMailServer  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


class PeersTest(DeliveryTest):
    def setUp(self):
        super().setUp()
        self.drawn = os.path.join(self.folder, "drawn")
        os.makedirs(self.drawn)

    def make_other(self, security):
        server = OtherMailServer(os.path.join(self.folder, "other"), security)
        self.members.append(server)
        return server.start()

    def make_mailing(self, server, url, *options):
        return self.make_driver("--smtp", url, "--tls", "1", "--user", server.login, "--password", server.password,
                                "--ca", server.certificate, "--backoff", "300", "--keep", self.drawn, *options)

    def sheet(self, number):
        """What was drawn for a delivery."""
        with open(os.path.join(self.drawn, "%d.pdf" % number), "rb") as file:
            return file.read()

    def check_arrives(self, security):
        server = self.make_other(security)
        driver = self.make_mailing(server, server.url)
        number = driver.enqueue(kind="mail", measurement=10042)
        driver.wait(number, "done")
        message, = server.messages
        self.assertEqual((message.sender, message.recipients), ("lab@college.example", ["student@college.example"]))
        self.assertEqual(message.attachments(), [("10042K.pdf", self.sheet(number))])
        self.assertEqual([login[1:] for login in server.logins], [(server.login, True)])
        self.assertEqual(message.parsed["Subject"], "Your spectrum 10042K: <b>benzo\u00efn & \u6c34</b>")

    def test_a_sheet_arrives_by_starttls(self):
        self.check_arrives("starttls")

    def test_a_sheet_arrives_by_tls_from_the_first_byte(self):
        self.check_arrives("tls")

    def test_without_tls_neither_password_nor_sheet_is_sent(self):
        server = self.make_other("none")
        driver = self.make_mailing(server, server.url)
        number = driver.enqueue(kind="mail")
        wait_until("two tries", lambda: driver.delivery(number)["attempts"] >= 2, 15)
        self.assertEqual((server.logins, server.messages), ([], []))

    def test_replies_are_read_by_their_class(self):
        server = self.make_other("starttls")
        driver = self.make_mailing(server, server.url)
        server.say["rcpt"] = ["452 4.2.2 full", "450 4.7.1 greylisted"]
        later = driver.enqueue(kind="mail", measurement=1)
        driver.wait(later, "done")
        self.assertIn("The mailbox is full. (452)", driver.said(later))
        self.assertEqual(server.refusals, ["rcpt", "rcpt"])
        server.say["data"] = ["552 5.3.4 too big"]
        never = driver.wait(driver.enqueue(kind="mail", measurement=2), "failed")
        self.assertEqual(never["attempts"], 1)
        self.assertIn("(552)", never["reason"])
        server.say["rcpt"] = ["550 5.1.1 no such person"]
        self.assertIn("The mailbox does not exist. (550)",
                      driver.wait(driver.enqueue(kind="mail", measurement=3), "failed")["reason"])
        self.assertEqual(len(server.messages), 1)

    def test_an_answer_lost_after_the_sheet_was_taken_sends_the_same_message_again(self):
        server = self.make_other("starttls")
        driver = self.make_mailing(server, server.url)
        server.say["data"] = [""]
        driver.wait(driver.enqueue(kind="mail"), "done")
        first, again = server.messages
        self.assertEqual(first.parsed["Message-ID"], again.parsed["Message-ID"])

    def test_what_exim_delivered_is_read_back_by_imap(self):
        server = MailServer(os.path.join(self.folder, "mail"), "college.example", ["student", "person2"])
        inbox = ImapServer(os.path.join(self.folder, "imap"), server)
        self.members += [server, inbox]
        server.start()
        driver = self.make_mailing(server, "smtp://localhost:%d" % server.port)
        numbers = [driver.enqueue(kind="mail", measurement=100 + i, mailing="each") for i in range(2)]
        for number in numbers:
            driver.wait(number, "done")
        wait_until("the mails", lambda: len(server.mailbox("student")) == 2, 10)
        inbox.start()
        found = [email.message_from_bytes(inbox.fetch("student", i), policy=email.policy.default) for i in (1, 2)]
        read = sorted((part.get_filename(), part.get_content()) for mail in found for part in mail.iter_attachments())
        self.assertEqual(read, sorted(("%dK.pdf" % (100 + i), self.sheet(numbers[i])) for i in range(2)))
        self.assertIn("benzo\u00efn & \u6c34", found[0]["Subject"])
        self.assertIsNone(inbox.fetch("student", 3))
        self.assertIsNone(inbox.fetch("person2", 1))


if __name__ == "__main__":
    unittest.main()
