"""Signing in and out, tries that are counted, pages of other sites, codes and tokens, and what is left behind in
the log, the ledger and the database."""
import glob
import os
import statistics
import sys
import tempfile
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from access_case import LOGIN, PASSWORD, SECRETS, College, Principal  # noqa: E402
from daemon import ROOT, Daemon, capture_field, digest_of, require_built  # noqa: E402

V1 = "/api/v1"
HOUR_US = 3600 * 10**6


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


def now_us():
    return time.time_ns() // 1000


def as_person(fields):
    return Principal(college, "", [], fields)


class Case(unittest.TestCase):
    def tearDown(self):
        college.forget_tries()

    def sign_in(self, login, password):
        return college.nobody.post("/sign-in", {"login": login, "password": password})


class Links(Case):
    def link(self):
        known = len(college.mail.links())
        self.assertEqual(college.nobody.post("/sign-in/link", {"login": LOGIN})[0], 202)
        limit = time.monotonic() + 15
        while len(college.mail.links()) == known:
            self.assertLess(time.monotonic(), limit)
            time.sleep(0.02)
        return {"token": college.mail.links()[-1]}

    def test_a_link_works_once(self):
        link = self.link()
        self.assertEqual(college.nobody.post("/sign-in/token", link)[0], 200)
        self.assertEqual(college.nobody.post("/sign-in/token", link)[0], 404)

    def test_a_link_is_too_old_after_fifteen_minutes(self):
        link = self.link()
        (left,), = college.database("SELECT max(expires_us) FROM login_link")
        self.assertAlmostEqual((left - now_us()) / 60e6, 15, delta=1)
        college.database("UPDATE login_link SET expires_us = ?", now_us() - 1)
        self.assertEqual(college.nobody.post("/sign-in/token", link)[0], 404)

    def test_somebody_unknown_is_answered_and_counted_like_somebody_known(self):
        mails = len(college.mail.messages)
        known, unknown = ([college.nobody.ask("POST", V1 + "/sign-in/link", {"login": login}) for _ in range(6)]
                          for login in ("boakes", "n.o.body"))
        self.assertEqual([a[0] for a in known], [202] * 5 + [429])
        self.assertEqual([(a[0], a[2]) for a in known], [(a[0], a[2]) for a in unknown])
        self.assertEqual(college.nobody.post("/sign-in/link", {"login": "BOAKES"})[0], 429)
        self.assertLessEqual(len(college.mail.messages) - mails, 5)
        self.assertNotIn("n.o.body", "\n".join(college.mail.messages))

    def test_one_address_asks_for_so_many_links_whatever_the_names(self):
        told = [college.nobody.post("/sign-in/link", {"login": "nobody%d" % i})[0] for i in range(61)]
        self.assertEqual(told, [202] * 60 + [429])


class Passwords(Case):
    def test_wrong_passwords_are_counted_and_then_the_right_one_waits_too(self):
        told = [self.sign_in(("admin", "Admin", "ADMIN")[i % 3], "wrong password")[0] for i in range(11)]
        self.assertEqual(told, [401] * 10 + [429])
        self.assertEqual(self.sign_in("admin", PASSWORD)[0], 429)
        self.assertEqual(self.sign_in("tech", PASSWORD)[0], 200)

    def test_somebody_unknown_is_told_the_same(self):
        """The times are printed, not judged: a busy machine would decide."""
        told, spent = set(), {"admin": [], "n.o.body": []}
        for login in 4 * list(spent):
            started = time.monotonic()
            status, body = self.sign_in(login, "wrong password")
            spent[login].append(time.monotonic() - started)
            told.add((status, body["detail"]))
        known, unknown = (statistics.median(times) for times in spent.values())
        print("wrong password: somebody unknown takes %.2f times as long as somebody known" % (unknown / known))
        self.assertEqual(len(told), 1, told)
        (verifier,), = college.database("SELECT password_hash FROM person WHERE login = 'admin'")
        self.assertRegex(verifier, r"^\$argon2id\$")

    def test_a_new_password_ends_the_sessions_of_the_old_one(self):
        who = as_person(college.sign_in("none"))
        self.assertEqual(who.get("/me")["person"]["login"], "none")
        college.do("/people", {"login": "none", "given": "None", "family": "Staff", "password": PASSWORD + "2"})
        self.assertIsNone(who.get("/me")["person"])
        self.assertEqual(self.sign_in("none", PASSWORD)[0], 401)

    def test_a_hash_is_never_taken_from_outside_and_a_password_has_a_length(self):
        (before,), = college.database("SELECT password_hash FROM person WHERE login = 'tech'")
        college.do("/people", {"login": "tech", "given": "Tech", "family": "Staff", "roles": ["technician"],
                               "password_hash": "x"})
        for password in ("seven77", "x" * 1025):
            status, _ = college.command.post("/people", {"login": "tech", "given": "Tech", "family": "Staff",
                                                         "roles": ["technician"], "password": password})
            self.assertEqual(status, 422)
        self.assertEqual(college.database("SELECT password_hash FROM person WHERE login = 'tech'"), [(before,)])

    def test_one_address_tries_so_many_passwords_whatever_the_names(self):
        self.assertEqual(self.sign_in("nobody0", "wrong password")[0], 401)
        self.assertEqual(college.database("SELECT count FROM throttle WHERE name LIKE 'password-from:%'"), [(1,)])
        college.database("UPDATE throttle SET count = 99 WHERE name LIKE 'password-from:%'")
        self.assertEqual([self.sign_in("nobody%d" % i, "wrong password")[0] for i in (1, 2)], [401, 429])


