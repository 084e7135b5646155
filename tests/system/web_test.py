"""The gateway's HTTP side against the real wavepostd: what it answers, and what hostile clients get."""
import contextlib
import hashlib
import json
import os
import re
import resource
import socket
import sqlite3
import sys
import tempfile
import threading
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from daemon import CAPTURE_MOST, Control, Daemon, capture_field, digest_of, require_built, until_closed  # noqa: E402

STAGED = 1024 * 1024  # larger bodies go to a staging file


class WebTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="wavepost-web-")
        cls.daemon = Daemon(cls.folder.name, plain=False)
        cls.token, cls.instrument = cls.join()
        cls.number = 0

    @classmethod
    def tearDownClass(cls):
        code, _ = cls.daemon.stop()
        cls.folder.cleanup()
        assert code == 0, "wavepostd ended with %d" % code

    @classmethod
    def join(cls):
        status, made = cls.daemon.control("POST", "/api/v1/instruments",
                                          {"name": "IR-1", "place": "Science/2/214/bench A"})
        assert status == 201, (status, made)
        code = made["join"].split("#")[1].split(":")[0]
        connection = cls.daemon.http()
        body = json.dumps({"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0})
        connection.request("POST", "/api/v1/agents/join", body, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        joined = json.loads(answer.read())
        connection.close()
        assert answer.status == 201, joined
        return joined["token"], joined["instrument"]["id"]

    def next_number(self):
        type(self).number += 1
        return self.number

    def ask(self, method, path, body=None, fields=None):
        connection = self.daemon.http()
        try:
            connection.request(method, path, body, fields or {})
            answer = connection.getresponse()
            text = answer.read()
        finally:
            connection.close()
        is_json = "json" in (answer.getheader("Content-Type") or "")
        return answer, json.loads(text) if is_json and text else text

    def send(self, body, number=None, **fields):
        number = number or self.next_number()
        sent = {"Authorization": "Bearer " + self.token, "Wavepost-Capture": capture_field(number),
                "Content-Digest": digest_of(body)}
        sent.update({name.replace("_", "-"): value for name, value in fields.items()})
        return self.ask("POST", "/api/v1/captures", body, {k: v for k, v in sent.items() if v})

    def assert_problem(self, answer, problem, status):
        """Problem details as RFC 9457 has them."""
        self.assertEqual(answer.status, status, problem)
        self.assertEqual(answer.getheader("Content-Type"), "application/problem+json")
        self.assertEqual(problem["status"], status)
        self.assertTrue(problem["title"])
        self.assertTrue(problem["detail"])

    def assert_alive(self):
        answer, body = self.ask("GET", "/healthz")
        self.assertEqual((answer.status, body), (200, {"status": "ok"}))

    # ---- answers ----

    def test_every_answer_carries_the_security_fields(self):
        for path in ("/healthz", "/nothing", "/api/v1/me/measurements", "/assets/uplot.js"):
            answer, _ = self.ask("GET", path)
            policy = answer.getheader("Content-Security-Policy")
            self.assertIn("default-src 'none'", policy)
            self.assertIn("frame-ancestors 'none'", policy)
            self.assertNotIn("unsafe-inline", policy)
            self.assertEqual(answer.getheader("X-Content-Type-Options"), "nosniff")
            self.assertEqual(answer.getheader("Referrer-Policy"), "same-origin")
            self.assertTrue(answer.getheader("Cache-Control"))

    def test_unknown_paths_and_methods_are_problems(self):
        answer, problem = self.ask("GET", "/api/v1/nothing/here")
        self.assert_problem(answer, problem, 404)
        self.assertEqual(problem["instance"], "/api/v1/nothing/here")
        answer, problem = self.ask("DELETE", "/healthz")
        self.assert_problem(answer, problem, 405)
        self.assertEqual(answer.getheader("Allow"), "GET, HEAD")
        answer, problem = self.ask("GET", "/%zz")
        self.assert_problem(answer, problem, 400)

    def test_a_stranger_is_asked_to_sign_in(self):
        for path in ("/api/v1/me/measurements", "/api/v1/unclaimed", "/api/v1/events?topics=fleet"):
            answer, problem = self.ask("GET", path)
            self.assert_problem(answer, problem, 401)
            self.assertIn("Bearer", answer.getheader("WWW-Authenticate"))

    def test_a_wrong_token_is_refused(self):
        answer, problem = self.send(b"x", Authorization="Bearer wrong")
        self.assert_problem(answer, problem, 401)
        answer, problem = self.send(b"x", Authorization=None)
        self.assert_problem(answer, problem, 401)

    def test_an_agent_may_not_use_what_is_for_people(self):
        answer, problem = self.ask("GET", "/api/v1/unclaimed", None,
                                   {"Authorization": "Bearer " + self.token})
        self.assert_problem(answer, problem, 403)

    def test_assets_are_not_sent_twice(self):
        answer, body = self.ask("GET", "/assets/uplot.js")
        self.assertEqual(answer.status, 200)
        self.assertIn(b"uPlot", body)
        tag = answer.getheader("ETag")
        answer, body = self.ask("GET", "/assets/uplot.js", None, {"If-None-Match": tag})
        self.assertEqual((answer.status, body), (304, b""))
        answer, body = self.ask("HEAD", "/assets/uplot.js")
        self.assertEqual((answer.status, body), (200, b""))
        self.assertGreater(int(answer.getheader("Content-Length")), 10000)

    def test_broken_json_is_told_with_its_place(self):
        answer, problem = self.ask("POST", "/api/v1/sign-in", '{"login": "x",\n "password": y}',
                                   {"Content-Type": "application/json"})
        self.assert_problem(answer, problem, 400)
        self.assertIn("Line 2", problem["detail"])
        answer, problem = self.ask("POST", "/api/v1/sign-in", "x", {"Content-Type": "text/plain"})
        self.assert_problem(answer, problem, 415)

    def test_a_request_from_another_sites_page_is_refused(self):
        for fields in ({"Origin": "https://evil.example"}, {"Sec-Fetch-Site": "cross-site"},
                       {"Cookie": "wavepost_session=x"},
                       {"Cookie": "wavepost_session=x", "Referer": "https://evil.example/a"}):
            answer, problem = self.ask("POST", "/api/v1/sign-out", "{}",
                                       {"Content-Type": "application/json", **fields})
            self.assert_problem(answer, problem, 403)
            self.assertIn("another site", problem["detail"])
        ours = "https://127.0.0.1:%d" % self.daemon.port
        answer, problem = self.ask("POST", "/api/v1/sign-out", "{}",
                                   {"Content-Type": "application/json", "Origin": ours,
                                    "Cookie": "wavepost_session=x"})
        self.assert_problem(answer, problem, 401)

    def test_a_wrong_password_is_401_whether_the_name_is_known_or_not(self):
        status, _ = self.daemon.control("POST", "/api/v1/people",
                                        {"login": "adele", "given": "Adele", "family": "Example",
                                         "roles": ["administrator"], "password": "correct horse"})
        self.assertIn(status, (200, 201))
        details = set()
        for login in ("adele", "nobody"):
            answer, problem = self.ask("POST", "/api/v1/sign-in",
                                       json.dumps({"login": login, "password": "wrong horse"}),
                                       {"Content-Type": "application/json"})
            self.assert_problem(answer, problem, 401)
            details.add(problem["detail"])
        self.assertEqual(len(details), 1)
        answer, body = self.ask("POST", "/api/v1/sign-in",
                                json.dumps({"login": "adele", "password": "correct horse"}),
                                {"Content-Type": "application/json"})
        self.assertEqual(answer.status, 200, body)
        cookie = answer.getheader("Set-Cookie")
        for part in ("HttpOnly", "SameSite=Lax", "Secure", "Path=/"):
            self.assertIn(part, cookie)
        self.assertNotIn("session_token", body)
        value = cookie.split(";")[0]
        answer, _ = self.ask("GET", "/api/v1/unclaimed", None, {"Cookie": value})
        self.assertEqual(answer.status, 200)
        origin = {"Origin": "https://127.0.0.1:%d" % self.daemon.port, "Cookie": value}
        answer, _ = self.ask("POST", "/api/v1/sign-out", None, origin)
        self.assertIn(answer.status, (200, 204))
        answer, _ = self.ask("GET", "/api/v1/unclaimed", None, {"Cookie": value})
        self.assertEqual(answer.status, 401)

    def test_metrics_are_for_this_machine_but_not_through_a_proxy(self):
        answer, body = self.ask("GET", "/metrics")
        self.assertEqual(answer.status, 200)
        self.assertIn(b"wavepost_http_answers_total", body)
        answer, problem = self.ask("GET", "/metrics", None, {"X-Forwarded-For": "127.0.0.1"})
        self.assert_problem(answer, problem, 401)

    def test_metrics_say_how_the_fleet_is(self):
        answer, body = self.ask("GET", "/metrics")
        self.assertEqual(answer.status, 200)
        self.assertTrue(answer.getheader("Content-Type").startswith("text/plain; version=0.0.4"))
        described, seen = set(), {}
        for line in body.decode().splitlines():
            if line.startswith("# TYPE "):
                name, kind = line.split()[2:]
                self.assertNotIn(name, described)
                self.assertIn(kind, ("gauge", "counter"))
                described.add(name)
            elif not line.startswith("# HELP "):
                match = re.fullmatch(r'([a-z_]+)(\{[a-z]+="(?:[^"\\]|\\.)*"(?:,[a-z]+="(?:[^"\\]|\\.)*")*\})? (-?[0-9]+)', line)
                self.assertTrue(match, line)
                self.assertIn(match.group(1), described, "a figure without its kind")
                seen.setdefault(match.group(1), []).append((match.group(2), int(match.group(3))))
        for name in ("agent_up", "agent_queue_files", "agent_unheard_seconds", "store_free_bytes", "data_free_bytes",
                     "lane_compute", "lane_passwords", "lane_exports", "db_wal_bytes"):
            self.assertIn("wavepost_" + name, seen)
        for name in ("printers", "deliveries_open", "deliveries_day", "spectra_day"):
            self.assertIn("wavepost_" + name, described)
        self.assertIn('instrument="', seen["wavepost_agent_up"][0][0])
        self.assertGreater(seen["wavepost_store_free_bytes"][0][1], 0)

    def test_the_fleet_counts_hours_lost_and_faults_of_the_last_weeks(self):
        hour, now = 3600 * 10**6, time.time_ns() // 1000
        with contextlib.closing(sqlite3.connect(os.path.join(self.daemon.data, "gateway.db"), timeout=20)) as db, db:
            agent, = db.execute("SELECT id FROM agent").fetchone()
            joined, = db.execute("SELECT joined_us FROM agent").fetchone()
            db.execute("UPDATE agent SET joined_us = ?", (now - 240 * hour,))
            spans = [("gateway", 0, 240, 0)] + [("agent", agent, *hours) for hours in ((240, 120), (118, 30), (28, 0))]
            for number, (subject, which, begin, end) in enumerate(spans, 1):
                db.execute("INSERT INTO span (id, subject, subject_id, state, from_us, to_us) VALUES (?, ?, ?, 'up', ?, ?)",
                           (number, subject, which, now - begin * hour, now - end * hour))
        status, fleet = self.daemon.control("GET", "/api/v1/fleet")
        self.assertEqual(status, 200)
        record, = [i["record"] for i in fleet["instruments"] if i["id"] == self.instrument]
        self.assertEqual((record["days"], record["count"], len(record["faults"])), (28, 2, 2))
        self.assertAlmostEqual(record["hours_lost"], 4, places=1)
        self.assertAlmostEqual(record["mtbf_hours"], 236 / 2, places=0)
        with contextlib.closing(sqlite3.connect(os.path.join(self.daemon.data, "gateway.db"), timeout=20)) as db, db:
            db.execute("DELETE FROM span WHERE id < 10")
            db.execute("UPDATE agent SET joined_us = ?", (joined,))

    def test_the_control_socket_is_for_its_owner(self):
        path = os.path.join(self.daemon.data, "control.sock")
        self.assertEqual(os.stat(path).st_mode & 0o777, 0o600)
        status, _ = self.daemon.control("GET", "/api/v1/unclaimed")
        self.assertEqual(status, 200)

    # ---- captures ----

    def test_a_capture_gets_a_receipt_and_a_repeat_the_same(self):
        body, number = b"##TITLE=not much of a spectrum\n##END=\n", self.next_number()
        answer, receipt = self.send(body, number)
        self.assertEqual(answer.status, 201, receipt)
        self.assertEqual(receipt["sha256"], hashlib.sha256(body).hexdigest())
        self.assertEqual(receipt["number"], number)
        answer, again = self.send(body, number)
        self.assertEqual((answer.status, again), (200, receipt))
        answer, problem = self.send(b"other bytes", number)
        self.assert_problem(answer, problem, 409)

    def test_bodies_around_the_staging_limit_arrive_whole(self):
        for size in (0, 1, STAGED - 1, STAGED, STAGED + 1, 3 * STAGED + 7):
            body = os.urandom(size)
            answer, receipt = self.send(body)
            self.assertEqual(answer.status, 201, receipt)
            self.assertEqual(receipt["sha256"], hashlib.sha256(body).hexdigest())
        self.assertEqual(os.listdir(os.path.join(self.daemon.data, "staging")), [])

    def test_a_chunked_body_arrives_whole(self):
        body = os.urandom(2 * STAGED + 3)
        pieces = (body[i:i + 70001] for i in range(0, len(body), 70001))
        connection = self.daemon.http()
        connection.request("POST", "/api/v1/captures", pieces,
                           {"Authorization": "Bearer " + self.token,
                            "Wavepost-Capture": capture_field(self.next_number()),
                            "Content-Digest": digest_of(body)}, encode_chunked=True)
        answer = connection.getresponse()
        receipt = json.loads(answer.read())
        connection.close()
        self.assertEqual(answer.status, 201, receipt)
        self.assertEqual(receipt["sha256"], hashlib.sha256(body).hexdigest())

    def test_a_digest_that_does_not_match_keeps_nothing(self):
        for size in (100, 2 * STAGED):
            number = self.next_number()
            body = os.urandom(size)
            answer, problem = self.send(body, number, Content_Digest=digest_of(b"other"))
            self.assert_problem(answer, problem, 422)
            answer, _ = self.send(body, number)
            self.assertEqual(answer.status, 201)
        self.assertEqual(os.listdir(os.path.join(self.daemon.data, "staging")), [])

    def test_malformed_fields_are_400(self):
        for fields in ({"Content_Digest": None}, {"Content_Digest": "sha-256=:AAAA:"},
                       {"Wavepost_Capture": None}, {"Wavepost_Capture": "%%%"},
                       {"Wavepost_Capture": capture_field(0)},
                       {"Wavepost_Capture": capture_field(1, path="")},
                       {"Wavepost_Capture": capture_field(1, path="x" * 1025)},
                       {"Wavepost_Capture": capture_field("1")}):
            answer, problem = self.send(b"x", **fields)
            self.assert_problem(answer, problem, 400)

    def test_a_body_over_the_limit_is_413_and_says_the_limit(self):
        answer, problem = self.send(os.urandom(CAPTURE_MOST + 1))
        self.assert_problem(answer, problem, 413)
        self.assertEqual(problem["limit"], CAPTURE_MOST)
        answer, problem = self.ask("POST", "/api/v1/sign-in", '{"login":"%s"}' % ("x" * 70000),
                                   {"Content-Type": "application/json"})
        self.assert_problem(answer, problem, 413)

    def test_a_gigabyte_is_refused_from_its_header(self):
        connection = self.daemon.connect()
        connection.sendall(b"POST /api/v1/captures HTTP/1.1\r\nHost: x\r\nContent-Length: 1073741824\r\n\r\n")
        answer = until_closed(connection, 10)
        connection.close()
        self.assertTrue(answer.startswith(b"HTTP/1.1 413 "), answer[:100])
        self.assertIn(b'"limit":%d' % CAPTURE_MOST, answer)

    def test_staff_bring_a_file_by_hand(self):
        status, _ = self.daemon.control("POST", "/api/v1/people",
                                        {"login": "tess", "given": "Tess", "family": "Example",
                                         "roles": ["technician"], "password": "correct horse"})
        self.assertIn(status, (200, 201))
        answer, _ = self.ask("POST", "/api/v1/sign-in",
                             json.dumps({"login": "tess", "password": "correct horse"}),
                             {"Content-Type": "application/json"})
        cookie = answer.getheader("Set-Cookie").split(";")[0]
        path = "/api/v1/instruments/%d/captures?name=stick%%20file.txt" % self.instrument
        fields = {"Cookie": cookie, "Sec-Fetch-Site": "same-origin"}
        answer, receipt = self.ask("POST", path, b"from a stick", fields)
        self.assertEqual(answer.status, 201, receipt)
        self.assertEqual(receipt["sha256"], hashlib.sha256(b"from a stick").hexdigest())
        answer, problem = self.ask("POST", path, b"from a stick")
        self.assert_problem(answer, problem, 401)

    # ---- hostile clients ----

    def test_a_header_that_is_too_large_is_refused(self):
        connection = self.daemon.connect()
        connection.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nX-Long: " + b"a" * 60000 + b"\r\n\r\n")
        answer = until_closed(connection, 10)
        connection.close()
        self.assertRegex(answer[:20], rb"HTTP/1.1 4(31|13|14|00) ")
        self.assert_alive()

    def test_what_is_no_http_is_closed(self):
        for noise in (b"\x00\x01\x02\x03" * 100, b"GET\r\n\r\n", b"\r\n" * 1000,
                      b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n",
                      b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n"):
            connection = self.daemon.connect()
            try:
                connection.sendall(noise)
                until_closed(connection, 3)
            except (socket.timeout, TimeoutError, OSError):
                pass  # still waiting for more of it: the idle time-out takes care
            connection.close()
        self.assert_alive()

    def test_a_body_cut_short_leaves_nothing_behind(self):
        for size in (1000, 3 * STAGED):
            connection = self.daemon.connect()
            head = ("POST /api/v1/captures HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\n"
                    "Wavepost-Capture: %s\r\nContent-Digest: %s\r\nContent-Length: %d\r\n\r\n"
                    % (self.token, capture_field(self.next_number()), digest_of(b""), size))
            connection.sendall(head.encode() + b"x" * (size - 10))
            time.sleep(0.2)
            connection.close()
        deadline = time.monotonic() + 10
        staging = os.path.join(self.daemon.data, "staging")
        while os.listdir(staging) and time.monotonic() < deadline:
            time.sleep(0.05)
        self.assertEqual(os.listdir(staging), [])
        self.assert_alive()

    def test_slow_and_half_open_clients_stop_nobody(self):
        slow = []
        for _ in range(50):
            connection = self.daemon.connect()
            connection.sendall(b"GET / HTTP/1.1\r\nHo")
            slow.append(connection)
        for _ in range(50):
            connection = self.daemon.connect()
            connection.sendall(b"POST /api/v1/sign-in HTTP/1.1\r\nHost: x\r\n"
                               b"Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n{")
            slow.append(connection)
        raw = [socket.create_connection(("127.0.0.1", self.daemon.port), 10) for _ in range(50)]
        for _ in range(20):
            self.assert_alive()
        for connection in slow + raw:
            connection.close()
        self.assert_alive()

    def test_a_thousand_idle_connections_stop_nobody(self):
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        if soft < 1200:
            resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, hard), hard))
        idle = [socket.create_connection(("127.0.0.1", self.daemon.port), 10) for _ in range(1000)]
        for _ in range(20):
            self.assert_alive()
        answer, body = self.ask("GET", "/metrics")
        self.assertEqual(answer.status, 200)
        counted = [line for line in body.decode().splitlines()
                   if line.startswith("wavepost_http_connections ")]
        self.assertGreaterEqual(int(counted[0].split()[1]), 1000)
        for connection in idle:
            connection.close()

    def test_many_at_once_all_get_their_own_answer(self):
        wrong = []

        def work(worker):
            for turn in range(20):
                body = b"%d/%d" % (worker, turn)
                answer, problem = self.send(body, 100000 + worker * 100 + turn)
                if answer.status != 201 or problem["sha256"] != hashlib.sha256(body).hexdigest():
                    wrong.append((worker, turn, answer.status, problem))

        threads = [threading.Thread(target=work, args=(worker,)) for worker in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        self.assertEqual(wrong, [])

    # ---- live events ----

    def follow(self, topics, after=None):
        connection = Control(os.path.join(self.daemon.data, "control.sock"))
        fields = {"Last-Event-ID": str(after)} if after is not None else {}
        connection.request("GET", "/api/v1/events?topics=" + topics, None, fields)
        answer = connection.getresponse()
        self.assertEqual(answer.status, 200)
        self.assertEqual(answer.getheader("Content-Type"), "text/event-stream")
        return connection, answer

    def next_event(self, answer):
        number = None
        while True:
            line = answer.readline().decode().rstrip("\n")
            if line.startswith("id: "):
                number = int(line[4:])
            elif line.startswith("data: "):
                return number, json.loads(line[6:])

    def test_live_events_arrive_and_resume_where_they_left_off(self):
        topics = "instrument:%d" % self.instrument
        connection, answer = self.follow(topics)
        self.send(os.urandom(50))
        started = time.monotonic()
        first, event = self.next_event(answer)
        self.assertLess(time.monotonic() - started, 2)
        self.assertEqual(event["topic"], topics)
        self.assertEqual(event["body"]["kind"], "unread")
        connection.close()
        self.send(os.urandom(50))
        connection, answer = self.follow(topics, first)
        second, event = self.next_event(answer)
        self.assertGreater(second, first)
        self.assertEqual(event["body"]["kind"], "unread")
        connection.close()

    def test_topics_that_do_not_exist_are_refused(self):
        for topics in ("", "nothing", "section:x", "fleet:1"):
            status, problem = self.daemon.control("GET", "/api/v1/events?topics=" + topics)
            self.assertEqual(status, 422, problem)
        status, _ = self.daemon.control("GET", "/api/v1/events?topics=instrument:999")
        self.assertEqual(status, 404)


if __name__ == "__main__":
    require_built()
    unittest.main()
