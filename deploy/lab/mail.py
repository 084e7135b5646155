"""A real mail server (exim) on a loopback port, with one maildir for each person.

STARTTLS and a user name with password are demanded, as a campus relay does. exim wants to be
started by root with a configuration that root owns, and delivers as its own user, so the folder
must be reachable for that user.
"""
import email
import email.policy
import os
import pwd
import shutil
import stat
import subprocess
from dataclasses import dataclass, field

from .processes import LabError, Program, answers, free_port, wait_until

EXIM_USER = "Debian-exim"

_CONFIG = """primary_hostname = mail.{domain}
domainlist local_domains = {domain}
spool_directory = {folder}/spool
log_file_path = {folder}/log/%slog
pid_file_path = {folder}/exim.pid
local_interfaces = 127.0.0.1
daemon_smtp_ports = {port}
tls_certificate = {folder}/cert.pem
tls_privatekey = {folder}/key.pem
tls_advertise_hosts = *
host_lookup =
rfc1413_query_timeout = 0s
smtp_accept_max = 100
message_size_limit = 50M
acl_smtp_rcpt = check_rcpt
acl_smtp_data = accept
smtputf8_advertise_hosts = *
keep_environment =
never_users = root

begin acl
check_rcpt:
  deny !authenticated = *
    message = authentication required
  require domains = +local_domains
    message = relaying is not allowed
  require verify = recipient
  accept

begin routers
mailboxes:
  driver = accept
  domains = +local_domains
  local_parts = lsearch;{folder}/people
  transport = maildir
  cannot_route_message = no such mailbox

begin transports
maildir:
  driver = appendfile
  directory = {folder}/boxes/$local_part_data
  maildir_format
  create_directory
  user = {user}
  delivery_date_add
  envelope_to_add
  return_path_add

begin retry
* * F,1h,5m

begin authenticators
plain:
  driver = plaintext
  public_name = PLAIN
  server_prompts = :
  server_condition = ${{if and{{{{eq{{$auth2}}{{{login}}}}}{{eq{{$auth3}}{{{password}}}}}}}}}
  server_set_id = $auth2
  server_advertise_condition = ${{if def:tls_in_cipher}}
"""


@dataclass
class Mail:
    """One message as it lies in a mailbox."""

    mailbox: str  # address
    path: str
    sender: str
    subject: str
    text: str
    attachments: list = field(default_factory=list)  # (file name, media type, bytes)

    def pdfs(self):
        return [(name, data) for name, kind, data in self.attachments if kind == "application/pdf"]


class MailServer:
    """`people` are the local parts that have a mailbox; any other recipient is refused."""

    name = "mail server"
    login, password = "wavepost", "post-7331"

    def __init__(self, folder, domain, people):
        self.folder = os.path.abspath(folder)
        self.domain, self.people = domain, sorted(people)
        self.port = free_port()
        self.program = None

    @property
    def certificate(self):
        """Path of the server's own certificate, for whoever wants to check it."""
        return os.path.join(self.folder, "cert.pem")

    def address(self, person):
        return "%s@%s" % (person, self.domain)

    def _check_reachable(self):
        folder = self.folder
        while folder != "/":
            if os.path.exists(folder) and not os.stat(folder).st_mode & stat.S_IXOTH:
                raise LabError("%s is closed to others: the mail server's user could not deliver there"
                               % folder)
            folder = os.path.dirname(folder)

    def _certificate(self):
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "30",
             "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1",
             "-keyout", os.path.join(self.folder, "key.pem"), "-out", self.certificate],
            check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=30)

    def _prepare(self):
        if os.geteuid() != 0:
            raise LabError("the mail server must be started by root")
        try:
            user = pwd.getpwnam(EXIM_USER)
        except KeyError:
            raise LabError("user %s is missing: install exim4-daemon-light" % EXIM_USER) from None
        self._check_reachable()
        for name in ("", "spool", "log", "boxes"):
            path = os.path.join(self.folder, name)
            os.makedirs(path, exist_ok=True)
            os.chmod(path, 0o755)
            if name:
                os.chown(path, user.pw_uid, user.pw_gid)
        if not os.path.exists(self.certificate):
            self._certificate()
        os.chown(os.path.join(self.folder, "key.pem"), user.pw_uid, user.pw_gid)
        with open(os.path.join(self.folder, "people"), "w", encoding="utf-8") as file:
            file.writelines("{0}: {0}\n".format(person) for person in self.people)
        config = os.path.join(self.folder, "exim.conf")
        with open(config, "w", encoding="utf-8") as file:
            file.write(_CONFIG.format(folder=self.folder, domain=self.domain, port=self.port,
                                      user=EXIM_USER, login=self.login, password=self.password))
        os.chmod(config, 0o644)
        return config

    def start(self):
        """Starts it, or starts it again on the same port with the mailboxes as they are."""
        config = self._prepare()
        exim = shutil.which("exim4") or "/usr/sbin/exim4"
        self.program = Program("mail server", [exim, "-C", config, "-bdf", "-q1m"],
                               os.path.join(self.folder, "exim.out"))
        self.program.start()
        wait_until("the mail server on port %d (logs: %s/log)" % (self.port, self.folder),
                   lambda: answers(self.port) or not self.program.running(), 15.0)
        if not self.program.running():
            raise LabError("the mail server ended at once:\n" + self.program.output())
        return self

    def stop(self):
        if self.program:
            self.program.stop()

    def mailbox(self, person):
        """The messages of one person, oldest first."""
        found = []
        for state in ("cur", "new"):
            folder = os.path.join(self.folder, "boxes", person, state)
            names = os.listdir(folder) if os.path.isdir(folder) else []
            found += [os.path.join(folder, name) for name in names]
        return [self._read(person, path) for path in sorted(found, key=os.path.getmtime)]

    def mail(self):
        """Every message of every mailbox."""
        return [message for person in self.people for message in self.mailbox(person)]

    def _read(self, person, path):
        with open(path, "rb") as file:
            message = email.message_from_binary_file(file, policy=email.policy.default)
        body = message.get_body(preferencelist=("plain", "html"))
        return Mail(
            mailbox=self.address(person), path=path, sender=str(message["From"]),
            subject=str(message["Subject"]), text=body.get_content() if body else "",
            attachments=[(part.get_filename() or "", part.get_content_type(), part.get_content())
                         for part in message.iter_attachments()])
