"""cupsd on a loopback port with a queue whose device can be made to run out of paper.

A second kind of peer: jobs queue up, the printer stops, and a job that has not begun can be taken
back. The device is a small backend script: with the file `empty` in its folder it reports
media-empty and stops the queue (exit 4), else it drops the document into the tray.
"""
import os
import shutil
import struct
import urllib.request

from lab.processes import LabError, Program, answers, free_port, wait_until

_CUPSD = """ServerName localhost
Listen 127.0.0.1:{port}
AccessLogLevel none
LogLevel warn
Browsing No
DefaultAuthType None
<Location />
  Order allow,deny
  Allow all
</Location>
<Location /admin>
  Order allow,deny
  Allow all
</Location>
<Policy default>
  JobPrivateAccess all
  JobPrivateValues none
  <Limit All>
    Order deny,allow
  </Limit>
</Policy>
"""

_FILES = """SystemGroup root
User lp
Group lp
ServerRoot {folder}
ServerBin {folder}/bin
RequestRoot {folder}/requests
CacheDir {folder}/cache
StateDir {folder}/state
DataDir /usr/share/cups
DocumentRoot {folder}
AccessLog {folder}/access.log
ErrorLog {folder}/error.log
PageLog {folder}/page.log
"""

_BACKEND = """#!/bin/sh
[ $# = 0 ] && exit 0
if [ -e {folder}/empty ]; then
    echo 'STATE: media-empty-error' >&2
    exit 4
fi
echo 'STATE: -media-empty-error' >&2
sleep {seconds}
cat ${{6:-}} > {folder}/tray/$3
"""


class Cupsd:
    name = "cupsd"

    def __init__(self, queue, place, folder, seconds=0.2):
        self.name, self.place, self.folder, self.seconds = queue, place, folder, seconds
        self.port = free_port()
        self.uri = "ipp://127.0.0.1:%d/printers/%s" % (self.port, queue)
        self.program = None

    def start(self):
        for name in ("requests/tmp", "cache", "state", "tray", "bin", "ppd", "ssl"):
            os.makedirs(os.path.join(self.folder, name), exist_ok=True)
        if not os.path.exists(os.path.join(self.folder, "bin", "backend")):
            shutil.copytree("/usr/lib/cups", os.path.join(self.folder, "bin"), dirs_exist_ok=True)
        backend = os.path.join(self.folder, "bin", "backend", "tray")
        self._write(backend, _BACKEND)
        os.chmod(backend, 0o700)
        self._write(os.path.join(self.folder, "cupsd.conf"), _CUPSD)
        self._write(os.path.join(self.folder, "cups-files.conf"), _FILES)
        self._write(os.path.join(self.folder, "printers.conf"),
                    "<Printer {name}>\nDeviceURI tray:/x\nState Idle\nAccepting Yes\n"
                    "ErrorPolicy stop-printer\n</Printer>\n")
        self.program = Program("cupsd", ["/usr/sbin/cupsd", "-f", "-c", os.path.join(self.folder, "cupsd.conf"),
                                         "-s", os.path.join(self.folder, "cups-files.conf")],
                               os.path.join(self.folder, "cupsd.out"))
        self.program.start()
        wait_until("cupsd (%s)" % self.folder, lambda: answers(self.port) or not self.program.running(), 15)
        if not self.program.running():
            raise LabError("cupsd ended at once; see %s" % self.folder)
        return self

    def _write(self, path, text):
        with open(path, "w", encoding="utf-8") as file:
            file.write(text.format(folder=self.folder, port=self.port, name=self.name, seconds=self.seconds))

    def take_paper_out(self):
        with open(os.path.join(self.folder, "empty"), "w", encoding="utf-8"):
            pass

    def put_paper_in(self):
        os.unlink(os.path.join(self.folder, "empty"))
        self._resume()

    def _resume(self):
        """Resume-Printer (RFC 8011 section 4.2.8), in RFC 8010's encoding."""
        request = struct.pack(">BBHI", 1, 1, 0x0011, 1) + b"\x01"
        for tag, name, value in ((0x47, "attributes-charset", "utf-8"),
                                 (0x48, "attributes-natural-language", "en"),
                                 (0x45, "printer-uri", self.uri)):
            request += struct.pack(">BH", tag, len(name)) + name.encode()
            request += struct.pack(">H", len(value)) + value.encode()
        ask = urllib.request.Request("http://127.0.0.1:%d/admin/" % self.port, request + b"\x03",
                                     {"Content-Type": "application/ipp"})
        with urllib.request.urlopen(ask, timeout=10) as answer:
            code = struct.unpack(">H", answer.read()[2:4])[0]
        if code > 0xff:
            raise LabError("cupsd does not resume its printer: 0x%04x" % code)

    def printed(self):
        """Job names, in the order they came out."""
        tray = os.path.join(self.folder, "tray")
        return sorted(os.listdir(tray), key=lambda name: os.path.getmtime(os.path.join(tray, name)))

    def stop(self):
        if self.program:
            self.program.stop(5)
