"""wavepostd from its start to its end: usage, certificates, the folder's lock, an orderly stop."""
import http.client
import os
import resource
import socket
import ssl
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from daemon import ROOT, WAVEPOSTD, Control, Daemon, require_built, unverified  # noqa: E402


class LifeTest(unittest.TestCase):
    """Starting and stopping."""

    def setUp(self):
        self.folder = tempfile.TemporaryDirectory(prefix="wavepost-life-")

    def tearDown(self):
        self.folder.cleanup()

    def test_it_stops_in_order_with_live_streams_and_half_requests_open(self):
        daemon = Daemon(self.folder.name, plain=True)
        stream = Control(os.path.join(daemon.data, "control.sock"))
        stream.request("GET", "/api/v1/events?topics=fleet")
        self.assertEqual(stream.getresponse().status, 200)
        half = daemon.connect()
        half.sendall(b"GET / HTTP/1.1\r\nHos")
        code, seconds = daemon.stop()
        self.assertEqual(code, 0)
        self.assertLess(seconds, 5)
        self.assertFalse(os.path.exists(os.path.join(daemon.data, "control.sock")))
        half.close()
        stream.close()

    def test_the_service_file_is_sound(self):
        with open(os.path.join(ROOT, "deploy", "systemd", "wavepostd.service")) as file:
            text = file.read()
        copy = os.path.join(self.folder.name, "wavepostd.service")
        with open(copy, "w") as file:
            file.write(text.replace("/usr/local/bin/wavepostd", WAVEPOSTD))
        done = subprocess.run(["systemd-analyze", "verify", "--man=no", copy], capture_output=True, text=True,
                              timeout=60)
        # An unknown key is only a line of output; the exit code stays 0.
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, "", ""))

    def test_the_certificate_stays_the_same(self):
        certificates = []
        for _ in range(2):
            daemon = Daemon(self.folder.name, plain=False)
            certificates.append(ssl.get_server_certificate(("127.0.0.1", daemon.port)))
            self.assertEqual(daemon.stop()[0], 0)
        self.assertEqual(certificates[0], certificates[1])

    def test_old_tls_is_refused(self):
        daemon = Daemon(self.folder.name, plain=False)
        try:
            context = unverified()
            context.maximum_version = ssl.TLSVersion.TLSv1_1
            context.minimum_version = ssl.TLSVersion.TLSv1
            context.set_ciphers("DEFAULT@SECLEVEL=0")
            raw = socket.create_connection(("127.0.0.1", daemon.port), 10)
            with self.assertRaises((ssl.SSLError, ConnectionError)):
                context.wrap_socket(raw, server_hostname="localhost")
            raw.close()
        finally:
            daemon.stop()

    def test_what_a_crash_left_half_received_is_swept_at_the_start(self):
        staging = os.path.join(self.folder.name, "data", "staging")
        os.makedirs(staging)
        for name in ("1732500000000001.part", "kept by somebody.txt"):
            with open(os.path.join(staging, name), "wb") as file:
                file.write(b"half a spectr")
        daemon = Daemon(self.folder.name, plain=True)
        try:
            self.assertEqual(os.listdir(staging), ["kept by somebody.txt"])
        finally:
            self.assertEqual(daemon.stop()[0], 0)

    def test_a_limit_on_the_size_of_files_is_an_error_and_no_end_by_signal(self):
        daemon = Daemon(self.folder.name, plain=True)
        resource.prlimit(daemon.process.pid, resource.RLIMIT_FSIZE, (4096, 4096))
        try:
            status = daemon.control("POST", "/api/v1/instruments", {"name": "IR-1", "place": "Lab"})[0]
            self.assertGreaterEqual(status, 500)
        except (http.client.HTTPException, OSError):
            pass  # a gateway that cannot write its database may stop, in order
        try:
            code = daemon.process.wait(3)
        except subprocess.TimeoutExpired:
            code = daemon.stop()[0]
        self.assertGreaterEqual(code, 0)

    def run_daemon(self, *words):
        return subprocess.run([WAVEPOSTD, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                              text=True, timeout=20, check=False)

    def test_plain_http_is_for_this_machine(self):
        result = self.run_daemon("--data", self.folder.name, "--listen", "0.0.0.0:0", "--plain")
        self.assertEqual(result.returncode, 1)
        self.assertIn("plain_anywhere", result.stderr)

    def test_a_second_gateway_is_kept_off_the_folder(self):
        daemon = Daemon(self.folder.name, plain=True)
        try:
            result = self.run_daemon("--data", daemon.data, "--listen", "127.0.0.1:0", "--plain")
            self.assertEqual(result.returncode, 1)
            self.assertTrue(result.stderr.strip())
        finally:
            self.assertEqual(daemon.stop()[0], 0)

    def test_usage_version_routes_and_settings(self):
        self.assertEqual(self.run_daemon().returncode, 2)
        self.assertEqual(self.run_daemon("--nonsense").returncode, 2)
        result = self.run_daemon("--version")
        self.assertEqual(result.returncode, 0)
        self.assertRegex(result.stdout, r"^wavepostd \d+\.\d+\.\d+\n$")
        self.assertIn("--listen", self.run_daemon("--help").stdout)
        routes = self.run_daemon("--routes").stdout
        self.assertIn("| POST | `/api/v1/captures` | agent | any |", routes)
        with open(os.path.join(ROOT, "docs", "access.md"), encoding="utf-8") as file:
            self.assertEqual(file.read(), routes, "docs/access.md is not what --routes prints")
        settings = os.path.join(self.folder.name, "default.conf")
        with open(settings, "w", encoding="utf-8") as file:
            file.write(self.run_daemon("--settings").stdout)
        result = self.run_daemon("--data", "/nonexistent/x", "--listen", "127.0.0.1:0", "--config", settings)
        self.assertEqual(result.returncode, 1)
        self.assertIn("/nonexistent/x", result.stderr)
        with open(settings, "a", encoding="utf-8") as file:
            file.write("[gateway]\nnonsense = 1\n")
        result = self.run_daemon("--data", self.folder.name, "--listen", "127.0.0.1:0", "--config", settings)
        self.assertEqual(result.returncode, 1)
        self.assertIn("nonsense", result.stderr)


if __name__ == "__main__":
    require_built()
    unittest.main()
