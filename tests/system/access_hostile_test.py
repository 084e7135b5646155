"""Hostile names in what is handed out, and claims by the code on a sheet."""
import csv
import io
import os
import re
import sys
import time
import unittest
import zipfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from access_case import College, pdf_text, spectrum  # noqa: E402
from daemon import require_built  # noqa: E402

V1 = "/api/v1"


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


class Hostile(unittest.TestCase):
    """Names that would be formulas, fields or paths where they are handed out."""

    @classmethod
    def setUpClass(cls):
        cls.name = "../../e\"; x=1\r\nSet-Cookie: a=b\\..\\..\\\u202eevil.jdx"
        bench = college.turn("A", "boakes")
        college.capture("IR-1", spectrum("hostile", 150), cls.name)
        cls.measurement = college.newest("IR-1")
        college.do("/bench/%d/answer" % bench, {"measurement": cls.measurement, "same": True})
        college.do("/measurements/%d/stamp" % cls.measurement, {"sample": "=1+1"})

    def test_file_names_make_no_fields_and_no_paths(self):
        for end in ("file", "jcamp", "sheet.pdf?download=1"):
            inga = college.named["instructor, own section"]
            status, fields, _ = inga.ask("GET", "%s/measurements/%d/%s" % (V1, self.measurement, end))
            self.assertEqual(status, 200)
            self.assertIsNone(fields["Set-Cookie"])
            named = fields["Content-Disposition"]
            self.assertRegex(named, r'^(attachment|inline); filename="[^"\\/%;]*"; filename\*=UTF-8\'\'[\w.!#$&+^`|~%-]*$')

    def test_the_zip_has_no_path_that_leaves_its_folder_and_no_formula_in_its_index(self):
        inga = college.named["instructor, own section"]
        _, _, data = inga.ask("GET", "%s/sections/%d/zip?all=1" % (V1, college.sections["A"]))
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for name in archive.namelist():
                self.assertFalse(name.startswith("/") or "\\" in name or re.search(r"[\0-\x1f]", name), name)
                self.assertNotIn("..", name.split("/"))
                self.assertLessEqual(name.count("/"), 1)
            rows = list(csv.reader(io.StringIO(archive.read("index.csv").decode())))
        cells = [cell for row in rows for cell in row]
        self.assertIn("'=Ben +Oakes", cells)
        self.assertIn("'=1+1", cells)
        for cell in cells:
            self.assertNotRegex(cell, r"^\s*[=+\-@\uff1d\uff0b\uff0d\uff20]")

    def test_control_characters_are_no_sample_name(self):
        inga = college.named["instructor, own section"]
        status, _ = inga.post("/measurements/%d/stamp" % self.measurement, {"sample": "a\r\nSet-Cookie: a=b"})
        self.assertEqual(status, 422)

    def test_pages_are_read_from_no_other_folder(self):
        for path in ("/..%2f..%2fetc%2fpasswd", "/assets/..%2findex.html", "/%2e%2e/%2e%2e/etc/passwd", "/assets/%2e%2e",
                     "/....//etc/passwd", "/assets/..%5c..%5cx", "/.%00.html", "/%ff"):
            self.assertIn(college.nobody.ask("GET", path)[0], (400, 404), path)


class Claims(unittest.TestCase):
    """One file for each test, exported when nobody was signed on."""

    def unclaimed(self, shift):
        college.do("/bench/%d/done" % college.instruments["IR-1"])
        college.capture("IR-1", spectrum("nobody's", shift), "u%d.jdx" % shift)
        inga = college.named["demonstrator, own section"]
        found = inga.get("/unclaimed")["measurements"][0]
        inga.post("/measurements/%d/stamp" % found["id"], {"section": college.sections["A"]})
        text = pdf_text(inga.ask("GET", "%s/measurements/%d/sheet.pdf" % (V1, found["id"]))[2])
        code = re.search(r"\b([0-9A-Z]{4}[ -]?[0-9A-Z]{4})\b", text.split("Unclaimed", 1)[1])
        self.assertTrue(code, text[:500])
        return found, code[1]

    def tearDown(self):
        college.forget_tries()

    def test_the_code_is_for_the_section_alone_and_for_one(self):
        found, code = self.unclaimed(200)
        other = college.named["student, of another section"]
        self.assertEqual(other.post("/claims", {"code": code})[0], 403)
        ben = college.named["student, of the same section"]
        self.assertEqual(ben.ask("GET", "%s/measurements/%d" % (V1, found["id"]))[0], 403)
        self.assertEqual(ben.post("/claims", {"code": code})[0], 200)
        self.assertEqual(ben.ask("GET", "%s/measurements/%d" % (V1, found["id"]))[0], 200)
        status, told = college.named["student, own"].post("/claims", {"code": code, "accession": found["accession"]})
        self.assertEqual((status, told["detail"]), (409, "Already claimed. Ask staff."))

    def test_after_midnight_a_code_is_for_staff(self):
        found, code = self.unclaimed(240)
        college.database("UPDATE measurement SET claim_until_us = ? WHERE id = ?", time.time_ns() // 1000 - 1, found["id"])
        status, told = college.named["student, of the same section"].post("/claims", {"code": code})
        self.assertEqual((status, told["detail"]), (409, "The code was good until midnight. Ask staff."))

    def test_wrong_codes_are_counted_and_then_the_right_one_waits_too(self):
        _, code = self.unclaimed(220)
        ben = college.named["student, of the same section"]
        told = [ben.post("/claims", {"code": "AAAA-%04d" % i})[0] for i in range(11)]
        self.assertEqual(told, [404] * 10 + [429])
        self.assertEqual(ben.post("/claims", {"code": code})[0], 429)

    def test_at_a_bench_wrong_codes_are_counted_for_all_names_together(self):
        bench = college.named["bench, own"]
        told = [bench.post("/claims", {"code": "BBBB-%04d" % i, "person": 1000 + i})[0] for i in range(61)]
        self.assertEqual(told[-1], 429)


if __name__ == "__main__":
    require_built()
    unittest.main()
