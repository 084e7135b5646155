"""What the agent makes of files however they are written: each that comes to rest arrives, once."""
import os
import shutil
import signal
import time
import unittest

from agent_case import AgentCase, spectrum


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

    def test_a_file_whose_events_were_lost_is_found_by_walking(self):
        a, b = self.put("a.log", b"1"), self.put("b.log", b"1")
        self.start()
        self.put("first.csv", b"0,1\n")
        self.arrived(1)  # so that the folder is watched before its events are lost
        with open("/proc/sys/fs/inotify/max_queued_events") as file:
            room = int(file.read())
        self.freeze()
        for i in range(room):  # alternately, for equal neighbours count once
            os.utime(a, (i, i))
            os.utime(b, (i, i))
        self.put("lost.csv", b"1,2\n")
        time.sleep(3.5)
        self.agent.send_signal(signal.SIGCONT)
        self.arrived(2, 30)
        self.until(lambda: self.events("overflow"), "nobody was told")

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


if __name__ == "__main__":
    unittest.main()
