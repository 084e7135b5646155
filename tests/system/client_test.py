"""The lab's HTTP client: errors are told, a restart is waited out, nothing is done twice unasked."""
import http.server
import json
import os
import ssl
import subprocess
import sys
import tempfile
import threading
import time
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..", "..", "deploy")]

from lab.client import Client, Refused  # noqa: E402
from lab.processes import LabError, free_port  # noqa: E402


class Handler(http.server.BaseHTTPRequestHandler):
    """Answers by path; counts what it is asked."""

    protocol_version = "HTTP/1.1"

    def log_message(self, *words):
        pass

    def _answer(self, status, value, *fields):
        body = json.dumps(value).encode()
        self.send_response(status)
        for name, text in fields:
            self.send_header(name, text)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self):
        self.server.asked.append(self.path)
        if self.path == "/session":
            self._answer(200, {}, ("Set-Cookie", "s=42; HttpOnly; Secure; Path=/"))
        elif self.path == "/busy-once" and self.server.asked.count("/busy-once") == 1:
            self._answer(503, {"detail": "busy"})
        elif self.path == "/gone":
            self._answer(404, {"title": "Not found", "detail": "no such sheet"})
        elif self.path == "/cut":
            self.close_connection = True
        else:
            self._answer(200, {"cookie": self.headers["Cookie"], "token": self.headers["Authorization"]})

    def do_POST(self):
        self.server.asked.append(self.path)
        body = self.rfile.read(int(self.headers["Content-Length"]))
        if self.path == "/cut":
            self.close_connection = True
        else:
            self._answer(201, {"got": json.loads(body)})


class Server:
    def __init__(self, port, context):
        self.http = http.server.ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self.http.asked = []
        self.http.socket = context.wrap_socket(self.http.socket, server_side=True)
        threading.Thread(target=self.http.serve_forever, daemon=True).start()

    def stop(self):
        self.http.shutdown()
        self.http.server_close()


class Asking(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        pem = os.path.join(cls.folder.name, "both.pem")
        subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
                        "/CN=gateway", "-keyout", pem, "-out", pem + ".cert"],
                       check=True, stderr=subprocess.DEVNULL, timeout=30)
        cls.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        cls.context.load_cert_chain(pem + ".cert", pem)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def setUp(self):
        self.port = free_port()
        self.server = Server(self.port, self.context)
        self.addCleanup(lambda: self.server.stop())

    def client(self, **more):
        return Client("https://127.0.0.1:%d/" % self.port, **more)

    def test_json_goes_out_and_comes_back(self):
        self.assertEqual(self.client().post("/x", {"name": "\u601d\u8fdc"}), {"got": {"name": "\u601d\u8fdc"}})

    def test_cookies_and_tokens_are_sent(self):
        one = self.client(token="t")
        one.get("/session")
        self.assertEqual(one.get("/who"), {"cookie": "s=42", "token": "Bearer t"})

    def test_a_problem_is_told_in_its_own_words(self):
        with self.assertRaisesRegex(Refused, "404 no such sheet") as caught:
            self.client().get("/gone")
        self.assertEqual(caught.exception.status, 404)

    def test_a_busy_gateway_is_asked_again(self):
        self.client().get("/busy-once")
        self.assertEqual(self.server.http.asked.count("/busy-once"), 2)

    def test_a_change_whose_answer_was_lost_is_not_repeated_unasked(self):
        with self.assertRaises(LabError):
            self.client().post("/cut", {})
        self.assertEqual(self.server.http.asked.count("/cut"), 1)
        with self.assertRaises(LabError):
            self.client(patience=0.5).post("/cut", {}, repeat=True)
        self.assertGreater(self.server.http.asked.count("/cut"), 2)

    def test_a_restart_is_waited_out(self):
        one = self.client()
        one.get("/x")
        self.server.stop()

        def back():
            time.sleep(0.6)
            self.server = Server(self.port, self.context)

        starter = threading.Thread(target=back)
        starter.start()
        self.assertEqual(one.post("/x", {"n": 1}), {"got": {"n": 1}})
        starter.join(5)

    def test_a_gateway_that_stays_away_is_an_error_in_bounded_time(self):
        self.server.stop()
        began = time.monotonic()
        with self.assertRaisesRegex(LabError, "refused"):
            self.client(patience=0.5).get("/x")
        self.assertLess(time.monotonic() - began, 5)


if __name__ == "__main__":
    unittest.main()
