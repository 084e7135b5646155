"""What is removed for good: a private spectrum, a file that is none, a person. The database's own file is searched
for what must be gone, a restored copy must lose it again, and the archive must be sound all the while."""
import glob
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
import unittest
import unittest.mock

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import daemon  # noqa: E402
from access_case import FAMILY, GIVEN, LOGIN, NUMBER, College, Principal, spectrum  # noqa: E402
from daemon import BUILD, Daemon, capture_field, digest_of, require_built  # noqa: E402

V1 = "/api/v1"
COMMAND = os.path.join(BUILD, "gateway", "cli", "wavepost")


def wait_for(what, seconds=60):
    limit = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < limit, "waited %d s in vain" % seconds
        time.sleep(0.05)


def command(data, *words, code=0, env=None):
    done = subprocess.run([COMMAND, *words, "--data", data], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                          timeout=60, env=dict(os.environ, **(env or {})))
    assert done.returncode == code, (words, done.returncode, done.stdout, done.stderr)
    return done.stdout + done.stderr


def bytes_on_disk(data):
    """Everything the data folder holds but the certificate and the log."""
    found = b""
    for path in glob.glob(os.path.join(data, "**"), recursive=True):
        if os.path.isfile(path):
            with open(path, "rb") as file:
                found += file.read()
    return found


def open_college(case):
    """A college adds its mail server to the configuration: each begins with the plain one."""
    with unittest.mock.patch.object(daemon, "CONFIG", daemon.CONFIG):
        case.college = College()
    case.data = case.college.daemon.data
    case.admin, case.inga = case.college.named["administrator"], case.college.named["instructor, own section"]


class Case(unittest.TestCase):
    def setUp(self):
        open_college(self)

    def tearDown(self):
        self.college.close()

    def accession(self, measurement):
        return self.college.command.get("/measurements/%d" % measurement)["accession"]

    def verified(self):
        text = command(self.data, "verify")
        self.assertRegex(text, r"(?m)^\d+ objects, \d+ measurements, 0 faults$")
        return text

    def state(self, digest):
        return self.college.database("SELECT state FROM object WHERE sha256 = ?", bytes.fromhex(digest))[0][0]

    def remove(self, who, measurement, reason="private, not of the course"):
        return who.post("/measurements/%d/remove" % measurement,
                        {"confirm": self.accession(measurement), "reason": reason})

    def wiped(self):
        """Free pages and the log hold nothing of before: the gateway has rewritten its database."""
        wait_for(lambda: not self.college.database("SELECT 1 FROM setting WHERE name = 'scrub.wanted'"))

    def listed(self):
        wait_for(lambda: not self.college.database("SELECT 1 FROM removal WHERE listed = 0"))
        with open(os.path.join(self.data, "erasures.jsonl"), encoding="utf-8") as file:
            return [json.loads(line) for line in file]

    def send_again(self, body, path, number):
        """The agent of IR-1 sends bytes once more: (status, receipt)."""
        agent = Principal(self.college, "", ["agent"],
                          {"Authorization": "Bearer " + self.college.tokens["IR-1"]})
        now = time.time_ns() // 1000
        status, _, receipt = agent.ask("POST", V1 + "/captures", body, Content_Digest=digest_of(body),
                                       Wavepost_Capture=capture_field(number, path=path, mtime_us=now,
                                                                      captured_us=now, steady_us=now))
        return status, json.loads(receipt)

    def theirs(self):
        """One more spectrum of the student's, whose file does not hold the name."""
        type(self).shift = getattr(type(self), "shift", 200) + 40
        self.college.turn("A", LOGIN)
        self.bytes = spectrum("unknown liquid", self.shift)
        self.college.capture("IR-1", self.bytes, "IR/%s.jdx" % LOGIN)
        made = self.college.newest("IR-1")
        self.college.stamp(made, "A", LOGIN)
        return made

    def measurements(self):
        return self.college.database("SELECT count(*) FROM measurement")[0][0]


