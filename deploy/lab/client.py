"""A JSON client of the gateway for one person or one bench: keeps its cookies, waits out a restart."""
import http.client
import http.cookiejar
import json
import ssl
import time
import urllib.error
import urllib.request

from .processes import LabError

ANSWER_MOST = 64 << 20


class Refused(LabError):
    """The gateway answered with an error; `status` and the problem's members are kept."""

    def __init__(self, method, path, status, problem):
        self.status, self.problem = status, problem
        text = problem.get("detail") or problem.get("title") or "no reason given"
        super().__init__("%s %s: %d %s" % (method, path, status, text))


class Client:
    """url: as wavepostd prints it. The certificate that answers first is the one trusted: both ends
    stand on this machine. Not for several threads at once."""

    def __init__(self, url, token=None, patience=20.0):
        self.url = url.rstrip("/")
        self.token, self.patience = token, patience
        self.cookies = http.cookiejar.CookieJar()
        self._opener = None

    def _open(self):
        handlers = [urllib.request.HTTPCookieProcessor(self.cookies), urllib.request.ProxyHandler({})]
        if self.url.startswith("https:"):
            host, _, port = self.url.split("//", 1)[1].partition(":")
            certificate = ssl.get_server_certificate((host.strip("[]"), int(port or 443)), timeout=5.0)
            trust = ssl.create_default_context(cadata=certificate)
            trust.check_hostname = False
            handlers.append(urllib.request.HTTPSHandler(context=trust))
        return urllib.request.build_opener(*handlers)

    def _once(self, method, path, body, fields):
        self._opener = self._opener or self._open()
        request = urllib.request.Request(self.url + path, data=body, headers=fields, method=method)
        try:
            with self._opener.open(request, timeout=15.0) as answer:
                return answer.headers, answer.read(ANSWER_MOST)
        except urllib.error.HTTPError as error:
            with error:
                text = error.read(1 << 20)
            try:
                problem = json.loads(text)
            except ValueError:
                problem = {}
            raise Refused(method, path, error.code, problem if isinstance(problem, dict) else {}) from None

    def send(self, method, path, body=None, kind=None, repeat=None):
        """One request; returns (fields, bytes). Where the connection fails or the answer is 503 it is
        tried again for `patience` seconds, if `repeat` (by default for GET alone): a request that
        changes something may have been done although its answer was lost."""
        # The gateway takes changes from its own pages only; a browser says where a page is from.
        fields = {"Accept": "application/json", "Origin": self.url}
        if kind:
            fields["Content-Type"] = kind
        if self.token:
            fields["Authorization"] = "Bearer " + self.token
        repeat = method == "GET" if repeat is None else repeat
        limit = time.monotonic() + self.patience
        while True:
            try:
                return self._once(method, path, body, fields)
            except Refused as refused:
                if refused.status != 503 or time.monotonic() >= limit:
                    raise
            except (OSError, http.client.HTTPException) as error:
                # A refused connection never reached the gateway, so it may always be tried again.
                reason = getattr(error, "reason", error)
                again = repeat or isinstance(reason, ConnectionRefusedError)
                if not again or time.monotonic() >= limit:
                    raise LabError("%s %s%s: %s" % (method, self.url, path, reason)) from error
            time.sleep(0.2)

    def get(self, path):
        """The JSON at `path`."""
        return self._json(self.send("GET", path)[1])

    def post(self, path, value=None, repeat=False):
        """Posts JSON and returns the JSON answered, or None where there is none."""
        return self.change("POST", path, value, repeat)

    def change(self, method, path, value=None, repeat=False):
        body = json.dumps(value if value is not None else {}).encode("utf-8")
        return self._json(self.send(method, path, body, "application/json", repeat)[1])

    @staticmethod
    def _json(data):
        try:
            return json.loads(data) if data.strip() else None
        except ValueError:
            raise LabError("the answer is no JSON: %r" % data[:200]) from None
