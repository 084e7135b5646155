"""Every route asked by every role, about their own data and about others', against the server's own table."""
import glob
import hashlib
import os
import re
import sys
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from access_case import LOGIN, STAFF, College, Principal, table  # noqa: E402
from daemon import ROOT, require_built  # noqa: E402

V1 = "/api/v1"
# Rows open to a role anywhere whose act or view then looks at whose it is: what they look at, and the roles
# that this does not bind. They answer 404, as if it did not exist.
LOOKED_AT = {
    "/api/v1/deliveries/:id": "delivery", "/api/v1/deliveries/:id/answer": "delivery",
    "/api/v1/deliveries/:id/cancel": "delivery", "/api/v1/deliveries/:id/redirect": "delivery",
    "/api/v1/deliveries/:id/resolve": "delivery", "/api/v1/deliveries/:id/retry": "delivery",
    "/api/v1/objects/:sha256/file": "object", "/api/v1/notices/:id/settle": "notice",
}
UNBOUND = {"technician", "administrator", "command line"}
# What changes whose turn it is, and then what ends the asker's own sessions, is asked last.
SESSIONS = (V1 + "/sign-out", V1 + "/me/sessions")
LAST = (V1 + "/printers/:id/remove", V1 + "/bench/:instrument/sign-on", V1 + "/bench/:instrument/answer",
        V1 + "/bench/:instrument/again", V1 + "/measurements/:id/stamp", V1 + "/bench/:instrument/done", *SESSIONS)


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


class Walk(unittest.TestCase):
    """GET rows are asked as they are; others with a body that says nothing, which may be refused for that."""

    @classmethod
    def setUpClass(cls):
        cls.notice = cls.notice_of_a()
        cls.delivery = [d["id"] for d in college.command.get("/deliveries")["deliveries"]
                        if d["measurement"] == college.mine][0]

    @classmethod
    def notice_of_a(cls):
        """The notice that bytes came again in another turn of section A."""
        return [n["id"] for n in college.command.get("/notices")["notices"] if n["kind"] == "saved-again"][0]

    def path(self, row):
        ids = {"measurements": college.mine, "sections": college.sections["A"], "bench": college.instruments["IR-1"],
               "instruments": college.instruments["IR-1"], "deliveries": self.delivery, "notices": self.notice,
               "objects": hashlib.sha256(college.original).hexdigest(), "printers": college.printer, "agents": 1,
               "people": college.people["zquill"], "sessions": "0011223344556677",
               "terms": 1, "timetable": 1, "meetings": 1}
        parts = row.split("/")
        for i, part in enumerate(parts):
            if part == ":file":
                parts[i] = "uplot.css" if "assets" in row else "style.css"
            elif part.startswith(":"):
                parts[i] = str(ids[parts[i - 1]])
        return "/".join(parts)

    @staticmethod
    def expected(who, row, roles, tied):
        """"yes", or the statuses of a refusal."""
        refused = (401,) if not who.roles else (403,)
        if roles == {"everybody"} or (row == "/metrics" and "command line" in who.roles):
            return "yes"
        held = who.roles & roles
        if not held:
            return refused
        if held & UNBOUND:
            return "yes"
        if tied in ("measurement", "section", "instrument", "person"):
            return "yes" if tied in who.own else refused
        if row in LOOKED_AT:
            return "yes" if LOOKED_AT[row] in who.own else (404,)
        return "yes"

    def ask(self, who, method, row):
        fields, body, path = {}, None if method == "GET" else {}, self.path(row)
        if row == "/metrics":
            fields["X_Forwarded_For"] = "192.0.2.7"  # through a proxy it is not the machine itself that asks
        if row.endswith("captures"):
            body, fields["Content_Type"] = b"nothing", "application/octet-stream"
        if row == V1 + "/events":
            path += "?topics=" + self.topic(who)
        if row == V1 + "/find":
            path += "?accession=" + college.command.get("/measurements/%d" % college.mine)["accession"]
        if row in SESSIONS and method != "GET" and "wavepost_session" in who.fields.get("Cookie", ""):
            who = Principal(college, who.name, who.roles, college.sign_in(self.login(who)), who.own)
        return who.ask(method, path, body, **fields)[0]

    @staticmethod
    def login(who):
        for name, login in (("student, own", "zquill"), ("student, of the same section", "boakes"),
                            ("student, of another section", "zash"), ("technician", "tech"),
                            ("administrator", "admin"), ("nobody's staff", "none")):
            if who.name == name:
                return login
        return [login for login, letter, roles in STAFF[3:]
                if who.name == "%s, %s section" % (roles[0], "own" if letter == "A" else "other")][0]

    @staticmethod
    def topic(who):
        if "bench device" in who.roles:
            return "instrument:%d" % college.instruments["IR-1" if who.own else "IR-2"]
        if "student" in who.roles:
            return "person:%d" % who.get("/me")["person"]["id"]
        if who.roles & {"demonstrator", "instructor"}:
            return "section:%d" % college.sections["A" if who.own else "B"]
        return "staff"

    def check(self, who, method, row, roles, tied):
        expected = self.expected(who, row, roles, tied)
        if row in SESSIONS and "bench device" in who.roles:
            expected = (403,)
        status = self.ask(who, method, row)
        if row == V1 + "/events" and "marker" in who.roles:
            return self.assertEqual(status, 403, who.name)  # no topic is for markers
        if row == V1 + "/find" and expected == "yes":
            may = "measurement" in who.own or who.roles & UNBOUND
            return self.assertEqual(status, 200 if may else 404, who.name)
        if (method, row) == ("GET", "/bench/:instrument") and not who.roles:
            expected = (303,)  # a page for people: it leads to where a bench is enrolled
        if row.startswith("/sign-in/provider"):
            expected = (404,)  # this site has none
        if expected != "yes":
            return self.assertIn(status, expected, who.name)
        if method == "GET":
            return self.assertIn(status, (200, 204), who.name)
        self.assertNotIn(status, (401, 403), who.name) if roles != {"everybody"} else None
        return self.assertLess(status, 500, who.name)

    def test_every_route_answers_every_role_as_the_table_says(self):
        rows = table()
        self.assertGreater(len(rows), 80)
        rows.sort(key=lambda row: (row[0] == "DELETE", LAST.index(row[1]) if row[1] in LAST else -1))
        asked = 0
        for method, row, roles, tied in rows:
            for who in college.all:
                with self.subTest(route="%s %s" % (method, row), who=who.name):
                    self.check(who, method, row, roles, tied)
                asked += 1
        print("%d routes x %d roles: %d requests compared" % (len(rows), len(college.all), asked))


class Document(unittest.TestCase):
    def test_every_defence_in_the_security_document_names_tests_that_exist(self):
        with open(os.path.join(ROOT, "docs", "security.md"), encoding="utf-8") as file:
            rows = [line for line in file if line.startswith("|") and not re.match(r"\|(---| defence )", line)]
        self.assertGreater(len(rows), 30)
        for row in rows:
            named = re.findall(r"`(\w+_test\.(?:py|c)) (\w+)`", row)
            self.assertTrue(named, row)
            for name, test in named:
                found = glob.glob(os.path.join(ROOT, "tests", "**", name), recursive=True)
                self.assertEqual(len(found), 1, name)
                with open(found[0], encoding="utf-8") as file:
                    self.assertRegex(file.read(), r"(def|void) %s\(" % test, test)


if __name__ == "__main__":
    require_built()
    unittest.main()
