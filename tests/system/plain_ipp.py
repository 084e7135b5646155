"""A printer of the oldest kind over IPP/1.1: Print-Job only, no Create-Job (RFC 8011 section 4.2.1).

A few lines of RFC 8010's encoding, enough to be asked how it is, to print, and to list its jobs. It
can be told to forget finished jobs, or to drop the connection after it has taken a sheet.
"""
import http.server
import struct
import threading
import time

CHARSET, LANGUAGE, KEYWORD, ENUM, INTEGER, NAME, BOOLEAN, MIME = 0x47, 0x48, 0x44, 0x23, 0x21, 0x42, 0x22, 0x49
PRINT_JOB, CANCEL, GET_JOB, GET_JOBS, GET_PRINTER = 0x02, 0x08, 0x09, 0x0A, 0x0B
COMPLETED = 9


def attribute(tag, name, value):
    if tag in (ENUM, INTEGER):
        data = struct.pack(">i", value)
    elif tag == BOOLEAN:
        data = bytes([value])
    else:
        data = value.encode()
    return struct.pack(">BH", tag, len(name)) + name.encode() + struct.pack(">H", len(data)) + data


def read_attributes(request):
    """The first value of every attribute by name, and where the document begins."""
    found, at = {}, 8
    while request[at] != 3:
        if request[at] < 0x10:
            at += 1
            continue
        tag, size = struct.unpack_from(">BH", request, at)
        name = request[at + 3:at + 3 + size].decode()
        at += 3 + size
        length, = struct.unpack_from(">H", request, at)
        value = request[at + 2:at + 2 + length]
        at += 2 + length
        if name:
            found[name] = struct.unpack(">i", value)[0] if tag in (ENUM, INTEGER) else value.decode("utf-8", "replace")
    return found, at + 1


class PlainPrinter:
    name = "214"

    def __init__(self, place):
        self.place = place
        self.jobs = []  # (number, name, created)
        self.documents = []
        self.remembers, self.drops = True, False
        self.began = time.time() - 1000
        printer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"
            timeout = 10

            def do_POST(self):
                if self.headers.get("Expect"):
                    self.send_response_only(100)
                    self.end_headers()
                answer = printer.answer(self._body())
                if answer is None:
                    self.close_connection = True
                    return
                self.send_response(200)
                self.send_header("Content-Type", "application/ipp")
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def _body(self):
                if "Content-Length" in self.headers:
                    return self.rfile.read(int(self.headers["Content-Length"]))
                body = b""
                while size := int(self.rfile.readline(), 16):
                    body += self.rfile.read(size)
                    self.rfile.readline()
                self.rfile.readline()
                return body

            def log_message(self, *words):
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.uri = "ipp://127.0.0.1:%d/print" % self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def stop(self):
        self.server.shutdown()
        self.server.server_close()

    def clock(self):
        return int(time.time() - self.began)

    def print_before(self):
        """A job of somebody else's, long ago."""
        self.jobs.append((1, "an older one", 10))

    def answer(self, request):
        operation, number = struct.unpack_from(">HI", request, 2)
        asked, start = read_attributes(request)
        code, groups = {PRINT_JOB: self._print, GET_PRINTER: self._printer, GET_JOBS: self._list,
                        GET_JOB: self._job}.get(operation, lambda *_: (0x0501, b""))(asked, request[start:])
        if operation == PRINT_JOB and self.drops:
            return None
        head = struct.pack(">BBHI", 1, 1, code, number) + b"\x01"
        head += attribute(CHARSET, "attributes-charset", "utf-8")
        head += attribute(LANGUAGE, "attributes-natural-language", "en")
        return head + groups + b"\x03"

    def _printer(self, asked, data):
        return 0, b"\x04" + b"".join([
            attribute(ENUM, "printer-state", 3), attribute(KEYWORD, "printer-state-reasons", "none"),
            attribute(BOOLEAN, "printer-is-accepting-jobs", 1), attribute(INTEGER, "queued-job-count", 0),
            attribute(INTEGER, "printer-up-time", self.clock()), attribute(ENUM, "operations-supported", PRINT_JOB),
            attribute(MIME, "document-format-supported", "application/pdf")])

    def _print(self, asked, data):
        number = len(self.jobs) + 2
        self.documents.append(asked["job-name"])
        self.jobs.append((number, asked["job-name"], self.clock()))
        return 0, b"\x02" + attribute(INTEGER, "job-id", number) + attribute(ENUM, "job-state", COMPLETED)

    def _list(self, asked, data):
        groups = b""
        if self.remembers and asked.get("which-jobs") == "completed":
            for number, name, created in self.jobs:
                groups += b"\x02" + attribute(INTEGER, "job-id", number) + attribute(NAME, "job-name", name)
                groups += attribute(INTEGER, "time-at-creation", created)
        return 0, groups

    def _job(self, asked, data):
        for number, name, _ in self.jobs if self.remembers else []:
            if number == asked["job-id"]:
                return 0, b"\x02" + attribute(NAME, "job-name", name) + attribute(ENUM, "job-state", COMPLETED)
        return 0x0406, b""
