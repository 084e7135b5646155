"""The judge notices every way in which a sheet can miss its person; the plan and the display hold."""
import io
import os
import sys
import threading
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "..", "..", "deploy")]

from lab import afternoon, judge, progress  # noqa: E402
from lab.college import Person, build  # noqa: E402
from lab.substances import SUBSTANCES, strongest  # noqa: E402
from pdf import page  # noqa: E402


def sheet_for(wanted, accession, substance=None, person=None, name=None, where=None, unclaimed=False):
    """A sheet's words as a PDF carries them: header, bands, foot. No layout."""
    person = person or wanted.person
    route = "mail" if wanted.route == "mail" else "paper"
    bands = " ".join("%d" % round(p) for p in strongest(substance or wanted.substance))
    lines = ["Unclaimed" if unclaimed else (name or person.name),
             "%s section %s" % (wanted.course, wanted.section), wanted.experiment, wanted.sample,
             "%s, 25 November 2026 14:05:17, 4000 to 400 cm-1, 16 scans" % wanted.instrument,
             "No. " + accession, bands]
    text = "\n".join(lines)
    return judge.Sheet(where or (person.email if route == "mail" else "214-A"), route,
                       "x.pdf", text, accession=judge.accession_in(text))


def number(k):
    digits = str(10000 + k)
    return digits + judge.check_character(digits)


class Judging(unittest.TestCase):
    def setUp(self):
        self.expected = afternoon.expected(afternoon.plan())
        self.sheets = [sheet_for(e, number(k)) for k, e in enumerate(self.expected)]
        claimed = next(e for e in self.expected if e.unclaimed_first)
        self.sheets.append(sheet_for(claimed, self.sheets[self.expected.index(claimed)].accession,
                                     unclaimed=True))

    def faults(self, **more):
        return "\n".join(judge.judge(self.expected, self.sheets, **more).faults)

    def test_an_afternoon_without_a_fault_is_sound(self):
        verdict = judge.judge(self.expected, self.sheets)
        self.assertEqual(verdict.faults, [])
        self.assertTrue(verdict.sound)
        self.assertEqual([len(o.sheets) for o in verdict.outcomes], [1] * len(self.expected))

    def test_a_missing_sheet_is_a_fault(self):
        del self.sheets[4]
        self.assertIn("nothing arrived", self.faults())

    def test_the_same_sheet_on_two_printers_is_a_fault(self):
        self.sheets.append(sheet_for(self.expected[0], number(0), where="214-B"))
        self.assertIn("%s was printed 2 times" % number(0), self.faults())

    def test_an_unclaimed_sheet_printed_twice_is_a_fault(self):
        self.sheets.append(self.sheets[-1])
        self.assertIn("printed 2 times", self.faults())

    def test_a_sheet_on_paper_and_by_mail_as_well_is_a_fault(self):
        extra = sheet_for(self.expected[0], number(0))
        extra.route, extra.where = "mail", self.expected[0].person.email
        self.sheets.append(extra)
        self.assertIn("arrived 2 times", self.faults())

    def test_a_right_name_on_a_wrong_spectrum_is_a_fault(self):
        self.sheets[0] = sheet_for(self.expected[0], number(0), substance="cyclohexane")
        self.assertIn("shows cyclohexane instead of ethanol", self.faults())

    def test_a_wrong_name_is_a_fault_twice_over(self):
        self.sheets[0] = sheet_for(self.expected[0], number(0), person=self.expected[1].person)
        self.assertIn("nobody should have got", self.faults())
        self.assertIn("nothing arrived", self.faults())

    def test_two_students_of_one_name_are_told_apart(self):
        one = next(e for e in self.expected if e.person.login == "r.ashdown")
        two = next(e for e in self.expected if e.person.login == "r.ashdown2")
        self.assertEqual(one.person.name, two.person.name)
        self.sheets[self.expected.index(one)] = sheet_for(two, number(77))
        self.assertIn("r.ashdown, ", self.faults())

    def test_mail_in_another_mailbox_is_a_fault(self):
        k = next(k for k, e in enumerate(self.expected) if e.route == "mail")
        self.sheets[k].where = self.expected[0].person.email
        self.assertIn("was mailed to m.rowan@", self.faults())

    def test_paper_instead_of_mail_is_a_fault(self):
        k = next(k for k, e in enumerate(self.expected) if e.route == "mail")
        self.sheets[k].route = "paper"
        self.assertIn("as paper instead of mail", self.faults())

    def test_a_sheet_nobody_can_read_is_a_fault(self):
        self.sheets.append(judge.Sheet("214-A", "paper", "x.pdf", ""))
        self.assertIn("no text", self.faults())

    def test_an_unclaimed_sheet_that_nobody_expected_is_a_fault(self):
        self.sheets.append(sheet_for(self.expected[3], number(90), unclaimed=True))
        self.assertIn("2 unclaimed sheets came out", self.faults())

    def test_a_reprint_on_purpose_is_no_fault(self):
        self.sheets.append(sheet_for(self.expected[0], number(0), where="214-B"))
        self.assertEqual("", self.faults(reprints={number(0)}))
        self.sheets.append(sheet_for(self.expected[0], number(90)))
        self.assertIn("arrived 3 times", self.faults(reprints={number(0)}))

    def test_a_sheet_without_instrument_or_number_is_a_fault(self):
        self.sheets[0].text = self.sheets[0].text.replace(self.expected[0].instrument, "")
        self.sheets[1].accession = ""
        self.assertIn("lacks " + self.expected[0].instrument, self.faults())
        self.assertIn("no accession number", self.faults())


