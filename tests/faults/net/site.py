"""The gateway on one host and the agents on another, with a writer that knows what it exported."""
import hashlib
import json
import os
import random
import sqlite3
import subprocess
import threading
import time

from lab import parts
from lab.processes import LabError, wait_until

from fleet.archive import Archive

from .hosts import Host
from .wire import Wire

GATEWAY, AGENTS, ELSEWHERE = "10.77.0.1", "10.77.0.2", "10.77.0.3"
EVERY_SECONDS = 0.12
SMALL, LARGE = 300, 30000  # points
PATIENCE_SECONDS = 150.0   # an agent gives a request 30 s, and waits at most a minute between tries


class Site:
    """written: digest -> (instrument, seconds since the start)."""

    def __init__(self, build, folder, house, instruments, seed):
        self.build, self.folder, self.house = parts.Build(build), folder, house
        self.rng, self.names = random.Random(seed), ["IR-%d" % (k + 1) for k in range(instruments)]
        self.agents, self.written, self.number = {}, {}, 0
        self.seed, self.began = seed, time.monotonic()

    def path(self, *names):
        return os.path.join(self.folder, *names)

    def start(self):
        self.far = self.house.add(Host("agents", AGENTS)).start()
        self.near = self.house.add(Host("gateway", GATEWAY)).start()
        self.wire = self.house.add(Wire(self.far, self.near, self.seed))
        self.wire.start()
        self.gateway = self.house.add(parts.Gateway(self.build, self.path("gateway"), self.path("gateway.log"),
                                                    host=GATEWAY, within=self.near.within)).start()
        for name in self.names:
            self._add(name)
        return self

    def _add(self, name):
        join = self.gateway.add_instrument(name, "Science/2/214/bench " + name)
        self.agents[name] = self.house.add(parts.Agent(
            self.build, name, self.path("exports", name), self.path("agents", name),
            self.path("agent %s.log" % name), within=self.far.within))
        self.agents[name].join(join).start()

    def grow(self, to):
        """More instruments, until there are so many."""
        for k in range(len(self.names), to):
            self.names.append("IR-%d" % (k + 1))
            self._add(self.names[-1])

    # ---- what is exported ----

    def content(self, points):
        rows = ("%d,%.4f\n" % (400 + k, self.rng.uniform(0.0, 100.0)) for k in range(points))
        return ("cm-1,%T\n" + "".join(rows)).encode()

    def export(self, name, points=SMALL):
        self.number += 1
        content = self.content(points)
        folder = self.path("exports", name)
        hidden = os.path.join(folder, ".part%d" % self.number)
        with open(hidden, "wb") as file:
            file.write(content)
        os.rename(hidden, os.path.join(folder, "run%05d.csv" % self.number))
        self.written[hashlib.sha256(content).digest()] = (name, time.monotonic() - self.began)

    def write_for(self, seconds, meanwhile=lambda: None):
        """Exports at every instrument in turn; `meanwhile` is called after each."""
        limit = time.monotonic() + seconds
        while time.monotonic() < limit:
            self.export(self.names[self.number % len(self.names)])
            meanwhile()
            time.sleep(EVERY_SECONDS)

    # ---- what came of it ----

    def archive(self):
        return Archive(self.gateway.data)

    def waiting(self, name):
        agent = self.agents[name]
        said = subprocess.run([agent.path, "status", "--state", agent.state, "--json"], timeout=30, text=True,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
        try:
            return json.loads(said.stdout)["waiting"]
        except (ValueError, KeyError):
            raise LabError("%s tells no status: %s" % (agent.name, said.stderr or said.stdout)) from None

    def settled(self):
        captured = self.archive().captures
        return all(captured[digest] for digest in self.written) and not any(map(self.waiting, self.names))

    def settle(self):
        """Everything written is archived and every receipt has arrived. Returns how long it took."""
        began = time.monotonic()
        wait_until("every file to be archived and every spool to be empty", self.settled, PATIENCE_SECONDS, 0.3)
        return time.monotonic() - began

    def faults(self):
        """What is not as it should be, a line each."""
        captured, out = self.archive().captures, []
        for digest, (name, _) in self.written.items():
            if captured[digest] != 1:
                out.append("a file of %s is archived %d times (%s)" % (name, captured[digest], digest.hex()))
        out += ["%s was never written" % digest.hex() for digest in captured if digest not in self.written]
        _, _, bad, said = self.gateway.verify()
        return out + (["verify: " + line for line in said.splitlines()] if bad else [])

    def came_back(self, since):
        """Seconds after `since` (UTC) at which each agent's first file came."""
        sql = sqlite3.connect("file:%s?mode=ro" % os.path.join(self.gateway.data, "gateway.db"), uri=True, timeout=20.0)
        try:
            rows = sql.execute("SELECT min(received_us) FROM capture WHERE received_us > ? GROUP BY agent_id",
                               (int(since * 1e6),)).fetchall()
        finally:
            sql.close()
        return sorted(at / 1e6 - since for at, in rows)

    def connections(self):
        """How many connections the gateway's host holds open (proc(5): state 01 is ESTABLISHED)."""
        said = subprocess.run([*self.near.within, "cat", "/proc/net/tcp"], timeout=20, text=True,
                              stdout=subprocess.PIPE, check=True).stdout
        return sum(line.split()[3] == "01" for line in said.splitlines()[1:])

    def restart_agents(self, kill):
        for agent in self.agents.values():
            (agent.kill if kill else agent.stop)()
        for agent in self.agents.values():
            agent.start()


class Writer(threading.Thread):
    """One large file, written while something happens to the wire."""

    def __init__(self, site, name):
        super().__init__(daemon=True)
        self.site, self.name_of = site, name
        self.start()

    def run(self):
        self.site.export(self.name_of, LARGE)
