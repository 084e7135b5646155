"""Judges what came of an afternoon from paper and mail alone; the gateway is never asked.

It reads the PDFs that came out of the printers and those that lie in the mailboxes with pdftotext.
Whose sheet it is, it reads from the words on it; which spectrum is on it, it tells from the band
positions printed on it, compared with the published positions of every substance in the room.
"""
import re
import subprocess
import unicodedata
from collections import Counter
from dataclasses import dataclass, field

from .substances import SUBSTANCES, strongest

POSITION_TOLERANCE = 6  # cm-1, twice the shift that overlapping bands cause in the simulated spectra
BANDS_NEEDED = 3  # of up to six strong ones

_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass
class Sheet:
    """One PDF and where it was found."""

    where: str  # "214-A" or a mail address
    route: str  # "paper" or "mail"
    path: str
    text: str
    when: float = 0.0
    accession: str = ""


@dataclass
class Outcome:
    """What came of one expected sheet. `fault` is empty when all is well."""

    expected: object
    sheets: list = field(default_factory=list)
    fault: str = ""


@dataclass
class Verdict:
    outcomes: list
    faults: list  # sentences, including those of outcomes
    sheets: list

    @property
    def sound(self):
        return not self.faults


def pdf_text(data):
    """The text of a PDF (bytes), as pdftotext reads it; "" if it is none."""
    result = subprocess.run(["pdftotext", "-q", "-enc", "UTF-8", "-", "-"], input=data,
                            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=30, check=False)
    return result.stdout.decode("utf-8", "replace") if result.returncode == 0 else ""


def plain(text):
    """Letters and digits only, compatibility forms undone, case folded: for comparing words."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return "".join(c for c in folded if unicodedata.category(c)[0] in "LNM")


def check_character(digits):
    """ISO/IEC 7064, MOD 37,36 (hybrid), from the standard's recursion."""
    p = 36
    for character in digits:
        s = (p + _ALPHABET.index(character)) % 36 or 36
        p = s * 2 % 37
    return _ALPHABET[(37 - p) % 36]


_ACCESSION = re.compile(r"(?<![0-9A-Za-z.:-])([0-9]{1,12})[ -]?([0-9A-Z])(?![0-9A-Za-z.:-])")


def accession_in(text):
    """The accession number on the sheet: a number whose check character is right.

    A bare number, such as one of an axis, has one chance in 36 to look like one; so a number that has
    a line to itself goes first, then one that ends in a letter, then the longest.
    """
    found = []
    for line in text.splitlines():
        for match in _ACCESSION.finditer(line):
            digits, check = match.groups()
            if check_character(digits) == check:
                alone = line.strip() == match.group()
                found.append((not alone, check.isdigit(), -len(digits), digits + check))
    return min(found)[-1] if found else ""


def name_on(text, person):
    """Whether the person's name stands on the sheet, in either order of given and family name."""
    page = plain(text)
    given, family = plain(person.given), plain(person.family)
    return given + family in page or family + given in page


def substance_on(text):
    """The substance whose strong bands are printed on the sheet; "" if none is clearly seen."""
    numbers = [int(n) for n in re.findall(r"(?<![\d.,:/-])\d{3,4}(?![\d.,:/-])", text)]
    scores = {}
    for name in SUBSTANCES:
        strong = strongest(name)
        hits = sum(any(abs(n - p) <= POSITION_TOLERANCE for n in numbers) for p in strong)
        if hits >= min(BANDS_NEEDED, len(strong)):
            scores[name] = hits / len(strong)
    best = sorted(scores, key=scores.get, reverse=True)
    if not best or (len(best) > 1 and scores[best[0]] == scores[best[1]]):
        return ""
    return best[0]


