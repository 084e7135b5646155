"""Two more real peers of mail: another SMTP server (aiosmtpd), and IMAP over TLS (dovecot).

aiosmtpd is written independently of exim, and can be told to refuse at any step. dovecot hands out
the maildirs that exim filled, as a student's mail program sees them; curl is that program.
"""
import email
import email.policy
import logging
import os
import pwd
import ssl
import subprocess

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from lab.mail import EXIM_USER, MailServer
from lab.processes import LabError, Program, answers, free_port, wait_until

logging.getLogger("mail.log").setLevel(logging.ERROR)  # aiosmtpd warns of what a test wants of it


def make_certificate(folder):
    """A key and a certificate of its own for localhost; returns their paths."""
    key, certificate = os.path.join(folder, "key.pem"), os.path.join(folder, "cert.pem")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
         "-days", "30", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1",
         "-keyout", key, "-out", certificate],
        check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=30)
    return key, certificate


class Message:
    """One message as the server took it, with its envelope."""

    def __init__(self, sender, recipients, data):
        self.sender, self.recipients, self.data = sender, recipients, data
        self.parsed = email.message_from_bytes(data, policy=email.policy.default)

    def attachments(self):
        return [(part.get_filename(), part.get_content()) for part in self.parsed.iter_attachments()]


class OtherMailServer:
    """`security`: "starttls" (demanded before AUTH), "tls" from the first byte, or "none". What it
    saw is in `messages`, `logins` (user, password, right) and `refusals`. A list of replies in
    `say` under "rcpt" or "data" is used up first, one a message, before it takes any; an empty
    reply breaks the connection."""

    name = "other mail server"
    login, password = "wavepost", "post-7331"

    def __init__(self, folder, security):
        os.makedirs(folder)
        key, self.certificate = make_certificate(folder)
        self.messages, self.logins, self.refusals = [], [], []
        self.say = {"rcpt": [], "data": []}
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, key)
        more = {"starttls": {"tls_context": context, "require_starttls": True},
                "tls": {"ssl_context": context, "auth_require_tls": False},
                "none": {"auth_require_tls": False}}[security]
        self.url = "%s://localhost:%d" % ("smtps" if security == "tls" else "smtp", free_port())
        self.controller = Controller(self, hostname="127.0.0.1", port=int(self.url.rsplit(":", 1)[1]),
                                     ready_timeout=10.0, authenticator=self._sign_in,
                                     auth_required=True, **more)

    def start(self):
        self.controller.start()
        return self

    def stop(self):
        self.controller.stop()

    def _sign_in(self, _server, _session, _envelope, mechanism, data):
        user, password = data.login.decode(), data.password.decode()
        right = (user, password) == (self.login, self.password)
        self.logins.append((mechanism, user, right))
        return AuthResult(success=right)

    async def _reply(self, server, step):
        reply = self.say[step].pop(0) if self.say[step] else None
        if reply is not None:
            self.refusals.append(step)
        if reply == "":
            server.transport.abort()
        return reply

    async def handle_RCPT(self, server, _session, envelope, address, _options):
        reply = await self._reply(server, "rcpt")
        if reply is None:
            envelope.rcpt_tos.append(address)
        return "250 OK" if reply is None else reply

    async def handle_DATA(self, server, _session, envelope):
        message = Message(envelope.mail_from, list(envelope.rcpt_tos), bytes(envelope.content))
        reply = await self._reply(server, "data")
        if reply is None or reply == "":
            self.messages.append(message)
        return "250 taken" if reply is None else reply


