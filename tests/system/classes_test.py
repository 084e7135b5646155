"""Around a class: instruments looked at before it, who has what at its end, paper, faults of an instrument, a
bench where nothing arrives; each said once, not again after a restart."""
import json
import os
import sqlite3
import sys
import tempfile
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import daemon  # noqa: E402
from access_case import MailBox, Principal  # noqa: E402
from daemon import Daemon, capture_field, digest_of, require_built  # noqa: E402
from documents_data import jcamp  # noqa: E402

MINUTE = 60
STUDENTS = ("anna,Anna,Arden", "bela,Béla,Brook", "cleo,Cleo,Crane", "dana,Dana,Drake", "edda,Edda,Elm")


def stamp(at):
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at))


def coarse(title):
    """Recorded at 16 cm-1 where the lab uses 4: a remark on settings."""
    return jcamp(title).replace(b"##XUNITS", b"##RESOLUTION=16\r\n##XUNITS")


def fine(title):
    return jcamp(title).replace(b"##XUNITS", b"##RESOLUTION=4\r\n##XUNITS")


class ClassesTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="wavepost-classes-")
        cls.addClassCleanup(cls.folder.cleanup)
        cls.mail = MailBox()
        cls.addClassCleanup(cls.mail.server_close)
        cls.addClassCleanup(cls.mail.shutdown)
        daemon.CONFIG += ("[bench]\nchange = 0 s\n[mail]\nurl = smtp://127.0.0.1:%d\nrequire_tls = no\n"
                          "from = lab@college.example\n" % cls.mail.server_address[1])
        cls.daemon = Daemon(cls.folder.name, plain=True)
        cls.addClassCleanup(lambda: cls.daemon.stop())
        cls.number = 0
        cls.set_up()

    @classmethod
    def command(cls, method, path, body=None):
        status, answer = cls.daemon.control(method, "/api/v1" + path, body)
        assert status in (200, 201, 204), (path, status, answer)
        return answer

    @classmethod
    def set_up(cls):
        cls.instruments, cls.tokens = {}, {}
        for name, place in (("IR-1", "Science/2/214"), ("IR-2", "Science/2/214"), ("IR-9", "Science/3/310")):
            made = cls.command("POST", "/instruments", {"name": name, "place": place, "lab_resolution": 4,
                                                        "how_to_export": "File, Save as, JCAMP-DX."})
            cls.tokens[name] = cls.join(made["join"].split("#")[1].split(":")[0])
        cls.instruments = {i["name"]: i["id"] for i in cls.command("GET", "/instruments")["instruments"]}
        cls.command("POST", "/courses", {"code": "CHM 221", "mailing": "none"})
        for code in ("A", "B"):
            cls.command("POST", "/sections", {"course": "CHM 221", "section": code, "place": "Science/2/214"})
        cls.command("POST", "/roster", {"course": "CHM 221", "section": "A",
                                        "csv": "login,given,family\n" + "\n".join(STUDENTS) + "\n"})
        for login, roles in (("tech", ["technician"]), ("inga", [])):
            cls.command("POST", "/people", {"login": login, "given": login.title(), "family": "Staff", "roles": roles,
                                            "email": login + "@college.example", "password": "correct horse battery"})
        cls.command("POST", "/staff", {"course": "CHM 221", "section": "A", "login": "inga", "roles": ["instructor"]})
        cls.people = {p["login"]: p["id"] for p in cls.command("GET", "/people?q=")["people"]}
        courses = cls.command("GET", "/courses")["courses"][0]
        cls.sections = {s["code"]: s["id"] for s in courses["sections"]}

    @classmethod
    def http(cls, method, path, body, fields):
        connection = cls.daemon.http()
        connection.request(method, path, body, fields)
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return answer, data

    @classmethod
    def join(cls, code):
        _, data = cls.http("POST", "/api/v1/agents/join", json.dumps(
            {"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0}), {"Content-Type": "application/json"})
        return json.loads(data)["token"]

    def heartbeat(self, name, **others):
        body = {"version": "0.1.0", "time_us": time.time_ns() // 1000, "folders": [{"path": "/export", "ok": True}],
                **others}
        answer, data = self.http("POST", "/api/v1/agents/heartbeat", json.dumps(body), {
            "Content-Type": "application/json", "Authorization": "Bearer " + self.tokens[name]})
        self.assertEqual(answer.status, 200, data)

    def capture(self, name, body):
        type(self).number += 1
        now = time.time_ns() // 1000
        answer, data = self.http("POST", "/api/v1/captures", body, {
            "Authorization": "Bearer " + self.tokens[name], "Content-Digest": digest_of(body),
            "Wavepost-Capture": capture_field(self.number, path="%d.jdx" % self.number, mtime_us=now,
                                              captured_us=now)})
        self.assertEqual(answer.status, 201, data)

    def database(self, text, *values):
        connection = sqlite3.connect(os.path.join(self.daemon.data, "gateway.db"), timeout=20)
        try:
            with connection:
                return connection.execute(text, values).fetchall()
        finally:
            connection.close()

    def until(self, what, found, seconds=60):
        limit = time.monotonic() + seconds
        while time.monotonic() < limit:
            value = found()
            if value:
                return value
            time.sleep(0.2)
        self.fail("not within %d s: %s" % (seconds, what))

    def turn(self, name, login, body, title):
        """A turn with one spectrum; the measurement as staff see it."""
        path = "/bench/%d" % self.instruments[name]
        self.command("POST", path + "/sign-on", {"persons": [self.people[login]], "section": self.sections["A"]})
        self.capture(name, body(title))
        state = self.command("GET", path)
        if state["question"]:
            state = self.command("POST", path + "/answer", {"measurement": state["current"]["id"], "same": True})
        current = state["current"]
        self.command("POST", path + "/done")
        return current

    def classes(self, code):
        return [c for c in self.command("GET", "/classes")["classes"] if c["code"] == code]

    def meeting(self, code, starts, ends):
        self.command("POST", "/meetings", {"course": "CHM 221", "section": code, "starts": stamp(starts),
                                           "ends": stamp(ends)})

    def notices(self):
        return [n for n in self.command("GET", "/notices")["notices"] if n["kind"] == "instrument"]

    def test_1_half_an_hour_before_a_class_instruments_are_looked_at_and_mailed_once_if_red(self):
        now = time.time()
        for name in self.tokens:
            self.heartbeat(name)
        self.heartbeat("IR-2", spool={"limit": 1, "stopped": True},
                       folders=[{"path": "/export", "ok": False, "text": "gone"}])
        self.meeting("B", now + 20 * MINUTE, now + 200 * MINUTE)
        self.until("said", lambda: self.database("SELECT 1 FROM class_said WHERE before_us IS NOT NULL AND red = 1"))
        mail = self.until("mail", lambda: list(self.mail.messages))[0]
        self.assertIn("tech@college.example", mail)
        self.assertIn("IR-1 ready, IR-2 not: its PC has no room for spectra and its", mail.replace("=\r\n", ""))
        one = self.classes("B")[0]
        self.assertEqual([i["name"] for i in one["instruments"]], ["IR-1", "IR-2"])  # IR-9 stands elsewhere
        self.assertEqual([i["ready"] for i in one["instruments"]], [True, False])
        self.assertIn("no film check today", one["instruments"][0]["notes"])
        self.assertIsNone(one["ending"])
        self.until("recorded", lambda: self.database("SELECT 1 FROM staff_mail WHERE sent_us IS NOT NULL"))
        # After a restart the next class is looked at, this one not again; IR-9 is ready: no mail.
        self.restart()
        self.heartbeat("IR-9")
        self.command("POST", "/sections", {"course": "CHM 221", "section": "C", "place": "Science/3/310"})
        self.meeting("C", now + 25 * MINUTE, now + 200 * MINUTE)
        self.until("said", lambda: self.database("SELECT 1 FROM class_said WHERE before_us IS NOT NULL AND red = 0"))
        self.assertEqual(self.database("SELECT count(*) FROM class_said"), [(2,)])
        self.assertEqual(self.database("SELECT count(*) FROM staff_mail"), [(1,)])
        self.assertEqual(len(self.mail.messages), 1)

    def restart(self):
        code, _ = self.daemon.stop()
        self.assertEqual(code, 0)
        type(self).daemon = Daemon(self.folder.name, plain=True)

    def test_2_at_the_end_staff_see_who_has_what_and_the_paper(self):
        now = time.time()
        self.meeting("A", now - 60 * MINUTE, now + 5 * MINUTE)
        self.heartbeat("IR-1")
        self.turn("IR-1", "anna", fine, "good")
        bad = self.turn("IR-1", "bela", fine, "to be run again")
        self.command("POST", "/bench/%d/again" % self.instruments["IR-1"], {"measurement": bad["id"]})
        one = self.until("class A", lambda: self.classes("A"))[0]
        ending = one["ending"]
        names = {key: [p["name"] for p in ending[key]] for key in ("usable", "fewer", "again", "nothing")}
        self.assertEqual(names, {"usable": ["Anna Arden"], "fewer": [], "again": ["Béla Brook"],
                                 "nothing": ["Cleo Crane", "Dana Drake", "Edda Elm"]})
        self.assertEqual(ending["free"], 1)
        self.assertEqual(ending["minutes"], 32)  # four turns of eight minutes on one instrument
        self.assertEqual(ending["text"], "4 to run: about 32 minutes on 1 instrument, free now.")
        self.assertEqual(ending["paper"], [])
        self.printed(bad["id"])
        paper = self.classes("A")[0]["ending"]["paper"]
        self.assertEqual(paper, [{"printer": "P-1", "where": "by the door", "sheets": 1}])
        self.until("said", lambda: self.database("SELECT 1 FROM class_said WHERE ending_us IS NOT NULL"))

    def printed(self, measurement):
        """A sheet that came out, as the dispatcher records one; no printer is at hand here."""
        printer = self.command("POST", "/printers", {"name": "P-1", "uri": "ipp://127.0.0.1:1/p", "where": "by the door",
                                                     "place": "Science/9"})["id"]
        now = time.time_ns() // 1000
        self.database("INSERT INTO delivery (id, kind, measurement_id, person_id, instrument_id, printer_id, state, "
                      "reason, due_us, created_us, changed_us) VALUES (7, 'print', ?, 0, ?, ?, 'done', 'x', ?, ?, ?)",
                      measurement, self.instruments["IR-1"], printer, now, now, now)

    def test_3_an_instructor_sees_own_classes_only(self):
        answer, data = self.http("POST", "/api/v1/sign-in", json.dumps(
            {"login": "inga", "password": "correct horse battery"}), {"Content-Type": "application/json"})
        self.assertEqual(answer.status, 200, data)
        fields = {"Cookie": answer.getheader("Set-Cookie").split(";")[0]}
        _, data = self.http("GET", "/api/v1/classes", None, fields)
        self.assertEqual([c["code"] for c in json.loads(data)["classes"]], ["A"])

    def test_4_the_same_remark_on_three_turns_of_three_people_is_the_instruments(self):
        # Two turns of one person between are not three people.
        for login, title in (("anna", "1"), ("bela", "2"), ("bela", "3")):
            current = self.turn("IR-2", login, coarse, "coarse " + title)
            self.assertIn("settings", [r["code"] for r in current["remarks"]])
        self.assertEqual(self.notices(), [])
        self.turn("IR-2", "cleo", coarse, "coarse 4")
        self.assertEqual(self.notices(), [])  # bela, bela, cleo
        current = self.turn("IR-2", "dana", coarse, "coarse 5")  # bela, cleo, dana
        self.assertEqual(len(self.notices()), 1)
        self.assertIn("IR-2: load the lab's method", self.notices()[0]["text"])
        again = self.command("GET", "/measurements/%d" % current["id"])
        advice = [r["advice"] for r in again["remarks"] if r["code"] == "settings"]
        self.assertEqual(advice, ["This is the instrument, not your sample. Staff have been told."])
        self.turn("IR-2", "edda", coarse, "coarse 6")
        self.assertEqual(len(self.notices()), 1)  # told once
        state = self.command("GET", "/bench/%d" % self.instruments["IR-2"])
        self.assertIn("instrument", [m["kind"] for m in state["messages"]])
        self.turn("IR-2", "anna", fine, "good again")
        self.assertEqual(self.notices(), [])  # settled by a turn without it

    def test_5_staff_settle_a_fault_and_a_mixed_row_is_none(self):
        for login, body in (("anna", coarse), ("bela", fine), ("cleo", coarse), ("dana", coarse)):
            self.turn("IR-9", login, body, "row " + login)
        self.assertEqual(self.notices(), [])
        self.turn("IR-9", "edda", coarse, "row edda")
        notice = self.notices()[0]
        self.command("POST", "/notices/%d/settle" % notice["id"])
        self.assertEqual(self.notices(), [])

    def test_6_a_bench_where_nothing_arrives_says_so_after_three_minutes(self):
        path = "/bench/%d" % self.instruments["IR-1"]
        self.heartbeat("IR-1")
        state = self.command("POST", path + "/sign-on", {"persons": [self.people["edda"]],
                                                         "section": self.sections["A"]})
        self.assertIsNone(state["nothing"])
        earlier = (time.time_ns() - 181 * 10**9) // 1000
        self.database("UPDATE turn SET opened_us = ? WHERE id = ?", earlier, state["turn"]["id"])
        # Spectra of turns before are older than this one.
        self.database("UPDATE capture SET received_us = ? WHERE received_us > ?", earlier - 10**6, earlier - 10**6)
        nothing = self.command("GET", path)["nothing"]
        self.assertEqual(nothing["since_us"], earlier)
        self.assertEqual(nothing["text"],
                         "Nothing has arrived from IR-1. File, Save as, JCAMP-DX. Folder: /export")
        self.until("told", lambda: self.database("SELECT 1 FROM event WHERE body LIKE '%\"nothing\"%'"))
        self.capture("IR-1", fine("late"))
        self.assertIsNone(self.command("GET", path)["nothing"])
        self.assertEqual(len(self.database("SELECT 1 FROM event WHERE body LIKE '%\"nothing\"%'")), 1)

    def test_7_a_visitors_spectrum_lives_for_30_days_and_leaves_its_mark(self):
        path = "/bench/%d" % self.instruments["IR-9"]
        self.command("POST", path + "/sign-on", {"guest": "Open day 3"})
        self.capture("IR-9", fine("of a visitor"))
        state = self.command("GET", path)
        if state["question"]:
            state = self.command("POST", path + "/answer", {"measurement": state["current"]["id"], "same": True})
        guest = state["current"]
        self.assertEqual(guest["guest"], "Open day 3")
        self.command("POST", path + "/done")
        self.age(guest["id"], 29)
        self.meeting("C", time.time() + 400 * MINUTE, time.time() + 500 * MINUTE)  # any write, then a sweep after it
        self.assertEqual(self.command("GET", "/measurements/%d" % guest["id"])["guest"], "Open day 3")
        self.age(guest["id"], 31)
        self.until("removed", lambda: self.database("SELECT 1 FROM removed_measurement WHERE measurement_id = ?",
                                                    guest["id"]))
        self.assertEqual(self.daemon.control("GET", "/api/v1/measurements/%d" % guest["id"])[0], 404)
        self.assertIn("removed", self.command("GET", "/find?accession=" + guest["accession"]))
        reason = self.database("SELECT reason FROM removal WHERE subject = ?", str(guest["id"]))
        self.assertEqual(reason, [("A visitor's spectrum, kept for 30 days.",)])
        self.assertEqual(self.database("SELECT count(*) FROM turn WHERE guest <> ''"), [(0,)])
        self.assertEqual(self.database("SELECT count(*) FROM stamp WHERE guest <> ''"), [(0,)])

    def age(self, measurement, days):
        then = (time.time_ns() - days * 86400 * 10**9) // 1000
        self.database("UPDATE capture SET received_us = ? WHERE id = (SELECT capture_id FROM measurement WHERE id = ?)",
                      then, measurement)
        self.database("UPDATE stamp SET at_us = ? WHERE measurement_id = ?", then, measurement)
        self.database("UPDATE turn SET opened_us = ?, closed_us = ? WHERE guest <> ''", then, then + 1)


if __name__ == "__main__":
    require_built()
    unittest.main()
