"""What happens on the afternoon that the demo plays, told apart from how the gateway is asked.

One queue of visits for each instrument, played at the same time, and a few incidents. Every visit
unfolds into steps; a `Lab` carries the steps out. `expected()` says, from the same plan and without
asking anybody, which sheet must have reached whom.
"""
import abc
import threading
from dataclasses import dataclass, field

from . import college as invented


@dataclass(frozen=True)
class Visit:
    """One student's time at one instrument.

    films: thickness in um of each film that is run; all but the last are run again.
    forgets: does not sign on, and claims the spectrum afterwards with the code on the sheet.
    saves_first: saves what the student before left open, before running the own sample.
    """

    student: invented.Person
    instrument: str
    sample: str
    films: tuple = (8.0,)
    forgets: bool = False
    saves_first: bool = False


@dataclass(frozen=True)
class Incident:
    """Something that happens once `after` visits are over in the whole room.

    what: "paper out", "paper in" (with a printer), "gateway killed".
    """

    after: int
    what: str
    printer: str = ""


@dataclass(frozen=True)
class Step:
    """verb: a method of Lab. `arguments`: what it is called with."""

    verb: str
    arguments: tuple


@dataclass
class Plan:
    college: invented.College
    queues: dict  # instrument name -> [Visit]
    incidents: tuple
    seed: int = 1

    def visits(self):
        return [visit for queue in self.queues.values() for visit in queue]


@dataclass(frozen=True)
class Expected:
    """One sheet that must have reached one person."""

    person: invented.Person
    course: str
    section: str
    experiment: str
    sample: str
    substance: str
    instrument: str
    route: str  # "paper", "mail", or "either"
    unclaimed_first: bool = False


class Lab(abc.ABC):
    """The room as students and staff use it. Every method is bounded in time and raises
    processes.LabError if the room does not do its part. Methods of different instruments are called
    from different threads."""

    @abc.abstractmethod
    def sign_on(self, visit):
        """At the bench: this student, with section, experiment and sample."""

    @abc.abstractmethod
    def run(self, visit, thickness_um, seed):
        """Measures the sample and lets the instrument export it. Nothing is asked of the gateway."""

    @abc.abstractmethod
    def save_again(self, visit):
        """Saves what is open on the instrument once more: the same bytes."""

    @abc.abstractmethod
    def look(self, visit):
        """Waits until the bench shows the new spectrum and its verdict."""

    @abc.abstractmethod
    def run_again(self, visit):
        """The bench's *Run again* for what was looked at: it is not printed."""

    @abc.abstractmethod
    def keep(self, visit):
        """The bench's *Keep and print*, or keep alone where the course mails."""

    @abc.abstractmethod
    def hand_over(self, visit):
        """The bench's *Done*."""

    @abc.abstractmethod
    def see_saved_again(self, visit):
        """Waits until the gateway has taken the same bytes as a new capture and somebody is told."""

    @abc.abstractmethod
    def keep_unclaimed(self, visit):
        """Nobody is signed on: the sheet is printed without a name, with a code to claim it by."""

    @abc.abstractmethod
    def claim(self, visit):
        """The student reads the code off the printed sheet and claims the spectrum with it."""

    @abc.abstractmethod
    def paper_out(self, printer):
        """A printer runs out of paper."""

    @abc.abstractmethod
    def paper_in(self, printer):
        """Somebody puts paper in."""

    @abc.abstractmethod
    def kill_gateway(self):
        """SIGKILL in the middle of things, then a new start."""


def steps(visit, seed):
    """The steps of one visit, in order. `seed` makes the noise of its films."""
    out = []

    def do(verb, *arguments):
        out.append(Step(verb, (visit,) + arguments))

    if not visit.forgets:
        do("sign_on")
    if visit.saves_first:
        do("save_again")
        do("see_saved_again")
    for number, film in enumerate(visit.films):
        do("run", film, seed * 10 + number)
        if visit.forgets:
            continue
        do("look")
        do("run_again" if number + 1 < len(visit.films) else "keep")
    if visit.forgets:
        do("keep_unclaimed")
        do("claim")
    else:
        do("hand_over")
    return out


