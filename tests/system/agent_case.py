"""A real wavepost-agent and its stand-in gateway, for the tests of the agent.

WAVEPOST_BUILD names the build folder. Loopback only; every wait is bounded.
"""
import glob
import json
import os
import shutil
import signal
import subprocess
import tempfile
import time
import unittest

from agent_gateway import Gateway

BUILD = os.environ.get("WAVEPOST_BUILD")
if not BUILD:
    raise SystemExit("WAVEPOST_BUILD must name the build folder")
AGENT = os.path.join(BUILD, "agents", "wavepost-agent")

POST = "/api/v1/captures"


def spectrum(text):
    return ("##TITLE=%s\n##JCAMP-DX=4.24\n##XYDATA=(X++(Y..Y))\n400 1 2 3\n##END=\n" % text).encode()


class AgentCase(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="wavepost-agent-", dir="/var/tmp")  # a disk
        self.watched = os.path.join(self.folder, "export")
        self.state = os.path.join(self.folder, "state")
        os.mkdir(self.watched)
        self.gateway = Gateway(self.folder)
        self.agent = None
        self.log = open(os.path.join(self.folder, "agent.log"), "w+b")

    def tearDown(self):
        if self.agent:
            self.agent.kill()
            self.agent.wait()
        self.gateway.stop()
        self.log.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def call(self, *words, code=0):
        done = subprocess.run([AGENT, *words], capture_output=True, text=True, timeout=60)
        if code is not None:
            self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        return done

    def join(self, *words):
        return self.call("join", self.gateway.join_string(), "--watch", self.watched,
                         "--state", self.state, *words)

    def run_agent(self, **how):
        self.agent = subprocess.Popen([AGENT, "run", "--state", self.state],
                                      stdout=self.log, stderr=self.log, **how)
        self.until(lambda: self.folders_ok(), "the agent did not come up")

    def folders_ok(self):
        try:
            with open(os.path.join(self.state, "status.json")) as file:
                report = json.load(file)
        except (OSError, ValueError):
            return False
        return report["pid"] == self.agent.pid and all(f["ok"] for f in report["folders"])

    def start(self, *words):
        self.join(*words)
        self.run_agent()

    def kill(self):
        self.agent.send_signal(signal.SIGKILL)
        self.agent.wait(10)

    def freeze(self):
        """SIGSTOP, and back only when no thread of the agent runs any more."""
        self.agent.send_signal(signal.SIGSTOP)
        self.until(lambda: set(self.thread_states()) == {"T"}, "the agent did not stop")

    def thread_states(self):
        for stat in glob.glob("/proc/%d/task/*/stat" % self.agent.pid):
            with open(stat) as file:
                yield file.read().rpartition(")")[2].split()[0]

    def stop(self):
        self.agent.terminate()
        self.assertEqual(self.agent.wait(20), 0, self.log_text())

    def log_text(self):
        self.log.seek(0)
        return self.log.read().decode()

    def until(self, true, why, seconds=20):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if true():
                return
            time.sleep(0.01)
        self.fail("%s\n%s\n%s" % (why, self.gateway.names(), self.log_text()))

    def arrived(self, count, seconds=20):
        self.until(lambda: len(self.gateway.captures) >= count, "%d captures did not arrive" % count,
                   seconds)

    def nothing_more(self, count, seconds=1.2):
        time.sleep(seconds)
        self.assertEqual(len(self.gateway.captures), count, self.gateway.names())

    def put(self, name, data):
        path = os.path.join(self.watched, name)
        with open(path, "wb") as file:
            file.write(data)
        return path

    def fault(self, fault, path=POST):
        self.gateway.faults.append((path, fault))

    def status(self):
        return json.loads(self.call("status", "--state", self.state, "--json", code=None).stdout)

    def events(self, kind):
        return [e["text"] for e in self.gateway.events if e["kind"] == kind]
