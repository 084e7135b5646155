"""Bench cards, PINs and numbers: whose they are, what they open, what is kept of them, who waits."""
import hashlib
import os
import sqlite3
import sys
import time
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

from access_case import LOGIN, NUMBER, College, spectrum  # noqa: E402
from daemon import require_built  # noqa: E402


def setUpModule():
    global college
    college = College()


def tearDownModule():
    college.close()


def digits(seed):
    """The card of a seed, made apart from the gateway: BLAKE2b (RFC 7693) under the key file, and two check digits
    by ISO/IEC 7064, MOD 97-10."""
    with open(os.path.join(college.daemon.data, "bench.key"), "rb") as file:
        key = file.read()
    number = int.from_bytes(hashlib.blake2b(b"card:" + seed.hex().encode(), key=key, digest_size=32).digest(), "big")
    text = ""
    for _ in range(24):
        number, digit = divmod(number, 10)
        text += str(digit)
    return text + "%02d" % (98 - int(text + "00") % 97)


def card_of(login):
    base = sqlite3.connect("file:%s?mode=ro" % os.path.join(college.daemon.data, "gateway.db"), uri=True)
    try:
        seed, = base.execute("SELECT seed FROM bench_card WHERE person_id = ?", (college.people[login],)).fetchone()
    finally:
        base.close()
    return digits(seed)


