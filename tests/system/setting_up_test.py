#!/usr/bin/python3
"""Setting up does what was said: adding never changes, changing touches what is named alone, and a
roster of any spreadsheet is read or refused with the reason."""

import datetime
import io
import os
import subprocess
import tempfile
import unittest
import urllib.parse
import zipfile

from access_case import College, NUMBER, spectrum
from daemon import BUILD

COMMAND = os.path.join(BUILD, "gateway", "cli", "wavepost")


college = None


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


class SettingUp(unittest.TestCase):
    @property
    def admin(self):
        return college.named["administrator"]

    def command(self, *words, code=0):
        done = subprocess.run([COMMAND, *words, "--data", college.daemon.data], stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE, text=True, timeout=60)
        self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        return done.stdout + done.stderr

    def course(self, code):
        (found,) = [c for c in self.admin.get("/courses")["courses"] if c["code"] == code]
        return found

    def refused(self, path, body, status, *words):
        told = self.admin.post(path, body)
        self.assertEqual(told[0], status, told)
        for word in words:
            self.assertIn(word, told[1]["detail"])

    def test_a_person_of_a_known_sign_in_name_is_not_added_again(self):
        known = self.admin.get("/people?q=boakes")["people"]
        body = {"login": "BOAKES", "given": "Somebody", "family": "Else", "roles": []}
        self.refused("/people", {**body, "change": False}, 409, "There is a person", "already")
        self.assertEqual(self.admin.get("/people?q=boakes")["people"], known)
        self.assertIn("already", self.command("person", "add", "boakes", "--given", "Somebody", code=1))
        self.assertEqual(self.admin.get("/people?q=boakes")["people"], known)
        self.refused("/people", {**body, "login": "n.o.body", "change": True}, 404, "no person")
        self.command("person", "change", "n.o.body", "--given", "No", code=1)

    def test_a_course_of_a_known_code_is_not_added_again_and_a_change_touches_what_it_names(self):
        self.command("course", "add", "SET 1", "--title", "First", "--y-axis", "absorbance", "--mailing", "none")
        before = self.course("SET 1")
        self.refused("/courses", {"code": "SET 1", "title": "Second", "change": False}, 409, "There is a course")
        self.assertIn("already", self.command("course", "add", "SET 1", "--title", "Second", code=1))
        self.assertEqual(self.course("SET 1"), before)
        self.command("course", "change", "SET 1", "--title", "Second")
        self.assertEqual(self.course("SET 1"), {**before, "title": "Second"})
        self.command("course", "change", "SET 2", "--title", "Second", code=1)

    def test_sections_and_experiments_likewise(self):
        self.command("course", "add", "SET 3")
        self.command("section", "add", "A", "--course", "SET 3", "--title", "Mornings", "--place", "Science/2/214")
        self.command("experiment", "add", "E1", "--course", "SET 3", "--title", "Esters", "--sample", "A")
        before = self.course("SET 3")
        self.assertIn("already", self.command("section", "add", "A", "--course", "SET 3", code=1))
        self.assertIn("already", self.command("experiment", "add", "E1", "--course", "SET 3", code=1))
        self.assertEqual(self.course("SET 3"), before)
        self.command("experiment", "change", "E1", "--course", "SET 3", "--expected", "3")
        self.assertEqual(self.course("SET 3")["experiments"], [{**before["experiments"][0], "expected": 3}])
        self.command("section", "change", "B", "--course", "SET 3", code=1)
        self.command("experiment", "end", "E2", "--course", "SET 3", code=1)

    def test_numbers_that_are_none_are_refused_by_the_name_of_their_field(self):
        for wrong in ("many", -3, 2.5, None, 1001):
            self.refused("/courses", {"code": "SET 4", "pages_a_day": wrong}, 422, "Pages a day are a whole number")
        for wrong in ("four", -1, 65):
            self.refused("/instruments", {"name": "IR-77", "place": "Science/2/214", "lab_resolution": wrong}, 422,
                         "resolution is a whole number")

    def roster(self, data, code=0):
        with tempfile.NamedTemporaryFile(suffix=".csv") as file:
            file.write(data)
            file.flush()
            return self.command("roster", file.name, "--course", "SET 5", "--section", "A", "--dry-run", code=code)

    def test_a_roster_is_read_as_spreadsheets_save_it_or_refused_with_the_reason(self):
        self.command("course", "add", "SET 5")
        self.command("section", "add", "A", "--course", "SET 5")
        told = self.roster("login,given,family\nrdupre,Ren\u00e9,Dupr\u00e9\n".encode("cp1252"))
        self.assertIn("read as Windows-1252", told)
        self.assertIn("Ren\u00e9 Dupr\u00e9", told)
        self.assertNotIn("Windows", self.roster("login,given,family\nrdupre,Ren\u00e9,Dupr\u00e9\n".encode()))
        self.assertIn("is no text", self.roster(os.urandom(40) + b"\0\1\2" + os.urandom(4000), code=1))
        self.refused("/roster", {"course": "SET 5", "section": "A", "csv": "x" * 4000, "dry_run": True}, 422,
                     "is this a CSV file?")

    def test_a_meeting_twice_or_over_already_is_refused(self):
        self.command("course", "add", "SET 6")
        self.command("section", "add", "A", "--course", "SET 6")

        def meeting(hours):
            at = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(hours=hours)
            return {"course": "SET 6", "section": "A", "starts": at.isoformat(),
                    "ends": (at + datetime.timedelta(hours=1)).isoformat()}
        self.refused("/meetings", meeting(-48), 422, "over already")
        again = meeting(-0.5)
        self.assertEqual(self.admin.post("/meetings", again)[0], 200)
        self.refused("/meetings", again, 422, "overlaps a meeting")
        (section,) = self.course("SET 6")["sections"]
        self.assertEqual(section["next_ends_us"] - section["next_us"], 3600 * 1000000)

    def test_a_mistyped_address_is_a_page_for_people_and_json_for_programs(self):
        nobody = college.nobody
        status, fields, data = nobody.ask("GET", "/stuff", Accept="text/html,application/xhtml+xml;q=0.9")
        self.assertEqual((status, fields["Content-Type"]), (404, "text/html; charset=utf-8"))
        self.assertIn(b'href="/"', data)
        for accept in ("application/json", "*/*", None):
            status, fields, data = nobody.ask("GET", "/stuff", Accept=accept)
            self.assertEqual((status, fields["Content-Type"]), (404, "application/problem+json"))


