"""Real IPP printers (ippeveprinter) on loopback, with paper that can run out.

ippeveprinter does not start without a system D-Bus, so a private one is started for it; nothing is
announced on the network. What "came out of" a printer is what its print command was given: a job
that waits for paper has not come out.
"""
import os
import shlex
import urllib.error
import urllib.request
from dataclasses import dataclass

from .processes import LabError, Program, answers, free_port, wait_until

_BUS_CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>custom</type>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""

# The sheet lies in the tray once its line is in the list: copy first, then rename, then list.
_COMMAND = """#!/bin/sh
set -eu
number=$(($(ls {tray} | wc -l) + 1))
name=$(printf 'sheet-%03d.pdf' "$number")
sleep {seconds}
cp "$1" {tray}/"$name".part
mv {tray}/"$name".part {tray}/"$name"
title=$(printf '%s' "${{IPP_JOB_NAME:-}}" | tr '\\t\\n' '  ')
printf '%s\\t%s\\t%s\\n' "$name" "$(date +%s)" "$title" >> {list}
"""

FULL, EMPTY = 250, 0


class Bus:
    """The private D-Bus that the printers need."""

    name = "dbus"

    def __init__(self, folder):
        self.folder = folder
        self.socket = os.path.join(folder, "bus")
        self.program = None

    def start(self):
        os.makedirs(self.folder, exist_ok=True)
        config = os.path.join(self.folder, "bus.conf")
        with open(config, "w", encoding="utf-8") as file:
            file.write(_BUS_CONFIG.format(socket=self.socket))
        if os.path.exists(self.socket):
            os.unlink(self.socket)
        self.program = Program("dbus-daemon", ["dbus-daemon", "--config-file=" + config, "--nofork"],
                               os.path.join(self.folder, "bus.log"))
        self.program.start()
        wait_until("the private D-Bus (%s)" % self.program.log,
                   lambda: os.path.exists(self.socket), 10.0)
        return self

    @property
    def address(self):
        return "unix:path=" + self.socket

    def stop(self):
        if self.program:
            self.program.stop()


@dataclass
class Printed:
    """One sheet in a printer's tray."""

    printer: str
    path: str
    when: int  # seconds since 1970
    job_name: str


class Printer:
    """One printer. `name` is what it is called, `place` where it stands; `seconds` a sheet takes."""

    def __init__(self, name, place, folder, bus, seconds=0.2):
        self.name, self.place, self.folder, self.bus = name, place, folder, bus
        self.tray = os.path.join(folder, "tray")
        self.spool = os.path.join(folder, "spool")
        self.list = os.path.join(folder, "printed.tsv")
        self.seconds = seconds
        self.port = free_port()
        self.program = None

    @property
    def uri(self):
        return "ipp://localhost:%d/ipp/print" % self.port

    def _prepare(self):
        keys = os.path.join(self.folder, "keys")
        for folder in (self.tray, self.spool, keys):
            os.makedirs(folder, exist_ok=True)
        command = os.path.join(self.folder, "print-command")
        with open(command, "w", encoding="utf-8") as file:
            file.write(_COMMAND.format(tray=shlex.quote(self.tray), list=shlex.quote(self.list),
                                       seconds=self.seconds))
        os.chmod(command, 0o755)
        return command, keys

    def start(self):
        """Starts it (again, on the same port: as after a power cut) with paper in the tray."""
        command, keys = self._prepare()
        argv = ["ippeveprinter", "-r", "off", "-n", "localhost", "-p", str(self.port), "-l", self.place,
                "-d", self.spool, "-k", "-K", keys, "-f", "application/pdf", "-c", command, "-vv", self.name]
        self.program = Program("printer " + self.name, argv, os.path.join(self.folder, "printer.log"),
                               env={"DBUS_SYSTEM_BUS_ADDRESS": self.bus.address})
        self.program.start()
        wait_until("printer %s on port %d (%s)" % (self.name, self.port, self.program.log),
                   lambda: answers(self.port, "localhost") or not self.program.running(), 15.0)
        if not self.program.running():
            raise LabError("printer %s ended at once; see %s" % (self.name, self.program.log))
        return self

    def stop(self):
        if self.program:
            self.program.stop(3.0)

    def _set_paper(self, level):
        # Tray 3 is the by-pass. A tray that the form leaves out counts as empty.
        url = ("http://localhost:%d/media?size1=iso_a4_210x297mm&type1=stationery&level1=%d"
               "&size3=iso_a4_210x297mm&type3=stationery&level3=-2" % (self.port, level))
        try:
            with urllib.request.urlopen(url, timeout=5.0) as answer:
                answer.read(65536)
        except (urllib.error.URLError, OSError) as error:
            raise LabError("printer %s: its paper form does not answer: %s" % (self.name, error)) from error

    def take_paper_out(self):
        """From now on jobs wait and the printer reports that its media is empty."""
        self._set_paper(EMPTY)

    def put_paper_in(self):
        """Waiting jobs are printed."""
        self._set_paper(FULL)

    def printed(self):
        """The sheets in the tray, oldest first."""
        try:
            with open(self.list, encoding="utf-8", errors="replace") as file:
                lines = file.read().splitlines()
        except FileNotFoundError:
            return []
        sheets = []
        for line in lines:
            name, when, title = line.split("\t", 2)
            sheets.append(Printed(self.name, os.path.join(self.tray, name), int(when), title))
        return sheets
