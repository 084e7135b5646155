"""The agent and a network or gateway that fails it: nothing lost, nothing sent to a stranger."""
import os
import random
import shutil
import threading
import unittest

from agent_case import AgentCase, POST
from agent_gateway import Gateway


class Network(AgentCase):
    def test_a_gateway_away_gets_all_of_it_when_it_is_back(self):
        self.start()
        self.gateway.stop()
        for i in range(12):
            self.put("s%02d.csv" % i, b"%d,1\n" % i)
        self.until(lambda: self.status()["waiting"] == 12, "not captured")
        self.gateway.start()
        self.arrived(12)
        # Two are under way at once, and a slow one lets others pass.
        apart = [abs(place - number) for place, number in enumerate(self.gateway.order, 1)]
        self.assertLessEqual(sum(apart) / len(apart), 2, self.gateway.order)

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
        self.until(lambda: self.status()["captured"] == 2, "not captured")
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

    def test_an_older_copy_of_the_state_folder_loses_nothing(self):
        self.start()
        self.put("first.csv", b"1,1\n")
        self.arrived(1)
        self.stop()
        copy = self.state + ".copy"
        shutil.copytree(self.state, copy)
        self.run_agent()
        self.put("second.csv", b"2,2\n")
        self.arrived(2)
        self.stop()
        shutil.rmtree(self.state)
        os.rename(copy, self.state)
        os.unlink(os.path.join(self.watched, "second.csv"))
        self.run_agent()
        self.put("third.csv", b"3,3\n")
        self.arrived(3)
        self.put("fourth.csv", b"4,4\n")
        self.arrived(4)
        self.assertEqual(sorted(self.gateway.contents()), [b"1,1\n", b"2,2\n", b"3,3\n", b"4,4\n"])
        self.until(lambda: self.status()["waiting"] == 0, "something still waits")
        self.assertEqual(self.status()["refused"], 0)

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


if __name__ == "__main__":
    unittest.main()
