"""The demo: sets up an invented college, plays its afternoon on the real parts, and tells the outcome."""
import argparse
import fcntl
import json
import os
import shutil
import sys
import time
from datetime import datetime, timedelta, timezone

from . import afternoon, college, judge, parts, progress
from .instruments import Instrument
from .mail import MailServer
from .printers import Bus, Printer
from .processes import Household, LabError
from .room import Room

PASSWORD = "tarnhill-demo"
OUTCOME_SECONDS = 90.0  # until every sheet has come out and every mail has arrived
QUIET_SECONDS = 6.0     # then nothing more may come: time for what would be a second copy

CONFIG = """[gateway]
timezone = {zone}
[bench]
; The afternoon is played in a minute, so a change of turns is short as well.
change = 1 s
[mail]
url = smtp://localhost:{port}
user = {login}
password_file = {password}
ca_file = {certificate}
from = lab@{domain}
from_name = Tarnhill teaching laboratory
"""


def machine_zone():
    """The name of this machine's time zone; UTC where it has none."""
    path = os.path.realpath("/etc/localtime")
    return path.split("zoneinfo/", 1)[1] if "zoneinfo/" in path else "UTC"


class Demo:
    """Every part of the demo, started in order and kept in a Household."""

    def __init__(self, build, folder, house, say):
        self.build, self.folder, self.house, self.say = parts.Build(build), folder, house, say
        self.plan = afternoon.plan()
        self.college = self.plan.college

    def path(self, *names):
        return os.path.join(self.folder, *names)

    # ---- the parts ----

    def start(self):
        logins = [p.login for p in self.college.people]
        self.say("printers and mail server")
        self.bus = self.house.add(Bus(self.path("bus"))).start()
        self.printers = {p.name: self.house.add(Printer(p.name, p.place, self.path(p.name), self.bus)).start()
                         for p in self.college.printers}
        self.mail = self.house.add(MailServer(self.path("mail"), college.DOMAIN, logins)).start()
        self.say("gateway")
        self.gateway = self.house.add(
            parts.Gateway(self.build, self.path("gateway"), self.path("gateway.log"), self._config())).start()
        self.say("college: people, courses, rosters, timetable")
        self._set_up()
        self.say("four instruments with their agents")
        self._start_instruments()
        return Room(self.college, self.gateway, self.instruments, self.numbers, self.codes, self.printers)

    def _config(self):
        password = self.path("mail-password")
        with open(password, "w", encoding="utf-8") as file:
            file.write(self.mail.password + "\n")
        os.chmod(password, 0o600)
        with open(self.path("wavepost.ini"), "w", encoding="utf-8") as file:
            file.write(CONFIG.format(zone=machine_zone(), port=self.mail.port, login=self.mail.login,
                                     password=password, certificate=self.mail.certificate,
                                     domain=college.DOMAIN))
        return file.name

    # ---- the college, by the administrator's command ----

    def _set_up(self):
        call = self.gateway.command
        for printer in self.college.printers:
            call("printer", "add", printer.name, "--uri", self.printers[printer.name].uri,
                 "--place", printer.place, "--where", printer.where)
        for role, person in self.college.staff.items():
            site = ["--role", role] if role in ("technician", "administrator") else []
            call("person", "add", person.login, "--given", person.given, "--family", person.family,
                 "--email", person.email, *site, "--password-stdin", typed=PASSWORD + "\n")
        for course in self.college.courses:
            paper = course.delivery == "paper"
            call("course", "add", course.code, "--title", course.title,
                 "--printing", "ask" if paper else "inbox", "--mailing", "none" if paper else "each")
            lesson = course.experiment
            samples = [word for name in lesson.samples for word in ("--sample", name)]
            call("experiment", "add", lesson.code, "--course", course.code, "--title", lesson.title,
                 "--preparation", lesson.preparation, "--plates", lesson.plates, *samples)
        for section in self.college.sections:
            self._set_up_section(section)
        student = self.college.sections[0].students[0]
        call("person", "change", student.login, "--password-stdin", typed=PASSWORD + "\n")

    def _set_up_section(self, section):
        call, where = self.gateway.command, ("--course", section.course.code, "--section", section.code)
        call("section", "add", section.code, "--course", section.course.code, "--place", "Science/2/214")
        call("staff", "add", section.instructor.login, *where, "--role", "instructor")
        call("staff", "add", self.college.staff["demonstrator"].login, *where, "--role", "demonstrator")
        call("staff", "add", self.college.staff["marker"].login, *where, "--role", "marker")
        begins = datetime.now(timezone.utc) - timedelta(minutes=self.college.starts_minutes_ago)
        ends = begins + timedelta(minutes=self.college.lasts_minutes)
        call("meeting", "add", *where, "--starts", begins.isoformat(), "--ends", ends.isoformat())
        roster = self.path("roster %s %s.csv" % (section.course.code, section.code))
        with open(roster, "w", encoding="utf-8") as file:
            file.write("login,given,family,email,number\n")
            for person in section.students:
                file.write(",".join((person.login, person.given, person.family, person.email,
                                     person.number)) + "\n")
        call("roster", roster, *where)

    def _start_instruments(self):
        self.instruments, self.numbers, self.codes = {}, {}, {}
        for at in self.college.instruments:
            export = self.path("exports", at.name)
            self.instruments[at.name] = Instrument(at.make, export)
            words = self.gateway.command(
                "instrument", "add", at.name, "--place", at.place, "--first-printer", at.first_printer,
                "--second-printer", at.second_printer, "--preparation", "liquid film", "--plates", "NaCl",
                "--how-to-export", "Save as text or JCAMP-DX in the folder \u201c%s\u201d." % at.name)[1].split()
            agent = self.house.add(parts.Agent(self.build, at.name, export, self.path("agents", at.name),
                                               self.path("agent %s.log" % at.name)))
            agent.join(words[-1]).start()
            self.codes[at.name] = self.gateway.command("instrument", "bench-code", at.name)[1].split()[-1]
        for instrument in self._list():
            self.numbers[instrument["name"]] = instrument["id"]

    def _list(self):
        return json.loads(self.gateway.command("instrument", "list", "--json")[1])["instruments"]

    # ---- what came of it ----

    def outcome(self, hopeful):
        """Judged from paper and mail until all is there (or the time is up), then once more after a
        while, so that a second copy of anything is seen."""
        expected = afternoon.expected(self.plan)
        limit = time.monotonic() + OUTCOME_SECONDS
        while True:
            verdict = judge.judge(expected, judge.collect(self.printers.values(), self.mail))
            if verdict.sound or not hopeful or time.monotonic() > limit:
                break
            time.sleep(1.0)
        time.sleep(QUIET_SECONDS)
        return judge.judge(expected, judge.collect(self.printers.values(), self.mail))


