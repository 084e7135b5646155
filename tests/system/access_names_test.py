"""Names where they are hidden, and what is bounded by one's sections."""
import json
import os
import re
import sys
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from access_case import (FAMILY, GIVEN, LOGIN, NUMBER, PASSWORD, SECRETS, College, Principal,  # noqa: E402
                         pdf_text, spectrum, table)
from daemon import require_built  # noqa: E402

V1 = "/api/v1"
# Rows that want more than an id of what is set up here; access_test.py asks them.
NOT_ALONE = (V1 + "/events", V1 + "/find", "/metrics", V1 + "/deliveries/:id", V1 + "/objects/:sha256/file")


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


def path_of(row):
    ids = {"measurements": college.mine, "sections": college.sections["A"], "bench": college.instruments["IR-1"],
           "instruments": college.instruments["IR-1"]}
    return re.sub(r"(\w+)/:\w+", lambda m: "%s/%s" % (m[1], ids.get(m[1], "style.css")), row)


def readable(kind, data):
    """What a person could read out of an answer."""
    text = data.decode("utf-8", "replace")
    if kind == "application/pdf":
        return pdf_text(data) + text
    if kind == "image/svg+xml":
        return re.sub(r"<[^>]*>", "", text) + text
    return text


def answers(who):
    """Every GET row that admits `who` about section A, as (path, readable text with the fields)."""
    for method, row, roles, _ in table():
        if method == "GET" and who.roles & roles and row not in NOT_ALONE:
            status, fields, data = who.ask("GET", path_of(row))
            assert status == 200, (who.name, row, status, data[:200])
            yield row, str(fields) + readable(fields["Content-Type"], data)


class Names(unittest.TestCase):
    def assert_nothing_of(self, secrets, text, where):
        for secret in secrets:
            self.assertNotIn(secret, text.lower(), where)

    def test_what_is_looked_for_is_seen_by_those_who_may(self):
        text = "".join(text for _, text in answers(college.named["instructor, own section"])).lower()
        for secret in SECRETS:
            self.assertIn(secret, text)

    def test_a_marker_gets_no_name_from_any_route(self):
        rows = 0
        for row, text in answers(college.named["marker, own section"]):
            self.assert_nothing_of(SECRETS, text, row)
            rows += 1
        self.assertGreater(rows, 8)

    def test_a_marker_of_one_section_who_teaches_another_sees_names_in_that_one_only(self):
        college.do("/people", {"login": "both", "given": "Both", "family": "Staff", "password": PASSWORD})
        for course, section, role in (("CHEM 201", "014", "marker"), ("CHEM 305", "001", "instructor")):
            college.do("/staff", {"course": course, "section": section, "login": "both", "roles": [role]})
        both = Principal(college, "both", ["instructor", "marker"], college.sign_in("both"))
        marked, taught = (both.get("/measurements/%d" % m) for m in (college.mine, college.theirs))
        self.assertEqual((marked["persons"], marked["hidden"]), ([], True))
        self.assert_nothing_of(SECRETS, json.dumps(marked), "measurement")
        self.assertEqual([p["name"] for p in taught["persons"]], ["Zoe Ashdown"])
        self.assert_nothing_of(SECRETS, json.dumps(both.get("/sections/%d/grid" % college.sections["A"])), "grid")
        self.assertEqual(both.ask("GET", "%s/measurements/%d/file" % (V1, college.mine))[0], 403)
        self.assertEqual(both.ask("GET", "%s/sections/%d/zip" % (V1, college.sections["A"]))[0], 403)

    def test_a_bench_shows_short_names_alone(self):
        bench = college.named["bench, own"]
        for row, text in answers(bench):
            if row.startswith((V1 + "/measurements", V1 + "/bench", "/bench")):
                self.assert_nothing_of((FAMILY.lower(), LOGIN, NUMBER.lower()), text, row)
        here = bench.get("/bench/%d" % college.instruments["IR-1"])
        self.assertEqual([p["name"] for p in here["turn"]["persons"]], ["Zenobia Q."])
        self.assertIn("Zenobia Q.", pdf_text(bench.ask("GET", "%s/measurements/%d/sheet.pdf" % (V1, college.mine))[2]))

    def test_a_student_sees_their_own_and_nobody_elses(self):
        own, other = college.named["student, own"], college.named["student, of the same section"]
        mine = own.get("/measurements/%d" % college.mine)
        self.assertEqual([p["name"] for p in mine["persons"]], ["%s %s" % (GIVEN, FAMILY)])
        self.assertNotIn("suggestion", mine)
        self.assertEqual([m["id"] for m in own.get("/me/measurements")["measurements"]], [college.mine])
        self.assertNotIn(college.mine, [m["id"] for m in other.get("/me/measurements")["measurements"]])
        for end in ("", "/points", "/sheet.pdf", "/sheet.png", "/sheet.svg", "/file", "/jcamp", "/csv"):
            status, _, data = other.ask("GET", "%s/measurements/%d%s" % (V1, college.mine, end))
            self.assertEqual(status, 403, end)
            self.assert_nothing_of(SECRETS, data.decode(), end)
        # Nor behind a sheet of one's own.
        theirs = other.get("/me/measurements")["measurements"][0]["id"]
        path = "%s/measurements/%d/sheet.pdf?with=%d" % (V1, theirs, college.mine)
        self.assertEqual(other.ask("GET", path)[0], 403)

    def test_a_number_alone_opens_and_tells_nothing(self):
        other = college.named["student, of the same section"]
        known = college.command.get("/measurements/%d" % college.mine)["accession"]
        told = [other.ask("GET", "%s/find?accession=%s" % (V1, number)) for number in (known, "1-8")]
        if told[1][0] == 422:  # not a well formed number: take one that is
            number = int(known[:-1].replace("-", "")) + 50
            found = [other.ask("GET", "%s/find?accession=%d%s" % (V1, number, c))
                     for c in "0123456789ABCDEFGHJKLMNPQRSTUVWXYZ"]
            told[1] = [one for one in found if one[0] != 422][0]
        self.assertEqual((told[0][0], told[0][2]), (404, told[1][2]))
        self.assertEqual(told[1][0], 404)

    def test_live_events_are_for_those_whose_they_are(self):
        person, section = college.people[LOGIN], college.sections["A"]
        for name, topic, status in (
                ("student, own", "person:%d" % person, 200), ("student, of the same section", "person:%d" % person, 403),
                ("student, own", "section:%d" % section, 403), ("instructor, other section", "section:%d" % section, 403),
                ("instructor, other section", "person:%d" % person, 403), ("demonstrator, own section", "section:%d" % section, 200),
                ("marker, own section", "section:%d" % section, 403), ("nobody", "staff", 401),
                ("bench, other", "instrument:%d" % college.instruments["IR-1"], 403)):
            with self.subTest(who=name, topic=topic):
                self.assertEqual(college.named[name].ask("GET", "%s/events?topics=%s" % (V1, topic))[0], status)


