"""The afternoon's room bound to a running gateway: benches, instruments, printers, mail."""
import re
import threading
import time

from . import afternoon, judge
from .client import Client, Refused
from .processes import LabError, wait_until
from .spectra import Recipe

SEEN_SECONDS = 30.0   # a gateway that is killed and started again is waited out
MEASURING_SECONDS = 1.5
CODE = re.compile(r"(?<![0-9A-Z])([2-9A-HJKMNP-TV-Z]{4}-[2-9A-HJKMNP-TV-Z]{4})(?![0-9A-Z])")


def bench_name(person):
    """The name as the bench's roster shows it: given name and initial; a family name of one character is
    no initial and does not stand there."""
    return person.given if len(person.family) == 1 else "%s %s." % (person.given, person.family[0])


class Room(afternoon.Lab):
    """instruments: name -> instruments.Instrument; numbers: name -> id at the gateway; codes: name ->
    code that enrols the bench's device; printers: name -> printers.Printer."""

    def __init__(self, college, gateway, instruments, numbers, codes, printers):
        self.college, self.gateway = college, gateway
        self.instruments, self.numbers, self.printers = instruments, numbers, printers
        self.benches, self.seen, self.at_hand = {}, {}, {}
        self.restart = threading.Lock()
        for name, code in codes.items():
            bench = Client(gateway.url, patience=SEEN_SECONDS)
            bench.post("/api/v1/bench/enrol", {"code": code})
            self.benches[name] = bench
            self.seen[name] = set()

    # ---- what the bench page does ----

    def _path(self, visit, act=""):
        return "/api/v1/bench/%d%s" % (self.numbers[visit.instrument], "/" + act if act else "")

    def _state(self, visit):
        return self.benches[visit.instrument].get(self._path(visit))

    def _post(self, visit, act, value):
        """The bench's acts may be sent again after a lost answer: they say what shall be so."""
        return self.benches[visit.instrument].post(self._path(visit, act), value, repeat=True)

    def _section(self, state, visit):
        section = self.college.section_of(visit.student)
        for found in state["sections"]:
            if (found["course"], found["code"]) == (section.course.code, section.code):
                return section, found
        raise LabError("section %s %s is not on the bench of %s"
                       % (section.course.code, section.code, visit.instrument))

    def _who(self, state, visit):
        """The ids that signing on needs, found as a person finds them: by the names on the page."""
        section, found = self._section(state, visit)
        persons = [p["id"] for p in found["roster"] if p["name"] == bench_name(visit.student)]
        experiments = [e["id"] for e in found["experiments"] if e["code"] == section.course.experiment.code]
        if len(persons) != 1 or len(experiments) != 1:
            raise LabError("%s is not on the roster at %s" % (visit.student.login, visit.instrument))
        return {"persons": persons, "section": found["id"], "experiment": experiments[0],
                "sample": visit.sample}

    def sign_on(self, visit):
        self._post(visit, "sign-on", self._who(self._state(visit), visit))

    def run(self, visit, thickness_um, seed):
        # Files tell the time in whole seconds: a turn that lasted less could not be told from the next.
        time.sleep(MEASURING_SECONDS)
        substance = self.college.section_of(visit.student).course.experiment.samples[visit.sample]
        self.instruments[visit.instrument].run(Recipe(substance, thickness_um=thickness_um, seed=seed),
                                               visit.sample)

    def save_again(self, visit):
        self.instruments[visit.instrument].save()

    def _wait(self, what, look):
        found = []

        def seen():
            found.append(look())
            return found[-1]
        wait_until(what, seen, SEEN_SECONDS)
        return found[-1]

    def _new(self, visit):
        """A measurement of this turn that was not there before; a question is answered first."""
        state = self._state(visit)
        question = state["question"]
        if question and not visit.forgets and question["measurement"]["id"] not in self.seen[visit.instrument]:
            try:
                state = self._post(visit, "answer", {"measurement": question["measurement"]["id"], "same": True})
            except Refused as refused:
                if refused.status != 409:  # answered already, the answer was lost
                    raise
        for measurement in state["turn_measurements"]:
            if measurement["id"] not in self.seen[visit.instrument]:
                return measurement
        return None

    def look(self, visit):
        measurement = self._wait("a new spectrum at %s" % visit.instrument, lambda: self._new(visit))
        if not measurement["verdict_words"]:
            raise LabError("the bench shows no verdict")
        self.seen[visit.instrument].add(measurement["id"])
        self.at_hand[visit.instrument] = measurement
        return measurement

    def run_again(self, visit):
        measurement = self.at_hand[visit.instrument]
        if measurement["verdict"] != "again":
            raise LabError("%s: the verdict is \"%s\", not to run again"
                           % (measurement["accession"], measurement["verdict_words"]))
        self._post(visit, "again", {"measurement": measurement["id"]})

    def keep(self, visit):
        self._post(visit, "keep", {"measurement": self.at_hand[visit.instrument]["id"], "print": True})

    def hand_over(self, visit):
        self._post(visit, "done", {})

    def see_saved_again(self, visit):
        self._wait("word at %s that an old spectrum was saved again" % visit.instrument,
                   lambda: any(m["kind"] == "saved-again" for m in self._state(visit)["messages"]))

    # ---- somebody who did not sign on ----

    def _nobodys(self, visit):
        question = self._state(visit)["question"]
        return question and question["measurement"]["id"] not in self.seen[visit.instrument] and question

    def keep_unclaimed(self, visit):
        question = self._wait("the question whose spectrum it is, at %s" % visit.instrument,
                              lambda: self._nobodys(visit))
        measurement = question["measurement"]
        self.seen[visit.instrument].add(measurement["id"])
        self.at_hand[visit.instrument] = measurement
        self._post(visit, "keep", {"measurement": measurement["id"], "print": True})
        self._post(visit, "answer", {"measurement": measurement["id"], "nobody": True})

    def _code_on_paper(self, accession):
        for printer in self.printers.values():
            for sheet in printer.printed():
                with open(sheet.path, "rb") as file:
                    text = judge.pdf_text(file.read())
                if accession in text and "Unclaimed" in text:
                    found = CODE.search(text)
                    if found:
                        return found.group(1)
        return None

    def claim(self, visit):
        accession = self.at_hand[visit.instrument]["accession"]
        code = self._wait("the unclaimed sheet %s with its code" % accession,
                          lambda: self._code_on_paper(accession))
        who = self._who(self._state(visit), visit)
        try:
            self.benches[visit.instrument].post(
                "/api/v1/claims", {"code": code, "accession": accession, "person": who["persons"][0],
                                   "experiment": who["experiment"], "sample": visit.sample}, repeat=True)
        except Refused as refused:
            if refused.status != 409:
                raise

    # ---- incidents ----

    def paper_out(self, printer):
        self.printers[printer].take_paper_out()

    def paper_in(self, printer):
        self.printers[printer].put_paper_in()

    def kill_gateway(self):
        with self.restart:
            self.gateway.kill()
            time.sleep(1.0)  # long enough for agents and benches to notice
            self.gateway.start()