class TakingMailServer(MailServer):
    """An exim that takes mail for everybody first, as campus relays in front of other servers do: what
    it cannot deliver comes back later. Local parts may carry a "+" and more; mail for `far.example`
    goes on to a FarServer."""

    def __init__(self, folder, domain, people, far):
        super().__init__(folder, domain, people)
        self.far = far

    def _prepare(self):
        config = super()._prepare()
        with open(config, encoding="utf-8") as file:
            text = file.read()
        for before, after in (
                ("  require verify = recipient\n", ""),
                ("  require domains = +local_domains\n    message = relaying is not allowed\n", ""),
                ("  driver = accept\n  domains", "  driver = accept\n  local_part_suffix = +*\n"
                 "  local_part_suffix_optional\n  domains"),
                ("begin routers\n", "begin routers\nfar:\n  driver = manualroute\n  domains = far.example\n"
                 "  route_list = * 127.0.0.1 byname\n  self = send\n  transport = far\n"),
                ("begin transports\n", "begin transports\nfar:\n  driver = smtp\n  port = %d\n"
                 "  allow_localhost\n  hosts_avoid_tls = *\n" % self.far.port)):
            assert before in text, before
            text = text.replace(before, after)
        with open(config, "w", encoding="utf-8") as file:
            file.write(text)
        return config


class FarServer:
    """A second mail server behind the relay, which has no mailbox for anybody."""

    name = "far mail server"

    def __init__(self, reply):
        self.reply, self.port = reply, free_port()
        self.controller = Controller(self, hostname="127.0.0.1", port=self.port, ready_timeout=10.0)

    async def handle_RCPT(self, _server, _session, _envelope, _address, _options):
        return self.reply

    def start(self):
        self.controller.start()
        return self

    def stop(self):
        self.controller.stop()


_DOVECOT = """protocols = imap
base_dir = {folder}/run
log_path = {folder}/dovecot.log
listen = 127.0.0.1
ssl = required
ssl_cert = <{certificate}
ssl_key = <{key}
first_valid_uid = 1
first_valid_gid = 1
mail_location = maildir:{boxes}/%n
passdb {{
  driver = static
  args = password={password}
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={folder}/home/%n
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = 0
  }}
  inet_listener imaps {{
    port = {port}
  }}
}}
service anvil {{
  chroot =
}}
"""


class ImapServer:
    """Hands out the mailboxes of a MailServer (exim) by IMAP over TLS."""

    name = "IMAP server"
    password = "read-4417"

    def __init__(self, folder, mail):
        self.folder, self.mail, self.port = os.path.abspath(folder), mail, free_port()
        self.program = None

    def start(self):
        user = pwd.getpwnam(EXIM_USER)
        for name in ("", "run", "home"):
            os.makedirs(os.path.join(self.folder, name), exist_ok=True)
            os.chmod(os.path.join(self.folder, name), 0o755)
        os.chown(os.path.join(self.folder, "home"), user.pw_uid, user.pw_gid)
        key, self.certificate = make_certificate(self.folder)
        config = os.path.join(self.folder, "dovecot.conf")
        with open(config, "w", encoding="utf-8") as file:
            file.write(_DOVECOT.format(folder=self.folder, certificate=self.certificate, key=key,
                                       boxes=os.path.join(self.mail.folder, "boxes"), port=self.port,
                                       password=self.password, uid=user.pw_uid, gid=user.pw_gid))
        self.program = Program(self.name, ["/usr/sbin/dovecot", "-F", "-c", config],
                               os.path.join(self.folder, "out"))
        self.program.start()
        wait_until("the IMAP server on port %d" % self.port,
                   lambda: answers(self.port) or not self.program.running(), 15.0)
        if not self.program.running():
            raise LabError("the IMAP server ended at once:\n" + self.program.output())
        return self

    def stop(self):
        if self.program:
            self.program.stop()

    def fetch(self, person, index):
        """The bytes of one message of a person's inbox, counted from 1; None if there is none."""
        done = subprocess.run(
            ["curl", "--silent", "--show-error", "--max-time", "10", "--cacert", self.certificate,
             "--user", "%s:%s" % (person, self.password),
             "imaps://localhost:%d/INBOX;MAILINDEX=%d" % (self.port, index)],
            capture_output=True, timeout=20, check=False)
        if done.returncode not in (0, 78, 8):
            raise LabError("curl could not read mail (%d): %s" % (done.returncode, done.stderr.decode()))
        return done.stdout or None
