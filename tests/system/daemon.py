"""A real wavepostd with a data folder of its own, and small helpers to speak to it."""
import base64
import hashlib
import http.client
import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
BUILD = os.environ.get("WAVEPOST_BUILD", os.path.join(ROOT, "build"))
WAVEPOSTD = os.path.join(BUILD, "gateway", "wavepostd")
CAPTURE_MOST = 4 * 1024 * 1024

CONFIG = """[limits]
capture = 4 MiB
connections = 1500
"""


class Control(http.client.HTTPConnection):
    """HTTP over the control socket."""

    def __init__(self, path):
        super().__init__("control", timeout=20)
        self.path = path

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(20)
        self.sock.connect(self.path)


class Daemon:
    """One wavepostd; `plain` without TLS."""

    def __init__(self, folder, plain):
        config = os.path.join(folder, "wavepostd.conf")
        with open(config, "w", encoding="utf-8") as file:
            file.write(CONFIG)
        self.data = os.path.join(folder, "data")
        self.plain = plain
        argv = [WAVEPOSTD, "--data", self.data, "--listen", "127.0.0.1:0", "--config", config]
        self.log = open(os.path.join(folder, "log"), "a+", encoding="utf-8")
        self.process = subprocess.Popen(argv + (["--plain"] if plain else []), stdout=subprocess.PIPE,
                                        stderr=self.log, text=True)
        line = self.process.stdout.readline()
        if not line.startswith("listening on "):
            self.process.wait(10)
            self.process.stdout.close()
            self.log.seek(0)
            said = self.log.read()
            self.log.close()
            raise AssertionError("wavepostd did not start: " + said)
        self.url = line.split()[-1]
        self.port = int(self.url.rsplit(":", 1)[1])

    def connect(self):
        """A connection ready for bytes."""
        raw = socket.create_connection(("127.0.0.1", self.port), 20)
        if self.plain:
            return raw
        return unverified().wrap_socket(raw, server_hostname="localhost")

    def http(self):
        if self.plain:
            return http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        return http.client.HTTPSConnection("127.0.0.1", self.port, timeout=20, context=unverified())

    def control(self, method, path, body=None):
        connection = Control(os.path.join(self.data, "control.sock"))
        fields = {"Content-Type": "application/json"} if body is not None else {}
        connection.request(method, path, json.dumps(body) if body is not None else None, fields)
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        return answer.status, json.loads(text) if text else None

    def stop(self):
        started = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(30)
        self.process.stdout.close()
        self.log.close()
        return code, time.monotonic() - started

    def said(self):
        self.log.seek(0)
        return self.log.read()


def unverified():
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def digest_of(body):
    return "sha-256=:%s:" % base64.b64encode(hashlib.sha256(body).digest()).decode()


def capture_field(number, **others):
    fields = {"number": number, "path": "IR/sample.jdx", "mtime_us": 1, "captured_us": 2,
              "steady_us": 3, "boot_id": "boot", "backfill": False, **others}
    return base64.urlsafe_b64encode(json.dumps(fields).encode()).decode().rstrip("=")


def until_closed(connection, seconds):
    """What arrives until the other side closes; fails after `seconds`."""
    connection.settimeout(seconds)
    parts = []
    try:
        while True:
            part = connection.recv(65536)
            if not part:
                break
            parts.append(part)
    except (ConnectionResetError, ssl.SSLError):
        pass
    return b"".join(parts)


def require_built():
    """Ends the program loudly where there is nothing to test."""
    if not os.access(WAVEPOSTD, os.X_OK):
        sys.exit("%s is not built" % WAVEPOSTD)
