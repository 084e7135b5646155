"""The page that the driver shares with the program under test (shim.h), and what a program is started with."""
import mmap
import os
import struct

KINDS = {"memory": 1, "socket": 2}
ARMED, KIND, AT, COUNT, MET, PID = range(6)


class Page:
    """env: for the program whose calls shall fail; trace: the file that names where they came from."""

    def __init__(self, build, folder, program):
        shim = os.path.join(build, "tests", "faults", "calls", "wp_shim.so")
        if not os.path.exists(shim):
            raise SystemExit("%s is not built (configure with -DWP_TESTS=ON)" % shim)
        path, self.trace = os.path.join(folder, program + ".page"), os.path.join(folder, program + ".trace")
        with open(path, "wb") as file:
            file.write(bytes(mmap.PAGESIZE))
        with open(path, "r+b") as file:
            self.memory = mmap.mmap(file.fileno(), mmap.PAGESIZE)
        self.env = {"LD_PRELOAD": shim, "WP_SHIM_PAGE": path, "WP_SHIM_PROGRAM": program,
                    "WP_SHIM_TRACE": self.trace}

    def get(self, slot):
        return struct.unpack_from("=Q", self.memory, 8 * slot)[0]

    def put(self, slot, value):
        struct.pack_into("=Q", self.memory, 8 * slot, value)

    def arm(self, kind, n):
        """From now on the calls of that kind are counted and the n-th fails."""
        self.put(ARMED, 0)
        for slot, value in ((KIND, KINDS[kind]), (AT, n), (COUNT, 0), (MET, 0)):
            self.put(slot, value)
        open(self.trace, "wb").close()
        self.put(ARMED, 1)

    def disarm(self):
        """Returns (whether a call failed, how many were made)."""
        self.put(ARMED, 0)
        return bool(self.get(MET)), self.get(COUNT)

    def attached(self, pid):
        return self.get(PID) == pid

    def where(self):
        """The failed call and the places it came from, innermost first."""
        with open(self.trace, encoding="utf-8", errors="replace") as file:
            return file.read().splitlines()