class Reading(unittest.TestCase):
    def test_the_check_character_is_the_standards(self):
        """ISO 7064 MOD 37,36 as the Global Release Identifier's published example uses it:
        A1-2425G-ABC1234002-M."""
        self.assertEqual(judge.check_character("A12425GABC1234002"), "M")

    def test_the_number_is_found_among_other_numbers(self):
        self.assertEqual(judge.accession_in("4000 to 400 cm-1 14:05:17 1743 No. 10042M 2026"), "10042M")
        self.assertEqual(judge.accession_in("10042 M"), "10042M")
        self.assertEqual(judge.accession_in("10042K"), "")
        self.assertEqual(judge.accession_in("claim code K7QM-4T\n10014U\n4000\n0"), "10014U")
        self.assertEqual(judge.accession_in("Fraction 1\n100021\n3800\n25 Nov 2026"), "100021")

    def test_names_are_found_whatever_their_order_and_form(self):
        composed = Person("x", "Zo\u00eb", "Brand\u00e3o")
        self.assertTrue(judge.name_on("zoe\u0308 BRANDA\u0303O", composed))
        self.assertTrue(judge.name_on("\u674e\u601d\u8fdc", Person("x", "\u601d\u8fdc", "\u674e")))
        self.assertFalse(judge.name_on("Zo\u00eb Brandt", composed))

    def test_each_substance_is_known_by_its_own_bands(self):
        for name in SUBSTANCES:
            text = " ".join("%d" % (round(p) + 2) for p in strongest(name)) + " 14:05:17 2026 667"
            self.assertEqual(judge.substance_on(text), name)
        self.assertEqual(judge.substance_on("1700 1200"), "")

    def test_the_text_of_a_pdf_is_read_and_rubbish_is_empty(self):
        self.assertIn("Maya Rowan", judge.pdf_text(page(["Maya Rowan", "No. 10042M"])))
        self.assertEqual(judge.pdf_text(b"not a pdf"), "")