class Sessions(Case):
    def session(self, column, value):
        who = as_person(college.sign_in("inga"))
        self.assertEqual(who.ask("GET", V1 + "/me/sessions")[0], 200)
        college.database("UPDATE session SET %s = ? WHERE created_us = (SELECT max(created_us) FROM session)" % column, value)
        return who

    def test_a_session_ends_after_two_hours_without_use(self):
        self.assertEqual(self.session("used_us", now_us() - 2 * HOUR_US + 60 * 10**6).ask("GET", V1 + "/me/sessions")[0], 200)
        self.assertEqual(self.session("used_us", now_us() - 2 * HOUR_US - 1).ask("GET", V1 + "/me/sessions")[0], 401)

    def test_a_session_ends_after_twelve_hours_in_any_case(self):
        who = as_person(college.sign_in("inga"))
        newest = who.get("/me/sessions")["sessions"][0]
        self.assertEqual(newest["expires_us"] - newest["created_us"], 12 * HOUR_US)
        self.assertEqual(self.session("expires_us", now_us() - 1).ask("GET", V1 + "/me/sessions")[0], 401)

    def test_signing_in_answers_who_one_is(self):
        status, me = self.sign_in("dora", PASSWORD)
        self.assertEqual((status, me["person"]["login"], me["roles"]), (200, "dora", ["demonstrator"]))
        self.assertNotIn("session_token", me)

    def test_one_of_ones_own_sessions_is_ended_by_its_key(self):
        first, second = (as_person(college.sign_in("dora")) for _ in range(2))
        here = [s["key"] for s in first.get("/me/sessions")["sessions"] if s["here"]]
        there = [s["key"] for s in second.get("/me/sessions")["sessions"] if s["here"]]
        self.assertEqual((len(here), len(there)), (1, 1))
        self.assertNotEqual(here, there)
        stranger = as_person(college.sign_in("tech"))
        self.assertEqual(stranger.ask("DELETE", V1 + "/me/sessions/" + there[0])[0], 404)
        self.assertEqual(first.ask("DELETE", V1 + "/me/sessions/" + there[0])[0], 204)
        self.assertEqual(second.ask("GET", V1 + "/me/sessions")[0], 401)
        self.assertEqual(first.ask("DELETE", V1 + "/me/sessions/" + there[0])[0], 404)
        status, fields, _ = first.ask("DELETE", V1 + "/me/sessions/" + here[0])
        self.assertEqual(status, 204)
        self.assertIn("Max-Age=0", fields["Set-Cookie"])
        self.assertEqual(first.ask("GET", V1 + "/me/sessions")[0], 401)

    def test_signing_out_ends_one_session_and_everywhere_ends_all(self):
        one, two, three = (as_person(college.sign_in("ivan")) for _ in range(3))
        status, fields, _ = one.ask("POST", V1 + "/sign-out", {})
        self.assertEqual(status, 204)
        self.assertIn("Max-Age=0", fields["Set-Cookie"])
        self.assertEqual([w.ask("GET", V1 + "/me/sessions")[0] for w in (one, two, three)], [401, 200, 200])
        self.assertEqual(two.ask("DELETE", V1 + "/me/sessions")[0], 204)
        self.assertEqual([w.ask("GET", V1 + "/me/sessions")[0] for w in (two, three)], [401, 401])

    def test_a_role_that_is_taken_away_is_gone_at_once(self):
        who = as_person(college.sign_in("admin"))
        self.assertEqual(who.ask("GET", V1 + "/ledger")[0], 200)
        college.do("/people", {"login": "admin", "given": "Admin", "family": "Staff", "roles": []})
        self.assertEqual(who.ask("GET", V1 + "/ledger")[0], 401)
        college.do("/people", {"login": "admin", "given": "Admin", "family": "Staff", "roles": ["administrator"]})

    def test_cookies_are_for_the_browser_alone_and_under_tls_for_tls_alone(self):
        _, fields, data = college.nobody.ask("POST", V1 + "/sign-in", {"login": "inga", "password": PASSWORD})
        flags = [part.strip() for part in fields["Set-Cookie"].split(";")]
        self.assertTrue({"HttpOnly", "SameSite=Lax", "Path=/"} <= set(flags), flags)
        self.assertNotIn(flags[0].split("=")[1].encode(), data)  # scripts never see it
        with tempfile.TemporaryDirectory(prefix="wavepost-access-") as folder:
            secure = Daemon(folder, plain=False)
            try:
                secure.control("POST", V1 + "/people", {"login": "a", "given": "A", "family": "B", "password": PASSWORD})
                connection = secure.http()
                connection.request("POST", V1 + "/sign-in", '{"login": "a", "password": "%s"}' % PASSWORD,
                                   {"Content-Type": "application/json"})
                answer = connection.getresponse()
                answer.read()
                connection.close()
            finally:
                secure.stop()
        self.assertEqual(answer.status, 200)
        self.assertTrue({"HttpOnly", "SameSite=Lax", "Secure"} <= {p.strip() for p in answer.getheader("Set-Cookie").split(";")})


