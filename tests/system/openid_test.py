"""Signing in through the site's provider: the way there and back, and everything that must not let anybody in."""
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
import unittest
import unittest.mock
import urllib.parse

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import daemon  # noqa: E402
from daemon import Daemon, require_built  # noqa: E402
from openid_provider import CLIENT, SECRET, Provider, b64, token, with_hmac  # noqa: E402

PEOPLE = (("mrowan", "Maya", "Rowan", "mrowan@college.example"), ("twin1", "A", "Twin", "twin@college.example"),
          ("twin2", "B", "Twin", "twin@college.example"))


class Browser:
    """Keeps cookies for one gateway."""

    def __init__(self, gateway):
        self.gateway, self.cookies = gateway, {}

    def get(self, path):
        """(status, Location, text)"""
        connection = self.gateway.http()
        fields = {"Cookie": "; ".join("%s=%s" % pair for pair in self.cookies.items())} if self.cookies else {}
        connection.request("GET", path, headers={**fields, "Sec-Fetch-Site": "cross-site"})
        answer = connection.getresponse()
        text = answer.read().decode()
        for field in answer.headers.get_all("Set-Cookie") or []:
            assert "HttpOnly; SameSite=Lax" in field, field
            name, value = field.split(";")[0].split("=", 1)
            self.cookies[name] = value
            if not value:
                del self.cookies[name]
        connection.close()
        return answer.status, answer.getheader("Location"), text

    def me(self):
        return json.loads(self.get("/api/v1/me")[2])["person"]


class Site:
    """A gateway that knows a provider; `more` goes into its section of the configuration."""

    def __init__(self, provider, more=""):
        self.folder = tempfile.TemporaryDirectory(prefix="wavepost-openid-")
        secret = os.path.join(self.folder.name, "secret")
        with open(secret, "w", encoding="utf-8") as file:
            file.write(SECRET + "\n")
        settings = {"issuer": provider.issuer, "client_id": CLIENT, "client_secret_file": secret,
                    "ca_file": provider.certificate}
        text = "[openid]\n%s\n%s\n" % ("\n".join("%s = %s" % pair for pair in settings.items()), more)
        with unittest.mock.patch.object(daemon, "CONFIG", daemon.CONFIG + text):
            self.gateway = Daemon(self.folder.name, plain=True)
        for login, given, family, email in PEOPLE:
            self.command("POST", "/people", {"login": login, "given": given, "family": family, "email": email,
                                             "roles": []})

    def command(self, method, path, body):
        connection = daemon.Control(os.path.join(self.gateway.data, "control.sock"))
        connection.request(method, "/api/v1" + path, json.dumps(body), {"Content-Type": "application/json"})
        answer = connection.getresponse()
        text = answer.read()
        connection.close()
        assert answer.status == 200, text
        return json.loads(text)

    def log(self):
        with open(os.path.join(self.folder.name, "log"), encoding="utf-8") as file:
            return file.read()

    def close(self):
        code, _ = self.gateway.stop()
        self.folder.cleanup()
        assert code == 0, code


class Case(unittest.TestCase):
    MORE = ""

    @classmethod
    def setUpClass(cls):
        cls.keys = tempfile.TemporaryDirectory(prefix="wavepost-provider-")
        cls.provider = Provider(cls.keys.name)
        cls.site = Site(cls.provider, cls.MORE)

    @classmethod
    def tearDownClass(cls):
        cls.site.close()
        cls.provider.close()
        cls.keys.cleanup()

    def setUp(self):
        self.provider.made = self.provider.honest
        self.browser = Browser(self.site.gateway)

    def there(self, browser=None):
        status, url, text = (browser or self.browser).get("/sign-in/provider")
        self.assertEqual(status, 303, text)
        return url

    def back(self, answer, browser=None):
        return (browser or self.browser).get("/sign-in/provider/back?" + urllib.parse.urlencode(answer))

    def sign_in(self, name="mrowan"):
        return self.back(self.provider.sign_in(self.there(), name))

    def refused(self, answer, words, code=403):
        self.assertEqual(answer[0], code, answer)
        self.assertIn(words, answer[2])
        self.assertIn("<h1>Not signed in</h1>", answer[2])
        self.assertNotIn("wavepost_session", self.browser.cookies)
        self.assertIsNone(self.browser.me())


