"""One allocation or socket call of the real gateway or agent fails, the n-th, until none is met."""
import argparse
import os
import shutil
import sys
import tempfile
import time

from lab.processes import Household

from ending import ended

from .agent import Agent
from .gateway import VERIFY_EVERY, Gateway
from .outcome import Outcomes, Wrong
from .steps import following

PROGRAMS = {"gateway": Gateway, "agent": Agent}
STOP_AT = 1000000  # far beyond what an afternoon calls
UNMET = 3          # afternoons on end without a fault that end a rise


def rise(under_test, kind, options):
    """Runs until no fault is met in several afternoons on end: how often a program waits for its sockets
    differs from one to the next. Returns (n reached, afternoons, whether it came to that end)."""
    started = told = time.monotonic()
    n, runs, unmet = options.first, 0, 0
    under_test.outcomes = Outcomes()
    while n < STOP_AT and not (options.seconds and time.monotonic() - started > options.seconds):
        try:
            met, count = under_test.one(kind, n)
        except Wrong as wrong:
            raise Wrong("with call %d of %s failing: %s" % (n, kind, wrong)) from None
        runs, unmet = runs + 1, 0 if met else unmet + 1
        if unmet == UNMET:
            break
        if runs % VERIFY_EVERY == 0:
            under_test.sound()
        if time.monotonic() - told > 30.0:
            told = time.monotonic()
            print("  n = %d of about %d: %s" % (n, count, under_test.outcomes.line()), flush=True)
        n = following(n, options.up_to, options.share)
    under_test.sound()
    return n, runs, unmet == UNMET


def prepared(folder, name):
    os.makedirs(os.path.join(folder, name))
    return os.path.join(folder, name)


def play(options):
    folder = tempfile.mkdtemp(prefix="wavepost-calls-")
    failed, crashed = True, False
    try:
        with Household() as house:
            for name in options.programs:
                under_test = PROGRAMS[name](options.build, prepared(folder, name), house)
                for kind in options.kinds:
                    started = time.monotonic()
                    n, runs, through = rise(under_test, kind, options)
                    print("%s, %s: %s n = %d, after %d afternoons in %.0f s; %s" % (
                        name, kind, "no fault met at" if through else "stopped by the clock at", n, runs,
                        time.monotonic() - started, under_test.outcomes.line()), flush=True)
                    crashed = crashed or bool(under_test.outcomes.crashes)
                    for end, count in sorted(under_test.outcomes.ends.items()):
                        print("    ended by a library after a failed %s: %d" % (end, count))
                under_test.finish()
            failed = crashed
    except Wrong as wrong:
        print("Not as it should be: %s" % wrong)
    finally:
        if failed:
            print("Everything is left in " + folder)
        else:
            shutil.rmtree(folder, ignore_errors=True)
    return 1 if failed else 0


def main():
    parser = argparse.ArgumentParser(prog="tests/faults/run calls", description=__doc__)
    parser.add_argument("--build", required=True)
    parser.add_argument("--programs", nargs="+", choices=PROGRAMS, default=list(PROGRAMS))
    parser.add_argument("--kinds", nargs="+", choices=("memory", "socket"), default=["socket", "memory"])
    parser.add_argument("--first", type=int, default=1, help="the first call that fails")
    parser.add_argument("--up-to", type=int, default=0, help="every call up to this one, 0: every call")
    parser.add_argument("--share", type=int, default=8, help="beyond it, 1/SHARE of n further each time")
    parser.add_argument("--seconds", type=float, default=0.0, help="stop each rise after so long; 0: never")
    return ended(play, parser.parse_args())


if __name__ == "__main__":
    sys.exit(main())