class Cards(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.bench = college.named["bench, own"]
        cls.student = college.named["student, own"]
        cls.path = "/bench/%d" % college.instruments["IR-1"]

    def identify(self, text, bench=None, path=None):
        return (bench or self.bench).post((path or self.path) + "/identify", {"card": text})

    def turn(self):
        return self.bench.get(self.path)["turn"]

    def test_a_card_names_its_person_and_signs_on_with_the_defaults(self):
        status, who = self.identify(" ".join((card_of("boakes")[:13], card_of("boakes")[13:])))
        self.assertEqual((status, who["person"]["id"], who["by"]), (200, college.people["boakes"], "card"))
        self.assertEqual(who["section"]["id"], college.sections["A"])
        status, state = self.bench.post(self.path + "/sign-on", {"pass": who["pass"]})
        self.assertEqual(status, 200, state)
        self.assertEqual([p["id"] for p in state["turn"]["persons"]], [college.people["boakes"]])
        self.assertEqual(state["turn"]["section"], college.sections["A"])

    def test_a_misread_card_is_told_from_an_unknown_one(self):
        good = card_of(LOGIN)
        wrong = good[:5] + ("1" if good[5] != "1" else "2") + good[6:]
        self.assertEqual(self.identify(wrong)[0], 422)
        self.assertEqual(self.identify(digits(bytes(16)))[0], 404)

    def test_another_card_voids_the_old_one(self):
        old = card_of(LOGIN)
        self.assertEqual(self.student.post("/me/card", {"anew": True})[0], 200)
        self.assertEqual(self.identify(old)[0], 404)
        self.assertEqual(self.identify(card_of(LOGIN))[0], 200)
        status, _, picture = self.student.ask("GET", "/api/v1/me/card.png")
        self.assertEqual((status, picture[:4]), (200, b"\x89PNG"))
        status, _, sheet = college.command.ask("GET", "/api/v1/sections/%d/cards.pdf" % college.sections["A"])
        self.assertEqual((status, sheet[:5]), (200, b"%PDF-"))

    def test_a_pin_is_for_one_of_the_section_and_shows_the_name(self):
        mate = college.named["student, of the same section"]
        self.assertEqual(self.student.post("/me/pin", {"pin": "12345"})[0], 422)
        self.assertEqual(self.student.post("/me/pin", {"pin": "4711"})[0], 200)
        self.assertEqual(mate.post("/me/pin", {"pin": "4711"})[0], 409)
        status, who = self.identify("4711")
        self.assertEqual((status, who["person"]["id"], who["by"]), (200, college.people[LOGIN], "pin"))
        self.assertEqual(who["person"]["name"], "Zenobia Q.")

    def test_a_number_finds_somebody_of_another_section(self):
        bench = college.named["bench, other"]
        status, who = self.identify(NUMBER, bench, "/bench/%d" % college.instruments["IR-2"])
        self.assertEqual((status, who["by"], who["section"]["id"]), (200, "number", college.sections["A"]))

    def test_a_pass_is_for_its_instrument_and_cannot_be_made_up(self):
        _, who = self.identify(card_of("boakes"))
        other = "/bench/%d/sign-on" % college.instruments["IR-2"]
        self.assertEqual(college.named["bench, other"].post(other, {"pass": who["pass"]})[0], 422)
        forged = who["pass"].replace(str(college.people["boakes"]), str(college.people[LOGIN]))
        self.assertEqual(self.bench.post(self.path + "/sign-on", {"pass": forged})[0], 422)

    def test_a_second_person_joins_and_others_wait_in_line(self):
        self.bench.post(self.path + "/sign-on", {"persons": [college.people[LOGIN]], "section": college.sections["A"]})
        _, who = self.identify(card_of("boakes"))
        self.assertFalse(who["mine"])
        _, state = self.bench.post(self.path + "/wait", {"pass": who["pass"]})
        self.assertEqual([p["id"] for p in state["waiting"]["people"]], [college.people["boakes"]])
        _, state = self.bench.post(self.path + "/join", {"pass": who["pass"]})
        self.assertEqual({p["id"] for p in state["turn"]["persons"]}, {college.people["boakes"], college.people[LOGIN]})
        self.assertEqual(state["waiting"]["people"], [])
        self.assertTrue(self.identify(card_of("boakes"))[1]["mine"])

    def test_a_card_opens_nobodys_archive(self):
        _, who = self.identify(card_of(LOGIN))
        self.assertEqual(set(who), {"person", "section", "open", "mine", "by", "pass"})
        self.assertEqual(self.bench.ask("GET", "/api/v1/me/measurements")[0], 403)

    def test_cards_and_pins_are_on_the_disk_as_hashes_only(self):
        self.student.post("/me/pin", {"pin": "738194"})
        said = [card_of(LOGIN).encode(), b"738194"]
        for folder, _, names in os.walk(college.daemon.data):
            for name in names:
                if name == "control.sock":
                    continue
                with open(os.path.join(folder, name), "rb") as file:
                    content = file.read()
                for text in said:
                    self.assertNotIn(text, content, name)
        self.assertEqual(os.stat(os.path.join(college.daemon.data, "bench.key")).st_mode & 0o077, 0)

    def test_no_script_is_needed(self):
        status, fields, page = self.bench.ask("POST", "/bench/%d" % college.instruments["IR-1"],
                                              ("card=" + card_of(LOGIN)).encode(),
                                              Content_Type="application/x-www-form-urlencoded")
        self.assertEqual(status, 200, page)
        self.assertIn("Zenobia Q.", page.decode())
        self.assertIn("name=\"pass\"", page.decode())

    def test_wrong_pins_are_counted_and_a_card_still_signs_on(self):
        bench, path = college.named["bench, other"], "/bench/%d" % college.instruments["IR-2"]
        statuses = [self.identify("90%02d" % i, bench, path)[0] for i in range(22)]
        self.assertEqual(set(statuses[:20]), {404})
        self.assertEqual(set(statuses[20:]), {429})
        self.assertEqual(self.identify(card_of("zash"), bench, path)[0], 200)


class HeardOfLate(unittest.TestCase):
    def test_a_turn_heard_of_late_takes_what_was_exported_meanwhile(self):
        """What was saved well after the sign-on that the page kept goes to it, not to the turn before."""
        bench, path = college.named["bench, own"], "/bench/%d" % college.instruments["IR-1"]
        bench.post(path + "/sign-on", {"persons": [college.people["boakes"]], "section": college.sections["A"]})
        with sqlite3.connect(os.path.join(college.daemon.data, "gateway.db"), timeout=20) as base:
            base.execute("UPDATE turn SET opened_us = opened_us - 900000000, closed_us = closed_us - 900000000")
        base.close()
        college.capture("IR-1", spectrum("meanwhile", 130), "meanwhile.jdx")
        measured = college.newest("IR-1")
        before = college.command.get("/measurements/%d" % measured)
        self.assertEqual([p["id"] for p in before["persons"]], [college.people["boakes"]])
        at = time.time_ns() // 1000 - 300_000_000
        status, state = bench.post(path + "/sign-on", {"card": card_of(LOGIN), "at_us": at})
        self.assertEqual(status, 200, state)
        after = college.command.get("/measurements/%d" % measured)
        self.assertEqual([p["id"] for p in after["persons"]], [college.people[LOGIN]])
        self.assertEqual(len(after["stamps"]), len(before["stamps"]) + 1)


if __name__ == "__main__":
    require_built()
    unittest.main()
