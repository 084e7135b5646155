"""What the driver knows that it wrote, and for how long each version lay there for an agent to see."""
import hashlib
import threading
from dataclasses import dataclass, field

FOREVER = float("inf")


@dataclass
class Write:
    """One version of one file. `person`: whose turn it was when the spectrum was measured. `spectrum`:
    versions with the same number are one measurement in two formats, or the same bytes again."""

    digest: bytes
    instrument: str
    path: str
    person: int
    spectrum: int
    timed: bool              # the file says when it was measured
    whole: float = 0.0       # when its last byte was there (monotonic)
    gone: float = FOREVER    # when it began to be overwritten or deleted


@dataclass
class Record:
    """Thread: any. `partial`: digests of what lay there between two pieces of one write, which an
    agent may take if the writer was held up for the settling time -> the spectrum it is part of."""

    writes: list = field(default_factory=list)
    by_digest: dict = field(default_factory=dict)
    partial: dict = field(default_factory=dict)
    at_path: dict = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, path, now):
        """Before anything happens to the file at `path`."""
        with self.lock:
            before = self.at_path.pop(path, None)
            if before:
                before.gone = now

    def part(self, content, spectrum):
        with self.lock:
            self.partial[hashlib.sha256(content).digest()] = spectrum

    def intend(self, write):
        """Before the first byte: an agent may be quicker than the note that the write is over."""
        with self.lock:
            self.by_digest.setdefault(write.digest, []).append(write)

    def whole(self, write, now):
        with self.lock:
            write.whole = now
            self.writes.append(write)
            self.at_path[write.path] = write

    def moved(self, source, target):
        """A file was renamed: the same version under another name."""
        with self.lock:
            write = self.at_path.pop(source)
            write.path = target
            self.at_path[target] = write


def owed(write, lives, least):
    """Whether the version lay untouched for `least` seconds while its agent ran: lives are the spans
    (from, to) of that agent's processes, the last one open."""
    return any(min(end, write.gone) - max(start, write.whole) >= least for start, end in lives)
