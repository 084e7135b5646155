"""What became of a program after one of its calls had failed."""
import re
from collections import Counter

# Libraries that end the program themselves where memory or a watch is refused (by abort, by trap, or by using
# what they did not get): nothing above them can help it. It is started again as after any other end.
ENDS_BY_ITSELF = re.compile(r"/lib(glib-2\.0|gobject-2\.0|pango[a-z0-9-]*-1\.0|harfbuzz|uv|gmp|hogweed|tasn1)\.so")
LIBC = re.compile(r"/(libc\.so|wp_shim\.so)")


class Wrong(Exception):
    """The program did not do what it must after a fault."""


def by_library(where):
    """The library that ends programs by itself, if the failed call was its own; else None."""
    for line in where[1:]:
        if LIBC.search(line):
            continue
        found = ENDS_BY_ITSELF.search(line)
        return found.group(1) if found else None
    return None


class Outcomes:
    """counts: what happened, by name, over one rise. ends: the calls after which a library ended the program.
    crashes: places in the program itself from which it crashed -> how that was told first."""

    def __init__(self):
        self.counts, self.ends, self.crashes = Counter(), Counter(), {}

    def ended(self, code, where):
        """Judges an end: in order, by a signal that a library sends itself, or a crash."""
        if code >= 0:
            self.counts["ended in order"] += 1
            return
        library = by_library(where)
        if library:
            self.counts["ended by lib" + library] += 1
            self.ends[where[0].split()[0]] += 1
            return
        self.counts["crashed"] += 1
        place = tuple(line.split("[")[0] for line in where[3:7])
        if place not in self.crashes:
            self.crashes[place] = "it ended by signal %d\n  %s" % (-code, "\n  ".join(where))
            print("Not as it should be: " + self.crashes[place], flush=True)

    def line(self):
        return ", ".join("%s %d" % pair for pair in sorted(self.counts.items()))
