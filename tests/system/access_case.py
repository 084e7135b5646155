"""Two courses with people of every role, real spectra, and one principal for each role, for the tests of access."""
import base64
import json
import os
import re
import socketserver
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)

import daemon  # noqa: E402
from daemon import WAVEPOSTD, Daemon, capture_field, digest_of  # noqa: E402

PASSWORD = "correct horse battery"
POINTS = 1801  # 4000 to 400 cm-1 by 2
# What must not be seen where names are hidden: given and family name, sign-in name, number, and the same in
# the file's name and labels.
GIVEN, FAMILY, LOGIN, NUMBER = "Zenobia", "Quillfeather", "zquill", "Q-77310"
# The smallest PNG: one white point.
PNG = base64.b64decode("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGP4DwABAQEAG7buVgAAAABJRU5ErkJggg==")
SECRETS = [text.lower() for text in (GIVEN, FAMILY, LOGIN, NUMBER)]


def spectrum(title, shift=0):
    """A JCAMP-DX file of two bands; `shift` makes another one of it."""
    def y(x):
        return 90.0 - 60.0 / (1 + ((x - 1700 - shift) / 12.0) ** 2) - 40.0 / (1 + ((x - 1200) / 15.0) ** 2)
    rows = []
    for start in range(0, POINTS, 6):
        xs = [4000 - 2 * i for i in range(start, min(start + 6, POINTS))]
        rows.append("%d %s" % (xs[0], " ".join("%d" % round(y(x) * 100) for x in xs)))
    return "\r\n".join(["##TITLE=" + title, "##JCAMP-DX=4.24", "##DATA TYPE=INFRARED SPECTRUM",
                        "##OWNER=" + title, "##SAMPLE DESCRIPTION=" + title,
                        "##SPECTROMETER/DATA SYSTEM=" + title, "##XUNITS=1/CM", "##YUNITS=TRANSMITTANCE",
                        "##FIRSTX=4000", "##LASTX=400", "##NPOINTS=%d" % POINTS, "##XFACTOR=1",
                        "##YFACTOR=0.0001", "##DELTAX=-2", "##FIRSTY=%.4f" % (y(4000) / 100),
                        "##XYDATA=(X++(Y..Y))", *rows, "##END=", ""]).encode()


def pdf_text(data):
    done = subprocess.run(["pdftotext", "-layout", "-", "-"], input=data, stdout=subprocess.PIPE, check=True,
                          timeout=30)
    return done.stdout.decode()


class MailBox(socketserver.ThreadingTCPServer):
    """A mail server of one line a command, which keeps what it is given."""
    daemon_threads = True
    allow_reuse_address = True

    class Handler(socketserver.StreamRequestHandler):
        def handle(self):
            try:
                self.talk()
            except ConnectionError:
                pass  # the gateway was stopped

        def talk(self):
            self.wfile.write(b"220 mail\r\n")
            for _ in range(100):
                line = self.rfile.readline(1000).upper()
                if not line or line.startswith(b"QUIT"):
                    self.wfile.write(b"221 bye\r\n")
                    return
                if line.startswith(b"DATA"):
                    self.wfile.write(b"354 go on\r\n")
                    body = b""
                    while not body.endswith(b"\r\n.\r\n") and len(body) < 1 << 20:
                        body += self.rfile.readline(2000)
                    self.server.messages.append(body.decode())
                self.wfile.write(b"250 ok\r\n")

    def __init__(self):
        super().__init__(("127.0.0.1", 0), self.Handler)
        self.messages = []
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def links(self):
        return re.findall(r"/#/link/(\S+)", "\n".join(self.messages))


class Principal:
    """Somebody who asks: with which fields, which roles, and what is theirs of the tested subjects."""

    def __init__(self, college, name, roles, fields=None, own=()):
        self.college, self.name, self.roles, self.own = college, name, set(roles), set(own)
        self.fields = fields or {}

    def ask(self, method, path, body=None, **fields):
        """(status, fields of the answer, bytes)"""
        if "command line" in self.roles:
            connection = daemon.Control(os.path.join(self.college.daemon.data, "control.sock"))
        else:
            connection = self.college.daemon.http()
        sent = dict(self.fields)
        if isinstance(body, dict):
            body = json.dumps(body)
            sent["Content-Type"] = "application/json"
        sent.setdefault("Origin", self.college.daemon.url)
        sent.update({name.replace("_", "-"): value for name, value in fields.items()})
        connection.request(method, path, body, {k: v for k, v in sent.items() if v is not None})
        answer = connection.getresponse()
        if answer.getheader("Content-Type") == "text/event-stream":
            connection.close()
            return answer.status, answer.headers, b""
        data = answer.read()
        connection.close()
        return answer.status, answer.headers, data

    def get(self, path):
        status, _, data = self.ask("GET", "/api/v1" + path)
        assert status == 200, (self.name, path, status, data[:300])
        return json.loads(data)

    def post(self, path, body=None):
        """(status, JSON)"""
        status, _, data = self.ask("POST", "/api/v1" + path, body or {})
        return status, json.loads(data) if data else None


