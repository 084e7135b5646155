"""The real gateway with one failing call: an agent's and a person's afternoon over TLS, again and again."""
import base64
import hashlib
import http.client
import json
import os
import socket
import sqlite3
import ssl
import time

from lab import exports, parts
from lab.processes import LabError
from lab.spectra import Grid, Recipe, simulate

from .outcome import Outcomes, Wrong
from .page import Page

ANSWER_SECONDS = 40.0   # an answer, or the end of the connection
SERVE_SECONDS = 90.0    # until all of it is taken, faults over
VERIFY_EVERY = 1000
LARGE = b"no spectrum, but more than fits into memory at once\n" * 25000
LOST = (OSError, http.client.HTTPException)


class Control(http.client.HTTPConnection):
    def __init__(self, path):
        super().__init__("control", timeout=ANSWER_SECONDS)
        self.path = path

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(ANSWER_SECONDS)
        self.sock.connect(self.path)


def digest_field(body):
    return "sha-256=:%s:" % base64.b64encode(hashlib.sha256(body).digest()).decode()


def capture(number):
    now = time.time_ns() // 1000
    return {"number": number, "path": "IR/run %d.jdx" % number, "mtime_us": now, "captured_us": now,
            "steady_us": now, "boot_id": "boot", "backfill": False}


