"""A process of its own that plays the strangers until its standard input ends; then tells what it did as JSON.

    python3 -m hostile.crowd HOST PORT CONNECTIONS
"""
import json
import random
import resource
import select
import selectors
import socket
import ssl
import sys
import threading
import time

# What a TLS handshake begins with (RFC 8446, 4.1.2 in the record of 5.1): enough to be waited for.
HALF_HELLO = bytes.fromhex("16030100f8010000f40303") + bytes(20)
OPENS_AT_ONCE = 100
THREADS = 6  # of each kind that speaks TLS
counts, lock, ended = {}, threading.Lock(), threading.Event()


def count(what, by=1):
    with lock:
        counts[what] = counts.get(what, 0) + by


def source(rng):
    """Strangers come from many addresses; on loopback any of 127.0.0.0/8 will do."""
    return "127.%d.%d.%d" % (rng.randint(1, 250), rng.randint(1, 250), rng.randint(1, 250))


class Silent(threading.Thread):
    """Connections on which nothing more is said: half of them not a byte, half a handshake that stays half."""

    def __init__(self, address, most):
        super().__init__(daemon=True)
        self.address, self.most, self.rng = address, most, random.Random(7)
        self.selector, self.open = selectors.DefaultSelector(), 0

    def begin(self):
        one = socket.socket()
        one.setblocking(False)
        one.bind((source(self.rng), 0))
        one.connect_ex(self.address)
        self.selector.register(one, selectors.EVENT_WRITE)
        self.open += 1

    def end(self, one):
        self.selector.unregister(one)
        one.close()
        self.open -= 1

    def hear(self, one, events):
        if events & selectors.EVENT_WRITE:
            if one.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR):
                count("refused")
                return self.end(one)
            count("silent connections")
            if self.rng.random() < 0.5:
                one.send(HALF_HELLO)
            self.selector.modify(one, selectors.EVENT_READ)
            return None
        try:
            gone = not one.recv(100)
        except OSError:
            gone = True
        if gone:
            count("sent away")
            self.end(one)
        return None

    def run(self):
        while not ended.is_set():
            for _ in range(min(OPENS_AT_ONCE, self.most - self.open)):
                try:
                    self.begin()
                except OSError:
                    count("no socket left here")
                    break
            for key, events in self.selector.select(0.05):
                self.hear(key.fileobj, events)
            with lock:
                counts["most at once"] = max(counts.get("most at once", 0), self.open)


def tls(address, rng):
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    plain = socket.socket()
    plain.settimeout(10.0)
    plain.bind((source(rng), 0))
    plain.connect(address)
    return context.wrap_socket(plain)


def request(length, token="nobody", more=b""):
    return (b"POST /api/v1/captures HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nContent-Length: %d\r\n%s\r\n"
            % (token.encode(), length, more))


def slow_header(one):
    for byte in request(10):
        if ended.wait(0.5):
            return
        one.send(bytes([byte]))


def slow_body(one):
    one.sendall(request(100000))
    for _ in range(600):
        if ended.wait(0.2):
            return
        one.send(b"x")


def short_body(one):
    one.sendall(request(100000) + b"x" * 50)
    one.shutdown(socket.SHUT_WR)
    one.recv(1000)


def long_body(one):
    one.sendall(request(10) + b"x" * 4000)
    one.recv(4000)


def bad_chunks(one):
    one.sendall(b"POST /api/v1/captures HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nffffffffffffffff1\r\nzz")
    one.recv(4000)


def wrong_tokens(one):
    for k in range(100):
        one.sendall(request(0, "%064x" % k))
        if ended.is_set() or not one.recv(4000):
            return


def endless_header(one):
    one.sendall(b"GET / HTTP/1.1\r\n" + b"X-A: " + b"a" * 100000)
    one.recv(4000)


KINDS = (slow_header, slow_body, short_body, long_body, bad_chunks, wrong_tokens, endless_header)


def keep_on(kind, address, seed):
    rng = random.Random(seed)
    while not ended.is_set():
        try:
            with tls(address, rng) as one:
                count(kind.__name__.replace("_", " "))
                kind(one)
        except OSError:  # turned away or cut off, as it should be
            ended.wait(0.05)


def main():
    address, most = (sys.argv[1], int(sys.argv[2])), int(sys.argv[3])
    resource.setrlimit(resource.RLIMIT_NOFILE, (most + 2000, most + 2000))
    Silent(address, most).start()
    for k, kind in enumerate(KINDS * THREADS):
        threading.Thread(target=keep_on, args=(kind, address, k), daemon=True).start()
    select.select([sys.stdin], [], [], 1800.0)
    ended.set()
    time.sleep(0.3)
    with lock:
        print(json.dumps(counts))


if __name__ == "__main__":
    main()