class OtherSites(Case):
    def test_a_page_of_another_site_changes_nothing_with_a_persons_cookie(self):
        who = as_person(college.sign_in("inga"))
        for fields in ({"Origin": "https://evil.example"}, {"Origin": "null"},
                       {"Origin": college.daemon.url, "Sec_Fetch_Site": "cross-site"},
                       {"Origin": None, "Sec_Fetch_Site": "same-site"}, {"Origin": None},
                       {"Origin": None, "Referer": "https://evil.example/" + college.daemon.url}):
            with self.subTest(fields=fields):
                self.assertEqual(who.ask("POST", V1 + "/me/mail", {"mailing": "none"}, **fields)[0], 403)
                self.assertEqual(who.ask("DELETE", V1 + "/me/sessions", **fields)[0], 403)
        self.assertEqual(who.ask("GET", V1 + "/me/sessions")[0], 200)
        for fields in ({}, {"Origin": None, "Referer": college.daemon.url + "/"}, {"Origin": None, "Sec_Fetch_Site": "same-origin"}):
            self.assertNotEqual(who.ask("POST", V1 + "/me/mail", {"mailing": "none"}, **fields)[0], 403, fields)

    def test_a_bench_is_guarded_in_the_same_way(self):
        path = "%s/bench/%d/done" % (V1, college.instruments["IR-2"])
        bench = college.named["bench, other"]
        self.assertEqual(bench.ask("POST", path, {}, Origin="https://evil.example")[0], 403)
        self.assertEqual(bench.ask("POST", path, {}, Origin=None)[0], 403)
        self.assertEqual(bench.ask("POST", path, {})[0], 200)

    def test_a_body_that_a_foreign_form_could_send_as_text_is_refused(self):
        who = as_person(college.sign_in("inga"))
        self.assertEqual(who.ask("POST", V1 + "/me/mail", '{"mailing":"none"}', Content_Type="text/plain")[0], 415)

    def test_every_answer_carries_the_strict_policy_and_documents_a_stricter_one(self):
        inga = college.named["instructor, own section"]
        for path in ("/", "/style.css", "/nothing.html", V1 + "/me", V1 + "/nothing", V1 + "/ledger", "/bench/1"):
            for who in (college.nobody, inga):
                _, fields, _ = who.ask("GET", path)
                policy = dict((part.split() + [""])[:2] for part in fields["Content-Security-Policy"].split(";"))
                self.assertEqual((policy["default-src"], policy["script-src"], policy["style-src"],
                                  policy["frame-ancestors"], policy["base-uri"]),
                                 ("'none'", "'self'", "'self'", "'none'", "'none'"), path)
                self.assertNotIn("unsafe", fields["Content-Security-Policy"])
                self.assertEqual(fields["X-Content-Type-Options"], "nosniff")
                self.assertEqual(fields["X-Frame-Options"], "DENY")
                self.assertEqual(fields["Referrer-Policy"], "same-origin")
        for end in ("sheet.svg", "sheet.pdf", "file", "jcamp", "csv"):
            _, fields, _ = inga.ask("GET", "%s/measurements/%d/%s" % (V1, college.mine, end))
            self.assertIn("sandbox", fields["Content-Security-Policy"], end)
            self.assertIn("default-src 'none'", fields["Content-Security-Policy"], end)

    def test_pages_have_no_script_or_style_inside_and_load_nothing_from_outside(self):
        pages = glob.glob(os.path.join(ROOT, "gateway", "web", "pages", "*.html"))
        self.assertTrue(pages)
        for page in pages:
            with open(page, encoding="utf-8") as file:
                text = file.read()
            self.assertNotRegex(text, r"<script(?![^>]*\bsrc=)|<style|\son\w+\s*=|\sstyle\s*=|javascript:", page)
            self.assertNotRegex(text, r'(src|href)\s*=\s*"?(https?:)?//', page)


