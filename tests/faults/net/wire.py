"""The wire between two hosts: carries Ethernet frames, and delays, loses, holds up or cuts them.

The kernel's own emulator is not in every kernel, so a thread carries the frames from one end to the other.
"""
import heapq
import random
import select
import socket
import threading
import time

ETH_P_ALL = 3
FRAME = 65536
QUEUE_MOST = 2000  # frames under way in one direction; beyond them they are lost, as in any router


class Direction:
    """delay, jitter: seconds. loss: share. rate: bytes a second, 0: as fast as it goes."""

    def __init__(self):
        self.delay = self.jitter = self.loss = self.rate = 0.0
        self.cut = False
        self.carried = self.lost = 0
        self.waiting, self.free_at = 0, 0.0


class Wire(threading.Thread):
    """to_gateway, to_agents: the two directions, changed while it runs."""

    def __init__(self, agents, gateway, seed):
        super().__init__(name="wire", daemon=True)
        self.to_gateway, self.to_agents = Direction(), Direction()
        self.sockets = [self._open(agents.outside), self._open(gateway.outside)]
        self.ways = {self.sockets[0]: (self.to_gateway, self.sockets[1]),
                     self.sockets[1]: (self.to_agents, self.sockets[0])}
        self.rng, self.ended, self.due, self.number = random.Random(seed), threading.Event(), [], 0

    @staticmethod
    def _open(interface):
        end = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_P_ALL))
        end.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4 << 20)
        end.bind((interface, 0))
        end.setblocking(False)
        return end

    def both(self, **changes):
        for way in (self.to_gateway, self.to_agents):
            for name, value in changes.items():
                setattr(way, name, value)

    def calm(self):
        self.both(delay=0.0, jitter=0.0, loss=0.0, rate=0.0, cut=False)

    def lost(self):
        return self.to_gateway.lost + self.to_agents.lost

    def run(self):
        while not self.ended.is_set():
            wait = min(0.05, max(0.0, self.due[0][0] - time.monotonic())) if self.due else 0.05
            for end in select.select(self.sockets, [], [], wait)[0]:
                self._take(end)
            self._send()
        for end in self.sockets:
            end.close()

    def _take(self, end):
        way, other = self.ways[end]
        for _ in range(256):  # then the other direction has its turn
            try:
                frame, origin = end.recvfrom(FRAME)
            except (BlockingIOError, InterruptedError):
                return
            if origin[2] == socket.PACKET_OUTGOING:
                continue
            if way.cut or way.waiting >= QUEUE_MOST or self.rng.random() < way.loss:
                way.lost += 1
                continue
            now = time.monotonic()
            at = now + way.delay + self.rng.uniform(0.0, way.jitter)
            if way.rate:
                way.free_at = max(way.free_at, now) + len(frame) / way.rate
                at = max(at, way.free_at)
            self.number += 1
            way.waiting += 1
            heapq.heappush(self.due, (at, self.number, way, other, frame))

    def _send(self):
        while self.due and self.due[0][0] <= time.monotonic():
            _, _, way, other, frame = heapq.heappop(self.due)
            way.waiting -= 1
            if way.cut:
                way.lost += 1
                continue
            try:
                other.send(frame)
                way.carried += 1
            except OSError:  # the interface is full or gone: lost, as on any wire
                way.lost += 1

    def stop(self):
        self.ended.set()
        self.join(5.0)