class Sections(unittest.TestCase):
    def stamp(self, who, measurement, **body):
        return college.named[who].post("/measurements/%d/stamp" % measurement, body)[0]

    def test_nobody_moves_a_measurement_to_a_section_they_do_not_look_after(self):
        for who in ("instructor, own section", "demonstrator, own section"):
            self.assertEqual(self.stamp(who, college.mine, section=college.sections["B"]), 403)
            self.assertEqual(self.stamp(who, college.mine, persons=[college.people["zash"]]), 422)
            self.assertEqual(self.stamp(who, college.mine, section=0, persons=[college.people["zash"]]), 422)
        for who in ("instructor, other section", "demonstrator, other section"):
            self.assertEqual(self.stamp(who, college.mine, section=college.sections["B"]), 403)
        now = college.command.get("/measurements/%d" % college.mine)
        self.assertEqual([p["id"] for p in now["persons"]], [college.people[LOGIN]])
        self.assertEqual(now["section"]["id"], college.sections["A"])

    def test_a_turn_entered_afterwards_takes_nothing_from_another_section(self):
        now = time.time_ns() // 1000
        body = {"instrument": college.instruments["IR-1"], "from_us": now - 3600 * 10**6, "to_us": now - 1000}
        other = college.named["instructor, other section"]
        status, _ = other.post("/turns", {**body, "section": college.sections["A"], "persons": [college.people[LOGIN]]})
        self.assertEqual(status, 403)
        status, made = other.post("/turns", {**body, "section": college.sections["B"], "persons": [college.people["zash"]]})
        self.assertEqual((status, made["restamped"]), (200, []))

    def test_a_turn_entered_afterwards_is_shown_before_it_is_entered(self):
        """What nobody said anything about, of one's own section or of none; what a person said stays."""
        college.turn("A", "boakes")
        college.capture("IR-1", spectrum("forgotten turn", 330), "forgotten.jdx")
        fresh = college.newest("IR-1")
        self.assertEqual(college.command.get("/measurements/%d" % fresh)["persons"], [])
        now = time.time_ns() // 1000
        body = {"instrument": college.instruments["IR-1"], "from_us": now - 600 * 10**6, "to_us": now - 1,
                "section": college.sections["A"], "persons": [college.people[LOGIN]],
                "experiment": college.experiments["A"]}
        own = college.named["instructor, own section"]
        status, shown = own.post("/turns", {**body, "dry_run": True})
        self.assertEqual((status, shown["turn"]), (200, None))
        self.assertEqual([m["id"] for m in shown["spectra"]], shown["restamped"])
        self.assertIn(fresh, shown["restamped"])
        self.assertNotIn(college.mine, shown["restamped"])
        self.assertEqual(college.command.get("/measurements/%d" % fresh)["persons"], [])
        status, made = own.post("/turns", body)
        self.assertEqual((status, made["restamped"]), (200, shown["restamped"]))
        row = college.command.get("/measurements/%d" % fresh)
        self.assertEqual(([p["id"] for p in row["persons"]], row["rule"]), ([college.people[LOGIN]], "turn entered later"))
        self.assertEqual(row["stamps"][-1]["author_name"], "Inga Staff")
        college.turn("A", LOGIN)

    def test_lists_of_people_notices_unclaimed_and_deliveries_end_at_ones_sections(self):
        def logins(who):
            return {p["login"] for p in college.named[who].get("/people?q=")["people"]}
        self.assertEqual(logins("instructor, own section"), {LOGIN, "boakes", "inga"})
        self.assertEqual(logins("instructor, other section"), {"zash", "ivan"})
        self.assertLess({LOGIN, "zash", "admin"}, logins("technician"))
        for who in ("instructor, other section", "demonstrator, other section"):
            self.assertNotIn("saved-again", {n["kind"] for n in college.named[who].get("/notices")["notices"]})
            self.assertIn("unread", {n["kind"] for n in college.named[who].get("/notices")["notices"]})
            seen = {d["measurement"] for d in college.named[who].get("/deliveries")["deliveries"]}
            self.assertNotIn(college.mine, seen)
        self.assertIn("saved-again", {n["kind"] for n in college.named["demonstrator, own section"].get("/notices")["notices"]})
        self.assertIn(college.mine, {d["measurement"] for d in college.named["instructor, own section"].get("/deliveries")["deliveries"]})

    def test_what_no_section_has_is_for_those_who_teach_where_it_was_measured(self):
        college.do("/measurements/%d/stamp" % college.theirs, {"section": 0, "persons": []})
        self.addCleanup(college.stamp, college.theirs, "B", "zash")
        for side, status in (("own", 403), ("other", 200)):  # IR-2 stands where the other section meets
            for role in ("instructor", "demonstrator"):
                who = college.named["%s, %s section" % (role, side)]
                self.assertEqual(who.ask("GET", "%s/measurements/%d" % (V1, college.theirs))[0], status, who.name)
                listed = [m["id"] for m in who.get("/unclaimed")["measurements"]]
                self.assertEqual(college.theirs in listed, status == 200, who.name)
        unread = {side: [o["path"] for o in college.named["instructor, %s section" % side].get("/unread")["objects"]]
                  for side in ("own", "other")}
        self.assertEqual(unread, {"own": [], "other": ["not a spectrum.jdx"]})

    def test_a_demonstrator_looks_and_takes_nothing_away(self):
        dora = college.named["demonstrator, own section"]
        self.assertFalse(dora.get("/measurements/%d" % college.mine)["exports"])
        for path in ("measurements/%d/file" % college.mine, "measurements/%d/csv" % college.mine,
                     "measurements/%d/jcamp" % college.mine, "sections/%d/zip" % college.sections["A"],
                     "sections/%d/booklet.pdf" % college.sections["A"]):
            self.assertEqual(dora.ask("GET", "%s/%s" % (V1, path))[0], 403, path)

    def test_a_demonstrators_and_a_markers_rights_end_with_the_section(self):
        where = {"course": "CHEM 305", "section": "001"}
        for who in ("demonstrator, other section", "marker, other section"):
            self.assertEqual(college.named[who].ask("GET", "%s/sections/%d/grid" % (V1, college.sections["B"]))[0], 200)
        college.do("/staff", {**where, "login": "dirk", "roles": []})
        self.assertEqual(college.named["demonstrator, other section"].ask("GET", V1 + "/fleet")[0], 401)
        college.do("/staff", {**where, "login": "dirk", "roles": ["demonstrator"]})


if __name__ == "__main__":
    require_built()
    unittest.main()
