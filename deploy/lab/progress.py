"""What the demo shows while it runs: a live table on a terminal, plain lines elsewhere."""
import os
import shutil
import sys
import threading
import time
import unicodedata


def width(text):
    """Columns that a terminal takes for the text."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
               for c in text)


def fit(text, columns):
    """The text cut or filled to exactly that many columns."""
    if width(text) > columns:
        while text and width(text) > columns - 1:
            text = text[:-1]
        text += "\u2026"
    return text + " " * (columns - width(text))


class Progress:
    """rows: the names of the table's lines. Every method may be called from any thread."""

    def __init__(self, rows, out=None, live=None):
        self.out = out or sys.stdout
        self.live = self.out.isatty() if live is None else live
        self.rows = {name: ("", "") for name in rows}
        self.started = time.monotonic()
        self.lock = threading.Lock()
        self.drawn = 0

    def _clock(self):
        seconds = int(time.monotonic() - self.started)
        return "%d:%02d" % divmod(seconds, 60)

    def note(self, text):
        """One line that stays."""
        with self.lock:
            self._wipe()
            self.out.write("%s  %s\n" % (self._clock(), text))
            self._draw()

    def row(self, name, who, what):
        """What happens in one line of the table now."""
        with self.lock:
            self.rows[name] = (who, what)
            if self.live:
                self._wipe()
                self._draw()
            else:
                self.out.write("%s  %-6s %s: %s\n" % (self._clock(), name, who, what))
                self.out.flush()

    def finish(self):
        """Leaves the table as it stands; what is written afterwards comes below it."""
        with self.lock:
            self.live = False
            self.drawn = 0

    def _wipe(self):
        if self.live and self.drawn:
            self.out.write("\x1b[%dA\x1b[J" % self.drawn)
            self.drawn = 0

    def _draw(self):
        if self.live:
            columns = max(40, shutil.get_terminal_size((80, 24)).columns - 1)
            for name, (who, what) in self.rows.items():
                line = "  %s  %s  %s" % (fit(name, 6), fit(who, 24), what)
                self.out.write(fit(line, columns) + "\n")
            self.drawn = len(self.rows)
        self.out.flush()


def table(heads, lines, out=None):
    """Writes a table whose columns are as wide as their longest entry."""
    out = out or sys.stdout
    widths = [max(width(str(line[k])) for line in [heads] + lines) for k in range(len(heads))]
    for number, line in enumerate([heads] + lines):
        out.write("  ".join(fit(str(cell), w) for cell, w in zip(line, widths)).rstrip() + "\n")
        if number == 0:
            out.write("  ".join("-" * w for w in widths) + "\n")
    out.flush()


def outcome_table(verdict, folder, out=None):
    """Who ran what where, what came of it, and where the sheet lies below `folder` (judge.Verdict)."""
    lines = []
    for outcome in verdict.outcomes:
        wanted = outcome.expected
        came = outcome.fault or "%s, %s" % (outcome.sheets[0].route, outcome.sheets[0].where)
        lines.append((wanted.instrument, wanted.person.name, "%s %s" % (wanted.course, wanted.section),
                      wanted.sample, came, os.path.relpath(outcome.sheets[0].path, folder) if outcome.sheets else "-"))
    table(("where", "who", "section", "sample", "what came of it", "sheet, in " + folder), lines, out)