class Gateway:
    """One wavepostd for all afternoons; started again where it ended."""

    def __init__(self, build, folder, house):
        self.page = Page(build, folder, "wavepostd")
        self.gateway = house.add(parts.Gateway(parts.Build(build), os.path.join(folder, "gateway"),
                                               os.path.join(folder, "gateway.log")))
        self.gateway.program.env = self.page.env
        self.trust = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        self.trust.check_hostname, self.trust.verify_mode = False, ssl.CERT_NONE
        self.number, self.bodies, self.receipts = 0, {}, {}
        self.film = simulate(Recipe("ethanol", noise=0.0), Grid(4000.0, 450.0, 8.0))
        self.start()
        self.token = self.join()
        self.outcomes = Outcomes()

    def start(self):
        self.gateway.start()
        if not self.page.attached(self.gateway.program.pid):
            raise LabError("the gateway runs without the shim")

    def connect(self):
        return http.client.HTTPSConnection("127.0.0.1", self.gateway.port, timeout=ANSWER_SECONDS, context=self.trust)

    def ask(self, connection, method, path, body=None, fields=None):
        connection.request(method, path, body, fields or {})
        answer = connection.getresponse()
        text = answer.read()
        # Not by its Content-Type: adding that field may be what failed.
        is_json = text.startswith(b"{")
        return answer.status, json.loads(text) if is_json and text else text

    def join(self):
        code = self.gateway.add_instrument("IR-1", "Science/2/214").split("#")[1].split(":")[0]
        status, joined = self.ask(self.connect(), "POST", "/api/v1/agents/join", json.dumps(
            {"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0}), {"Content-Type": "application/json"})
        if status != 201:
            raise LabError("joining was answered with %d" % status)
        return joined["token"]

    # ---- the load ----

    def spectrum(self):
        return exports.jcamp_affn(self.film) + b"$$ %d\n" % self.number

    def plan(self, body):
        self.number += 1
        self.bodies[self.number] = body
        return self.number

    def send(self, connection, number):
        body = self.bodies[number]
        field = base64.urlsafe_b64encode(json.dumps(capture(number)).encode()).decode().rstrip("=")
        status, receipt = self.ask(connection, "POST", "/api/v1/captures", body, {
            "Authorization": "Bearer " + self.token, "Content-Digest": digest_field(body), "Wavepost-Capture": field})
        if status in (200, 201):
            self.keep(number, receipt)
        elif status < 500 and status not in (401, 429):
            raise Wrong("capture %d was refused for good: %d %s" % (number, status, receipt))
        return status in (200, 201)

    def keep(self, number, receipt):
        """A receipt is for what was sent, and always the same."""
        said = (receipt["sha256"], receipt["receipt"])
        if said[0] != hashlib.sha256(self.bodies[number]).hexdigest():
            raise Wrong("capture %d got a receipt for other bytes" % number)
        if self.receipts.setdefault(number, said) != said:
            raise Wrong("capture %d has two receipts: %s %s" % (number, self.receipts[number], said))

    def offer(self, connection, number):
        said = dict(capture(number), sha256=hashlib.sha256(self.bodies[number]).hexdigest())
        status, answer = self.ask(connection, "POST", "/api/v1/captures/offer", json.dumps({"captures": [said]}), {
            "Authorization": "Bearer " + self.token, "Content-Type": "application/json"})
        for receipt in answer["receipts"] if status == 200 else []:
            self.keep(number, receipt)

    def beat(self, connection):
        now = time.time_ns() // 1000
        self.ask(connection, "POST", "/api/v1/agents/heartbeat", json.dumps(
            {"version": "0.1.0", "time_us": now, "steady_us": now, "boot_id": "boot",
             "queue": {"count": 0, "bytes": 0, "oldest_us": None}, "spool": {"limit": 1 << 30, "stopped": False},
             "disk_free": 1 << 30, "folders": [{"path": "/export", "ok": True, "text": ""}],
             "ledger": {"number": 0, "hash": "0" * 64}, "refused": 0}),
            {"Authorization": "Bearer " + self.token, "Content-Type": "application/json"})

    def afternoon(self):
        """One heartbeat, a new spectrum, the same bytes again, an offer, a large body, a page, a list."""
        new = self.plan(self.spectrum())
        again, offered, large = self.plan(self.bodies[new]), self.plan(self.bodies[new]), self.plan(LARGE)
        connection = self.connect()
        second = self.connect()
        listed = Control(os.path.join(self.gateway.data, "control.sock"))
        for connection, step in (
                (connection, self.beat), (connection, lambda c: self.send(c, new)), (connection, lambda c: self.send(c, again)),
                (connection, lambda c: self.offer(c, offered)), (second, lambda c: self.send(c, large)),
                (second, lambda c: self.ask(c, "GET", "/bench.html")),
                (listed, lambda c: self.ask(c, "GET", "/api/v1/unclaimed"))):
            self.guarded(connection, step)
        for one in (connection, second, listed):
            one.close()
        return (new, again, offered, large)

    def guarded(self, connection, step):
        """A step may fail; it may not hang."""
        started = time.monotonic()
        try:
            step(connection)
        except TimeoutError:
            raise Wrong("no answer in %g s\n  %s" % (ANSWER_SECONDS, "\n  ".join(self.page.where()))) from None
        except LOST:
            connection.close()
            if not self.gateway.program.running() or time.monotonic() - started < ANSWER_SECONDS:
                return
            raise

    # ---- what must be so afterwards ----

    def serve(self, numbers):
        """Everything is taken now, by the process that lived on or by its successor."""
        limit = time.monotonic() + SERVE_SECONDS
        while True:
            if not self.gateway.program.running():
                self.outcomes.ended(self.gateway.program.child.returncode, self.page.where())
                self.start()
            connection = self.connect()
            try:
                if all([self.send(connection, number) for number in numbers]):
                    return
            except LOST:
                time.sleep(0.05)
            finally:
                connection.close()
            if time.monotonic() > limit:
                raise Wrong("what was sent is not taken %g s later\n  %s" % (SERVE_SECONDS, "\n  ".join(self.page.where())))

    def one(self, kind, n):
        """Returns (whether the fault was met, calls made)."""
        self.page.arm(kind, n)
        try:
            numbers = self.afternoon()
        finally:
            met, count = self.page.disarm()
        before = self.gateway.program.pid
        self.serve(numbers)
        if met and self.gateway.program.pid == before:
            self.outcomes.counts["served on"] += 1
        return met, count

    def sound(self):
        """Every receipt is in the archive once, and the archive is whole."""
        sql = sqlite3.connect("file:%s?mode=ro" % os.path.join(self.gateway.data, "gateway.db"), uri=True, timeout=60.0)
        kept = {number: digest.hex() for number, digest in sql.execute("SELECT number, sha256 FROM capture")}
        sql.close()
        if kept != {number: receipt[0] for number, receipt in self.receipts.items()}:
            raise Wrong("receipts and archive differ: %d and %d" % (len(self.receipts), len(kept)))
        _, _, faults, said = self.gateway.verify()
        if faults:
            raise Wrong("verify: " + said)

    def finish(self):
        """At the end: in order, and sound from the folder alone."""
        self.sound()
        code = self.gateway.program.stop(30.0)
        if code != 0:
            raise Wrong("the gateway ended with %s when it was asked to" % code)
        _, _, faults, said = self.gateway.verify()
        if faults:
            raise Wrong("verify, after its end: " + said)
