"""The route table, the access document and the API description say the same."""
import os
import re
import subprocess
import sys
import unittest

TOP = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
sys.path.insert(0, os.path.join(TOP, "deploy"))
from lab.parts import Build  # noqa: E402


def table():
    """The table as the server has it: Markdown rows."""
    program = Build(os.environ["WAVEPOST_BUILD"]).program("wavepostd")
    return subprocess.run([program, "--routes"], stdout=subprocess.PIPE, check=True, timeout=20).stdout.decode()


def routes(text):
    """{(method, path)} of the table's rows below /api/v1."""
    return {(m, p) for m, p in re.findall(r"^\| (\w+) \| `/api/v1(/\S+)` \|", text, re.M)}


def described():
    """{(method, path)} of schema/openapi.yaml, read as text: this test needs no YAML library."""
    found, path = set(), None
    with open(os.path.join(TOP, "schema", "openapi.yaml"), encoding="utf-8") as file:
        for line in file:
            if line.startswith("components:"):
                break
            start = re.match(r"  (/\S+):$", line)
            path = re.sub(r"\{(\w+)\}", r":\1", start.group(1)) if start else path
            method = re.match(r"    (get|post|put|patch|delete):$", line)
            if method:
                found.add((method.group(1).upper(), path))
    return found


class Contract(unittest.TestCase):
    def test_every_route_is_described_and_nothing_else(self):
        self.assertEqual(routes(table()), described())

    def test_the_access_document_is_the_servers_table(self):
        with open(os.path.join(TOP, "docs", "access.md"), encoding="utf-8") as file:
            document = file.read()
        for row in table().splitlines():
            self.assertIn(row, document)

    def test_no_route_is_open_to_everybody_but_the_known_ones(self):
        public = set(re.findall(r"^\| \w+ \| `(\S+)` \| everybody \|", table(), re.M))
        self.assertEqual(public, {
            "/", "/:file", "/assets/:file", "/healthz", "/sign-in/provider", "/sign-in/provider/back", "/bench/enrol", "/api/v1/me", "/api/v1/sign-in",
            "/api/v1/sign-in/link", "/api/v1/sign-in/token", "/api/v1/agents/join", "/api/v1/bench/enrol"})


if __name__ == "__main__":
    unittest.main()