class Codes(Case):
    def test_join_and_bench_codes_are_good_for_one(self):
        made = college.do("/instruments/%d/join-code" % college.instruments["IR-1"])
        code = made["join"].split("#")[1].split(":")[0]
        college.join(code)
        body = {"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0}
        self.assertEqual(college.nobody.post("/agents/join", body)[0], 404)
        code = college.do("/instruments/%d/bench-code" % college.instruments["IR-1"])["code"]
        self.assertEqual(college.nobody.post("/agents/join", {**body, "code": code})[0], 404)  # of another kind
        self.assertEqual([college.nobody.post("/bench/enrol", {"code": code})[0] for _ in range(2)], [200, 404])

    def test_a_code_that_is_too_old_is_gone(self):
        code = college.do("/instruments/%d/bench-code" % college.instruments["IR-1"])["code"]
        college.database("UPDATE join_code SET expires_us = ?", now_us() - 1)
        self.assertEqual(college.nobody.post("/bench/enrol", {"code": code})[0], 410)

    def test_wrong_codes_are_counted(self):
        told = [college.nobody.post("/bench/enrol", {"code": "CCCC-%04d" % i})[0] for i in range(61)]
        self.assertEqual(told, [404] * 60 + [429])

    def test_an_agents_files_go_to_its_own_instrument_until_its_token_is_revoked(self):
        made = college.do("/instruments/%d/join-code" % college.instruments["IR-2"])
        token = college.join(made["join"].split("#")[1].split(":")[0])
        agent = Principal(college, "", ["agent"], {"Authorization": "Bearer " + token})

        def send(number):
            body = b"no spectrum %d" % number
            return agent.ask("POST", V1 + "/captures", body, Content_Digest=digest_of(body), Wavepost_Capture=capture_field(
                number, path="x.jdx", instrument=college.instruments["IR-1"], instrument_id=college.instruments["IR-1"]))[0]
        self.assertEqual(send(1), 201)
        rows = college.database("SELECT instrument_id FROM capture ORDER BY id DESC LIMIT 1")
        self.assertEqual(rows, [(college.instruments["IR-2"],)])
        (number,), = college.database("SELECT max(id) FROM agent")
        college.do("/agents/%d/revoke" % number)
        self.assertEqual(send(2), 401)
        self.assertEqual(agent.ask("POST", V1 + "/agents/heartbeat", {})[0], 401)


class Ledger(Case):
    def entries(self, since, *verbs):
        return [(e["verb"], e["subject"]) for e in college.command.get("/ledger")["entries"]
                if e["number"] > since and e["verb"] in verbs][::-1]

    def test_what_staff_look_at_and_take_away_is_written_down(self):
        inga = as_person(college.sign_in("inga"))
        section, measurement = "section:%d" % college.sections["A"], "measurement:%d" % college.mine
        (since,), = college.database("SELECT max(number) FROM ledger")
        for path in ("/sections/%d/grid" % college.sections["A"], "/measurements/%d" % college.mine,
                     "/measurements/%d" % college.mine, "/measurements/%d/sheet.pdf" % college.mine,
                     "/measurements/%d/file" % college.mine, "/measurements/%d/csv" % college.mine,
                     "/sections/%d/zip" % college.sections["A"]):
            self.assertEqual(inga.ask("GET", V1 + path)[0], 200)
        self.assertEqual(self.entries(since, "view", "export"), [
            ("view", section), ("view", measurement), ("export", measurement), ("export", measurement),
            ("export", section)])  # one look, however often the page asks

    def test_what_a_student_looks_at_is_nobodys_business_and_a_refused_look_is_no_look(self):
        (since,), = college.database("SELECT max(number) FROM ledger")
        college.named["student, own"].ask("GET", "%s/measurements/%d/file" % (V1, college.mine))
        self.assertEqual(college.named["instructor, other section"].ask("GET", "%s/measurements/%d/file" % (V1, college.mine))[0], 403)
        self.assertEqual(self.entries(since, "view", "export"), [])

    def test_sign_ins_stamps_claims_and_settings_are_written_down(self):
        (since,), = college.database("SELECT max(number) FROM ledger")
        inga = as_person(college.sign_in("inga"))
        inga.post("/measurements/%d/stamp" % college.mine, {"reason": "the ledger"})
        college.do("/courses", {"code": "CHEM 201", "title": "Laboratory"})
        self.assertEqual([verb for verb, _ in self.entries(since, "sign-in", "stamp", "setting")], ["sign-in", "stamp", "setting"])


class WhatIsLeft(Case):
    """Last, by its name: what all of this has left behind."""

    def secrets(self):
        tokens = [college.tokens[name] for name in college.tokens] + college.mail.links()
        cookies = [who.fields["Cookie"].split("=", 1)[1] for who in college.all if "Cookie" in who.fields]
        return [text.lower() for text in [PASSWORD, "wrong password", *tokens, *cookies] if text]

    def test_the_log_has_no_secrets_and_no_names(self):
        college.daemon.log.flush()
        with open(college.daemon.log.name, encoding="utf-8") as file:
            log = file.read().lower()
        self.assertIn("listening", log)
        for text in self.secrets() + SECRETS + ["boakes", "oakes", "ashdown", "@college.example"]:
            self.assertNotIn(text, log)

    def test_the_ledger_has_ids_and_digests_and_no_names(self):
        rows = college.database("SELECT verb, subject, detail_digest FROM ledger")
        self.assertGreater(len(rows), 50)
        self.assertTrue({"sign-in", "setting", "join", "stamp"} <= {row[0] for row in rows}, {row[0] for row in rows})
        text = "\n".join("%s %s %r" % row for row in rows).lower()
        for secret in self.secrets() + SECRETS + ["boakes", "ashdown"]:
            self.assertNotIn(secret, text)
        for verb, subject, digest in rows:
            self.assertRegex(subject, r"^[a-z ]+(:[0-9a-f]+)?$")
            self.assertIn(len(digest or b""), (0, 32))
        self.assertTrue(college.command.get("/ledger?check=1")["sound"])

    def test_tokens_and_passwords_are_nowhere_on_the_disk(self):
        files = [path for path in glob.glob(os.path.join(college.daemon.data, "**"), recursive=True) if os.path.isfile(path)]
        self.assertTrue(any(path.endswith("gateway.db") for path in files))
        for path in files:
            with open(path, "rb") as file:
                data = file.read().lower()
            for text in self.secrets():
                self.assertNotIn(text.encode(), data, path)

    def test_what_is_kept_is_for_the_gateways_own_user_alone(self):
        seen = 0
        for folder, _, names in os.walk(college.daemon.data):
            for name in names:
                seen += 1
                self.assertEqual(os.stat(os.path.join(folder, name)).st_mode & 0o077, 0, name)
        self.assertGreater(seen, 5)
        self.assertEqual(os.stat(college.daemon.data).st_mode & 0o077, 0)


if __name__ == "__main__":
    require_built()
    unittest.main()