def collect(printers, mail_server):
    """Every sheet that came out of a printer or lies in a mailbox."""
    sheets = []
    for printer in printers:
        for printed in printer.printed():
            with open(printed.path, "rb") as file:
                text = pdf_text(file.read())
            sheets.append(Sheet(printer.name, "paper", printed.path, text, printed.when))
    for message in mail_server.mail():
        for name, data in message.pdfs():
            sheets.append(Sheet(message.mailbox, "mail", "%s (attached: %s)" % (message.path, name), pdf_text(data)))
    for sheet in sheets:
        sheet.accession = accession_in(sheet.text)
    return sheets


def _unclaimed(sheet):
    return "unclaimed" in plain(sheet.text)


def _belongs(sheet, expected):
    """Whether this is the expected person's sheet of the expected sample."""
    if not name_on(sheet.text, expected.person):
        return False
    page = plain(sheet.text)
    return plain(expected.course) in page and plain(expected.sample) in page and _section_on(sheet, expected)


def _section_on(sheet, expected):
    return re.search(r"(?<![0-9A-Za-z])%s(?![0-9A-Za-z:.])" % re.escape(expected.section), sheet.text)


def _twice_printed(sheets, reprints):
    """Paper that came out twice with the same number and the same state of its name."""
    seen = Counter((s.accession, _unclaimed(s)) for s in sheets if s.route == "paper" and s.accession)
    return ["%s was printed %d times" % (number, count)
            for (number, _), count in seen.items() if count > 1 and number not in reprints]


def _judge_one(outcome, reprints):
    wanted, sheets = outcome.expected, outcome.sheets
    who = "%s (%s, %s)" % (wanted.person.name, wanted.person.login, wanted.sample)
    if not sheets:
        return "%s: nothing arrived" % who
    on_purpose = {s.accession for s in sheets} <= set(reprints) and len({s.accession for s in sheets}) == 1
    if len(sheets) > 1 and not on_purpose:
        return "%s: arrived %d times (%s)" % (who, len(sheets), ", ".join(s.where for s in sheets))
    sheet = sheets[0]
    if wanted.route != "either" and sheet.route != wanted.route:
        return "%s: arrived as %s instead of %s" % (who, sheet.route, wanted.route)
    if sheet.route == "mail" and sheet.where != wanted.person.email:
        return "%s: was mailed to %s" % (who, sheet.where)
    seen = substance_on(sheet.text)
    if seen != wanted.substance:
        return "%s: the sheet shows %s instead of %s" % (who, seen or "no known spectrum", wanted.substance)
    page = plain(sheet.text)
    missing = [word for word in (wanted.instrument, wanted.experiment) if plain(word) not in page]
    if missing:
        return "%s: the sheet lacks %s" % (who, ", ".join(missing))
    if not sheet.accession:
        return "%s: the sheet has no accession number" % who
    return ""


def judge(expected, sheets, reprints=()):
    """Compares what was expected with what arrived.

    expected: [afternoon.Expected]. reprints: accession numbers that were printed again on purpose.
    """
    outcomes = [Outcome(e) for e in expected]
    faults = _twice_printed(sheets, reprints)
    unclaimed = []
    for sheet in sheets:
        owners = [o for o in outcomes if _belongs(sheet, o.expected)]
        if not sheet.text.strip():
            faults.append("%s: %s has no text in it" % (sheet.where, sheet.path))
        elif not owners and _unclaimed(sheet):
            unclaimed.append(sheet)
        elif len(owners) != 1:
            faults.append("%s: nobody should have got %s (%s)"
                          % (sheet.where, sheet.accession or "a sheet", sheet.path))
        else:
            owners[0].sheets.append(sheet)
    allowed = sum(1 for e in expected if e.unclaimed_first)
    if len(unclaimed) > allowed:
        faults.append("%d unclaimed sheets came out, %d were expected" % (len(unclaimed), allowed))
    for outcome in outcomes:
        outcome.fault = _judge_one(outcome, reprints)
        if outcome.fault:
            faults.append(outcome.fault)
    return Verdict(outcomes, faults, sheets)
