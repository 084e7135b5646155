"""A small stand-in for the gateway's agent side, with faults to order, over TLS with its own key.

It speaks schema/wire/agent.md from the document alone and keeps what it was sent. Standard library
only, plus the openssl command for the key and its pin.
"""
import base64
import hashlib
import http.server
import json
import os
import socket
import ssl
import subprocess
import threading
import time

HASH = "0" * 64


def make_key(folder, name):
    """A self-signed certificate; returns (certificate, key, pin of its public key)."""
    cert, key = os.path.join(folder, name + ".pem"), os.path.join(folder, name + ".key")
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
         "-keyout", key, "-out", cert, "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"],
        check=True, capture_output=True)
    public = subprocess.run(["openssl", "x509", "-in", cert, "-pubkey", "-noout"],
                            check=True, capture_output=True).stdout
    der = subprocess.run(["openssl", "pkey", "-pubin", "-outform", "DER"], input=public,
                         check=True, capture_output=True).stdout
    return cert, key, base64.urlsafe_b64encode(hashlib.sha256(der).digest()).decode().rstrip("=")


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = 120

    def log_message(self, *args):
        pass

    def answer(self, code, body=None, **headers):
        data = json.dumps(body).encode() if body is not None else b""
        if data and code >= 400:
            headers["Content-Type"] = "application/problem+json"
        self.send_response(code)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), str(value))
        if code != 204:
            self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        self.wfile.write(data)

    def body(self):
        return self.rfile.read(int(self.headers["Content-Length"]))

    def do_POST(self):
        gateway = self.server.gateway
        gateway.requests.append((time.monotonic(), self.path))
        if self.path == "/api/v1/agents/join":
            return self.join(gateway, json.loads(self.body()))
        fault = gateway.next_fault(self.path)
        if fault and fault(self):
            return None
        if self.headers.get("Authorization") != "Bearer " + gateway.token:
            self.body()
            return self.answer(401, {"title": "token refused"})
        name = self.path.rsplit("/", 1)[1]
        return getattr(self, "take_" + name)(gateway)

    def join(self, gateway, message):
        if message["code"] not in gateway.codes:
            return self.answer(404, {"title": "unknown code"})
        gateway.codes.remove(message["code"])
        return self.answer(201, {
            "token": gateway.token, "agent": 1, "ledger": {"number": 0, "hash": HASH},
            "instrument": {"id": 1, "name": "IR-1", "place": "Science/2/214/bench A"}})

    def take_captures(self, gateway):
        field = self.headers["Wavepost-Capture"]
        meta = json.loads(base64.urlsafe_b64decode(field + "=" * (-len(field) % 4)))
        data = self.body()
        digest = base64.b64encode(hashlib.sha256(data).digest()).decode()
        if self.headers["Content-Digest"] != "sha-256=:" + digest + ":":
            return self.answer(422, {"title": "digest"})
        code, receipt = gateway.record(meta, data)
        if code == 409:
            return self.answer(409, {"title": "number used"})
        if gateway.lose_receipts:
            gateway.lose_receipts -= 1
            self.close_connection = True
            self.connection.shutdown(socket.SHUT_RDWR)
            return None
        return self.answer(code, receipt)

    def take_offer(self, gateway):
        offer = json.loads(self.body())["captures"]
        gateway.offers.append(offer)
        receipts, wanted = [], []
        for capture in offer:
            data = gateway.bytes.get(capture["sha256"])
            if data is None:
                wanted.append(capture["number"])
            else:
                receipts.append(gateway.record(capture, data)[1])
        return self.answer(200, {"receipts": receipts, "wanted": wanted})

    def take_heartbeat(self, gateway):
        gateway.beats.append(json.loads(self.body()))
        return self.answer(200, {"time_us": int(time.time() * 1e6) - gateway.clock_behind_us,
                                 "every_s": gateway.every_s, "paused": gateway.paused,
                                 "ledger_ok": gateway.ledger_ok})

    def take_events(self, gateway):
        gateway.events += json.loads(self.body())["events"]
        return self.answer(204)


class Server(http.server.ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 64

    def get_request(self):
        sock, address = super().get_request()
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return sock, address

    def finish_request(self, request, client_address):
        request.settimeout(60)
        secured = self.gateway.context.wrap_socket(request, server_side=True)
        self.gateway.sockets.append(secured)
        self.RequestHandlerClass(secured, client_address, self)
        try:
            secured.close()
        except OSError:
            pass

    def handle_error(self, request, client_address):
        pass


class Gateway:
    def __init__(self, folder, port=0, key="gateway"):
        self.cert, self.key, self.pin = make_key(folder, key)
        self.token, self.codes = "t" * 43, ["K7QM-4TXA", "AAAA-2222"]
        self.captures, self.bytes, self.order = {}, {}, []
        self.sockets, self.requests, self.beats, self.events, self.offers = [], [], [], [], []
        self.faults, self.lose_receipts, self.clock_behind_us = [], 0, 0
        self.every_s, self.paused, self.ledger_ok = 5, False, True
        self.lock = threading.Lock()
        self.server, self.port = None, port
        self.start()

    def start(self):
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.context.load_cert_chain(self.cert, self.key)
        self.server = Server(("127.0.0.1", self.port), Handler)
        self.server.gateway = self
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self):
        """Gone, and with it every connection, as after a kill."""
        self.server.shutdown()
        self.server.server_close()
        for sock in self.sockets:
            try:
                sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
        self.sockets = []

    def join_string(self, code=None, pin=None):
        pin = self.pin if pin is None else pin
        return "https://127.0.0.1:%d/join#%s%s" % (self.port, code or self.codes[0],
                                                   ":" + pin if pin else "")

    def next_fault(self, path):
        with self.lock:
            for i, (where, fault) in enumerate(self.faults):
                if where == path:
                    return self.faults.pop(i)[1]
        return None

    def record(self, meta, data):
        digest = hashlib.sha256(data).hexdigest()
        with self.lock:
            known = digest in self.bytes
            old = self.captures.get(meta["number"])
            if old:
                return (200, old["receipt"]) if old["sha256"] == digest else (409, None)
            receipt = {"number": meta["number"], "sha256": digest, "receipt": "r%d" % meta["number"],
                       "known": known, "ledger": {"number": len(self.captures) + 1, "hash": HASH}}
            self.bytes[digest] = data
            self.captures[meta["number"]] = dict(meta, sha256=digest, receipt=receipt,
                                                 came=time.monotonic())
            self.order.append(meta["number"])
            return 201, receipt

    def contents(self):
        """The bytes of each capture, by running number."""
        with self.lock:
            return [self.bytes[self.captures[n]["sha256"]] for n in sorted(self.captures)]

    def names(self):
        with self.lock:
            return [self.captures[n]["path"] for n in sorted(self.captures)]
