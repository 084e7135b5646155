"""What happens to the wire. Each scene returns a line of what was seen; LabError if it did not take place."""
import time

from lab.processes import LabError, wait_until

from .site import ELSEWHERE, LARGE

HERD = 60
IDLE_SECONDS = 100.0  # after which the gateway closes a connection on which nothing is heard


def _took_place(what, true):
    if not true:
        raise LabError("the scene did not take place: " + what)


def delay_and_loss(site, seconds):
    """A poor line: every frame late by 40 to 120 ms, out of order, one in twenty lost."""
    lost = site.wire.lost()
    site.wire.both(delay=0.04, jitter=0.08, loss=0.05)
    site.write_for(seconds)
    took = site.settle()
    lost = site.wire.lost() - lost
    _took_place("no frame was lost", lost)
    return "%d frames lost; all archived %.1f s after the last export" % (lost, took)


def partition(site, seconds):
    """Nothing passes, either way; then all is well again."""
    site.wire.both(cut=True)
    site.write_for(seconds)
    behind = len(site.written) - sum(site.archive().captures.values())
    _took_place("everything passed", behind > 0)
    site.wire.calm()
    return "%d files behind; all archived %.1f s after it was healed" % (behind, site.settle())


def cut_in_mid_upload(site, seconds):
    """A large file on a slow line, which is cut when a part of it has passed."""
    site.wire.both(rate=40000.0)
    before = site.wire.to_gateway.carried
    for name in site.names:
        site.export(name, LARGE)
    wait_until("a part of it to pass", lambda: site.wire.to_gateway.carried > before + 60, 30.0)
    site.wire.both(cut=True)
    behind = len(site.written) - sum(site.archive().captures.values())
    _took_place("the upload was over", behind > 0)
    time.sleep(seconds)
    site.wire.calm()
    return "%d files in mid-upload; all archived %.1f s after it was healed" % (behind, site.settle())


def receipts_lost(site, seconds):
    """Only the way to the gateway works: it archives, and no receipt arrives. The agents are killed so that none
    arrives late either, and send everything again."""
    site.wire.to_agents.cut = True
    site.write_for(seconds)
    time.sleep(1.0)
    held = len(site.written) - sum(map(site.waiting, site.names))
    archived = sum(site.archive().captures.values())
    _took_place("no receipt was lost", archived > held)
    site.restart_agents(kill=True)
    site.wire.calm()
    took = site.settle()
    return "%d archived without their receipt; the same receipts again after %.1f s" % (archived - held, took)


def gateway_vanishes(site, seconds):
    """The gateway's host goes without a word (no FIN, no RST) and comes back."""
    site.wire.both(cut=True)
    site.gateway.kill()
    site.write_for(seconds)
    site.gateway.start()
    site.wire.calm()
    return "all archived %.1f s after it was back" % site.settle()


def agents_vanish(site, seconds):
    """The agents' host goes without a word and comes back with another address: the gateway's connections are
    half open, nobody will ever answer on them, and they must not stay."""
    site.write_for(2.0)
    site.wire.both(cut=True)
    site.restart_agents(kill=True)
    site.far.move(ELSEWHERE)
    half_open = site.connections()
    _took_place("no connection was open", half_open > 0)
    site.wire.calm()
    site.write_for(seconds)
    took = site.settle()
    began = time.monotonic()
    wait_until("half-open connections to be closed", lambda: site.connections() <= 2 * len(site.names),
               IDLE_SECONDS + 60.0, 1.0)
    return "%d half open, gone after %.0f s; all archived %.1f s after the last export" % (
        half_open, time.monotonic() - began, took)


def address_changes(site, seconds):
    """The agents' host gets another address in mid-work; the agents are not told."""
    site.write_for(2.0)
    site.far.move(ELSEWHERE if site.far.address != ELSEWHERE else "10.77.0.4")
    site.write_for(seconds)
    return "all archived %.1f s after the last export" % site.settle()


def herd(site, seconds):
    """Many agents, each with a file, wait for a gateway that comes back: they must not come all at once."""
    site.grow(HERD)
    site.settle()
    site.gateway.kill()
    for name in site.names:
        site.export(name)
    time.sleep(2.0 * seconds)
    back = time.time()
    site.gateway.start()
    took = site.settle()
    times = site.came_back(back)
    most = max(sum(at <= other < at + 0.1 for other in times) for at in times)
    return "%d agents back from %.1f to %.1f s, at most %d in a tenth of a second; all archived after %.1f s" % (
        len(times), times[0], times[-1], most, took)


SHORT = (delay_and_loss, partition, receipts_lost)
ALL = (delay_and_loss, partition, cut_in_mid_upload, receipts_lost, gateway_vanishes, agents_vanish,
       address_changes, herd)
