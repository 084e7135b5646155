"""Deliveries by mail, through a real mail server (exim) with STARTTLS and a password."""
import email
import email.policy
import os
import sys
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from delivery_case import DeliveryTest, set_up, tear_down  # noqa: E402
from lab.mail import MailServer  # noqa: E402
from lab.processes import wait_until  # noqa: E402

setUpModule, tearDownModule = set_up, tear_down


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