class Way(Case):
    def test_a_person_comes_in_by_the_colleges_account(self):
        status, where, _ = self.sign_in("MRowan")
        self.assertEqual((status, where), (303, "/"))
        self.assertEqual(self.browser.me()["login"], "mrowan")
        self.assertNotIn("wavepost_openid", self.browser.cookies)
        connection = daemon.Control(os.path.join(self.site.gateway.data, "control.sock"))
        connection.request("GET", "/api/v1/ledger")
        entries = json.loads(connection.getresponse().read())["entries"]
        connection.close()
        self.assertTrue([e for e in entries if e["verb"] == "sign-in" and e["actor_id"] == self.browser.me()["id"]])

    def test_the_sign_in_page_offers_it_only_where_it_is_configured(self):
        self.assertEqual(json.loads(self.browser.get("/api/v1/sign-in")[2]),
                         {"provider": "Sign in with your college account"})
        with tempfile.TemporaryDirectory(prefix="wavepost-openid-") as folder:
            none = Daemon(folder, plain=True)
            browser = Browser(none)
            self.assertEqual(json.loads(browser.get("/api/v1/sign-in")[2]), {"provider": None})
            self.assertEqual(browser.get("/sign-in/provider")[0], 404)
            self.assertEqual(browser.get("/sign-in/provider/back?state=x&code=y")[0], 404)
            self.assertEqual(none.stop()[0], 0)

    def test_somebody_unknown_here_is_told_so_kindly(self):
        self.refused(self.sign_in("stranger"), "nobody here is known by that name")

    def test_who_does_not_sign_in_there_does_not_come_in(self):
        answer = self.provider.sign_in(self.there(), "mrowan")
        self.refused(self.back({"state": answer["state"], "error": "access_denied"}), "did not let you in")

    def test_a_state_is_good_once_and_in_the_browser_that_began(self):
        answer = self.provider.sign_in(self.there(), "mrowan")
        other = Browser(self.site.gateway)
        self.assertEqual(self.back(answer, other)[0], 403)
        self.there(other)
        self.assertEqual(self.back(answer, other)[0], 403)
        self.refused(self.back({**answer, "state": answer["state"][:-1] + "_"}), "not begun in this browser")
        self.refused(self.back({"code": answer["code"]}), "not begun in this browser")
        held = dict(self.browser.cookies)
        self.assertEqual(self.back(answer)[0], 303)
        self.browser.cookies = held
        self.refused(self.back(answer), "used already")

    def test_a_code_is_good_once(self):
        first = self.provider.sign_in(self.there(), "mrowan")
        self.assertEqual(self.back(first)[0], 303)
        self.browser.cookies = {}
        second = self.provider.sign_in(self.there(), "mrowan")
        self.refused(self.back({**second, "code": first["code"]}), "could not be believed")

    def test_anothers_code_does_not_fit(self):
        """A code that was given for another browser's sign-in: its verifier is not ours."""
        other = Browser(self.site.gateway)
        stolen = self.provider.sign_in(self.there(other), "mrowan")
        own = self.provider.sign_in(self.there(), "mrowan")
        self.refused(self.back({**own, "code": stolen["code"]}), "could not be believed")

    def test_an_answer_that_names_another_issuer_is_refused(self):
        answer = self.provider.sign_in(self.there(), "mrowan")
        self.refused(self.back({**answer, "iss": "https://elsewhere.example"}), "not begun in this browser")
        self.assertEqual(self.back({**answer, "iss": self.provider.issuer})[0], 303)

    def test_a_sign_in_is_too_old_after_ten_minutes(self):
        answer = self.provider.sign_in(self.there(), "mrowan")
        with sqlite3.connect(os.path.join(self.site.gateway.data, "gateway.db"), timeout=10) as base:
            (left,), = base.execute("SELECT max(expires_us - created_us) FROM openid_flow").fetchall()
            base.execute("UPDATE openid_flow SET expires_us = 1")
        base.close()
        self.assertEqual(left, 600 * 10**6)
        self.refused(self.back(answer), "took too long")

    def test_nothing_of_it_stands_in_the_log_or_the_database(self):
        answer = self.provider.sign_in(self.there(), "mrowan")
        held = self.browser.cookies["wavepost_openid"]
        self.assertEqual(self.back(answer)[0], 303)
        with open(os.path.join(self.site.gateway.data, "gateway.db-wal"), "rb") as file:
            kept = file.read()
        for secret in (held, answer["code"], answer["state"], SECRET):
            self.assertNotIn(secret, self.site.log())
            self.assertNotIn(secret.encode(), kept)


