"""SIGKILL at random moments: also while a program is still starting."""
import random
import signal
import time

from lab.processes import LabError

GATEWAY_SHARE = 0.4
BETWEEN = (0.0, 0.8)   # seconds between two kills
AWAY = (0.0, 0.6)      # seconds until what was killed is started again


class Target:
    """A program that is killed and started again. `lives`: the spans (from, to) in which it ran."""

    def __init__(self, program, now):
        self.program, self.kills, self.lives = program, 0, [[now, float("inf")]]
        self.due = None  # when it is to be started again

    def kill(self, now, rng):
        """Counts only what a SIGKILL ended. LabError if it had ended by itself."""
        self.check()
        self.lives[-1][1] = now
        self.program.kill()
        if self.program.child.returncode != -signal.SIGKILL:
            raise LabError("%s ended with %s under SIGKILL" % (self.program.name, self.program.child.returncode))
        self.kills += 1
        self.due = time.monotonic() + rng.uniform(*AWAY)

    def check(self):
        if self.due is None and not self.program.running():
            raise LabError("%s ended by itself with %s; log: %s"
                           % (self.program.name, self.program.child.returncode, self.program.log))

    def revive(self):
        self.lives.append([time.monotonic(), float("inf")])
        self.program.start()
        self.due = None


class Killer:
    """targets: name -> Target; the gateway's name is "gateway"."""

    def __init__(self, site, seed):
        self.rng = random.Random(seed)
        now = time.monotonic()
        self.targets = {"gateway": Target(site.gateway.program, now)}
        for name, agent in site.agents.items():
            self.targets[name] = Target(agent.program, now)
        self.agents = list(site.agents)

    def total(self):
        return sum(target.kills for target in self.targets.values())

    def _pass(self, until):
        """Time goes by; what is due is started."""
        while True:
            now = time.monotonic()
            for target in self.targets.values():
                if target.due is not None and now >= target.due:
                    target.revive()
            if now >= until:
                return
            time.sleep(min(0.01, until - now))

    def round(self, kills):
        for _ in range(kills):
            self._pass(time.monotonic() + self.rng.uniform(*BETWEEN))
            gateway = self.rng.random() < GATEWAY_SHARE
            target = self.targets["gateway" if gateway else self.rng.choice(self.agents)]
            if target.due is not None:
                target.revive()
            target.kill(time.monotonic(), self.rng)
        self._pass(max([target.due or 0.0 for target in self.targets.values()]))
        for target in self.targets.values():
            target.check()