class Recording(afternoon.Lab):
    """Notes what it is asked to do; `fails` is the login whose run does not work."""

    def __init__(self, fails=""):
        self.fails, self.done, self.lock = fails, [], threading.Lock()

    def _note(self, verb, visit, *more):
        with self.lock:
            self.done.append((verb, getattr(visit, "student", None) and visit.student.login) + more)
        if verb == "run" and visit.student.login == self.fails:
            raise RuntimeError("lamp broken")

    def sign_on(self, visit):
        self._note("sign_on", visit)

    def run(self, visit, thickness_um, seed):
        self._note("run", visit, thickness_um, seed)

    def save_again(self, visit):
        self._note("save_again", visit)

    def look(self, visit):
        self._note("look", visit)

    def run_again(self, visit):
        self._note("run_again", visit)

    def keep(self, visit):
        self._note("keep", visit)

    def hand_over(self, visit):
        self._note("hand_over", visit)

    def see_saved_again(self, visit):
        self._note("see_saved_again", visit)

    def keep_unclaimed(self, visit):
        self._note("keep_unclaimed", visit)

    def claim(self, visit):
        self._note("claim", visit)

    def paper_out(self, printer):
        self._note("paper_out " + printer, None)

    def paper_in(self, printer):
        self._note("paper_in " + printer, None)

    def kill_gateway(self):
        self._note("kill_gateway", None)


class Afternoon(unittest.TestCase):
    def test_every_student_has_a_visit_and_every_incident_happens_once(self):
        lab, plan = Recording(), afternoon.plan()
        self.assertEqual(afternoon.play(lab, plan, lambda where, what: None), [])
        students = {p.login for s in build().sections for p in s.students}
        self.assertEqual({login for verb, login, *_ in lab.done if verb == "run"}, students)
        verbs = [verb for verb, *_ in lab.done]
        for incident in ("paper_out 214-A", "kill_gateway", "paper_in 214-A"):
            self.assertEqual(verbs.count(incident), 1)
        for verb, times in (("claim", 1), ("save_again", 1), ("run_again", 2)):
            self.assertEqual(verbs.count(verb), times, verb)

    def test_no_two_films_have_the_same_noise(self):
        lab = Recording()
        afternoon.play(lab, afternoon.plan(), lambda where, what: None)
        seeds = [entry[3] for entry in lab.done if entry[0] == "run"]
        self.assertEqual(len(seeds), len(set(seeds)))

    def test_a_problem_is_reported_with_its_visit_and_ends_the_play(self):
        problems = afternoon.play(Recording(fails="s.li"), afternoon.plan(), lambda where, what: None)
        self.assertEqual([(v.student.login, str(e)) for v, e in problems], [("s.li", "lamp broken")])

    def test_every_sample_and_instrument_of_the_plan_exists(self):
        college = build()
        names = {i.name for i in college.instruments}
        for wanted in afternoon.expected(afternoon.plan()):
            self.assertIn(wanted.substance, SUBSTANCES)
            self.assertIn(wanted.instrument, names)


class Display(unittest.TestCase):
    def test_without_a_terminal_each_change_is_one_plain_line(self):
        out = io.StringIO()
        show = progress.Progress(["IR-1"], out)
        show.row("IR-1", "Maya Rowan", "runs")
        show.note("214-A has no paper")
        lines = out.getvalue().splitlines()
        self.assertEqual(len(lines), 2)
        self.assertNotIn("\x1b", out.getvalue())
        self.assertIn("IR-1", lines[0])
        self.assertIn("Maya Rowan: runs", lines[0])

    def test_on_a_terminal_the_table_is_drawn_over_itself(self):
        out = io.StringIO()
        show = progress.Progress(["IR-1", "IR-2"], out, live=True)
        show.row("IR-1", "Maya", "runs")
        show.row("IR-2", "Ben", "keeps")
        self.assertEqual(out.getvalue().count("\x1b[2A\x1b[J"), 1)

    def test_wide_letters_are_counted_as_two_columns(self):
        self.assertEqual(progress.fit("\u674e\u601d\u8fdc", 4), "\u674e\u2026 ")
        self.assertEqual(progress.width(progress.fit("Zoe\u0308", 6)), 6)

    def test_the_last_table_names_who_where_and_what_came_of_it(self):
        wanted = afternoon.expected(afternoon.plan())[0]
        out = io.StringIO()
        progress.outcome_table(judge.judge([wanted], [sheet_for(wanted, number(0))]), "/", out)
        for word in ("IR-1", "Maya Rowan", "CHM 221 L01", "Unknown A1", "paper, 214-A", "x.pdf"):
            self.assertIn(word, out.getvalue())


if __name__ == "__main__":
    unittest.main()
