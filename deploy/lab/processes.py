"""Real programs as children: started with a log, waited for, stopped; none outlives its parent.

Every wait is bounded. Children are signalled by their own process group, never by name. If the
parent itself is killed, the kernel ends them (setpriv --pdeathsig; programs that change their user,
such as exim, lose that).
"""
import concurrent.futures
import os
import re
import shutil
import signal
import socket
import subprocess
import time

# The kernel ends a child when the *thread* that made it ends, so one thread that lives as long as
# the process makes them all.
_NURSERY = concurrent.futures.ThreadPoolExecutor(max_workers=1)


class LabError(Exception):
    """Something in the lab's surroundings did not work; the text says what and where to look."""


def free_port():
    """A TCP port on loopback that was free a moment ago."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(what, condition, seconds, step=0.05):
    """Calls `condition` until it returns something true, and returns that; LabError after `seconds`."""
    limit = time.monotonic() + seconds
    while True:
        result = condition()
        if result:
            return result
        if time.monotonic() >= limit:
            raise LabError("waited %g s for %s" % (seconds, what))
        time.sleep(step)


def answers(port, host="127.0.0.1"):
    """Whether something accepts connections on the port."""
    try:
        with socket.create_connection((host, port), timeout=1.0):
            return True
    except OSError:
        return False


class Program:
    """One program: argv, a log that collects both outputs, and its life."""

    def __init__(self, name, argv, log, env=None, cwd=None):
        self.name, self.argv, self.log, self.env, self.cwd = name, argv, log, env, cwd
        self.child = None
        self._seen = 0

    def start(self):
        """Starts it (again); output is appended to the log."""
        if self.running():
            raise LabError("%s runs already" % self.name)
        environment = dict(os.environ, **(self.env or {}))
        if not shutil.which(self.argv[0]):
            raise LabError("cannot start %s: there is no %s" % (self.name, self.argv[0]))
        os.makedirs(os.path.dirname(self.log), exist_ok=True)
        with open(self.log, "ab") as log:
            self._seen = log.tell()
            # A group of its own, so that Ctrl-C reaches the parent alone, which then stops in order.
            self.child = _NURSERY.submit(
                subprocess.Popen, ["setpriv", "--pdeathsig", "TERM", "--", *self.argv],
                stdin=subprocess.DEVNULL, stdout=log, stderr=subprocess.STDOUT, env=environment,
                cwd=self.cwd, process_group=0).result(20.0)
        return self

    @property
    def pid(self):
        return self.child.pid if self.child else None

    def running(self):
        return self.child is not None and self.child.poll() is None

    def output(self):
        """What it has written since it was last started."""
        try:
            with open(self.log, "rb") as log:
                log.seek(self._seen)
                return log.read().decode("utf-8", "replace")
        except FileNotFoundError:
            return ""

    def wait_for(self, pattern, seconds=20.0):
        """Waits for a whole line that matches and returns the match; LabError with the log's tail."""
        limit = time.monotonic() + seconds
        while True:
            alive = self.running()
            lines = self.output().split("\n")[:-1]
            for line in lines:
                match = re.search(pattern, line)
                if match:
                    return match
            if not alive or time.monotonic() >= limit:
                end = "ended with %s" % self.child.returncode if not alive else "took over %g s" % seconds
                tail = "\n  ".join(lines[-12:])
                raise LabError("%s %s before it said /%s/\n  %s\n  (log: %s)"
                               % (self.name, end, pattern, tail, self.log))
            time.sleep(0.03)

    def signal(self, number):
        """Sends a signal to its whole group; harmless once it has ended."""
        if self.running():
            try:
                os.killpg(self.child.pid, number)
            except ProcessLookupError:
                pass

    def kill(self):
        """SIGKILL, as a power cut does it; returns when it is gone."""
        self.signal(signal.SIGKILL)
        self.wait(5.0)

    def wait(self, seconds):
        """Waits for its end and returns the exit status, or None if it still runs."""
        try:
            return self.child.wait(seconds) if self.child else None
        except subprocess.TimeoutExpired:
            return None

    def stop(self, seconds=8.0):
        """SIGTERM, then SIGKILL after `seconds`. Returns the exit status."""
        if self.child is None:
            return None
        self.signal(signal.SIGTERM)
        if self.wait(seconds) is None:
            self.signal(signal.SIGKILL)
            self.wait(5.0)
        return self.child.returncode


class Household:
    """Everything that must be stopped in the end, last started first.

        with Household() as house:
            printer = house.add(Printer(...)).start()

    SIGTERM, SIGHUP and SIGINT become KeyboardInterrupt, so that they too leave through the `with`.
    Use it on the main thread.
    """

    def __init__(self):
        self._members = []
        self._old = {}

    def add(self, member):
        """`member` has stop(); returned for chaining."""
        self._members.append(member)
        return member

    def __enter__(self):
        # SIGINT as well: a shell starts what it runs in the background with it ignored.
        for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):
            self._old[number] = signal.signal(number, self._interrupt)
        return self

    @staticmethod
    def _interrupt(number, frame):
        raise KeyboardInterrupt

    def __exit__(self, kind, error, trace):
        try:
            for number in self._old:  # a second Ctrl-C must not leave half of them running
                signal.signal(number, signal.SIG_IGN)
            while self._members:
                member = self._members.pop()
                try:
                    member.stop()
                except Exception as problem:
                    print("while stopping %s: %s" % (getattr(member, "name", member), problem))
        finally:
            for number, old in self._old.items():
                signal.signal(number, old)
        return False