class Spectrum(Case):
    """One college for all: each removes something else."""

    @classmethod
    def setUpClass(cls):
        open_college(cls)

    @classmethod
    def tearDownClass(cls):
        cls.college.close()

    def setUp(self):
        pass

    def tearDown(self):
        pass

    def test_a_removed_spectrum_leaves_its_mark_and_nothing_else(self):
        college, mine = self.college, self.theirs()
        number = self.accession(mine)
        sha = college.database("SELECT lower(hex(sha256)) FROM rendition WHERE measurement_id = ?", mine)[0][0]
        wait_for(lambda: self.state(sha) == "stored")
        asked = self.inga.post("/measurements/%d/remove" % mine, {"dry_run": True})
        self.assertEqual((asked[0], asked[1]["files"], asked[1]["removed"]), (200, 1, False))
        for wrong in ({}, {"confirm": number}, {"confirm": "10001-Z", "reason": "x"}, {"reason": "x"}):
            self.assertEqual(self.inga.post("/measurements/%d/remove" % mine, wrong)[0], 422, wrong)
        self.assertEqual(self.state(sha), "stored")
        status, told = self.remove(self.inga, mine)
        self.assertEqual((status, told["removed"], told["files"]), (200, True, 1))
        wait_for(lambda: self.state(sha) == "removed")
        self.assertFalse(glob.glob(os.path.join(self.data, "objects", "*", sha)))
        self.assertEqual(self.inga.ask("GET", V1 + "/measurements/%d" % mine)[0], 404)
        self.assertEqual(self.admin.ask("GET", V1 + "/objects/%s/file" % sha)[0], 404)
        self.assertRegex(self.verified(), r"(?m)^\d+ objects were removed on purpose")
        entry = college.command.get("/ledger")["entries"]
        self.assertTrue([e for e in entry if e["verb"] == "remove" and e["subject"] == "measurement:%d" % mine])

    def test_a_removed_file_that_came_back_is_a_fault(self):
        mine = self.theirs()
        sha = self.college.database("SELECT lower(hex(sha256)) FROM rendition WHERE measurement_id = ?", mine)[0][0]
        self.assertEqual(self.remove(self.admin, mine)[0], 200)
        wait_for(lambda: self.state(sha) == "removed")
        back = os.path.join(self.data, "objects", sha[:2], sha)
        os.makedirs(os.path.dirname(back), exist_ok=True)
        with open(back, "wb") as file:
            file.write(self.bytes)
        said = command(self.data, "verify", code=1)
        self.assertIn("object %s: it was removed, but its file is there" % sha, said)
        self.assertIn(" 1 faults", said)
        os.remove(back)
        self.verified()

    def test_its_number_answers_those_who_might_have_seen_it(self):
        mine = self.theirs()
        number = self.accession(mine)
        self.assertEqual(self.remove(self.inga, mine)[0], 200)
        for name in ("student, own", "instructor, own section", "demonstrator, own section", "technician",
                     "administrator"):
            found = self.college.named[name].get("/find?accession=" + number)
            self.assertIsNone(found["measurement"], name)
            self.assertEqual(found["removed"]["reason"], "private, not of the course", name)
            self.assertEqual(found["removed"]["by"], "Inga Staff", name)
            self.assertAlmostEqual(found["removed"]["at_us"] / 1e6, time.time(), delta=120)
        for name in ("student, of the same section", "student, of another section", "instructor, other section"):
            asked = self.college.named[name].ask("GET", V1 + "/find?accession=" + number)
            other = self.college.named[name].ask("GET", V1 + "/find?accession=" + self.accession(self.college.mine))
            self.assertEqual((asked[0], asked[2]), (404, other[2]), name)

    def test_the_agent_that_sends_it_again_gets_its_receipt_and_nothing_is_made(self):
        mine = self.theirs()
        known = self.college.database("SELECT number, id FROM capture WHERE sha256 = (SELECT sha256 FROM rendition "
                                      "WHERE measurement_id = ?)", mine)[0]
        self.assertEqual(self.remove(self.admin, mine)[0], 200)
        before = self.measurements()
        status, receipt = self.send_again(self.bytes, "again.jdx", known[0])
        self.assertEqual((status, receipt["receipt"]), (200, str(known[1])))
        status, receipt = self.send_again(self.bytes, "IR/%s.jdx" % FAMILY, 9001)
        self.assertEqual((status, receipt["known"], receipt["removed"]), (201, True, True))
        self.assertEqual(self.measurements(), before)
        self.assertEqual(self.college.database("SELECT path FROM capture WHERE number = 9001"), [("",)])
        self.verified()

    def test_bytes_that_another_spectrum_has_stay(self):
        other = spectrum("the same bytes at two instruments", 140)
        self.college.capture("IR-1", other, "one.jdx")
        first = self.college.newest("IR-1")
        self.college.capture("IR-2", other, "two.jdx")
        self.assertNotEqual(first, self.college.newest("IR-2"))
        self.assertEqual(self.remove(self.admin, first)[1]["files"], 0)
        status, _, data = self.admin.ask("GET", V1 + "/measurements/%d/file" % self.college.newest("IR-2"))
        self.assertEqual((status, data), (200, other))
        self.verified()

    def test_a_turn_is_entered_afterwards_by_command(self):
        now = time.time()

        def instant(seconds):
            return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now + seconds))
        words = ["turn", "add", LOGIN, "--instrument", "IR-1", "--course", "CHEM 201", "--section", "014", "--starts",
                 instant(-7200), "--ends", instant(-3600), "--with", "boakes"]
        self.assertIn("It would take over 0 spectra.", command(self.data, *words, "--dry-run"))
        self.assertEqual(self.college.database("SELECT count(*) FROM turn WHERE source = 'staff'"), [(0,)])
        self.assertIn("Entered; it took over 0 spectra.", command(self.data, *words, "--as", "inga"))
        self.assertEqual(self.college.database(
            "SELECT t.author_id, count(*) FROM turn t JOIN turn_person p ON p.turn_id = t.id WHERE t.source = 'staff'"),
            [(self.college.people["inga"], 2)])
        words[words.index("IR-1")] = "IR-9"
        self.assertIn("IR-9", command(self.data, *words, code=1))

    def test_the_ledger_names_who_was_at_work(self):
        admin = self.college.people["admin"]
        command(self.data, "course", "add", "CHM 1", "--as", "admin")
        command(self.data, "course", "add", "CHM 2", env={"WAVEPOST_AS": "ADMIN"})
        self.assertIn("There is no person", command(self.data, "course", "add", "CHM 3", "--as", "n.o.body", code=1))
        entries = self.college.database("SELECT actor_id FROM ledger WHERE actor = 4 AND verb = 'setting' ORDER BY "
                                        "number DESC LIMIT 2")
        self.assertEqual(entries, [(admin,), (admin,)])
        command(self.data, "course", "add", "CHM 4")
        (entry,) = self.college.database("SELECT actor_id, detail_digest FROM ledger ORDER BY number DESC LIMIT 1")
        self.assertTrue(entry[0] or entry[1], "neither a person nor the operating system's user")

    def test_a_file_that_is_no_spectrum_goes_by_its_digest(self):
        sha = self.admin.get("/unread")["objects"][0]["sha256"]
        self.assertEqual(self.admin.post("/objects/%s/remove" % sha, {"confirm": "x", "reason": "y"})[0], 422)
        kept = self.college.database("SELECT lower(hex(sha256)) FROM rendition WHERE measurement_id = ?",
                                     self.college.mine)[0][0]
        self.assertEqual(self.admin.post("/objects/%s/remove" % kept, {"confirm": kept[:8], "reason": "y"})[0], 409)
        self.assertEqual(self.admin.post("/objects/%s/remove" % sha, {"confirm": sha[:8], "reason": "private"})[0], 200)
        wait_for(lambda: self.state(sha) == "removed")
        self.assertEqual(self.admin.get("/unread")["objects"], [])
        self.verified()


