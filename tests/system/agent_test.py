"""The real wavepost-agent against a stand-in gateway over TLS: what reaches a watched folder and
stays for the settling time arrives, once, whatever fails in between.

WAVEPOST_BUILD names the build folder. Loopback only; every wait is bounded.
"""
import json
import os
import random
import shutil
import signal
import subprocess
import tempfile
import threading
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
        self.folder = tempfile.mkdtemp(prefix="wavepost-agent-")
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

    def run_agent(self):
        self.agent = subprocess.Popen([AGENT, "run", "--state", self.state],
                                      stdout=self.log, stderr=self.log)
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

    def events(self, kind):
        return [e["text"] for e in self.gateway.events if e["kind"] == kind]


class Files(AgentCase):
    def test_only_what_comes_after_joining_is_sent(self):
        self.put("old.jdx", spectrum("old"))
        self.join()
        self.put("between.jdx", spectrum("between joining and running"))
        self.run_agent()
        self.put("new.jdx", spectrum("new"))
        self.arrived(2)
        self.nothing_more(2)
        self.assertEqual(sorted(self.gateway.names()), ["between.jdx", "new.jdx"])

    def test_backfill_sends_what_was_there_after_what_is_new(self):
        for i in range(30):
            self.put("old%d.jdx" % i, spectrum("old %d" % i))
        time.sleep(0.01)
        self.start("--backfill")
        self.put("new.jdx", spectrum("new"))
        self.arrived(31)
        self.assertEqual(len([c for c in self.gateway.captures.values() if c["backfill"]]), 30)
        new = next(c for c in self.gateway.captures.values() if c["path"] == "new.jdx")
        self.assertFalse(new["backfill"])

    def test_files_in_pieces_by_rename_and_by_copy_arrive_whole(self):
        self.start()
        path = os.path.join(self.watched, "pieces.csv")
        with open(path, "wb") as file:
            for i in range(8):
                file.write(b"%d,%d\n" % (i, i))
                file.flush()
                time.sleep(0.15)
        temporary = self.put("moved.tmp", spectrum("moved"))
        os.rename(temporary, os.path.join(self.watched, "moved.jdx"))
        source = os.path.join(self.folder, "source.jdx")
        with open(source, "wb") as file:
            file.write(spectrum("copied"))
        shutil.copy2(source, os.path.join(self.watched, "copied.jdx"))
        self.arrived(3)
        self.nothing_more(3)
        self.assertIn(b"".join(b"%d,%d\n" % (i, i) for i in range(8)), self.gateway.contents())
        self.assertIn(spectrum("copied"), self.gateway.contents())
        self.assertEqual(sorted(self.gateway.names()), ["copied.jdx", "moved.jdx", "pieces.csv"])

    def test_one_name_overwritten_for_every_student_loses_nobody(self):
        self.start()
        for i in range(6):
            self.put("spectrum.jdx", spectrum("student %d" % i))
            time.sleep(0.8)
        self.arrived(6)
        self.assertEqual(self.gateway.contents(), [spectrum("student %d" % i) for i in range(6)])

    def test_rewriting_with_the_same_size_and_time_is_noticed(self):
        self.start()
        path = self.put("same.csv", b"1,2\n")
        self.arrived(1)
        times = (os.stat(path).st_atime_ns, os.stat(path).st_mtime_ns)
        with open(path, "r+b") as file:
            file.write(b"3,4\n")
            file.flush()
            os.utime(path, ns=times)
        self.arrived(2)
        self.assertEqual(self.gateway.contents(), [b"1,2\n", b"3,4\n"])

    def test_saving_the_same_bytes_again_is_a_new_capture(self):
        self.start()
        self.put("left-open.jdx", spectrum("left open"))
        self.arrived(1)
        self.put("left-open.jdx", spectrum("left open"))
        self.arrived(2)
        self.assertTrue(self.gateway.captures[2]["receipt"]["known"])

    def test_rights_and_renames_are_no_new_captures(self):
        self.start()
        path = self.put("a.jdx", spectrum("a"))
        self.arrived(1)
        os.chmod(path, 0o600)
        os.rename(path, os.path.join(self.watched, "b.jdx"))
        self.nothing_more(1, 2.5)

    def test_a_file_growing_while_it_is_read_is_read_again(self):
        self.start()
        path = os.path.join(self.watched, "growing.dat")
        stop = time.monotonic() + 3
        with open(path, "wb") as file:
            while time.monotonic() < stop:
                file.write(os.urandom(8192))
                file.flush()
                time.sleep(0.002)
        with open(path, "rb") as file:
            whole = file.read()
        self.until(lambda: whole in self.gateway.contents(), "the whole file did not arrive", 30)

    def test_gone_before_it_settled_is_told_and_harms_nobody(self):
        self.start()
        os.unlink(self.put("gone.csv", b"1,2\n"))
        path = self.put("going.csv", b"1,2\n")
        time.sleep(0.1)
        os.unlink(path)
        self.put("stays.csv", b"3,4\n")
        self.arrived(1)
        self.until(lambda: self.events("unreadable"), "nobody was told")
        self.assertEqual(self.gateway.names(), ["stays.csv"])

    def test_hostile_names_arrive_as_they_are(self):
        self.start()
        names = ["two\nlines \"quoted\" 'so'.jdx", "x" * 251 + ".csv", "\\back;$(slash)`.txt",
                 "\u00fcml\u00e4ut \u5149\u8b5c.jdx", "\n" * 251 + ".csv"]
        for i, name in enumerate(names):
            self.put(name, b"%d,1\n" % i)
        bad = os.path.join(os.fsencode(self.watched), b"broken\xff.csv")
        with open(bad, "wb") as file:
            file.write(b"9,9\n")
        self.arrived(len(names) + 1)
        self.assertEqual(sorted(self.gateway.names()), sorted(names + ["broken\ufffd.csv"]))

    def test_other_types_and_large_files_are_told_not_taken(self):
        self.start("--size-limit", "1")
        self.put("sample.bin", b"\0\1\2")
        self.put("large.csv", b"1" * (1024 * 1024 + 1))
        self.put("passing.tmp", b"1")
        self.put(".hidden.csv", b"1")
        self.put("sound.CSV", b"1,2\n")
        self.arrived(1)
        self.until(lambda: self.events("other-file") and self.events("too-large"), "not told")
        self.nothing_more(1)
        self.assertEqual(self.events("other-file"), ["sample.bin"])
        self.assertEqual(self.events("too-large"), ["large.csv"])

    def test_an_empty_file_waits_for_its_content(self):
        self.start()
        path = self.put("slow.csv", b"")
        time.sleep(1.5)
        with open(path, "ab") as file:
            file.write(b"1,2\n")
        self.arrived(1)
        self.assertEqual(self.gateway.contents(), [b"1,2\n"])

    def test_subfolders_made_later_and_patterns(self):
        self.start("--pattern", "Users/*/Documents/IR", "--exclude", "**/private")
        for name in ("Users/ada/Documents/IR/deep", "Users/ada/Documents/IR/private",
                     "Users/ada/Music"):
            os.makedirs(os.path.join(self.watched, name))
        self.put("Users/ada/Documents/IR/one.jdx", spectrum("one"))
        self.put("Users/ada/Documents/IR/deep/two.jdx", spectrum("two"))
        self.put("Users/ada/Documents/IR/private/no.jdx", spectrum("no"))
        self.put("Users/ada/Music/no.jdx", spectrum("no"))
        self.put("no.jdx", spectrum("no"))
        self.arrived(2)
        self.nothing_more(2)
        self.assertEqual(sorted(self.gateway.names()), ["Users/ada/Documents/IR/deep/two.jdx",
                                                        "Users/ada/Documents/IR/one.jdx"])

    def test_links_are_not_followed(self):
        secret = os.path.join(self.folder, "secret.csv")
        with open(secret, "wb") as file:
            file.write(b"1,2\n")
        self.start()
        os.symlink(secret, os.path.join(self.watched, "link.csv"))
        os.mkfifo(os.path.join(self.watched, "pipe.csv"))
        self.put("real.csv", b"3,4\n")
        self.arrived(1)
        self.nothing_more(1)

    def test_two_folders_and_one_that_vanishes_and_comes_back(self):
        second = os.path.join(self.folder, "second")
        os.mkdir(second)
        self.start("--watch", second)
        self.put("before.csv", b"1,1\n")
        self.arrived(1)
        os.rename(self.watched, self.watched + ".away")
        self.until(lambda: self.events("folder-lost"), "the loss was not told")
        with open(os.path.join(second, "meanwhile.csv"), "wb") as file:
            file.write(b"2,2\n")
        self.arrived(2)
        with open(os.path.join(self.watched + ".away", "while-away.csv"), "wb") as file:
            file.write(b"3,3\n")
        os.rename(self.watched + ".away", self.watched)
        self.until(lambda: self.events("folder-back"), "the return was not told")
        self.put("after.csv", b"4,4\n")
        self.arrived(4)
        self.nothing_more(4)
        self.assertEqual(sorted(self.gateway.names()), ["after.csv", "before.csv", "meanwhile.csv",
                                                        "while-away.csv"])

    def test_while_paused_files_are_not_taken(self):
        self.gateway.paused = True
        self.start()
        self.until(lambda: self.gateway.beats, "no heartbeat")
        time.sleep(0.3)
        self.put("private.csv", b"1,1\n")
        time.sleep(1.5)
        self.gateway.paused = False
        count = len(self.gateway.beats)
        self.until(lambda: len(self.gateway.beats) > count + 1, "no heartbeat")
        self.put("class.csv", b"2,2\n")
        self.arrived(1)
        self.nothing_more(1)
        self.assertEqual(self.gateway.names(), ["class.csv"])


