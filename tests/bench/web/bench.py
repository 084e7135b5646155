"""What the gateway's HTTP side costs, beside nginx, in one run. Prints ratios and processor time; judges
nothing.

usage: bench.py [BUILD]     needs nginx and wrk (apt-get install nginx-light wrk)

Each figure is the median of three runs of wrk (1 thread, 32 connections, 3 s). nginx answers 204
from memory and is the floor: it parses and answers, and does nothing else.
"""
import base64
import hashlib
import json
import os
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.abspath(os.path.join(HERE, "..", "..", ".."))
os.environ["WAVEPOST_BUILD"] = os.path.abspath(sys.argv[1] if len(sys.argv) > 1 else os.path.join(ROOT, "build"))
sys.path.insert(0, os.path.join(ROOT, "tests", "system"))

from daemon import Daemon, capture_field  # noqa: E402

RUNS, SECONDS, CONNECTIONS = 3, 3, 32
CAPTURES = 6000

NGINX = """worker_processes 1; daemon off; pid %(folder)s/pid; error_log %(folder)s/error.log;
events { worker_connections 1024; }
http { access_log off; keepalive_requests 100000000;
  server { listen 127.0.0.1:%(port)d; location / { return 204; } }
  server { listen 127.0.0.1:%(tls)d ssl; ssl_certificate %(cert)s; ssl_certificate_key %(key)s;
           ssl_protocols TLSv1.3; location / { return 204; } } }
"""

# Each request takes the next capture, so that nothing is sent twice; the list was made beforehand.
UPLOAD = """
local list = {}
for line in io.lines("%(folder)s/captures.txt") do
  local field, digest, name = line:match("(%%S+) (%%S+) (%%S+)")
  list[#list + 1] = {field, digest, name}
end
local at = 0
function request()
  at = at + 1
  local one = list[(at - 1) %% #list + 1]
  local file = io.open(one[3], "rb")
  local body = file:read("*a")
  file:close()
  return wrk.format("POST", "/api/v1/captures", {["Authorization"] = "Bearer %(token)s",
    ["Wavepost-Capture"] = one[1], ["Content-Digest"] = one[2]}, body)
end
"""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wrk(url, script=None, seconds=SECONDS, connections=CONNECTIONS):
    words = ["wrk", "-t1", "-c%d" % connections, "-d%ds" % seconds] + (["-s", script] if script else [])
    said = subprocess.run(words + [url], stdout=subprocess.PIPE, text=True, check=True, timeout=120).stdout
    wrong = re.search(r"Non-2xx or 3xx responses: (\d+)", said)
    return float(re.search(r"Requests/sec:\s+([\d.]+)", said).group(1)), int(wrong.group(1)) if wrong else 0


def cpu(process):
    """Seconds of processor time a process (nginx: with its worker) has used."""
    listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(process.pid)], stdout=subprocess.PIPE, text=True, check=False)
    total = 0
    for pid in [process.pid, *map(int, listed.stdout.split())]:
        with open("/proc/%d/stat" % pid, encoding="ascii") as file:
            fields = file.read().rsplit(")", 1)[1].split()
        total += int(fields[11]) + int(fields[12])
    return total / os.sysconf("SC_CLK_TCK")


def measure(url, process, script=None):
    """Requests a second and processor microseconds a request, medians of the runs."""
    rates, costs = [], []
    for _ in range(1 if script else RUNS):
        before = cpu(process)
        rate, wrong = wrk(url, script)
        rates.append(rate)
        costs.append((cpu(process) - before) / (rate * SECONDS) * 1e6)
        if wrong:
            raise SystemExit("bench: %d requests to %s failed" % (wrong, url))
    return statistics.median(rates), statistics.median(costs)


def start_nginx(folder, daemon):
    ports = {"port": free_port(), "tls": free_port()}
    tls = os.path.join(daemon.data, "tls")
    path = os.path.join(folder, "nginx.conf")
    with open(path, "w", encoding="utf-8") as file:
        file.write(NGINX % {"folder": folder, "cert": os.path.join(tls, "cert.pem"),
                            "key": os.path.join(tls, "key.pem"), **ports})
    process = subprocess.Popen(["nginx", "-c", path, "-p", folder], stderr=subprocess.DEVNULL)
    for _ in range(100):
        try:
            socket.create_connection(("127.0.0.1", ports["port"]), 1).close()
            return process, ports
        except OSError:
            time.sleep(0.05)
    raise SystemExit("nginx did not start; see %s/error.log" % folder)


