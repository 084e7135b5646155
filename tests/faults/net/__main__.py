"""Plays each fault of the network, and compares what was exported with what is archived."""
import argparse
import os
import shutil
import sys
import tempfile
import time

from lab.processes import Household

from ending import ended

from . import scenes
from .site import Site


def play(options):
    folder = tempfile.mkdtemp(prefix="wavepost-net-")
    print("seed %s, in %s" % (options.seed, folder), flush=True)
    faults = ["it did not come to a comparison"]
    try:
        with Household() as house:
            site = Site(options.build, folder, house, options.agents, options.seed).start()
            for scene in scenes.SHORT if options.short else scenes.ALL:
                said = scene(site, options.seconds)
                faults = site.faults()
                print("%-18s %s" % (scene.__name__.replace("_", " "), said), flush=True)
                for fault in faults[:40]:
                    print("Not as it should be: " + fault)
                if faults:
                    break
                site.wire.calm()
            print("%d files, %d frames carried, %d lost; %d faults" % (
                len(site.written), site.wire.to_gateway.carried + site.wire.to_agents.carried, site.wire.lost(),
                len(faults)))
    finally:
        if faults:
            print("Everything is left in " + folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)
    return 1 if faults else 0


def main():
    parser = argparse.ArgumentParser(prog="tests/faults/run net", description=__doc__)
    parser.add_argument("--build", required=True)
    parser.add_argument("--seed", default=str(int(time.time())))
    parser.add_argument("--agents", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=8.0, help="how long each fault lasts")
    parser.add_argument("--short", action="store_true", help="only those that take seconds")
    if os.geteuid() != 0:
        print("Network namespaces need root.", file=sys.stderr)
        return 1
    return ended(play, parser.parse_args())


if __name__ == "__main__":
    sys.exit(main())