class Person(Case):
    NAMES = [text.encode() for text in (GIVEN, FAMILY, LOGIN, NUMBER)]

    def person(self):
        return self.college.people[LOGIN]

    def erase(self, **more):
        return self.admin.post("/people/%d/erase" % self.person(),
                               {"confirm": LOGIN, "reason": "asked for it", **more})

    def gone(self, data):
        held = bytes_on_disk(data)
        return [name for name in self.NAMES if name.lower() in held.lower()]

    def test_it_is_asked_twice_and_by_somebody_else(self):
        path = "/people/%d/erase" % self.person()
        asked = self.admin.post(path, {"dry_run": True})
        self.assertEqual((asked[0], asked[1]["spectra"], asked[1]["removed"], asked[1]["erased"]), (200, 1, 1, False))
        self.assertEqual(asked[1]["named"], [self.accession(self.college.mine)])
        for wrong in ({}, {"confirm": LOGIN}, {"confirm": "boakes", "reason": "x"}, {"reason": "x"},
                      {"confirm": LOGIN, "reason": "%s %s left" % (GIVEN, FAMILY)},
                      {"confirm": LOGIN, "reason": "x", "spectra": "burn"}):
            self.assertEqual(self.admin.post(path, wrong)[0], 422, wrong)
        own = self.college.people["admin"]
        self.assertEqual(self.admin.post("/people/%d/erase" % own, {"confirm": "admin", "reason": "x"})[0], 409)
        self.assertEqual(self.college.command.post("/people/%d/erase" % own, {"confirm": "admin", "reason": "x"})[0],
                         409)
        self.assertEqual(self.college.named["student, own"].get("/me")["person"]["login"], LOGIN)

    def test_nothing_on_disk_holds_the_name_and_the_ledger_still_checks(self):
        kept, student = self.theirs(), self.college.named["student, own"]
        number, entries = self.accession(kept), len(self.college.command.get("/ledger")["entries"])
        self.college.nobody.post("/sign-in", {"login": LOGIN, "password": "wrong"})
        self.assertEqual(self.gone(self.data), self.NAMES)
        status, told = self.erase()
        self.assertEqual((status, told["spectra"], told["kept"], told["removed"]), (200, 2, 1, 1), told)
        self.assertEqual(student.ask("GET", V1 + "/me/measurements")[0], 401)
        row = self.inga.get("/measurements/%d" % kept)
        self.assertEqual((row["persons"], row["unclaimed"], row["section"]["code"]), ([], False, "014"))
        self.assertEqual(row["guest"], "Name removed")
        self.assertEqual(self.inga.get("/find?accession=" + number)["measurement"], kept)
        live = self.college.database("SELECT state FROM delivery WHERE person_id = ? AND withdraw = 0 AND state IN "
                                     "('waiting', 'asking', 'sending', 'printing')", self.person())
        self.assertEqual(live, [])
        self.assertTrue(command(self.data, "ledger", "--check"))
        self.assertGreater(len(self.college.command.get("/ledger")["entries"]), entries)
        self.wiped()
        self.listed()
        self.assertEqual(self.gone(self.data), [])
        self.verified()

    def test_every_table_that_names_persons_is_thought_of(self):
        """A new table with a person in it must be dealt with in the erasure before it passes here."""
        stay = {"removal", "person", "ledger", "delivery", "delivery_event", "stamp", "turn", "notice", "capture"}
        self.theirs()
        for text in ("mail_choice VALUES (?1, 'none', 1)", "mail_returned VALUES (?1, 'd', 1, 'no such box', 1)",
                     "staff_mail (id, person_id, subject, body, due_us, until_us) VALUES (1, ?1, 's', 'b', 1, 1)",
                     "login_link (token_hash, person_id, created_us, expires_us) VALUES (x'00', ?1, 1, 2)"):
            self.college.database("INSERT INTO " + text, self.person())
        self.assertEqual(self.erase()[0], 200)
        for (table,) in self.college.database("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE "
                                              "'sqlite_%'"):
            columns = [row[1] for row in self.college.database("PRAGMA table_info(%s)" % table)]
            for column in [c for c in columns if c.endswith("person_id") or c in ("person", "author_id")]:
                if table not in stay:
                    left = self.college.database("SELECT count(*) FROM %s WHERE %s = ?" % (table, column),
                                                 self.person())
                    self.assertEqual(left, [(0,)], "%s.%s" % (table, column))

    def test_their_spectra_go_too_where_that_is_chosen(self):
        kept = self.theirs()
        status, told = self.erase(spectra="remove")
        self.assertEqual((status, told["kept"], told["removed"], told["named"]), (200, 0, 2, []))
        self.assertEqual(self.admin.ask("GET", V1 + "/measurements/%d" % kept)[0], 404)
        self.verified()

    def test_a_pairs_spectrum_stays_with_the_other(self):
        self.college.do("/measurements/%d/stamp" % self.college.mine, {
            "persons": [self.person(), self.college.people["boakes"]], "section": self.college.sections["A"]})
        status, told = self.erase(spectra="remove")
        self.assertEqual((status, told["shared"], told["removed"]), (200, 1, 0))
        own = self.college.named["student, of the same section"].get("/me/measurements")["measurements"]
        mine = [m for m in own if m["id"] == self.college.mine]
        self.assertEqual([[p["name"] for p in m["persons"]] for m in mine], [["=Ben +Oakes"]])
        self.assertEqual(mine[0]["title"], "")
        # Their sign-in name is free for somebody else.
        made = self.admin.post("/people", {"login": LOGIN, "given": "Zoltan", "family": "Quay", "roles": []})
        self.assertEqual(made[0], 200)
        self.assertNotEqual(made[1]["id"], self.person())
        self.verified()

    def test_a_restored_backup_loses_them_again(self):
        kept = self.theirs()
        sha = self.college.database("SELECT lower(hex(sha256)) FROM rendition WHERE measurement_id = ?",
                                    self.college.mine)[0][0]
        wait_for(lambda: not self.college.database("SELECT 1 FROM staged"))
        with tempfile.TemporaryDirectory(prefix="wavepost-restore-") as folder:
            backup = os.path.join(folder, "data")
            os.mkdir(backup)
            with sqlite3.connect(os.path.join(self.data, "gateway.db")) as source:
                with sqlite3.connect(os.path.join(backup, "gateway.db")) as target:
                    source.backup(target)
            source.close()
            target.close()
            shutil.copytree(os.path.join(self.data, "objects"), os.path.join(backup, "objects"))
            self.assertEqual(self.erase()[0], 200)
            self.assertEqual([line["kind"] for line in self.listed()], ["person"])
            shutil.copy(os.path.join(self.data, "erasures.jsonl"), backup)
            self.assertEqual(self.gone(backup), self.NAMES)
            again = Daemon(folder, plain=True)
            try:
                base = os.path.join(again.data, "gateway.db")

                def read(text, *values):
                    with sqlite3.connect(base, timeout=10) as connection:
                        rows = connection.execute(text, values).fetchall()
                    connection.close()
                    return rows
                self.assertEqual(read("SELECT family, login FROM person WHERE id = ?", self.person()),
                                 [("Name removed", "erased-%d" % self.person())])
                self.assertEqual(read("SELECT guest FROM stamp WHERE measurement_id = ? ORDER BY revision DESC",
                                      kept)[0], ("Name removed",))
                wait_for(lambda: read("SELECT state FROM object WHERE sha256 = ?", bytes.fromhex(sha)) ==
                         [("removed",)])
                wait_for(lambda: not read("SELECT 1 FROM setting WHERE name = 'scrub.wanted'"))
                self.assertEqual(self.gone(again.data), [])
                self.assertIn("0 faults", command(again.data, "verify"))
            finally:
                self.assertEqual(again.stop()[0], 0)
            # Once is enough: the next start finds nothing to do.
            once = Daemon(folder, plain=True)
            self.assertEqual(once.stop()[0], 0)
            with open(os.path.join(backup, "erasures.jsonl"), encoding="utf-8") as file:
                self.assertEqual(len(file.readlines()), 1)