def join(daemon):
    _, made = daemon.control("POST", "/api/v1/instruments", {"name": "IR-1", "place": "Science/2/214"})
    code = made["join"].split("#")[1].split(":")[0]
    connection = daemon.http()
    connection.request("POST", "/api/v1/agents/join", json.dumps(
        {"code": code, "version": "0.1.0", "platform": "linux", "time_us": 0}), {"Content-Type": "application/json"})
    return json.loads(connection.getresponse().read())["token"]


def spectrum(number):
    chance = random.Random(number)
    lines = ["##TITLE=sample %d" % number, "##JCAMP-DX=4.24", "##DATA TYPE=INFRARED SPECTRUM", "##XUNITS=1/CM",
             "##YUNITS=TRANSMITTANCE", "##FIRSTX=4000", "##LASTX=400", "##NPOINTS=3601", "##XFACTOR=1",
             "##YFACTOR=0.0001", "##DELTAX=-1", "##FIRSTY=0.9", "##XYDATA=(X++(Y..Y))"]
    bands = [(chance.uniform(500, 3600), chance.uniform(6, 30), chance.uniform(10, 70)) for _ in range(12)]
    for start in range(0, 3601, 10):
        values = []
        for x in range(4000 - start, max(4000 - start - 10, 399), -1):
            depth = sum(d / (1 + ((x - c) / w) ** 2) for c, w, d in bands)
            values.append("%d" % round(100 * max(1.0, 90 - depth + chance.gauss(0, 0.02))))
        lines.append("%d %s" % (4000 - start, " ".join(values)))
    return "\r\n".join(lines + ["##END=", ""]).encode()


def upload(daemon, folder):
    token = join(daemon)
    bodies = [spectrum(number) for number in range(200)]
    with open(os.path.join(folder, "captures.txt"), "w", encoding="ascii") as file:
        for number in range(1, CAPTURES + 1):
            body = bodies[number % len(bodies)] + b"$$ %d\r\n" % number
            name = os.path.join(folder, "%d.jdx" % number)
            with open(name, "wb") as out:
                out.write(body)
            digest = base64.b64encode(hashlib.sha256(body).digest()).decode()
            file.write("%s sha-256=:%s: %s\n" % (capture_field(number), digest, name))
    script = os.path.join(folder, "upload.lua")
    with open(script, "w", encoding="utf-8") as file:
        file.write(UPLOAD % {"folder": folder, "token": token})
    return (*measure(daemon.url, daemon.process, script), len(bodies[0]))


def main():
    for tool in ("nginx", "wrk"):
        if not shutil.which(tool):
            raise SystemExit("bench: %s is not installed" % tool)
    with tempfile.TemporaryDirectory(prefix="wavepost-bench-") as folder:
        os.mkdir(os.path.join(folder, "tls"))
        os.mkdir(os.path.join(folder, "plain"))
        secure, plain = Daemon(os.path.join(folder, "tls"), False), Daemon(os.path.join(folder, "plain"), True)
        nginx, ports = start_nginx(folder, secure)
        try:
            for name, floor, daemon in (("plain", "http://127.0.0.1:%d/" % ports["port"], plain),
                                        ("TLS 1.3", "https://127.0.0.1:%d/" % ports["tls"], secure)):
                base, base_cost = measure(floor, nginx)
                print("%-8s nginx 204                        %8.0f /s %7.1f us CPU" % (name, base, base_cost))
                for what, path in (("page from memory", "/bench.html"), ("view through a reader", "/healthz")):
                    rate, cost = measure(daemon.url + path, daemon.process)
                    print("%-8s wavepostd, %-21s %8.0f /s %7.1f us CPU   %.2f of nginx, %.1f times its CPU"
                          % (name, what, rate, cost, rate / base, cost / base_cost))
            rate, cost, size = upload(plain, folder)
            print("%-8s captures of %d KB, recorded      %8.0f /s %7.1f us CPU" % ("plain", size // 1024, rate, cost))
        finally:
            nginx.terminate()
            nginx.wait(10)
            secure.stop()
            plain.stop()


main()
