"""The real agent with one failing call, from its start to its end: two exports each, to a real gateway."""
import hashlib
import json
import os
import sqlite3
import subprocess
import time

from lab import parts
from lab.processes import LabError, wait_until

from .outcome import Outcomes, Wrong
from .page import Page

ARRIVE_SECONDS = 120.0
STOP_SECONDS = 40.0
EXPORT = "##TITLE=%s\n##JCAMP-DX=4.24\n##XYDATA=(X++(Y..Y))\n400 1 2 3\n##END=\n"


class Agent:
    """One state folder for all afternoons, so that what a fault left there matters to the next."""

    def __init__(self, build, folder, house):
        self.page = Page(build, folder, "wavepost-agent")
        self.folder = folder
        self.gateway = house.add(parts.Gateway(parts.Build(build), os.path.join(folder, "gateway"),
                                               os.path.join(folder, "gateway.log"))).start()
        self.exports = os.path.join(folder, "exports")
        self.agent = house.add(parts.Agent(parts.Build(build), "IR-1", self.exports, os.path.join(folder, "state"),
                                           os.path.join(folder, "agent.log")))
        self.agent.join(self.gateway.add_instrument("IR-1", "Science/2/214"))
        self.agent.program.env = self.page.env
        self.database = os.path.join(self.gateway.data, "gateway.db")
        self.count, self.written, self.outcomes = 0, [], Outcomes()

    def export(self):
        """Written by rename beside the folder: there is never a part of it to be taken."""
        self.count += 1
        content = (EXPORT % ("Sample %d" % self.count)).encode()
        path = os.path.join(self.exports, "run-%06d.jdx" % self.count)
        with open(os.path.join(self.folder, "part"), "wb") as file:
            file.write(content)
        os.replace(os.path.join(self.folder, "part"), path)
        self.written.append(hashlib.sha256(content).digest())

    def archived(self):
        sql = sqlite3.connect("file:%s?mode=ro" % self.database, uri=True, timeout=60.0)
        try:
            return sql.execute("SELECT count(*) FROM capture").fetchone()[0]
        finally:
            sql.close()

    def taken(self):
        """Whether all of it arrived; an agent that ended is started again, without faults."""
        program = self.agent.program
        if not program.running():
            self.page.disarm()
            self.outcomes.ended(program.child.returncode, self.page.where())
            self.agent.start()
        return self.archived() >= len(self.written)

    def one(self, kind, n):
        self.page.arm(kind, n)
        self.agent.start()
        self.export()
        self.export()
        before = self.agent.program.pid
        try:
            wait_until("arrivals", self.taken, ARRIVE_SECONDS, 0.01)
        except LabError:
            raise Wrong("%d of %d arrived in %g s\n  %s" % (self.archived(), len(self.written), ARRIVE_SECONDS,
                                                            "\n  ".join(self.page.where()))) from None
        lived = self.agent.program.pid == before
        code = self.agent.program.stop(STOP_SECONDS)
        met, count = self.page.disarm()
        if lived and met:
            self.outcomes.counts["served on"] += 1
        if code < 0:
            self.outcomes.ended(code, self.page.where())
        elif code > 0 and not (met and lived):
            raise Wrong("it ended with %d when it was asked to" % code)
        for name in os.listdir(self.exports)[:1000]:
            os.unlink(os.path.join(self.exports, name))
        return met, count

    def sound(self):
        sql = sqlite3.connect("file:%s?mode=ro" % self.database, uri=True, timeout=60.0)
        kept = [digest for digest, in sql.execute("SELECT sha256 FROM capture")]
        sql.close()
        if sorted(kept) != sorted(self.written):
            raise Wrong("%d written, %d archived, %d of them different" % (
                len(self.written), len(kept), len(set(kept))))
        said = subprocess.run([self.agent.path, "status", "--state", self.agent.state, "--json"], timeout=30, text=True,
                              stdout=subprocess.PIPE, check=False)
        if json.loads(said.stdout)["waiting"]:
            raise Wrong("the spool is not empty: " + said.stdout)
        _, _, faults, said = self.gateway.verify()
        if faults:
            raise Wrong("verify: " + said)

    def finish(self):
        self.sound()
        self.gateway.stop()
