"""Wavepost's own programs as children: the gateway, the agents, and the `wavepost` command."""
import os
import re
import subprocess

from .processes import LabError, Program, free_port

START_SECONDS = 30.0  # the first start makes a certificate
STOP_SECONDS = 20.0


class Build:
    """Where the programs were built. LabError names the one that is missing."""

    def __init__(self, folder):
        self.folder = os.path.abspath(folder)

    def program(self, name):
        for place in ("gateway", "agents", "gateway/cli", ""):
            path = os.path.join(self.folder, place, name)
            if os.access(path, os.X_OK) and os.path.isfile(path):
                return path
        raise LabError("%s is not built in %s" % (name, self.folder))


class Gateway:
    """wavepostd with its data folder. After a kill it comes back on the same port. `within`: the words that
    run a program on another host, whose address is `host`."""

    name = "gateway"

    def __init__(self, build, data, log, config=None, host="127.0.0.1", within=()):
        self.build, self.data = build, data
        self.port = free_port()
        argv = [*within, build.program("wavepostd"), "--data", data, "--listen", "%s:%d" % (host, self.port)]
        self.program = Program("wavepostd", argv + (["--config", config] if config else []), log)
        self.url = ""

    def start(self):
        os.makedirs(self.data, exist_ok=True)
        self.program.start()
        self.url = self.program.wait_for(r"listening on (https?://\S+)", START_SECONDS).group(1).rstrip("/")
        return self

    def kill(self):
        """SIGKILL: no orderly stop, whatever it is doing."""
        self.program.kill()

    def stop(self):
        self.program.stop(STOP_SECONDS)

    def command(self, *words, allowed=(0,), seconds=60.0, typed=None):
        """Runs `wavepost WORDS --data DIR`. Returns (exit status, output); LabError if the status is
        not among those allowed. `typed` is what comes on standard input."""
        argv = [self.build.program("wavepost"), *words, "--data", self.data]
        try:
            result = subprocess.run(argv, input=typed or "", stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                    timeout=seconds, text=True, check=False)
        except subprocess.TimeoutExpired:
            raise LabError("wavepost %s took over %g s" % (" ".join(words), seconds)) from None
        if result.returncode not in allowed:
            raise LabError("wavepost %s ended with %d: %s"
                           % (" ".join(words), result.returncode, (result.stderr or result.stdout).strip()))
        return result.returncode, result.stdout

    def add_instrument(self, name, place):
        """Returns the join string for its agent."""
        words = self.command("instrument", "add", name, "--place", place)[1].split()
        if not words:
            raise LabError("wavepost instrument add %s printed no join string" % name)
        return words[-1]

    def verify(self):
        """`wavepost verify` as (objects, measurements, faults, all it said)."""
        _, said = self.command("verify", allowed=(0, 1))
        numbers = re.search(r"(\d+) objects, (\d+) measurements, (\d+) faults\s*$", said)
        if not numbers:
            raise LabError("wavepost verify did not end in its total:\n" + said)
        return (*map(int, numbers.groups()), said)


class Agent:
    """One agent that watches one folder. `within`: as for the gateway."""

    def __init__(self, build, name, watched, state, log, within=()):
        self.name, self.watched, self.state, self.log = "agent " + name, watched, state, log
        self.path = build.program("wavepost-agent")
        self.within = within
        self.program = Program(self.name, [*within, self.path, "run", "--state", state], log)

    def join(self, join_string):
        """Redeems the one-time join string; once, before the first start."""
        os.makedirs(self.watched, exist_ok=True)
        os.makedirs(os.path.dirname(os.path.abspath(self.state)), exist_ok=True)
        one = Program(self.name + " join",
                      [*self.within, self.path, "join", join_string, "--watch", self.watched, "--state", self.state],
                      self.log)
        one.start()
        status = one.wait(30.0)
        if status is None:
            one.stop(1.0)
        if status != 0:
            raise LabError("%s could not join: %s" % (self.name, one.output().strip() or "no answer in 30 s"))
        return self

    def start(self):
        self.program.start()
        return self

    def kill(self):
        self.program.kill()

    def stop(self):
        self.program.stop()