class College:
    """The gateway with everything in it. Section A (CHEM 201 014) meets in Science/2/214, where IR-1 stands;
    section B (CHEM 305 001) in Science/3/310 with IR-2."""

    def __init__(self):
        self.folder = tempfile.TemporaryDirectory(prefix="wavepost-access-")
        self.mail = MailBox()
        daemon.CONFIG += "[mail]\nurl = smtp://127.0.0.1:%d\nrequire_tls = no\nfrom = lab@college.example\n" % (
            self.mail.server_address[1])
        self.daemon = Daemon(self.folder.name, plain=True)
        self.number = 0
        self.command = Principal(self, "command line", ["command line"])
        self.nobody = Principal(self, "nobody", [])
        self.set_up_instruments()
        self.set_up_people()
        self.set_up_principals()
        self.measure()

    def close(self):
        code, _ = self.daemon.stop()
        self.mail.shutdown()
        self.mail.server_close()
        self.folder.cleanup()
        assert code == 0, "wavepostd ended with %d" % code

    def do(self, path, body=None, method="POST"):
        status, _, data = self.command.ask(method, "/api/v1" + path, body if body is not None else {})
        assert status in (200, 201, 204), (path, status, data)
        return json.loads(data) if data else None

    # ---- who and where ----

    def set_up_instruments(self):
        self.instruments, self.tokens, self.agents = {}, {}, {}
        for name, place in (("IR-1", "Science/2/214"), ("IR-2", "Science/3/310")):
            made = self.do("/instruments", {"name": name, "place": place})
            self.instruments[name] = [i["id"] for i in self.command.get("/instruments")["instruments"]
                                      if i["name"] == name][0]
            self.tokens[name] = self.join(made["join"].split("#")[1].split(":")[0])
        self.printer = self.do("/printers", {"name": "P-1", "uri": "ipp://127.0.0.1:1/p", "place": "Science/2"})["id"]

    def join(self, code):
        status, joined = self.nobody.post("/agents/join", {"code": code, "version": "0.1.0", "platform": "linux",
                                                           "time_us": 0})
        assert status == 201, joined
        return joined["token"]

    def set_up_people(self):
        self.sections, self.experiments = {}, {}
        for course, section, place, roster in (
                ("CHEM 201", "014", "Science/2/214",
                 "%s,%s,%s,%s,%s@college.example\n1002,=Ben,+Oakes,boakes,boakes@college.example\n"
                 % (NUMBER, GIVEN, FAMILY, LOGIN, LOGIN)),
                ("CHEM 305", "001", "Science/3/310", "1003,Zoe,Ashdown,zash,zash@college.example\n")):
            where = {"course": course, "section": section}
            self.do("/courses", {"code": course, "title": "Laboratory"})
            self.do("/sections", {**where, "place": place})
            self.do("/experiments", {"course": course, "code": "E6", "title": "An alcohol"})
            done = self.do("/roster", {**where, "dry_run": False, "csv": "number,given,family,login,email\n" + roster})
            assert done["applied"], done
        for course in self.command.get("/courses")["courses"]:
            letter = "A" if course["code"] == "CHEM 201" else "B"
            self.sections[letter] = course["sections"][0]["id"]
            self.experiments[letter] = course["experiments"][0]["id"]
        for login, letter, roles in STAFF:
            site = [role for role in roles if role in ("technician", "administrator")]
            self.do("/people", {"login": login, "given": login.title(), "family": "Staff", "password": PASSWORD,
                                "email": login + "@college.example", "roles": site})
            for there in letter:
                where = ("CHEM 201", "014") if there == "A" else ("CHEM 305", "001")
                self.do("/staff", {"course": where[0], "section": where[1], "login": login,
                                   "roles": [role for role in roles if role not in site]})
        for letter in "AB":
            self.do("/sections/%d/cards" % self.sections[letter])
        for instrument in self.instruments.values():
            self.do("/instruments/%d/picture" % instrument, {"picture": base64.b64encode(PNG).decode()})
        self.people = {p["login"]: p["id"] for p in self.command.get("/people?q=")["people"]}

    def sign_in(self, login):
        """A session's cookie as a request field; students have no password and come by a mailed link."""
        if login in (LOGIN, "boakes", "zash"):
            known = len(self.mail.links())
            assert self.nobody.post("/sign-in/link", {"login": login})[0] == 202
            limit = time.monotonic() + 15
            while len(self.mail.links()) == known:
                assert time.monotonic() < limit, "no mail"
                time.sleep(0.02)
            return self.cookie("/sign-in/token", {"token": self.mail.links()[-1]})
        return self.cookie("/sign-in", {"login": login, "password": PASSWORD})

    def cookie(self, path, body):
        status, fields, data = self.nobody.ask("POST", "/api/v1" + path, body)
        assert status == 200, data
        return {"Cookie": fields["Set-Cookie"].split(";")[0]}

    def enrol(self, instrument):
        code = self.do("/instruments/%d/bench-code" % self.instruments[instrument])["code"]
        return self.cookie("/bench/enrol", {"code": code})

    def set_up_principals(self):
        def person(name, login, roles, own=()):
            return Principal(self, name, roles, self.sign_in(login), own)
        everything = ("measurement", "section", "instrument", "delivery", "object", "notice", "person")
        self.all = [
            self.nobody, self.command,
            person("student, own", LOGIN, ["student"], ("measurement", "delivery")),
            person("student, of the same section", "boakes", ["student"]),
            person("student, of another section", "zash", ["student"]),
            person("technician", "tech", ["technician"]),
            person("administrator", "admin", ["administrator"]),
            person("nobody's staff", "none", []),
            Principal(self, "agent, own", ["agent"], {"Authorization": "Bearer " + self.tokens["IR-1"]}),
            Principal(self, "agent, other", ["agent"], {"Authorization": "Bearer " + self.tokens["IR-2"]}),
            Principal(self, "bench, own", ["bench device"], self.enrol("IR-1"), everything[:4]),
            Principal(self, "bench, other", ["bench device"], self.enrol("IR-2")),
        ]
        for login, letter, roles in STAFF[3:]:
            own = everything if letter == "A" else ()
            self.all.append(person("%s, %s section" % (roles[0], "own" if own else "other"), login, roles, own))
        self.named = {who.name: who for who in self.all}

    # ---- what is measured ----

    def capture(self, instrument, body, path):
        self.number += 1
        now = time.time_ns() // 1000
        agent = Principal(self, "", ["agent"], {"Authorization": "Bearer " + self.tokens[instrument]})
        status, _, receipt = agent.ask("POST", "/api/v1/captures", body, Content_Digest=digest_of(body),
                                       Wavepost_Capture=capture_field(self.number, path=path, mtime_us=now,
                                                                      captured_us=now, steady_us=now))
        assert status == 201, receipt
        return json.loads(receipt)

    def turn(self, letter, login):
        instrument = "IR-1" if letter == "A" else "IR-2"
        self.do("/bench/%d/sign-on" % self.instruments[instrument], {
            "persons": [self.people[login]], "section": self.sections[letter], "experiment": self.experiments[letter],
            "sample": "alcohol"})
        return self.instruments[instrument]

    def newest(self, instrument):
        return self.command.get("/bench/%d" % self.instruments[instrument])["current"]["id"]

    def measure(self):
        """`mine` of section A while its turn is open; `theirs` of section B; `fresh` that nobody has."""
        title = "%s %s %s" % (GIVEN, FAMILY, LOGIN)
        self.turn("B", "zash")
        self.capture("IR-2", spectrum("of B", 40), "b.jdx")
        self.theirs = self.newest("IR-2")
        self.do("/bench/%d/keep" % self.instruments["IR-2"], {"measurement": self.theirs, "print": True})
        self.original = spectrum(title)
        self.capture("IR-2", spectrum("unread")[:300], "not a spectrum.jdx")
        other = spectrum("saved twice", 90)
        self.turn("A", "boakes")
        self.capture("IR-1", other, "twice.jdx")
        self.stamp(self.newest("IR-1"), "A", "boakes")
        self.turn("A", LOGIN)
        self.capture("IR-1", other, "twice.jdx")  # a notice to the section's staff
        self.capture("IR-1", self.original, "IR/%s %s.jdx" % (GIVEN, FAMILY))
        self.mine = self.newest("IR-1")
        # So soon after a change of turns the bench asks whose it is.
        self.do("/bench/%d/answer" % self.instruments["IR-1"], {"measurement": self.mine, "same": True})
        self.stamp(self.mine, "A", LOGIN)
        self.do("/bench/%d/keep" % self.instruments["IR-1"], {"measurement": self.mine, "print": True})
        self.stamp(self.theirs, "B", "zash")

    def database(self, text, *values):
        """One statement on the gateway's database, beside the gateway."""
        connection = sqlite3.connect(os.path.join(self.daemon.data, "gateway.db"), timeout=10)
        try:
            with connection:
                return connection.execute(text, values).fetchall()
        finally:
            connection.close()

    def forget_tries(self):
        self.database("DELETE FROM throttle")

    def stamp(self, measurement, letter, login):
        self.do("/measurements/%d/stamp" % measurement, {
            "persons": [self.people[login]], "section": self.sections[letter], "experiment": self.experiments[letter],
            "reason": "%s %s said so" % (GIVEN, FAMILY) if login == LOGIN else "tested"})


# Sign-in name, sections, roles.
STAFF = (
    ("tech", "", ["technician"]), ("admin", "", ["administrator"]), ("none", "", []),
    ("dora", "A", ["demonstrator"]), ("dirk", "B", ["demonstrator"]),
    ("inga", "A", ["instructor"]), ("ivan", "B", ["instructor"]),
    ("mark", "A", ["marker"]), ("mona", "B", ["marker"]),
)


def table():
    """The server's routes as it prints them: (method, path, set of roles, tied to)."""
    text = subprocess.run([WAVEPOSTD, "--routes"], stdout=subprocess.PIPE, text=True, check=True, timeout=20).stdout
    rows = re.findall(r"^\| (\w+) \| `(\S+)` \| ([^|]*) \| (\w*) \|", text, re.M)
    return [(method, path, set(roles.strip().split(", ")), tied) for method, path, roles, tied in rows]

