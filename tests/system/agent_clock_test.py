"""The PC's clock is set, by hours or to 2002, while the agent runs: what it watches, waits for and sends stays right.

A small library, loaded before the C library's, adds what a file says to the wall clock of the agent alone; the clock
that never jumps is left as it is. The real clock is not touched.
"""
import mmap
import os
import struct
import subprocess
import time
import unittest

from agent_case import AgentCase

SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>

static int64_t ahead(void)
{
    static volatile int64_t *shared;
    if (!shared) {
        int file = open(getenv("CLOCK_AHEAD"), O_RDONLY);
        shared = mmap(0, 8, PROT_READ, MAP_SHARED, file, 0);
    }
    return *shared;
}

int clock_gettime(clockid_t which, struct timespec *now)
{
    static int (*real)(clockid_t, struct timespec *);
    if (!real)
        real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int failure = real(which, now);
    if (!failure && which == CLOCK_REALTIME)
        now->tv_sec += ahead();
    return failure;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone)
{
    struct timespec exact;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &exact);
    now->tv_sec = exact.tv_sec;
    now->tv_usec = exact.tv_nsec / 1000;
    return 0;
}

time_t time(time_t *now)
{
    struct timespec exact;
    clock_gettime(CLOCK_REALTIME, &exact);
    if (now)
        *now = exact.tv_sec;
    return exact.tv_sec;
}
"""
HOUR = 3600
TO_2002 = int(time.mktime((2002, 1, 1, 0, 0, 0, 0, 0, -1)) - time.time())


class Clock(AgentCase):
    def setUp(self):
        super().setUp()
        source, self.shim = (os.path.join(self.folder, name) for name in ("shim.c", "shim.so"))
        with open(source, "w", encoding="utf-8") as file:
            file.write(SHIM)
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", self.shim, source, "-ldl"], check=True)
        offset = os.path.join(self.folder, "ahead")
        with open(offset, "wb") as file:
            file.write(bytes(8))
        with open(offset, "r+b") as file:
            self.ahead = mmap.mmap(file.fileno(), 8)
        self.join()
        self.run_agent(env={**os.environ, "LD_PRELOAD": self.shim, "CLOCK_AHEAD": offset})
        self.until(lambda: self.gateway.beats, "no heartbeat")

    def tearDown(self):
        super().tearDown()
        self.ahead.close()

    def set_clock(self, ahead_s):
        self.ahead[:] = struct.pack("q", ahead_s)

    def took(self, name, ahead_s):
        """One new file arrives, with the PC's own wrong time and the steady clock's right one."""
        before = len(self.gateway.captures)
        earliest = time.time(), time.monotonic()
        self.put(name, name.encode() + b",1\n")
        self.arrived(before + 1, 30)
        capture = next(c for c in self.gateway.captures.values() if c["path"] == name)
        for said, since, now in ((capture["captured_us"] / 1e6 - ahead_s, earliest[0], time.time()),
                                 (capture["steady_us"] / 1e6, earliest[1], time.monotonic())):
            self.assertGreaterEqual(said, since - 1)
            self.assertLessEqual(said, now + 1)

    def test_set_forward_back_and_to_2002_every_file_arrives_once(self):
        for number, ahead_s in enumerate((6 * HOUR, -5 * HOUR, TO_2002, 0)):
            beats = len(self.gateway.beats)
            self.set_clock(ahead_s)
            self.took("s%d.csv" % number, ahead_s)
            self.until(lambda: any(abs(beat["time_us"] / 1e6 - ahead_s - time.time()) < 60
                                   for beat in self.gateway.beats[beats:]), "no heartbeat by the new clock", 40)
        self.until(lambda: len(self.events("clock-jump")) >= 3, "nobody was told", 40)
        self.nothing_more(4)

    def test_waiting_for_the_gateway_does_not_last_for_the_hours_the_clock_was_set(self):
        self.gateway.stop()
        self.put("a.csv", b"1,1\n")
        self.until(lambda: self.status()["waiting"] == 1, "not captured")
        self.set_clock(-8 * HOUR)
        self.gateway.start()
        self.arrived(1, 60)


if __name__ == "__main__":
    unittest.main()
