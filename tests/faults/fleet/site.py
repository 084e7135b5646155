"""The site under test: one gateway, one section of students, instruments with their agents."""
import json
import os
import subprocess
import time
from datetime import datetime, timedelta, timezone

from lab import college, parts
from lab.client import Client
from lab.processes import LabError

COURSE, SECTION, EXPERIMENT, SAMPLE = "CHM 221", "L01", "IR-1", "Unknown A1"
# A change of turns is short here as well: benches change their people every few seconds.
CONFIG = "[gateway]\ntimezone = UTC\n[bench]\nchange = 1 s\n"
# More spectra than any turn has: past the expected number the bench is asked instead.
EXPECTED = "100"
PATIENCE_SECONDS = 60.0


class Site:
    """gateway; agents and benches by instrument name; numbers: instrument name -> id at the gateway;
    persons: ids of the students; section, experiment: their ids."""

    def __init__(self, build, folder, house, instruments):
        self.build, self.folder, self.house = parts.Build(build), folder, house
        self.names = ["IR-%d" % (k + 1) for k in range(instruments)]
        self.agents, self.benches, self.numbers = {}, {}, {}
        self.persons, self.section, self.experiment = [], 0, 0

    def path(self, *names):
        return os.path.join(self.folder, *names)

    def exports(self, name):
        return self.path("exports", name)

    def start(self):
        config = self.path("wavepost.ini")
        with open(config, "w", encoding="utf-8") as file:
            file.write(CONFIG)
        self.gateway = self.house.add(
            parts.Gateway(self.build, self.path("gateway"), self.path("gateway.log"), config)).start()
        self._set_up()
        for name in self.names:
            self._add_instrument(name)
        for found in json.loads(self.gateway.command("instrument", "list", "--json")[1])["instruments"]:
            self.numbers[found["name"]] = found["id"]
        self._learn_ids()
        return self

    def _set_up(self):
        call, where = self.gateway.command, ("--course", COURSE, "--section", SECTION)
        call("course", "add", COURSE, "--title", "Laboratory", "--printing", "inbox", "--mailing", "none")
        call("experiment", "add", EXPERIMENT, "--course", COURSE, "--title", "Unknown liquids",
             "--expected", EXPECTED, "--preparation", "liquid film", "--plates", "NaCl", "--sample", SAMPLE)
        call("section", "add", SECTION, "--course", COURSE, "--place", "Science/2/214")
        begins = datetime.now(timezone.utc) - timedelta(minutes=20)
        call("meeting", "add", *where, "--starts", begins.isoformat(),
             "--ends", (begins + timedelta(hours=24)).isoformat())
        roster = self.path("roster.csv")
        with open(roster, "w", encoding="utf-8") as file:
            file.write("login,given,family,email,number\n")
            for section in college.build().sections:
                for person in section.students:
                    file.write(",".join((person.login, person.given, person.family, person.email,
                                         person.number)) + "\n")
        call("roster", roster, *where)

    def _add_instrument(self, name):
        join = self.gateway.add_instrument(name, "Science/2/214/bench " + name)
        agent = parts.Agent(self.build, name, self.exports(name), self.path("agents", name),
                            self.path("agent %s.log" % name))
        self.agents[name] = self.house.add(agent)
        agent.join(join)
        agent.start()
        code = self.gateway.command("instrument", "bench-code", name)[1].split()[-1]
        self.benches[name] = Client(self.gateway.url, patience=PATIENCE_SECONDS)
        self.benches[name].post("/api/v1/bench/enrol", {"code": code})

    def _learn_ids(self):
        name = self.names[0]
        section = self.benches[name].get("/api/v1/bench/%d" % self.numbers[name])["sections"][0]
        self.section = section["id"]
        self.experiment = section["experiments"][0]["id"]
        self.persons = [person["id"] for person in section["roster"]]

    def sign_on(self, name, person):
        """Returns once the gateway has said that the turn is this person's, however often it is killed
        meanwhile. A bench may send it again: it says what shall be so."""
        self.benches[name].post("/api/v1/bench/%d/sign-on" % self.numbers[name],
                                {"persons": [person], "section": self.section,
                                 "experiment": self.experiment, "sample": SAMPLE}, repeat=True)

    def done(self, name):
        self.benches[name].post("/api/v1/bench/%d/done" % self.numbers[name], {}, repeat=True)

    def waiting(self, name):
        """How many captures lie in the agent's spool, by its own status."""
        agent = self.agents[name]
        said = subprocess.run([agent.path, "status", "--state", agent.state, "--json"], timeout=30, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
        try:
            return json.loads(said.stdout)["waiting"]
        except (ValueError, KeyError):
            raise LabError("%s tells no status: %s" % (agent.name, said.stderr or said.stdout)) from None

    def ready(self):
        """Whether the gateway answers."""
        return bool(self.gateway.program.running()) and "listening on " in self.gateway.program.output()

    @staticmethod
    def now():
        return time.monotonic()