class Forged(Case):
    """Every token here must be refused; the honest one, made last, is not."""

    def forged(self, make):
        self.provider.made = make
        answer = self.sign_in()
        self.refused(answer, "could not be believed")
        self.assertIn("openid", self.site.log())

    def test_forged_tokens(self):
        p, now = self.provider, int(time.time())
        rs = {"alg": "RS256", "kid": "k1"}
        cases = {
            "no signature": lambda f: token(p.key, p.claims(f), {"alg": "none"}, lambda _: b""),
            "none, in other letters": lambda f: token(p.key, p.claims(f), {"alg": "None", "kid": "k1"}, lambda _: b""),
            "none, with a key": lambda f: token(p.key, p.claims(f), {"alg": "none", "kid": "k1"}, lambda _: b"x"),
            "signature cut off": lambda f: token(p.key, p.claims(f), rs, lambda _: b""),
            "HMAC with the public key": lambda f: token(p.key, p.claims(f), {"alg": "HS256", "kid": "k1"},
                                                        with_hmac(p.key.public)),
            "HMAC with the modulus": lambda f: token(p.key, p.claims(f), {"alg": "HS256", "kid": "k1"},
                                                     with_hmac(p.key.jwk()["n"].encode())),
            "HMAC called RS256": lambda f: token(p.key, p.claims(f), rs, with_hmac(p.key.public)),
            "another algorithm of ours": lambda f: token(p.curve, p.claims(f)),
            "somebody else's key": lambda f: token(p.forger, p.claims(f)),
            "a key in the header": lambda f: token(p.forger, p.claims(f), {**rs, "jwk": p.forger.jwk()}),
            "a key id unknown": lambda f: token(p.key, p.claims(f), {"alg": "RS256", "kid": "unknown"}),
            "critical extension": lambda f: token(p.key, p.claims(f), {**rs, "crit": ["x"], "x": 1}),
            "claims altered": lambda f: self.altered(f),
            "another issuer": lambda f: token(p.key, p.claims(f, iss=p.issuer + "/")),
            "no issuer": lambda f: token(p.key, p.claims(f, iss=None)),
            "for somebody else": lambda f: token(p.key, p.claims(f, aud="another")),
            "for many, no party": lambda f: token(p.key, p.claims(f, aud=[CLIENT, "another"])),
            "another party": lambda f: token(p.key, p.claims(f, azp="another")),
            "no audience": lambda f: token(p.key, p.claims(f, aud=None)),
            "another sign-in's": lambda f: token(p.key, p.claims(f, nonce="x" * 43)),
            "no nonce": lambda f: token(p.key, p.claims(f, nonce=None)),
            "expired": lambda f: token(p.key, p.claims(f, exp=now - 3600)),
            "never expires": lambda f: token(p.key, p.claims(f, exp=None)),
            "expires as text": lambda f: token(p.key, p.claims(f, exp=str(now + 300))),
            "made long ago": lambda f: token(p.key, p.claims(f, iat=now - 3600)),
            "made tomorrow": lambda f: token(p.key, p.claims(f, iat=now + 86400)),
            "not yet": lambda f: token(p.key, p.claims(f, nbf=now + 3600)),
            "nobody": lambda f: token(p.key, p.claims(f, preferred_username=None)),
            "no text": lambda f: token(p.key, p.claims(f, preferred_username=7)),
            "no claims": lambda f: token(p.key, ["mrowan"]),
            "no token": lambda f: "mrowan",
            "empty": lambda f: "",
            "endless": lambda f: token(p.key, p.claims(f, padding="x" * 20000)),
        }
        for name, make in cases.items():
            with self.subTest(token=name):
                self.browser = Browser(self.site.gateway)
                self.forged(make)
        self.browser = Browser(self.site.gateway)
        self.provider.made = lambda f: token(p.key, p.claims(f, aud=[CLIENT, "another"], azp=CLIENT))
        self.assertEqual(self.sign_in()[0], 303)

    def altered(self, flow):
        head, _, signature = token(self.provider.key, self.provider.claims(flow)).split(".")
        return ".".join([head, b64(json.dumps(self.provider.claims(flow, preferred_username="twin1")).encode()),
                         signature])