def describe(step):
    """One step in words, for the progress display."""
    words = {"sign_on": "signs on", "run": "measures and exports", "save_again": "saves what was left open",
             "see_saved_again": "hears that it is an old one", "look": "looks at the verdict",
             "run_again": "runs it again", "keep": "keeps it", "hand_over": "hands over",
             "keep_unclaimed": "prints without a name", "claim": "claims it by the code on the sheet"}
    return words.get(step.verb, step.verb)


def play(demo, room, display):
    def say(where, what):
        if isinstance(what, afternoon.Step):
            visit = what.arguments[0]
            display.row(where, visit.student.name, "%s (%s)" % (describe(what), visit.sample))
        else:
            display.note(what)
    return afternoon.play(room, demo.plan, say)


def tell_addresses(demo):
    staff = demo.college.staff
    student = demo.college.sections[0].students[0]
    print("\nThe gateway: %s  (its certificate is its own; the browser will ask)" % demo.gateway.url)
    progress.table(("who", "page", "sign-in name", "password"), [
        ("student", demo.gateway.url + "/", student.login, PASSWORD),
        *((role, demo.gateway.url + "/staff", staff[role].login, PASSWORD)
          for role in ("instructor", "demonstrator", "marker")),
        *((role, demo.gateway.url + "/fleet", staff[role].login, PASSWORD)
          for role in ("technician", "administrator")),
        ("bench IR-1", demo.gateway.url + "/bench", "code",
         demo.gateway.command("instrument", "bench-code", "IR-1")[1].split()[-1]),
    ])
    print("Exports: %s   mailboxes: %s   paper: %s/214-*/tray"
          % (demo.path("exports"), demo.path("mail", "boxes"), demo.folder))


def only_one(folder):
    """Held for as long as this process lives, so that no second demo clears the folder away."""
    lock = open(folder.rstrip("/") + ".lock", "a", encoding="ascii")
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise LabError("a demo runs already in %s; set WAVEPOST_DEMO to another folder" % folder) from None
    return lock


def run(options):
    lock = only_one(options.folder)
    try:
        return play_in(options)
    finally:
        lock.close()


def play_in(options):
    shutil.rmtree(options.folder, ignore_errors=True)
    os.makedirs(options.folder)
    os.chmod(options.folder, 0o755)
    with Household() as house:
        display = progress.Progress([at.name for at in college.build().instruments])
        demo = Demo(options.build, options.folder, house, lambda text: display.note("starting: " + text))
        room = demo.start()
        display.note("the afternoon begins: %d students at %d instruments"
                     % (len(demo.plan.visits()), len(demo.plan.queues)))
        problems = play(demo, room, display)
        display.note("the last one has handed over; sheets and mail are waited for")
        verdict = demo.outcome(hopeful=not problems)
        display.finish()
        objects, measurements, faults, said = demo.gateway.verify()
        print()
        progress.outcome_table(verdict, options.folder)
        print("\nThe archive, verified: %d objects, %d measurements, %d faults."
              % (objects, measurements, faults))
        for visit, problem in problems:
            print("%s at %s: %s" % (visit.student.name, visit.instrument, problem), file=sys.stderr)
        for fault in verdict.faults:
            print("Not as it should be: " + fault, file=sys.stderr)
        if faults:
            print(said, file=sys.stderr)
        sound = verdict.sound and not problems and not faults
        print("Every spectrum reached its person, once." if sound else "Something went wrong; logs: "
              + options.folder)
        if not options.once:
            tell_addresses(demo)
            print("\nCtrl-C stops all of it.", flush=True)
            while True:
                time.sleep(3600)
    return 0 if sound else 1


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--build", required=True)
    parser.add_argument("--folder", required=True)
    parser.add_argument("--once", action="store_true")
    try:
        return run(parser.parse_args())
    except KeyboardInterrupt:
        print("\nStopped.")
        return 130
    except LabError as problem:
        print("demo: %s" % problem, file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main())
