"""An honest agent and an honest page before and during an attack: nothing lost, and how much slower."""
import argparse
import hashlib
import http.client
import json
import os
import random
import shutil
import ssl
import statistics
import subprocess
import sys
import tempfile
import time

from lab import parts
from lab.client import Client
from lab.processes import Household, LabError, wait_until

from ending import ended
from fleet.archive import Archive

NAME, POINTS, MOST_SECONDS = "IR-1", 1800, 60.0


class Honest:
    """One instrument with its agent and its bench."""

    def __init__(self, options, folder, house):
        self.folder, self.rng, self.written = folder, random.Random(1), []
        build = parts.Build(options.build)
        self.gateway = house.add(parts.Gateway(build, os.path.join(folder, "gateway"),
                                               os.path.join(folder, "gateway.log"))).start()
        join = self.gateway.add_instrument(NAME, "Science/2/214/bench A")
        self.agent = house.add(parts.Agent(build, NAME, os.path.join(folder, "exports"), os.path.join(folder, "agent"),
                                           os.path.join(folder, "agent.log"))).join(join).start()
        self.bench = Client(self.gateway.url, patience=MOST_SECONDS)
        self.bench.post("/api/v1/bench/enrol",
                        {"code": self.gateway.command("instrument", "bench-code", NAME)[1].split()[-1]})
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        self.kept, self.cut = http.client.HTTPSConnection("127.0.0.1", self.gateway.port, context=context,
                                                          timeout=MOST_SECONDS), 0
        found = json.loads(self.gateway.command("instrument", "list", "--json")[1])["instruments"]
        self.number = found[0]["id"]

    def export(self):
        """Returns the seconds until it is archived, which the settling time is part of."""
        rows = ("%d,%.4f\n" % (400 + 2 * k, self.rng.uniform(0.0, 100.0)) for k in range(POINTS))
        content = ("cm-1,%T\n" + "".join(rows)).encode()
        path = os.path.join(self.folder, "exports", "run%04d.csv" % len(self.written))
        with open(path + ".part", "wb") as file:
            file.write(content)
        os.rename(path + ".part", path)
        self.written.append(hashlib.sha256(content).digest())
        began = time.monotonic()
        wait_until("the file to be archived", lambda: Archive(self.gateway.data).captures[self.written[-1]],
                   MOST_SECONDS, 0.02)
        return time.monotonic() - began

    def look(self):
        """The bench's page over the connection that its browser keeps; it is made anew where it was cut."""
        path = "/api/v1/bench/%d" % self.number
        fields = {"Cookie": "; ".join("%s=%s" % (c.name, c.value) for c in self.bench.cookies)}
        began = time.monotonic()
        for _ in range(10):
            try:
                self.kept.request("GET", path, headers=fields)
                answer = self.kept.getresponse()
                answer.read()
                if answer.status == 200:
                    return time.monotonic() - began
                raise LabError("the bench's page answered %d" % answer.status)
            except (OSError, http.client.HTTPException):
                self.cut += 1
                self.kept.close()
        raise LabError("the bench's page did not come in ten tries")

    def measure(self, times):
        files, pages = [], []
        for _ in range(times):
            files.append(self.export())
            pages += [self.look(), self.look()]
        return statistics.median(files), max(files), statistics.median(pages), max(pages)

    def memory(self):
        """Private memory of the gateway in MiB."""
        with open("/proc/%d/smaps_rollup" % self.gateway.program.pid, encoding="ascii") as file:
            return sum(int(line.split()[1]) for line in file if line.startswith("Private_")) / 1024.0

    def faults(self):
        captures = Archive(self.gateway.data).captures
        out = ["%s is archived %d times" % (d.hex(), captures[d]) for d in self.written if captures[d] != 1]
        if len(captures) != len(self.written):
            out.append("%d captures of %d files" % (len(captures), len(self.written)))
        _, _, bad, said = self.gateway.verify()
        return out + (["verify: " + line for line in said.splitlines()] if bad else [])


def attacked(honest, options):
    """The figures during the attack, and what the crowd says it did."""
    crowd = subprocess.Popen(["setpriv", "--pdeathsig", "TERM", "--", "/usr/bin/python3", "-m", "hostile.crowd",
                              "127.0.0.1", str(honest.gateway.port), str(options.connections)],
                             stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        time.sleep(options.gather)
        figures = honest.measure(options.times)
        newcomer = Client(honest.gateway.url, patience=MOST_SECONDS)
        began = time.monotonic()
        newcomer.get("/healthz")
        said, _ = crowd.communicate("", timeout=60)
    finally:
        crowd.kill()
        crowd.wait()
    return figures, time.monotonic() - began, json.loads(said)


def tell(what, figures):
    print("%-14s export to archive %.2f s (at most %.2f), the bench's page %.3f s (at most %.3f)" % (what, *figures),
          flush=True)


def play(options):
    folder = tempfile.mkdtemp(prefix="wavepost-hostile-")
    faults = ["it did not come to a comparison"]
    try:
        with Household() as house:
            honest = Honest(options, folder, house)
            quiet, memory = honest.measure(options.times), honest.memory()
            tell("alone", quiet)
            hard, newcomer, crowd = attacked(honest, options)
            tell("under attack", hard)
            print("%.1f and %.1f times slower; the bench's connection was cut %d times; a stranger among them was answered "
                  "after %.1f s" % (hard[0] / quiet[0], hard[2] / quiet[2], honest.cut, newcomer))
            print("memory of the gateway %.0f MiB before, %.0f MiB after" % (memory, honest.memory()))
            print("; ".join("%s %d" % pair for pair in sorted(crowd.items())))
            faults = honest.faults()
            if crowd.get("most at once", 0) < options.connections / 2:
                faults.append("the crowd had only %d connections" % crowd.get("most at once", 0))
            for fault in faults:
                print("Not as it should be: " + fault)
    finally:
        if faults:
            print("Everything is left in " + folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0


def main():
    parser = argparse.ArgumentParser(prog="tests/faults/run hostile", description=__doc__)
    parser.add_argument("--build", required=True)
    parser.add_argument("--connections", type=int, default=10000)
    parser.add_argument("--times", type=int, default=20, help="files exported before, and during")
    parser.add_argument("--gather", type=float, default=15.0, help="seconds that the crowd gets to gather")
    return ended(play, parser.parse_args())


if __name__ == "__main__":
    sys.exit(main())
