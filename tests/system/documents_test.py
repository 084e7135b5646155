"""A spectrum out of the real gateway again: sheet, original, JCAMP-DX, CSV, points, the section's ZIP."""
import csv
import io
import json
import os
import subprocess
import sys
import tempfile
import time
import unittest
import zipfile

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)

from daemon import Daemon, capture_field, digest_of, require_built  # noqa: E402
from documents_data import POINTS, jcamp, transmittance  # noqa: E402


class DocumentsTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="wavepost-documents-")
        cls.daemon = Daemon(cls.folder.name, plain=True)
        cls.set_up_college()
        cls.original = jcamp("benzyl alcohol")
        cls.measurement = cls.measure("maya", cls.original, "IR/sample \u00fc \"1\".jdx", 1)

    @classmethod
    def tearDownClass(cls):
        code, _ = cls.daemon.stop()
        cls.folder.cleanup()
        assert code == 0, "wavepostd ended with %d" % code

    @classmethod
    def command(cls, method, path, body=None):
        status, answer = cls.daemon.control(method, "/api/v1" + path, body)
        assert status in (200, 201, 204), (path, status, answer)
        return answer

    @classmethod
    def set_up_college(cls):
        made = cls.command("POST", "/instruments", {"name": "IR-1", "place": "Science/2/214"})
        cls.instrument = cls.command("GET", "/instruments")["instruments"][0]["id"]
        code = made["join"].split("#")[1].split(":")[0]
        status, joined, _ = cls.ask("POST", "/api/v1/agents/join", {"code": code, "version": "0.1.0",
                                                                    "platform": "linux", "time_us": 0})
        assert status == 201, joined
        cls.token = json.loads(joined)["token"]
        cls.command("POST", "/courses", {"code": "CHEM 201", "title": "Organic laboratory"})
        cls.command("POST", "/sections", {"course": "CHEM 201", "section": "014", "place": "Science/2/214"})
        cls.command("POST", "/experiments", {"course": "CHEM 201", "code": "E6", "title": "An alcohol",
                                             "samples": ["benzyl alcohol"]})
        roster = "number,given,family,login,email\n1001,Maya,Rowan,maya,\n1002,=Ben,O'Neil,ben,\n"
        done = cls.command("POST", "/roster", {"course": "CHEM 201", "section": "014", "csv": roster,
                                               "dry_run": False})
        assert done["applied"], done
        people = {person["login"]: person["id"] for person in cls.command("GET", "/people?q=")["people"]}
        cls.people = people
        for login, role in (("inga", "instructor"), ("mark", "marker")):
            cls.command("POST", "/people", {"login": login, "given": login.title(), "family": "Example",
                                            "password": "correct horse"})
            cls.command("POST", "/staff", {"course": "CHEM 201", "section": "014", "login": login,
                                           "roles": [role]})
        cls.cookies = {login: cls.sign_in(login) for login in ("inga", "mark")}
        courses = cls.command("GET", "/courses")["courses"]
        cls.section = courses[0]["sections"][0]["id"]
        cls.experiment = courses[0]["experiments"][0]["id"]

    @classmethod
    def ask(cls, method, path, body=None, fields=None):
        connection = cls.daemon.http()
        sent = dict(fields or {})
        if isinstance(body, dict):
            body = json.dumps(body)
            sent["Content-Type"] = "application/json"
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        data = answer.read()
        connection.close()
        return answer.status, data, answer

    @classmethod
    def sign_in(cls, login):
        status, body, answer = cls.ask("POST", "/api/v1/sign-in", {"login": login, "password": "correct horse"})
        assert status == 200, body
        return {"Cookie": answer.getheader("Set-Cookie").split(";")[0]}

    @classmethod
    def measure(cls, login, body, path, number):
        """One student's turn with one spectrum; the id of the measurement."""
        bench = "/bench/%d" % cls.instrument
        cls.command("POST", bench + "/sign-on", {"persons": [cls.people[login]], "section": cls.section,
                                                 "experiment": cls.experiment, "sample": "benzyl alcohol"})
        now = time.time_ns() // 1000
        fields = {"Authorization": "Bearer " + cls.token, "Content-Digest": digest_of(body),
                  "Wavepost-Capture": capture_field(number, path=path, mtime_us=now, captured_us=now)}
        status, receipt, _ = cls.ask("POST", "/api/v1/captures", body, fields)
        assert status == 201, receipt
        current = cls.command("GET", bench)["current"]
        assert current, "the bench shows nothing"
        cls.command("POST", bench + "/keep", {"measurement": current["id"], "print": False})
        cls.command("POST", "/measurements/%d/stamp" % current["id"],
                    {"persons": [cls.people[login]], "section": cls.section,
                     "experiment": cls.experiment, "reason": "test"})
        cls.command("POST", bench + "/done", {})
        return current["id"]

    def document(self, name, who="inga", measurement=None):
        path = "/api/v1/measurements/%d/%s" % (measurement or self.measurement, name)
        return self.ask("GET", path, None, self.cookies[who])

    def test_the_sheet_comes_as_pdf_png_and_svg(self):
        for name, kind, start in (("sheet.pdf", "application/pdf", b"%PDF-"),
                                  ("sheet.png", "image/png", b"\x89PNG"),
                                  ("sheet.svg", "image/svg+xml", b"<?xml")):
            status, body, answer = self.document(name)
            self.assertEqual(status, 200, body[:200])
            self.assertEqual(answer.getheader("Content-Type"), kind)
            self.assertTrue(body.startswith(start))
            self.assertIn("sandbox", answer.getheader("Content-Security-Policy"))
            self.assertRegex(answer.getheader("Content-Disposition"), r'^inline; filename="\d+[0-9A-Z]\.')

    def test_the_original_comes_back_byte_for_byte_under_its_own_name(self):
        status, body, answer = self.document("file")
        self.assertEqual(status, 200)
        self.assertEqual(body, self.original)
        name = answer.getheader("Content-Disposition")
        self.assertTrue(name.startswith("attachment; "), name)
        self.assertIn("filename*=UTF-8''sample%20%C3%BC%20_1_.jdx", name)

    def test_points_jcamp_and_csv_hold_the_spectrum(self):
        status, body, _ = self.document("points")
        self.assertEqual(status, 200, body[:200])
        points = json.loads(body)
        self.assertEqual(len(points["x"]), POINTS)
        nearest = min(range(POINTS), key=lambda i: abs(points["x"][i] - 1700))
        self.assertAlmostEqual(points["t"][nearest], transmittance(1700) / 100, places=3)
        status, body, _ = self.document("jcamp")
        self.assertEqual(status, 200)
        self.assertIn(b"##NPOINTS=%d" % POINTS, body.replace(b"##NPOINTS= ", b"##NPOINTS="))
        status, body, _ = self.document("csv")
        self.assertEqual(status, 200)
        self.assertGreaterEqual(len(body.splitlines()), POINTS)

    def test_strangers_and_other_students_get_nothing(self):
        for name in ("sheet.pdf", "file", "points", "jcamp", "csv"):
            path = "/api/v1/measurements/%d/%s" % (self.measurement, name)
            self.assertEqual(self.ask("GET", path)[0], 401)
        self.assertEqual(self.document("sheet.pdf", measurement=4711)[0], 404)

    def test_a_marker_sees_no_name(self):
        status, body, _ = self.document("sheet.svg", "mark")
        self.assertEqual(status, 200, body[:200])
        self.assertNotIn(b"Rowan", body)
        self.assertEqual(self.document("file", "mark")[0], 403)
        path = "/api/v1/sections/%d/zip" % self.section
        self.assertEqual(self.ask("GET", path, None, self.cookies["mark"])[0], 403)

    def test_the_sections_zip_holds_sheet_original_and_jcamp_of_each(self):
        self.measure("ben", jcamp("benzaldehyde"), "b.jdx", 2)
        path = "/api/v1/sections/%d/zip?all=1" % self.section
        status, body, answer = self.ask("GET", path, None, self.cookies["inga"])
        self.assertEqual(status, 200, body[:200])
        self.assertEqual(answer.getheader("Content-Type"), "application/zip")
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            self.assertIsNone(archive.testzip())
            names = archive.namelist()
            self.assertTrue(all(".." not in name and not name.startswith("/") for name in names))
            pdfs = [name for name in names if name.endswith(".pdf")]
            self.assertGreaterEqual(len(pdfs), 2)
            for name in pdfs:
                self.assertTrue(archive.read(name).startswith(b"%PDF-"))
            originals = [name for name in names if " original " in name]
            self.assertIn(self.original, [archive.read(name) for name in originals])
            rows = list(csv.reader(io.StringIO(archive.read("index.csv").decode())))
            self.assertEqual(rows[0][0], "name")
            self.assertTrue(any("Rowan" in row[0] for row in rows[1:]))
            self.assertFalse(any(cell.startswith("=") for row in rows for cell in row))

    def test_the_booklet_is_one_pdf(self):
        path = "/api/v1/sections/%d/booklet.pdf?all=1" % self.section
        status, body, _ = self.ask("GET", path, None, self.cookies["inga"])
        self.assertEqual(status, 200, body[:200])
        self.assertTrue(body.startswith(b"%PDF-"))
        self.assertIn(b"%%EOF", body[-32:])

    def words_of(self, path, who="inga"):
        """Text and size of a PDF of the gateway's."""
        status, body, _ = self.ask("GET", path, None, self.cookies[who])
        self.assertEqual(status, 200, body[:200])
        with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
            file.write(body)
            file.flush()
            text, about = (subprocess.run([*tool, file.name, *rest], capture_output=True, check=True, timeout=30,
                                          text=True).stdout for tool, rest in ((["pdftotext"], ["-"]), (["pdfinfo"], [])))
        return text, about

    def test_a_course_and_the_printers_decide_how_its_sheets_look(self):
        paths = ("/api/v1/measurements/%d/sheet.pdf" % self.measurement,
                 "/api/v1/sections/%d/booklet.pdf?all=1" % self.section)
        course = lambda axis, scale: self.command("POST", "/courses", {"code": "CHEM 201", "y_axis": axis,
                                                                       "x_scale": scale})
        for path in paths:
            text, about = self.words_of(path)
            self.assertIn("Transmittance / %", text)
            self.assertIn("\n2200\n", text)
            self.assertIn("(A4)", about)
        course("absorbance", "half")
        self.assertEqual(self.command("GET", "/courses")["courses"][0]["x_scale"], "half")
        printer = self.command("POST", "/printers", {"name": "P", "uri": "ipp://127.0.0.1:9/ipp/print",
                                                     "place": "Science/2/214", "paper": "letter"})
        for path in paths:
            text, about = self.words_of(path)
            self.assertIn("Absorbance", text)
            self.assertNotIn("\n2200\n", text)  # at half the scale there is no room for each number
            self.assertIn("(letter)", about)
        self.assertIn("(A4)", self.words_of(paths[0] + "?paper=a4")[1])
        status, problem = self.daemon.control("POST", "/api/v1/courses", {"code": "CHEM 201", "x_scale": "third"})
        self.assertEqual(status, 422, problem)
        course("transmittance", "even")
        self.command("POST", "/printers/%d/remove" % printer["id"], {})

    def test_a_student_may_draw_a_reference_of_the_course_and_nobody_elses(self):
        command = self.command
        command("POST", "/people", {"login": "ben", "given": "Ben", "family": "O'Neil", "password": "correct horse"})
        self.cookies["ben"] = self.sign_in("ben")
        own = self.measure("ben", jcamp("ester"), "own.jdx", 50)
        reference = self.measure("maya", jcamp("ester, pure"), "pure.jdx", 51)
        overlay = "sheet.pdf?with=%d" % reference
        self.assertEqual(self.document(overlay, "ben", own)[0], 403)
        staff = command("GET", "/people?q=inga")["people"][0]["id"]
        for persons, kind, listed in (([self.people["maya"]], "demonstration", False),
                                      ([staff], "sample", False), ([staff], "demonstration", True)):
            command("POST", "/measurements/%d/stamp" % reference,
                    {"persons": persons, "section": self.section, "kind": kind, "sample": "pure ester",
                     "reason": "test"})
            status, body, _ = self.ask("GET", "/api/v1/measurements/%d" % own, None, self.cookies["ben"])
            self.assertEqual(status, 200, body)
            found = json.loads(body)["references"]
            self.assertEqual([one["id"] for one in found], [reference] if listed else [])
            self.assertEqual(self.document(overlay, "ben", own)[0], 200 if listed else 403)
        text, _ = self.words_of("/api/v1/measurements/%d/%s" % (own, overlay), "ben")
        self.assertIn("%s pure ester" % found[0]["accession"], text)
        self.assertEqual(self.document("sheet.pdf", "ben", reference)[0], 403)

    def test_a_download_that_is_broken_off_leaves_the_gateway_well(self):
        for _ in range(4):
            connection = self.daemon.connect()
            request = "GET /api/v1/sections/%d/zip?all=1 HTTP/1.1\r\nHost: x\r\nCookie: %s\r\n\r\n"
            connection.sendall((request % (self.section, self.cookies["inga"]["Cookie"])).encode())
            connection.recv(100)
            connection.close()
        status, body, _ = self.ask("GET", "/healthz")
        self.assertEqual(status, 200, body)

    def test_a_file_that_is_no_spectrum_is_given_to_staff_by_its_digest(self):
        body = b"not a spectrum at all"
        fields = {"Authorization": "Bearer " + self.token, "Content-Digest": digest_of(body),
                  "Wavepost-Capture": capture_field(900, path="x/note.txt")}
        status, receipt, _ = self.ask("POST", "/api/v1/captures", body, fields)
        self.assertEqual(status, 201, receipt)
        path = "/api/v1/objects/%s/file" % json.loads(receipt)["sha256"]
        status, found, answer = self.ask("GET", path, None, self.cookies["inga"])
        self.assertEqual((status, found), (200, body))
        self.assertIn('filename="note.txt"', answer.getheader("Content-Disposition"))
        self.assertEqual(self.ask("GET", path, None, self.cookies["mark"])[0], 403)
        status, problem, _ = self.ask("GET", path[:-10] + "zz/file", None, self.cookies["inga"])
        self.assertEqual(status, 404, problem)

    def test_the_bench_page_needs_no_script(self):
        status, made, _ = self.ask("POST", "/api/v1/instruments/%d/bench-code" % self.instrument, {},
                                   {"Cookie": "none=1"})
        self.assertEqual(status, 401)
        code = self.command("POST", "/instruments/%d/bench-code" % self.instrument, {})["code"]
        status, page, answer = self.ask("POST", "/bench/enrol", "code=" + code,
                                        {"Content-Type": "application/x-www-form-urlencoded"})
        self.assertEqual(status, 200, page)
        bench = {"Cookie": answer.getheader("Set-Cookie").split(";")[0]}
        status, page, answer = self.ask("GET", "/bench/%d" % self.instrument, None, bench)
        self.assertEqual(status, 200, page)
        self.assertEqual(answer.getheader("Content-Type"), "text/html; charset=utf-8")
        self.assertIn(b"<form", page)
        origin = {"Origin": "http://127.0.0.1:%d" % self.daemon.port,
                  "Content-Type": "application/x-www-form-urlencoded", **bench}
        form = "persons=%d&section=%d&then=/bench/%d" % (self.people["maya"], self.section, self.instrument)
        path = "/api/v1/bench/%d/sign-on" % self.instrument
        status, page, answer = self.ask("POST", path, form, origin)
        self.assertEqual(status, 303, page)
        self.assertEqual(answer.getheader("Location"), "/bench/%d" % self.instrument)
        status, page, answer = self.ask("POST", path, form.replace("then=/", "then=//evil.example/"), origin)
        self.assertEqual((status, answer.getheader("Location")), (303, "/"))
        self.command("POST", "/bench/%d/done" % self.instrument, {})


if __name__ == "__main__":
    require_built()
    unittest.main()