class Commands(Case):
    def test_remove_and_erase_say_first_what_would_go(self):
        number = self.accession(self.college.mine)
        said = command(self.data, "remove", number)
        self.assertIn("would be removed, with the bytes of 1 file.", said)
        self.assertIn("Nothing was changed.", said)
        self.assertEqual(self.accession(self.college.mine), number)
        said = command(self.data, "erase", LOGIN)
        self.assertIn("would be erased: of 1 spectra 0 would stay without a name", said)
        self.assertIn("holds the name: " + number, said)
        command(self.data, "erase", LOGIN, "--confirm", "boakes", "--reason", "x", code=1)
        self.assertIn("is removed", command(self.data, "remove", number, "--confirm", number, "--reason", "private"))
        self.assertIn("removed already", command(self.data, "remove", number, code=1))
        self.assertIn("is erased", command(self.data, "erase", LOGIN, "--confirm", LOGIN, "--reason", "asked"))
        self.assertIn("there is no person", command(self.data, "erase", LOGIN, code=1))
        self.verified()

    def test_they_work_without_a_gateway_and_the_files_go_at_its_next_start(self):
        number = self.accession(self.college.mine)
        sha = self.college.database("SELECT lower(hex(sha256)) FROM rendition WHERE measurement_id = ?",
                                    self.college.mine)[0][0]
        wait_for(lambda: self.state(sha) == "stored")
        self.college.daemon.stop()
        command(self.data, "erase", LOGIN, "--confirm", LOGIN, "--reason", "asked")
        self.assertTrue(glob.glob(os.path.join(self.data, "objects", "*", sha)))
        self.assertIn("removed already", command(self.data, "remove", number, code=1))
        self.college.daemon = Daemon(self.college.folder.name, plain=True)
        wait_for(lambda: self.state(sha) == "removed")
        self.assertFalse(glob.glob(os.path.join(self.data, "objects", "*", sha)))
        self.wiped()
        self.assertEqual(len(self.listed()), 1)
        self.verified()


if __name__ == "__main__":
    require_built()
    unittest.main()
