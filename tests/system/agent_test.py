"""The agent's life: killed, restarted, full, asked how it is."""
import os
import random
import resource
import subprocess
import time
import unittest

from agent_case import AGENT, AgentCase


class Life(AgentCase):
    def test_a_used_code_says_so(self):
        self.join()
        done = self.call("join", self.gateway.join_string("ZZZZ-9999"), "--watch", self.watched,
                         "--state", self.state, code=1)
        self.assertIn("used before", done.stderr)

    def test_killed_at_any_moment_it_loses_and_doubles_nothing(self):
        self.join()
        chance = random.Random(20260302)
        written = []
        for round_number in range(12):
            self.run_agent()
            for i in range(chance.randint(1, 6)):
                data = b"%d,%d\n" % (round_number, i) * chance.randint(1, 3000)
                self.put("s%02d-%d.csv" % (round_number, i), data)
                written.append(data)
                time.sleep(chance.random() * 0.15)
            self.gateway.lose_receipts = chance.randint(0, 1)
            time.sleep(chance.random() * 0.8)
            self.kill()
        self.gateway.lose_receipts = 0
        self.run_agent()
        self.arrived(len(written), 40)
        self.nothing_more(len(written))
        self.assertEqual(sorted(self.gateway.contents()), sorted(written))

    def test_what_was_captured_is_not_captured_again_after_a_restart(self):
        self.start()
        for i in range(5):
            self.put("s%d.csv" % i, b"%d,1\n" % i)
        self.arrived(5)
        self.stop()
        self.put("while-stopped.csv", b"9,9\n")
        self.run_agent()
        self.arrived(6)
        self.nothing_more(6)

    def test_a_full_spool_stops_loudly_and_goes_on_when_there_is_room(self):
        self.start("--spool-limit", "1")
        self.gateway.stop()
        for i in range(4):
            self.put("s%d.dat" % i, os.urandom(300 * 1024))
        self.until(lambda: "the spool is full" in self.log_text(), "not loud")
        self.gateway.start()
        self.arrived(4, 30)
        self.until(lambda: self.events("spool-full") and self.events("spool-alarm"), "not told")

    def test_a_disk_without_room_loses_nothing_and_is_used_again_when_it_has_some(self):
        self.join()
        # A limit on the size of files stands for a full disk; the signal that comes with it is the
        # agent's to ignore, and it does.
        self.run_agent()
        limits = resource.prlimit(self.agent.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(self.agent.pid, resource.RLIMIT_FSIZE, (1 << 20, limits[1]))
        self.gateway.stop()
        written = [os.urandom(300 * 1024) for _ in range(6)]
        for i, data in enumerate(written):
            self.put("s%d.dat" % i, data)
        self.until(lambda: "spool is full" in self.log_text(), "not loud")
        self.gateway.start()
        resource.prlimit(self.agent.pid, resource.RLIMIT_FSIZE, limits)
        self.arrived(6, 30)
        self.nothing_more(6)
        self.assertEqual(sorted(self.gateway.contents()), sorted(written))

    def test_check_names_each_trouble(self):
        self.start()
        self.assertIn("All well", self.call("check", "--state", self.state).stdout)
        self.gateway.clock_behind_us = 3600 * 1000000
        self.assertIn("ahead of", self.call("check", "--state", self.state, code=1).stdout)
        self.gateway.clock_behind_us = 0
        self.gateway.ledger_ok = False
        self.assertIn("ledger", self.call("check", "--state", self.state, code=1).stdout)
        self.gateway.stop()
        os.rename(self.watched, self.watched + ".away")
        self.stop()
        text = self.call("check", "--state", self.state, code=1).stdout
        for words in ("is not there", "not reached", "not running"):
            self.assertIn(words, text)
        self.gateway.start()

    def test_two_agents_do_not_share_a_state_folder(self):
        self.start()
        done = self.call("run", "--state", self.state, code=1)
        self.assertIn("another agent", done.stderr)

    def test_the_state_folder_is_for_its_account_alone(self):
        self.start()
        self.assertEqual(os.stat(self.state).st_mode & 0o077, 0)
        for name in os.listdir(self.state):
            self.assertEqual(os.stat(os.path.join(self.state, name)).st_mode & 0o077, 0, name)
        self.assertNotIn(self.gateway.token, self.log_text())

    def test_wrong_command_lines_are_explained(self):
        for words in (["run"], ["join", "--state", self.state], ["fly", "--state", "x"],
                      ["run", "--state", "x", "--pattern", "../up"],
                      ["join", "a", "b", "--state", "x", "--watch", "y"]):
            done = self.call(*words, code=2)
            self.assertIn("wavepost-agent:", done.stderr)
        self.call("join", "http://plain/join#AAAA-2222", "--watch", "x", "--state", self.state,
                  code=1)
        self.call("status", "--state", os.path.join(self.folder, "nowhere"), code=2)
        self.assertIn("Usage", self.call("--help").stdout)

    def test_the_service_file_is_sound(self):
        unit = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "deploy",
                            "systemd", "wavepost-agent@.service")
        with open(unit) as file:
            text = file.read()
        copy = os.path.join(self.folder, "wavepost-agent@.service")
        with open(copy, "w") as file:
            file.write(text.replace("/usr/local/bin/wavepost-agent", AGENT))
        done = subprocess.run(["systemd-analyze", "verify", "--man=no", copy], capture_output=True,
                              text=True, timeout=60)
        # An unknown key is only a line of output; the exit code stays 0.
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, "", ""))

    def test_many_old_files_cost_little(self):
        for i in range(5000):
            self.put("old%05d.csv" % i, b"1\n")
        self.start()
        began = time.monotonic()
        self.put("new.csv", b"1,2\n")
        self.arrived(1)
        self.assertLess(time.monotonic() - began, 5)
        self.nothing_more(1)


if __name__ == "__main__":
    unittest.main()
