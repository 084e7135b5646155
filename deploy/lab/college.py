"""The invented college: nobody and nothing in here exists.

Names stand in several scripts, and two students have the same one, because both happen.
"""
from dataclasses import dataclass, field

NAME = "Tarnhill College"
DOMAIN = "tarnhill.example"


@dataclass(frozen=True)
class Person:
    login: str  # also the mailbox
    given: str
    family: str
    number: str = ""  # student number, as on the card
    role: str = "student"

    @property
    def name(self):
        return "%s %s" % (self.given, self.family)

    @property
    def email(self):
        return "%s@%s" % (self.login, DOMAIN)


@dataclass(frozen=True)
class Experiment:
    code: str
    title: str
    samples: dict  # what stands on the vial -> the substance in it
    preparation: str = "liquid film"
    plates: str = "NaCl"


@dataclass(frozen=True)
class Course:
    """`delivery`: "paper", or "mail" where the course prints nothing."""

    code: str
    title: str
    delivery: str
    experiment: Experiment


@dataclass(frozen=True)
class Section:
    code: str
    course: Course
    instructor: Person
    students: tuple


@dataclass(frozen=True)
class InstrumentAt:
    """An instrument: its make (instruments.py) and where it stands."""

    name: str
    make: str
    place: str
    first_printer: str
    second_printer: str


@dataclass(frozen=True)
class PrinterAt:
    name: str
    place: str
    where: str


@dataclass(frozen=True)
class College:
    courses: tuple
    sections: tuple
    staff: dict  # role -> Person
    instruments: tuple
    printers: tuple
    starts_minutes_ago: int = 20  # the timetable: all sections meet now
    lasts_minutes: int = 180
    people: tuple = field(default=())

    def section_of(self, student):
        return next(section for section in self.sections if student in section.students)

    def student(self, login):
        return next(p for s in self.sections for p in s.students if p.login == login)


def _students(text):
    people = []
    for line in text.strip().splitlines():
        login, number, given, family = (part.strip() for part in line.split(","))
        people.append(Person(login, given, family, number))
    return tuple(people)


def build():
    """The whole college."""
    unknowns = Experiment("E-1", "Unknown liquids by infrared", {
        "Unknown A1": "ethanol", "Unknown A2": "2-propanol", "Unknown B1": "acetone",
        "Unknown B2": "ethyl acetate", "Unknown C1": "toluene", "Unknown C2": "nitrobenzene",
        "Unknown D1": "acetonitrile", "Unknown D2": "cyclohexane"})
    esters = Experiment("S-4", "Products of the ester synthesis", {
        "Fraction 1": "methanol", "Fraction 2": "ethyl acetate", "Fraction 3": "diethyl phthalate",
        "Wash": "octane", "Fraction 4": "acetone"})
    organic = Course("CHM 221", "Organic Chemistry Laboratory", "paper", unknowns)
    synthesis = Course("CHM 340", "Synthesis Laboratory", "mail", esters)
    staff = {
        "instructor": Person("i.calloway", "Ines", "Calloway", role="instructor"),
        "second instructor": Person("b.quillon", "Bernard", "Quillon", role="instructor"),
        "demonstrator": Person("t.marklund", "Tove", "Marklund", role="demonstrator"),
        "marker": Person("s.ferrant", "Solveig", "Ferrant", role="marker"),
        "technician": Person("g.abara", "Gil", "Abara", role="technician"),
        "administrator": Person("e.winterbourne", "Edda", "Winterbourne", role="administrator"),
    }
    sections = (
        Section("L01", organic, staff["instructor"], _students("""
            m.rowan, 400101, Maya, Rowan
            j.lindholt, 400102, Jonas, Lindholt
            s.li, 400103, 思远, 李
            r.ashdown, 400104, Robin, Ashdown
            z.brandao, 400105, Zoë, Brandão
            a.okonjo, 400106, Amina, Okonjo-Vale""")),
        Section("L02", organic, staff["instructor"], _students("""
            y.voronov, 400201, Юлия, Вороновская
            e.mavridi, 400202, Ελένη, Μαυρίδη
            t.zurawik, 400203, Tomasz, Żurawik
            r.ashdown2, 400204, Robin, Ashdown
            a.haddadin, 400205, أمل, حدادين""")),
        Section("L11", synthesis, staff["second instructor"], _students("""
            a.mehtani, 400301, आरव, मेहतानी
            n.tranvu, 400302, Ngọc, Trần Vũ
            t.einars, 400303, Þóra, Einarsdóttir
            o.carrick, 400304, Oisín, O’Carrick
            y.satonaka, 400305, 結衣, 里中""")),
    )
    instruments = tuple(
        InstrumentAt(name, make, "Science/2/214/bench " + bench, first, second)
        for name, make, bench, first, second in (
            ("IR-1", "rising", "A", "214-A", "214-B"),
            ("IR-2", "twice", "B", "214-A", "214-B"),
            ("IR-3", "comma", "C", "214-B", "214-A"),
            ("IR-4", "slow", "D", "214-B", "214-A")))
    printers = (PrinterAt("214-A", "Science/2/214/door", "by the door"),
                PrinterAt("214-B", "Science/2/214/window", "under the window"))
    people = tuple(p for s in sections for p in s.students) + tuple(staff.values())
    return College((organic, synthesis), sections, staff, instruments, printers, people=people)