class Keys(Case):
    def test_new_keys_are_fetched_when_a_token_names_one(self):
        self.assertEqual(self.sign_in()[0], 303)
        self.provider.published = [self.provider.other]
        self.provider.made = lambda f: token(self.provider.other, self.provider.claims(f))
        asked = self.provider.asked.count("/keys")
        limit = time.monotonic() + 60
        while True:
            self.browser = Browser(self.site.gateway)
            answer = self.sign_in()
            if answer[0] == 303:
                break
            self.assertLess(time.monotonic(), limit, answer)
            time.sleep(0.5)
        # Unknown keys do not make us ask without end.
        self.assertEqual(self.provider.asked.count("/keys"), asked + 1)


class Curve(Case):
    MORE = "algorithm = ES256\nclaim = email\nmatch = email\nbutton = College"

    def test_elliptic_keys_and_mail_addresses(self):
        p = self.provider
        p.made = lambda f: token(p.curve, p.claims(f))
        self.assertEqual(self.sign_in()[0], 303)
        self.assertEqual(self.browser.me()["login"], "mrowan")
        for name, made in {"not verified": lambda f: token(p.curve, p.claims(f, email_verified=False)),
                           "not said": lambda f: token(p.curve, p.claims(f, email_verified=None)),
                           "said as text": lambda f: token(p.curve, p.claims(f, email_verified="true")),
                           "RSA": lambda f: token(p.key, p.claims(f))}.items():
            with self.subTest(token=name):
                self.browser = Browser(self.site.gateway)
                p.made = made
                self.refused(self.sign_in(), "could not be believed")
        self.browser = Browser(self.site.gateway)
        p.made = lambda f: token(p.curve, p.claims(f))
        self.refused(self.sign_in("twin"), "nobody here is known by that name")


class Trust(unittest.TestCase):
    def refused(self, spoil):
        with tempfile.TemporaryDirectory(prefix="wavepost-provider-") as folder:
            provider = Provider(folder)
            spoil(provider)
            site = Site(provider)
            try:
                answer = Browser(site.gateway).get("/sign-in/provider")
                if answer[0] == 303:
                    browser = Browser(site.gateway)
                    url = browser.get("/sign-in/provider")[1]
                    answer = browser.get("/sign-in/provider/back?" +
                                         urllib.parse.urlencode(provider.sign_in(url, "mrowan")))
                self.assertEqual(answer[0], 503, answer)
                self.assertIn("does not answer", answer[2])
                return site.log()
            finally:
                site.close()
                provider.close()

    def test_a_provider_with_a_certificate_that_nobody_vouches_for_is_not_asked(self):
        def spoil(provider):
            other = os.path.join(provider.folder, "other.crt")
            subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout",
                                   os.devnull, "-out", other, "-days", "2", "-subj", "/CN=other"], check=True,
                                  stderr=subprocess.DEVNULL, timeout=60)
            provider.certificate = other
        self.assertIn("discovery: ", self.refused(spoil))

    def test_a_discovery_document_of_another_issuer_or_algorithm_is_not_believed(self):
        def other_issuer(provider):
            real = provider.discovery
            provider.discovery = lambda: {**real(), "issuer": provider.issuer + "x"}

        def plain(provider):
            real = provider.discovery
            provider.discovery = lambda: {**real(), "token_endpoint": "http://localhost/token"}

        def other_algorithm(provider):
            provider.algorithms = ["HS256"]
        self.assertIn("the issuer is another", self.refused(other_issuer))
        self.assertIn("not https", self.refused(plain))
        self.assertIn("does not sign with the configured algorithm", self.refused(other_algorithm))

    def test_an_endless_answer_is_cut_off(self):
        def endless(provider):
            provider.padding = b" " * (1 << 20)
        self.assertIn("larger than", self.refused(endless))

    def test_settings_that_would_weaken_it_do_not_start(self):
        for wrong in ("algorithm = HS256", "algorithm = none", "match = anybody", "issuer = http://plain.example"):
            with tempfile.TemporaryDirectory(prefix="wavepost-openid-") as folder:
                issuer = "" if wrong.startswith("issuer") else "issuer = https://login.example\n"
                text = daemon.CONFIG + "[openid]\nclient_id = x\n" + issuer + wrong + "\n"
                with unittest.mock.patch.object(daemon, "CONFIG", text):
                    with self.assertRaisesRegex(AssertionError, r"\[openid\]"):
                        Daemon(folder, plain=True)


if __name__ == "__main__":
    require_built()
    unittest.main()
