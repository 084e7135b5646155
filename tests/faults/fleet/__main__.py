"""Kills the gateway and its agents at random moments under load, starts them again, and compares."""
import argparse
import os
import random
import shutil
import sys
import tempfile
import threading
import time

from lab.processes import Household, LabError, wait_until

from ending import ended

from .archive import Archive
from .bench import Bench, Films
from .compare import Comparison
from .kills import Killer
from .site import Site
from .written import Record

INSTRUMENTS = 6
ROUND = (12, 24)        # kills between two comparisons
DRAIN_SECONDS = 90.0    # most until every queue is empty
QUIET_SECONDS = 2.0     # at the end nothing more may come: time for what would be a second copy


class Run:
    """One run in one data folder, which is never cleaned between rounds."""

    def __init__(self, options, folder, house):
        self.options, self.folder = options, folder
        self.rng = random.Random(options.seed)
        self.site = Site(options.build, folder, house, INSTRUMENTS).start()
        self.record, films = Record(), Films()
        self.go, self.end = threading.Event(), threading.Event()
        self.benches = [Bench(self.site, name, self.record, films, "%s/%s" % (options.seed, name),
                              self.go, self.end) for name in self.site.names]
        self.killer = Killer(self.site, "%s/kills" % options.seed)
        self.counts, self.rounds = {}, 0

    def bench_problem(self):
        for bench in self.benches:
            if bench.problem:
                raise LabError("the bench of %s: %s" % (bench.name, bench.problem))
        return False

    def round(self, kills):
        """Load and kills, then quiet, then the comparison. Returns its faults."""
        self.go.set()
        self.killer.round(kills)
        self.go.clear()
        wait_until("the gateway to be up", self.site.ready, 30.0)
        wait_until("the benches to finish", lambda: all(b.idle.is_set() for b in self.benches), 70.0)
        self.bench_problem()
        return self.drained()

    def drained(self):
        started = time.monotonic()
        wait_until("every agent to watch and to have sent everything", self.is_empty, DRAIN_SECONDS, 0.2)
        limit = started + DRAIN_SECONDS
        while True:
            found = Comparison(self.record, self.killer.targets, Archive(self.site.gateway.data))
            if not found.missing() or time.monotonic() > limit:
                break
            time.sleep(0.3)
        self.counts = found.counts
        return found.faults + self.verified()

    def is_empty(self):
        for target in self.killer.targets.values():
            target.check()
        return not any(map(self.site.waiting, self.site.names))

    def verified(self):
        _, _, faults, said = self.site.gateway.verify()
        return ["verify: " + line for line in said.splitlines()] if faults else []

    def tidy(self):
        """Old exports are cleared away now and then, as a lab does; what was compared is archived."""
        for write in list(self.record.at_path.values()):
            self.record.begin(write.path, self.site.now())
            os.unlink(write.path)

    def play(self):
        started = time.monotonic()
        for bench in self.benches:
            bench.start()
        while self.killer.total() < self.options.kills:
            if self.options.seconds and time.monotonic() - started > self.options.seconds:
                break
            kills = min(self.rng.randint(*ROUND), self.options.kills - self.killer.total())
            faults = self.round(kills)
            self.rounds += 1
            self.tell(started)
            if faults:
                return faults
            if self.rng.random() < 0.3:
                self.tidy()
        time.sleep(QUIET_SECONDS)
        faults = self.drained()
        self.end.set()
        return faults or self.at_rest()

    def at_rest(self):
        """Everything stopped in order, then verified from the folder alone."""
        for agent in self.site.agents.values():
            agent.stop()
        self.site.gateway.stop()
        return self.verified()

    def tell(self, started):
        gateway = self.killer.targets["gateway"].kills
        print("%5.0f s  %d kills (%d of the gateway)  %s" % (
            time.monotonic() - started, self.killer.total(), gateway,
            "  ".join("%s %d" % pair for pair in sorted(self.counts.items()))), flush=True)


def summary(run, faults):
    turns = sum(bench.turns for bench in run.benches)
    names = ("lost", "doubled", "foreign", "wrongly stamped", "merged", "split", "unread")
    print("%d kills, %d rounds, %d turns; %d versions written, %d owed, %d captured (%d partial), %d measurements, "
          "%d stamped" % (run.killer.total(), run.rounds, turns, *(run.counts.get(name, 0) for name in (
              "written", "owed", "captured", "partial", "measurements", "stamped"))))
    print(", ".join("%d %s" % (run.counts.get(name, 0), name) for name in names) + ", %d faults" % len(faults))


def play(options):
    folder = tempfile.mkdtemp(prefix="wavepost-kills-")
    print("seed %s, in %s" % (options.seed, folder), flush=True)
    run, faults = None, ["it did not come to a comparison"]
    try:
        with Household() as house:
            run = Run(options, folder, house)
            faults = run.play()
            run.end.set()
            for fault in faults[:40]:
                print("Not as it should be: " + fault)
            summary(run, faults)
            # A run that stamped nothing would prove nothing about stamps.
            if not faults and run.counts["stamped"] * 2 < run.counts["measurements"]:
                faults = ["fewer than half were stamped"]
                print(faults[0])
    finally:
        if faults:
            print("Everything is left in " + folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0


def main():
    parser = argparse.ArgumentParser(prog="tests/faults/run", description=__doc__)
    parser.add_argument("--build", required=True)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", default=str(int(time.time())))
    parser.add_argument("--seconds", type=float, default=0.0, help="stop after so long; 0: never")
    return ended(play, parser.parse_args())


if __name__ == "__main__":
    sys.exit(main())