class Network(AgentCase):
    def test_a_gateway_away_gets_all_of_it_when_it_is_back(self):
        self.start()
        self.gateway.stop()
        for i in range(12):
            self.put("s%02d.csv" % i, b"%d,1\n" % i)
        self.until(lambda: self.status()["waiting"] == 12, "not captured")
        self.gateway.start()
        self.arrived(12)
        # Two are under way at once, so that neighbours may change places.
        for place, number in enumerate(self.gateway.order, 1):
            self.assertLessEqual(abs(place - number), 2, self.gateway.order)

    def status(self):
        return json.loads(self.call("status", "--state", self.state, "--json", code=None).stdout)

    def test_lost_receipts_make_repeats_not_doubles(self):
        self.start()
        self.gateway.lose_receipts = 3
        for i in range(5):
            self.put("s%d.csv" % i, b"%d,1\n" % i)
        self.arrived(5)
        self.until(lambda: self.status()["waiting"] == 0, "receipts were not taken")
        self.assertEqual(sorted(self.gateway.contents()), [b"%d,1\n" % i for i in range(5)])

    def test_after_an_outage_known_bytes_are_offered_not_sent(self):
        self.start()
        self.gateway.lose_receipts = 50
        self.put("a.csv", b"1,1\n")
        self.put("b.csv", b"2,2\n")
        self.until(lambda: self.status()["waiting"] == 0, "receipts were not taken")
        self.assertTrue(self.gateway.offers)
        self.assertEqual(len(self.gateway.captures), 2)

    def test_retry_after_is_obeyed(self):
        self.start()
        self.fault(lambda h: (h.body(), h.answer(503, {"title": "busy"}, Retry_After=3)))
        self.put("a.csv", b"1,1\n")
        self.arrived(1)
        posts = [t for t, path in self.gateway.requests if path == POST]
        self.assertGreaterEqual(posts[1] - posts[0], 3.0)

    def test_a_connection_that_dies_in_the_body_is_repeated(self):
        self.start()

        def die(handler):
            handler.rfile.read(1000)
            handler.connection.shutdown(2)
            return True
        self.fault(die)
        data = random.Random(1).randbytes(2_000_000).hex().encode()
        self.put("large.csv", data)
        self.arrived(1)
        self.assertEqual(self.gateway.contents(), [data])

    def test_an_answer_cut_off_or_not_json_is_no_receipt(self):
        self.start()
        self.fault(lambda h: (h.body(), h.answer(201, {"number": 1})))
        self.fault(lambda h: (h.body(), h.answer(200, ["nonsense"])))
        self.put("a.csv", b"1,1\n")
        self.arrived(1)
        self.until(lambda: self.status()["waiting"] == 0, "no receipt")

    def test_a_slow_gateway_holds_up_neither_capturing_nor_heartbeats(self):
        self.start()
        release = threading.Event()

        def slow(handler):
            release.wait(20)
            return False
        self.fault(slow)
        self.put("slow.csv", b"1,1\n")
        self.until(lambda: any(p == POST for _, p in self.gateway.requests), "not sent")
        beats = len(self.gateway.beats)
        self.put("next.csv", b"2,2\n")
        self.until(lambda: self.status()["captured"] == 2, "not captured meanwhile")
        self.until(lambda: len(self.gateway.beats) > beats, "no heartbeat meanwhile")
        release.set()
        self.arrived(2)

    def test_a_refused_capture_is_kept_and_the_next_goes_on(self):
        self.start()
        self.fault(lambda h: (h.body(), h.answer(413, {"title": "too large", "limit": 1})))
        self.put("refused.csv", b"1,1\n")
        self.until(lambda: self.status()["refused"] == 1, "not marked as refused")
        self.put("next.csv", b"2,2\n")
        self.arrived(1)
        self.assertIn("refused for good", self.log_text())
        text = self.call("status", "--state", self.state, code=1).stdout
        self.assertIn("too large", text)

    def test_a_wrong_pin_is_refused_at_joining(self):
        wrong = "A" * 43
        done = self.call("join", self.gateway.join_string(pin=wrong), "--watch", self.watched,
                         "--state", self.state, code=1)
        self.assertIn("key is not the one in the join string", done.stderr)
        self.assertEqual(self.gateway.requests, [])

    def test_without_a_pin_an_unknown_authority_is_refused(self):
        self.call("join", self.gateway.join_string(pin=""), "--watch", self.watched,
                  "--state", self.state, code=1)
        self.assertEqual(self.gateway.requests, [])
        self.call("join", self.gateway.join_string(pin=""), "--watch", self.watched,
                  "--state", self.state, "--ca-file", self.gateway.cert)

    def test_another_key_on_the_gateways_port_gets_nothing(self):
        self.start()
        self.gateway.stop()
        self.put("a.csv", b"1,1\n")
        other = Gateway(self.folder, self.gateway.port, "other")
        try:
            self.until(lambda: "not the expected one" in self.log_text(), "not noticed")
            self.assertEqual(other.requests, [])
            done = self.call("check", "--state", self.state, code=1)
            self.assertIn("another certificate", done.stdout)
        finally:
            other.stop()
        self.gateway.start()
        self.arrived(1)

    def test_a_refused_token_keeps_everything_until_joining_again(self):
        self.start()
        self.gateway.token = "u" * 43
        self.put("a.csv", b"1,1\n")
        self.until(lambda: "join again" in self.log_text(), "not noticed")
        self.assertIn("join again", self.call("check", "--state", self.state, code=1).stdout)
        self.stop()
        self.join()
        self.run_agent()
        self.arrived(1)


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
        self.until(lambda: "spool is full" in self.log_text(), "not loud")
        self.gateway.start()
        self.arrived(4, 30)
        self.until(lambda: self.events("spool-full") and self.events("spool-alarm"), "not told")

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

    def test_many_old_files_cost_little(self):
        for i in range(20000):
            self.put("old%05d.csv" % i, b"1\n")
        self.start()
        began = time.monotonic()
        self.put("new.csv", b"1,2\n")
        self.arrived(1)
        self.assertLess(time.monotonic() - began, 5)
        self.nothing_more(1)


if __name__ == "__main__":
    unittest.main()