class Afterwards(unittest.TestCase):
    """What staff and students find of what was measured."""

    def test_an_unclaimed_spectrum_has_what_its_instrument_is_usually_used_with(self):
        where = college.instruments["IR-2"]
        college.do("/instruments/%d" % where, {"preparation": "mull", "plates": "KBr"}, "PATCH")
        college.do("/bench/%d/done" % where)
        college.capture("IR-2", spectrum("of nobody", 200), "nobody.jdx")
        found = [m for m in college.command.get("/unclaimed")["measurements"] if m["title"] == "of nobody"]
        self.assertEqual([(m["preparation"], m["plates"]) for m in found], [("mull", "KBr")])

    def bench(self, instrument):
        return college.command.get("/bench/%d" % college.instruments[instrument])

    def test_a_file_that_is_no_spectrum_is_told_by_name_at_each_bench_and_gone_with_the_turn(self):
        broken = b"no spectrum, exported twice\n"
        college.turn("A", "boakes")
        college.capture("IR-1", broken, "IR/of a student.txt")
        college.capture("IR-2", broken, "other name.txt")
        college.capture("IR-2", broken, "other name.txt")
        for instrument, name in (("IR-1", "of a student.txt"), ("IR-2", "other name.txt")):
            told = [m["text"] for m in self.bench(instrument)["messages"] if name in m["text"]]
            self.assertEqual(len(told), 1, told)
            self.assertTrue(told[0].startswith("\u201c%s\u201d: " % name), told)
        college.do("/bench/%d/done" % college.instruments["IR-1"])
        self.assertEqual([m for m in self.bench("IR-1")["messages"] if m["kind"] == "unread"], [])

    def test_what_is_printed_without_a_name_says_where(self):
        where = college.instruments["IR-2"]
        college.do("/bench/%d/done" % where)
        college.capture("IR-2", spectrum("nameless", 300), "nameless.jdx")
        mine = self.bench("IR-2")["current"]["id"]
        college.do("/bench/%d/keep" % where, {"measurement": mine, "print": True})
        current = self.bench("IR-2")["current"]
        self.assertEqual((current["id"], current["kept"], current["unclaimed"]), (mine, "kept", True))
        self.assertTrue(current["print"]["reason"])

    def test_a_sheet_is_claimed_by_its_code_on_the_plain_page(self):
        where = "/bench/%d" % college.instruments["IR-1"]
        college.do(where + "/done")
        bench = college.named["bench, own"]
        _, _, page = bench.ask("GET", where)
        self.assertIn(b'action="/api/v1/claims"', page)
        form = urllib.parse.urlencode({"code": "WRONG", "person": college.people["boakes"], "then": where})
        status, fields, page = bench.ask("POST", "/api/v1/claims", form,
                                         Content_Type="application/x-www-form-urlencoded")
        self.assertEqual(fields["Content-Type"], "text/html; charset=utf-8")
        self.assertIn(status, (404, 409, 422))
        self.assertIn(b"in your inbox", bench.ask("GET", where + "?claimed=1")[2])

    def test_a_part_of_the_number_finds_a_spectrum_in_the_inbox(self):
        student = college.named["student, own"]
        (mine,) = [m for m in student.get("/me/measurements")["measurements"] if m["id"] == college.mine]
        part = mine["accession"][:-2]
        self.assertIn(mine["id"], [m["id"] for m in student.get("/me/measurements?q=" + part)["measurements"]])
        self.assertEqual(student.get("/me/measurements?q=999999")["measurements"], [])

    def test_the_folders_of_the_zip_carry_the_students_number(self):
        path = "/api/v1/sections/%d/zip?all=1" % college.sections["A"]
        status, _, data = college.named["instructor, own section"].ask("GET", path)
        self.assertEqual(status, 200)
        folders = {name.split("/")[0] for name in zipfile.ZipFile(io.BytesIO(data)).namelist() if "/" in name}
        self.assertTrue([name for name in folders if name.endswith("(%s)" % NUMBER)], folders)


if __name__ == "__main__":
    unittest.main()
