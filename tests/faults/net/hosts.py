"""Hosts as network namespaces, and the two ends of the wire between them. Needs root and iproute2."""
import array
import fcntl
import os
import socket
import struct
import subprocess

SIOCETHTOOL = 0x8946
# linux/ethtool.h: receive and transmit checksums, scatter-gather, TCP and generic segmentation. A frame
# that a program carries from one end to the other must be whole on the wire.
OFFLOADS = (0x15, 0x17, 0x19, 0x1F, 0x24)


def ip(*words):
    done = subprocess.run(["ip", *words], timeout=20, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
                          check=False)
    if done.returncode:
        raise OSError("ip %s: %s" % (" ".join(words), done.stdout.strip()))
    return done.stdout


def without_offloads(interface):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        for command in OFFLOADS:
            value = array.array("B", struct.pack("II", command, 0))
            request = struct.pack("16sP", interface.encode(), value.buffer_info()[0])
            try:
                fcntl.ioctl(any_socket, SIOCETHTOOL, request)
            except OSError as problem:
                if command == 0x17:  # without this one nothing would arrive
                    raise OSError("%s keeps its checksums: %s" % (interface, problem)) from None


class Host:
    """One namespace with one interface; `outside` is the other end of its cable, in our own namespace."""

    def __init__(self, name, address):
        self.name, self.address = "wavepost-%d-%s" % (os.getpid(), name), address
        self.outside = "wp%d%s" % (os.getpid() % 1000000, name[:2])
        self.within = ("ip", "netns", "exec", self.name)

    def start(self):
        inside = self.outside + "i"
        ip("netns", "add", self.name)
        ip("link", "add", self.outside, "type", "veth", "peer", "name", inside)
        for end in (self.outside, inside):
            without_offloads(end)
        ip("link", "set", inside, "netns", self.name, "name", "lan0")
        ip("link", "set", self.outside, "up")
        self._inside("link", "set", "lo", "up")
        self._inside("link", "set", "lan0", "up")
        self._inside("addr", "add", self.address + "/24", "dev", "lan0")
        return self

    def _inside(self, *words):
        ip("-n", self.name, *words)

    def move(self, address):
        """Another address from now on; nothing answers at the old one."""
        self._inside("addr", "del", self.address + "/24", "dev", "lan0")
        self._inside("addr", "add", address + "/24", "dev", "lan0")
        self.address = address

    def stop(self):
        for words in (("link", "del", self.outside), ("netns", "del", self.name)):
            try:
                ip(*words)
            except OSError:
                pass  # it was not made, or went with the other