def plan():
    """The afternoon: sixteen students, four instruments."""
    room = invented.build()
    who = room.student
    queues = {
        "IR-1": [Visit(who("m.rowan"), "IR-1", "Unknown A1"),
                 Visit(who("y.voronov"), "IR-1", "Unknown B1", saves_first=True),
                 Visit(who("a.mehtani"), "IR-1", "Fraction 1", films=(4.0,)),
                 Visit(who("r.ashdown"), "IR-1", "Unknown C1")],
        "IR-2": [Visit(who("j.lindholt"), "IR-2", "Unknown C2"),
                 Visit(who("e.mavridi"), "IR-2", "Unknown A2", films=(70.0, 8.0)),
                 Visit(who("n.tranvu"), "IR-2", "Fraction 2"),
                 Visit(who("z.brandao"), "IR-2", "Unknown D2")],
        "IR-3": [Visit(who("s.li"), "IR-3", "Unknown B2"),
                 Visit(who("t.zurawik"), "IR-3", "Unknown D1"),
                 Visit(who("t.einars"), "IR-3", "Fraction 3"),
                 Visit(who("a.okonjo"), "IR-3", "Unknown A2", films=(0.15, 8.0))],
        "IR-4": [Visit(who("r.ashdown2"), "IR-4", "Unknown B2"),
                 Visit(who("o.carrick"), "IR-4", "Wash"),
                 Visit(who("a.haddadin"), "IR-4", "Unknown C1", forgets=True),
                 Visit(who("y.satonaka"), "IR-4", "Fraction 4")],
    }
    incidents = (Incident(3, "paper out", "214-A"), Incident(7, "gateway killed"),
                 Incident(11, "paper in", "214-A"))
    return Plan(room, queues, incidents)


def expected(the_plan):
    """What must have come of it, one entry a visit."""
    out = []
    for visit in the_plan.visits():
        section = the_plan.college.section_of(visit.student)
        course = section.course
        out.append(Expected(
            person=visit.student, course=course.code, section=section.code,
            experiment=course.experiment.title, sample=visit.sample,
            substance=course.experiment.samples[visit.sample], instrument=visit.instrument,
            route="either" if visit.forgets else course.delivery, unclaimed_first=visit.forgets))
    return out


@dataclass
class _Room:
    """What the queues share while they are played."""

    lab: Lab
    plan: Plan
    say: object
    lock: threading.Lock = field(default_factory=threading.Lock)
    over: int = 0
    happened: set = field(default_factory=set)
    problems: list = field(default_factory=list)

    def visit_over(self):
        """Counts a visit and lets happen what is due; each incident once, on the calling thread."""
        with self.lock:
            self.over += 1
            due = [i for i in self.plan.incidents if i.after <= self.over and i not in self.happened]
            self.happened.update(due)
        for incident in due:
            self.say("room", incident.what + (" at " + incident.printer if incident.printer else ""))
            verb = {"paper out": "paper_out", "paper in": "paper_in",
                    "gateway killed": "kill_gateway"}[incident.what]
            getattr(self.lab, verb)(*([incident.printer] if incident.printer else []))
            if verb == "kill_gateway":
                self.say("room", "gateway started again")


def _play_queue(room, queue, first_seed):
    for number, visit in enumerate(queue):
        if room.problems:
            return
        try:
            for step in steps(visit, first_seed + number):
                room.say(visit.instrument, step)
                getattr(room.lab, step.verb)(*step.arguments)
            room.visit_over()
        except Exception as problem:
            with room.lock:
                room.problems.append((visit, problem))
            return


def play(lab, the_plan, say):
    """Plays all queues at once and returns the problems: [(visit, exception)].

    say(where, what): called at each step, from several threads; `what` is a Step or a text. After a
    problem the other queues finish their visit and stop.
    """
    room = _Room(lab, the_plan, say)
    threads = []
    for number, queue in enumerate(the_plan.queues.values()):
        seed = the_plan.seed * 1000 + number * 100
        threads.append(threading.Thread(target=_play_queue, args=(room, queue, seed), daemon=True))
    for thread in threads:
        thread.start()
    for thread in threads:
        while thread.is_alive():
            thread.join(0.2)  # short, so that Ctrl-C is heard
    return room.problems
